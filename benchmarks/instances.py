"""Decks made by seed, for benchmarks and tests: lines of rigid segments, and continuous decks.

Invented, of the size of real ones: segments of 30 m on four seats each, set by survey to some
millimetres; plates of 1 to 20 mm, as measured; three pairs at every joint.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import sparse
from scipy.linalg import block_diag

from fitup.frames import Array
from fitup.problem.packs import Choice
from fitup.problem.problem import MOVE_PRICE, FitProblem

#: plates in millimetres, and how many a pack may hold
PLATES = (1, 2, 3, 5, 10, 20)
MOST_PLATES = 4
#: where seats and pairs of a segment stand [m]
SEATS = np.array([[3.0, 7.0], [3.0, -7.0], [27.0, -7.0], [27.0, 7.0]])
LENGTH, EDGES = 30.0, (11.5, 0.0, -11.5)
STEP, KINK, LEVEL, WARP = 3e-3, 0.8e-3, 10e-3, 2.5e-3
CROSS = 5e-3


@dataclass(frozen=True, eq=False)
class Plates:
    """Packs that may be built: heights (k,) [m], plates used (k, t), by falling thickness."""

    marks: tuple[str, ...]
    heights: Array
    counts: Array


def plates(rng: np.random.Generator) -> Plates:
    """Every pack of measured plates."""
    thick = (np.array(PLATES[::-1]) + np.round(rng.normal(0.0, 0.03, len(PLATES)), 2)) * 1e-3
    sizes = range(1, MOST_PLATES + 1)
    packs = [
        p for k in sizes for p in itertools.combinations_with_replacement(range(len(PLATES)), k)
    ]
    counts = np.array([[p.count(t) for t in range(len(PLATES))] for p in packs])
    return Plates(tuple(f"P{t}" for t in PLATES[::-1]), counts @ thick, counts)


def seat_choices(kinds: Plates, reach: float) -> tuple[tuple[Choice, ...], Array]:
    """What a seat may become whose pack now is two of the 20 mm plates, and plates used."""
    now = next(i for i, c in enumerate(kinds.counts) if c[0] == 2 and c.sum() == 2)
    moves = kinds.heights - kinds.heights[now]
    near = np.flatnonzero(np.abs(moves) <= reach)
    near = near[np.lexsort((near, moves[near]))]
    choices = []
    for i in near:
        marks = tuple(
            m for m, k in zip(kinds.marks, kinds.counts[i], strict=True) for _ in range(k)
        )
        changed = int(np.abs(kinds.counts[i] - kinds.counts[now]).sum())
        choices.append(Choice(float(moves[i]), marks, bool(i != now), changed))
    return tuple(choices), kinds.counts[near]


def line_problem(
    segments: int, seed: int, *, share: float | None = None, thin: bool = False
) -> FitProblem:
    """A line of rigid segments on four seats each, to be brought level with one another.

    ``share`` leaves so much of the plates that every pack with its nearest build-up would take;
    None leaves plenty. ``thin`` writes rows as sparse arrays, for hundreds of segments.
    """
    rng = np.random.default_rng(seed)
    kinds = plates(rng)
    off = np.c_[
        rng.normal(0.0, 5e-3, segments),
        rng.normal(0.0, 0.2e-3, segments),
        rng.normal(0.0, 0.3e-3, segments),
    ]
    pose = np.linalg.pinv(np.c_[np.ones(4), SEATS])
    n, g, weights = 4 * segments, [], []
    entries: list[tuple[int, int, Array]] = []

    def add(parts: list[tuple[int, Array]], value: float, tolerance: float, weight: float) -> None:
        entries.extend((len(g), s, (part @ pose) / tolerance) for s, part in parts)
        g.append(-value / tolerance)
        weights.append(weight)

    for s in range(segments):
        for x, y in itertools.product((0.0, LENGTH), EDGES[::2]):
            at = np.array([1.0, x, y])
            add([(s, at)], float(at @ off[s]), LEVEL, 0.5)
    for s in range(segments - 1):
        for y in EDGES:
            back, ahead = np.array([1.0, LENGTH, y]), np.array([1.0, 0.0, y])
            step = float(ahead @ off[s + 1] - back @ off[s])
            add([(s, -back), (s + 1, ahead)], step, STEP, 1.0)
        grade = np.array([0.0, 1.0, 0.0])
        add([(s, -grade), (s + 1, grade)], float(off[s + 1][1] - off[s][1]), KINK, 1.0)
    seats = np.array([4 * s + np.arange(4) for _, s, _ in entries])
    row = np.repeat([i for i, _, _ in entries], 4)
    value = np.concatenate([v for _, _, v in entries])
    F: Any = sparse.csr_array((value, (row, seats.ravel())), shape=(len(g), n))
    warp: Any = sparse.kron(sparse.eye_array(segments), np.array([[1.0, -1.0, 1.0, -1.0]]), "csr")
    limits: Any = sparse.vstack([warp, -warp], format="csr")
    if not thin:
        F, limits = F.toarray(), limits.toarray()
    choices, counts = seat_choices(kinds, 0.039)
    target = np.array(g)
    stock = np.full(len(PLATES), 10 * n)
    if share is not None:
        M = np.vstack([F * np.sqrt(weights)[:, None], np.sqrt(MOVE_PRICE) * np.eye(n)])
        ideal = np.linalg.lstsq(M, np.r_[target * np.sqrt(weights), np.zeros(n)], rcond=None)[0]
        moves = np.array([c.setting for c in choices])
        nearest = counts[np.abs(moves[None, :] - ideal[:, None]).argmin(axis=1)].sum(axis=0)
        stock = np.ceil(share * nearest).astype(np.int64)
    return FitProblem(
        seats=tuple(f"G{s + 1}-S{i + 1}" for s in range(segments) for i in range(4)),
        rows=tuple(str(i) for i in range(len(g))),
        F=F,
        g=target,
        weights=np.array(weights),
        L=limits,
        b=np.full(2 * segments, WARP),
        limits=(),
        choices=(choices,) * n,
        marks=kinds.marks,
        counts=(counts,) * n,
        stock=stock,
        windows=np.tile([-0.039, 0.039], (n, 1)),
        clusters=tuple(c for s in range(segments) for c in (tuple(range(4 * s, 4 * s + 4)), ())),
    )


def twin_problem(segments: int, seed: int, beams: tuple[int, ...]) -> FitProblem:
    """Two such lines side by side, level with one another where a cross beam will tie them."""
    one, two = line_problem(segments, seed), line_problem(segments, seed + 1)
    n = len(one.seats)
    pose = np.linalg.pinv(np.c_[np.ones(4), SEATS])
    rng = np.random.default_rng(seed)
    rows = np.zeros((2 * len(beams), 2 * n))
    for i, (s, x) in enumerate(itertools.product(beams, (0.25 * LENGTH, 0.75 * LENGTH))):
        rows[i, 4 * s : 4 * s + 4] = np.array([1.0, x, EDGES[2]]) @ pose / CROSS
        rows[i, n + 4 * s : n + 4 * s + 4] = -np.array([1.0, x, EDGES[0]]) @ pose / CROSS
    F = np.vstack([block_diag(one.F, two.F), rows])
    return replace(
        one,
        seats=tuple(f"{side}-{seat}" for side in "LR" for seat in one.seats),
        rows=tuple(str(i) for i in range(len(F))),
        F=F,
        g=np.r_[one.g, two.g, rng.normal(0.0, 5e-3 / CROSS, len(rows))],
        weights=np.r_[one.weights, two.weights, np.ones(len(rows))],
        L=block_diag(one.L, two.L),
        b=np.r_[one.b, two.b],
        choices=one.choices + two.choices,
        counts=one.counts + two.counts,
        stock=one.stock + two.stock,
        windows=np.vstack([one.windows, two.windows]),
        clusters=tuple(
            c
            for side in (0, n)
            for s in range(segments)
            for c in (tuple(range(side + 4 * s, side + 4 * s + 4)), ())
        ),
    )


def continuous_problem(seats: int, seed: int) -> FitProblem:
    """A continuous beam over seats 24 m apart, to be brought level: at seats and at midspan.

    What a settlement of one seat does to the others' spans is that of a beam of constant stiffness
    on knife edges (the three-moment equations).
    """
    rng = np.random.default_rng(seed)
    kinds = plates(rng)
    bend = _settlement_moments(seats)
    seat_rows = np.eye(seats)
    between = 0.5 * (np.eye(seats)[:-1] + np.eye(seats)[1:])
    # midspan: half the ends, and the sag of the end moments, span^2 / (16 EI) each
    middle = between - (bend[:-1] + bend[1:]) / 16.0
    A = np.vstack([seat_rows, middle])
    off = rng.normal(0.0, 5e-3, seats)
    F, g = A / 3e-3, -(A @ off) / 3e-3
    choices, counts = seat_choices(kinds, 0.025)
    difference = np.diff(np.eye(seats), axis=0)
    return FitProblem(
        seats=tuple(f"S{i + 1}" for i in range(seats)),
        rows=tuple(str(i) for i in range(len(F))),
        F=F,
        g=g,
        weights=np.ones(len(F)),
        L=np.vstack([difference, -difference]),
        b=np.full(2 * (seats - 1), 0.030),
        limits=(),
        choices=(choices,) * seats,
        marks=kinds.marks,
        counts=(counts,) * seats,
        stock=np.full(len(PLATES), 10 * seats),
        windows=np.tile([-0.025, 0.025], (seats, 1)),
        clusters=(tuple(range(seats)), ()),
    )


def _settlement_moments(seats: int) -> Array:
    """Moments over the seats for a unit rise of each (n, n), in units of EI / span^2.

    M_{i-1} + 4 M_i + M_{i+1} = 6 (y_{i-1} - 2 y_i + y_{i+1}), ends free to turn.
    """
    inner = seats - 2
    moments = np.zeros((seats, seats))
    if inner < 1:
        return moments
    left = 4.0 * np.eye(inner) + np.eye(inner, k=1) + np.eye(inner, k=-1)
    second = np.eye(seats)[:-2] - 2.0 * np.eye(seats)[1:-1] + np.eye(seats)[2:]
    moments[1:-1] = np.linalg.solve(left, 6.0 * second)
    return moments
