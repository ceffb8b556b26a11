"""One clean set of labelled arrays: what the solvers see, and nothing else.

Ratios ``F x - g`` are deviations over tolerances; limit rows ``L x <= b`` are hard. Everything a
limit row stands for is said in its label, in the words of the sheets.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fitup.errors import InputError, Problem
from fitup.frames import Array
from fitup.model import CheckState, ForceRow, Influence, Job, Seat
from fitup.problem.jacks import seat_capacity
from fitup.problem.packs import (
    SAME_SETTING,
    Choice,
    OnPack,
    Pushed,
    nut_choices,
    pack_choices,
    plate_counts,
    pushed_past,
    stay,
)

#: what arithmetic leaves of a reaction that no move changes [N]
_ROUNDING = 0.1
_FORCES = ("reaction_least", "reaction_most", "jack")

#: row (n,), bound, kind, subject, text
AddRow = Callable[[Array, float, str, str, str], None]

#: rows (p, n): an Array; for a deck line of hundreds of segments a scipy sparse array will do
Rows = Any

#: what a move itself adds to the squares [1/m2]: 0.01 for a seat moved by 10 mm. Little against
#: any check, it keeps seats still that no check asks to move
MOVE_PRICE = 0.01 / 0.010**2


@dataclass(frozen=True, slots=True)
class LimitRow:
    """What one hard limit is, and how it may be written."""

    kind: str
    """reaction_least, reaction_most, jack, difference, warp, leave, locked, opening, stroke; for
    a place in the structure force, moment or stress; contact where the same seats are to carry."""
    subject: str
    """Seat, limit, check or pair it belongs to."""
    text: str
    """The limit in words."""


@dataclass(frozen=True, eq=False)
class FitProblem:
    """Pick one choice at every seat.

    Parameters
    ----------
    seats : tuple of str
        Seats (n) in the order of the columns.
    rows : tuple of str
        Checks (m) that are worked on.
    F : Array (m, n) or a scipy sparse array, g : Array (m,)
        Ratios of deviation to tolerance are ``F x - g``.
    weights : Array (m,)
        Weights of the squared ratios.
    L : Array (p, n) or a scipy sparse array, b : Array (p,)
        Hard limits.
    limits : tuple of LimitRow
    choices : tuple of tuple of Choice
        Per seat, sorted by setting.
    marks : tuple of str
        Plate marks (t).
    counts : tuple of Array (k_i, t)
        Plates each choice takes from ``stock``.
    stock : Array (t,)
        Plates that may be used over all seats, present packs taken apart included.
    windows : Array (n, 2)
        Least and greatest move of each seat [m].
    clusters : tuple of tuple of int
        Seats (by number) of each segment, those that lift apart from those that push in plan.
    move_price : float
        What moves themselves add to the squares [1/m2].
    """

    seats: tuple[str, ...]
    rows: tuple[str, ...]
    F: Rows
    g: Array
    weights: Array
    L: Rows
    b: Array
    limits: tuple[LimitRow, ...]
    choices: tuple[tuple[Choice, ...], ...]
    marks: tuple[str, ...]
    counts: tuple[Array, ...]
    stock: Array
    windows: Array
    clusters: tuple[tuple[int, ...], ...]
    move_price: float = MOVE_PRICE

    def settings(self, pick: Array) -> Array:
        """Return the moves (n,) [m] of a pick of choices (n,)."""
        return np.array([c[k].setting for c, k in zip(self.choices, pick, strict=True)])

    def worst_ratio(self, x: Array) -> float:
        """Return the greatest deviation over tolerance."""
        return float(np.abs(self.F @ x - self.g).max(initial=0.0))

    def squares(self, x: Array) -> float:
        """Return the weighted sum of squared ratios, and the little that moves themselves count."""
        return float(self.weights @ (self.F @ x - self.g) ** 2 + self.move_price * (x @ x))

    def work(self, pick: Array) -> tuple[int, int, int]:
        """Return seats disturbed, plates changed, plates in new packs."""
        total = np.sum([c[k].work for c, k in zip(self.choices, pick, strict=True)], axis=0)
        return (int(total[0]), int(total[1]), int(total[2]))

    def feasible(self, pick: Array, slack: float = 1e-9) -> bool:
        """Say whether a pick keeps every hard limit and the stock.

        Parameters
        ----------
        pick : Array (n,)
        slack : float
            By how much a limit may be exceeded, relative to its bound; absolute, in the unit of the
            limit, where the bound is below one.
        """
        used = sum(c[k] for c, k in zip(self.counts, pick, strict=True))
        scale = np.maximum(1.0, np.abs(self.b))
        over = self.L @ self.settings(pick) - self.b
        return bool(np.all(over <= slack * scale) and np.all(used <= self.stock))


def build_problem(
    job: Job, state: CheckState, influence: Influence, *, restock: bool = True
) -> FitProblem:
    """Return the arrays of a job.

    Parameters
    ----------
    job : Job
    state : CheckState
        Checks as surveyed.
    influence : Influence
    restock : bool
        Plates that come out of packs may be used elsewhere. When false, only the loose ones and
        a pack's own may, which any order of stages can supply.
    """
    worked = [i for i, c in enumerate(state.checks) if c.tolerance is not None and c.weight > 0.0]
    tolerance = np.array([state.checks[i].tolerance for i in worked], dtype=float)
    target = np.array([state.checks[i].target for i in worked])
    seats = [job.seats[name] for name in influence.seats]
    travel = np.array([_travel(job, s) for s in seats])
    pushed = [_pushed(job, influence, travel, i) for i in range(len(seats))]
    windows = np.array(
        [_window(job, s, p, t) for s, p, t in zip(seats, pushed, travel, strict=True)]
    )
    L, b, limits = limit_rows(job, state, influence, windows)
    marks = tuple(sorted(job.plates, key=lambda m: (-job.plates[m].measured, m)))
    present = Counter(m for s in seats for m in s.pack if not s.hold)
    free = {m: job.plates[m].count + present[m] for m in marks}
    choices, counts = [], []
    for seat, window, push in zip(seats, windows, pushed, strict=True):
        own = _choices(job, seat, free, (float(window[0]), float(window[1])), push)
        used = plate_counts(own, marks)
        if seat.hold:
            used = np.zeros_like(used)
        elif not restock:
            used = np.maximum(used - plate_counts([stay(seat)], marks), 0)
        choices.append(own)
        counts.append(used)
    loose = {m: job.plates[m].count for m in marks}
    return FitProblem(
        seats=influence.seats,
        rows=tuple(state.checks[i].id for i in worked),
        F=influence.A[worked] / tolerance[:, None],
        g=(target - state.values[worked]) / tolerance,
        weights=np.array([state.checks[i].weight for i in worked]),
        L=L,
        b=b,
        limits=limits,
        choices=tuple(choices),
        marks=marks,
        counts=tuple(counts),
        stock=np.array([(free if restock else loose)[m] for m in marks], dtype=np.int64),
        windows=windows,
        clusters=tuple(
            tuple(i for i, s in enumerate(seats) if s.segment == name and s.lifts == up)
            for name in job.segments
            for up in (True, False)
        ),
    )


def _choices(
    job: Job,
    seat: Seat,
    free: dict[str, int],
    window: tuple[float, float],
    pushed: Pushed | None,
) -> tuple[Choice, ...]:
    own = _allowed(job, seat, free, window, pushed)
    given = job.given.get(seat.id)
    if given is None:
        return own
    own = tuple(c for c in own if is_given(c, given))
    if not own:
        what = given if isinstance(given, tuple) else (f"{given * 1e3:.3f} mm",)
        allowed = "a pack or setting that the stock, the seat and its jacks allow"
        do = "fitup review shows which there are"
        found = f"{seat.id}={'+'.join(what)}"
        raise InputError([Problem("command line", found, allowed, do, None, "--give")])
    return own


def is_given(choice: Choice, given: tuple[str, ...] | float) -> bool:
    """Say whether a choice is the pack or the setting that was given.

    Parameters
    ----------
    choice : Choice
    given : tuple of str, or float
        Marks of a pack in any order, or a setting [m].
    """
    if isinstance(given, tuple):
        return sorted(choice.marks) == sorted(given)
    return abs(choice.setting - given) < SAME_SETTING


def _allowed(
    job: Job,
    seat: Seat,
    free: dict[str, int],
    window: tuple[float, float],
    pushed: Pushed | None,
) -> tuple[Choice, ...]:
    if seat.id in job.objectives.leave_alone:
        return (stay(seat),)
    if seat.held_by == "nut":
        resolution = max(j.resolution for j in job.jacks_at(seat.id)) if not seat.hold else 1.0
        return nut_choices(seat, resolution, window)
    return pack_choices(seat, job.plates, free, window, pushed)


def _pushed(job: Job, influence: Influence, travel: Array, i: int) -> Pushed | None:
    """Return how a seat that stays where it is pushed gets room for its pack, whatever it bears."""
    seat = job.seats[influence.seats[i]]
    if not job.stays_pushed(seat) or not job.jacks_at(seat.id):
        return None
    row = influence.R[i]
    bears = float(influence.r0[i] + np.maximum(row * travel[:, 0], row * travel[:, 1]).sum())
    # friction holds no more, so that no more springs the seat together
    sprung = min(max(0.0, bears), seat.breakaway) / seat.stiffness
    return pushed_past(job, seat, job.staging.slide + job.staging.spring_back + sprung)


def stroke_left(job: Job, seat: Seat) -> float:
    """Return the free stroke at a seat [m], jacks set anew included: the least of its jacks.

    Parameters
    ----------
    job, seat
    """
    return min(
        (j.stroke - j.stroke_used + j.base_most - j.base for j in job.jacks_at(seat.id)),
        default=0.0,
    )


def stroke_back(job: Job, seat: Seat) -> float:
    """Return how far a seat's jacks can go back from where they touch [m]: stroke already out.

    Parameters
    ----------
    job, seat
    """
    return min((j.stroke_used + j.base for j in job.jacks_at(seat.id)), default=0.0)


def clearance(job: Job, seat: Seat) -> float:
    """Return the extra travel that lets a pack in [m]: only a lifted seat comes back onto it.

    Parameters
    ----------
    job, seat
    """
    return job.working.insertion if seat.held_by == "packs" and seat.comes_back else 0.0


def movable(job: Job, seat: Seat) -> bool:
    """Say whether a seat's whole group can be lifted clear of its packs.

    Parameters
    ----------
    job, seat
    """
    group = [s for s in job.seats.values() if s.group == seat.group]
    return all(s.hold or stroke_left(job, s) >= clearance(job, s) for s in group)


def _window(
    job: Job, seat: Seat, pushed: Pushed | None, travel: Sequence[float]
) -> tuple[float, float]:
    """Least and greatest move of a seat [m]: one and the same where its pack was given."""
    low, high = (float(v) for v in travel)
    move = _given_move(job, seat, pushed)
    return (low, high) if move is None or not low <= move <= high else (move, move)


def _given_move(job: Job, seat: Seat, pushed: Pushed | None) -> float | None:
    given = job.given.get(seat.id)
    if not isinstance(given, tuple):
        return given
    if sorted(given) == sorted(seat.pack):
        return 0.0
    rest = OnPack(seat.bedding) if pushed is None else pushed
    return rest.settings(job.pack_height(given) - job.pack_height(seat.pack))[0]


def _travel(job: Job, seat: Seat) -> tuple[float, float]:
    """Least and greatest move of a seat [m] by its own travel and stroke."""
    if seat.hold or seat.id in job.objectives.leave_alone or not movable(job, seat):
        return (0.0, 0.0)
    reach = stroke_left(job, seat) - clearance(job, seat)
    # a ram that pushes in plan cannot pull the deck back against friction
    back = stroke_back(job, seat) if seat.comes_back else 0.0
    up = reach if seat.raise_most is None else min(seat.raise_most, reach)
    down = -back if seat.lower_most is None else max(-seat.lower_most, -back)
    return (min(down, 0.0), max(up, 0.0))


def limit_rows(
    job: Job, state: CheckState, influence: Influence, windows: Array
) -> tuple[Array, Array, tuple[LimitRow, ...]]:
    """Return every hard limit that moves within some windows could reach.

    Parameters
    ----------
    job, state, influence
    windows : Array (n, 2)
        Least and greatest move of each seat [m].

    Returns
    -------
    L : Array (p, n), b : Array (p,)
        ``L x <= b``, every row in the unit of its limit.
    labels : tuple of LimitRow
    """
    rows: list[Array] = []
    bounds: list[float] = []
    labels: list[LimitRow] = []

    def add(row: Array, bound: float, kind: str, subject: str, text: str) -> None:
        # where a ram stands without load and its least is none, rounding alone would forbid moves
        care = _ROUNDING if kind in _FORCES and abs(bound) <= _ROUNDING else 0.0
        # a row that no move can reach, often mere rounding, would spoil the solvers' scale
        if np.maximum(row * windows[:, 0], row * windows[:, 1]).sum() <= bound + care:
            return
        rows.append(row)
        bounds.append(bound)
        labels.append(LimitRow(kind, subject, text))

    _reaction_rows(job, influence, add)
    _force_rows(influence, add)
    for kept in influence.stays:
        text = f"seat {kept.seat} {'stays in contact' if kept.carries else 'stays open'}"
        add(-kept.row, kept.now, "contact", kept.seat, text)
    _seat_limit_rows(job, influence, add)
    _joint_rows(job, state, influence, add)
    _stroke_rows(job, influence, add)
    n = len(influence.seats)
    return np.array(rows).reshape(len(rows), n), np.array(bounds), tuple(labels)


def _reaction_rows(job: Job, influence: Influence, add: AddRow) -> None:
    for i, name in enumerate(influence.seats):
        seat, row, now = job.seats[name], influence.R[i], float(influence.r0[i])
        add(
            row,
            seat.reaction_most - now,
            "reaction_most",
            name,
            f"greatest reaction at seat {name}",
        )
        # a structure that may leave this seat keeps this limit by itself
        lifts = influence.exact is not None and name in influence.exact.may_lift
        if not lifts or seat.reaction_least > 0.0:
            text = f"least bearing at seat {name}"
            add(-row, now - seat.reaction_least, "reaction_least", name, text)
        if seat.hold or not movable(job, seat):
            continue
        capacity = seat_capacity(job, name) / job.working.jack_reserve
        bound = (capacity - seat.breakaway) / (1.0 + job.staging.friction) - now
        add(row, bound, "jack", name, f"jack capacity over its reserve at seat {name}")


def _force_rows(influence: Influence, add: AddRow) -> None:
    for force in influence.forces:
        for sign, word, bound in ((1.0, "greatest", force.most), (-1.0, "least", -force.least)):
            if np.isfinite(bound):
                text = _force_words(force, word)
                add(sign * force.row, bound - sign * force.now, force.kind, force.id, text)


def _force_words(force: ForceRow, word: str) -> str:
    """Say what a limit of a watched force stands for."""
    kind, _, name = force.id.partition("/")
    if kind == "cable":
        return f"{word} tension of cable {name}"
    if kind == "saddle":
        saddle, _, side = name.partition("/")
        return f"friction at saddle {saddle} before the cable slips {side}"
    return f"{word} {force.kind} at {force.id}"


def _seat_limit_rows(job: Job, influence: Influence, add: AddRow) -> None:
    column = {name: i for i, name in enumerate(influence.seats)}
    for limit in job.limits.values():
        row = np.zeros(len(column))
        row[[column[s] for s in limit.seats]] = limit_pattern(job, limit.kind, limit.seats)
        word = "difference in lift" if limit.kind == "difference" else "warp"
        for sign in (1.0, -1.0):
            add(sign * row, limit.most, limit.kind, limit.id, f"{word} {limit.id}")


def limit_pattern(job: Job, kind: str, seats: tuple[str, ...]) -> Array:
    """Return the coefficients of a difference (2,) or a warp (4,) between seats.

    The warp of four seats is how far one of them leaves the plane through the other three, the
    one farthest inside the others' reach counting in full: coefficients are those of the plane
    condition, scaled so that the greatest is one.

    Parameters
    ----------
    job : Job
    kind : str
        ``difference`` or ``warp``.
    seats : tuple of str
        Two for a difference, four for a warp.
    """
    if kind == "difference":
        return np.array([1.0, -1.0])
    plan = np.array([job.seats[s].position[:2] for s in seats])
    plane = np.c_[np.ones(4), plan - plan.mean(axis=0)]
    null = np.linalg.svd(plane.T)[2][-1]
    pattern = null / np.abs(null).max()
    return pattern * (1.0 if pattern[0] > 0.0 else -1.0)


def _joint_rows(job: Job, state: CheckState, influence: Influence, add: AddRow) -> None:
    for i, check in enumerate(state.checks):
        row, now = influence.A[i], float(state.values[i])
        if check.leave_within is not None:
            for sign in (1.0, -1.0):
                text = f"what is left at {check.id}"
                add(sign * row, check.leave_within - sign * now, "leave", check.id, text)
        locked = job.joints[check.joint].locked_within if check.pair is not None else None
        if locked is not None:
            for sign in (1.0, -1.0):
                add(sign * row, locked, "locked", check.id, f"locked joint at {check.id}")
        if check.quantity != "gap":
            continue
        least = job.joints[check.joint].least_opening
        if least is not None:
            assert check.pair is not None
            warm = state.least_change(i, job.gates.temperature_apart)
            opening = job.pairs[check.pair].opening + now + warm
            add(-row, opening - least, "opening", check.pair, f"clear opening at pair {check.pair}")


def _stroke_rows(job: Job, influence: Influence, add: AddRow) -> None:
    """Lift clear of old and new packs: x_i + insertion + what others of the group go down."""
    for i, name in enumerate(influence.seats):
        seat = job.seats[name]
        if seat.hold or not movable(job, seat):
            continue
        spare = stroke_left(job, seat) - clearance(job, seat)
        for j, other in enumerate(influence.seats):
            if job.seats[other].group != seat.group or i == j or clearance(job, seat) == 0.0:
                continue
            row = np.zeros(len(influence.seats))
            row[i], row[j] = 1.0, -1.0
            add(row, spare, "stroke", name, f"stroke at seat {name} with {other} going down")
