"""What binds along a line: multipliers of its limits, folded into the forms that bound it.

Where strokes, limits or ratios bind, squares that do not know of them bound badly. With ``p >= 0``
for every row ``G x <= d`` that a plan keeps, squares + p . (G x - d) is never above the squares of
the plan. The prices p are the multipliers of the continuous optimum, where the two meet; any
others would only bound less, so a solver's rounding does no harm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Final

import numpy as np

from fitup.frames import Array
from fitup.solve.forms import QuadraticForm, squares
from fitup.solve.line import SegmentLine

_MM: Final = 1e-3
#: segment or link, its rows G over the settings it ties, and d
_Rows = tuple[int, Array, Array]


@dataclass(frozen=True, eq=False)
class Balanced:
    """A line whose links cost nothing at the continuous optimum, and forms that bound it.

    ``line`` costs what the one it was made from costs, less ``moved``; ``x`` (n,) is the optimum of
    each segment, where it was found. ``plain`` and ``tight``
    are forms of segments and links: as they are, and with what binds folded in.
    """

    line: SegmentLine
    moved: float
    x: list[Array]
    plain: tuple[list[QuadraticForm], list[QuadraticForm]]
    tight: tuple[list[QuadraticForm], list[QuadraticForm]]


def balance(line: SegmentLine) -> Balanced:
    """Move costs from links to the segments they tie, so that cutting a link loses little.

    With e what a link's squares are made of and p its value at the continuous optimum,

        |e|^2 = |e - p|^2 + 2 p . e - |p|^2,

    and the linear part belongs to the two segments. The cost of every line stays the same.
    """
    own = [squares(M, h) for M, h in line.own]
    links = [squares(np.hstack([k.A, k.B]), k.h) for k in line.links]
    alone = [(s, *_segment_rows(line, s)) for s in range(len(own))]
    pairs = [(s, np.hstack([k.P, k.Q]), k.r) for s, k in enumerate(line.links)]
    start = np.r_[0, np.cumsum([len(space.values) for space in line.spaces])]
    found = _optimum(own, links, alone, pairs, start)
    if found is None:
        middle = [np.array([0.5 * (v[0] + v[-1]) for v in space.values]) for space in line.spaces]
        return Balanced(line, line.base, middle, (own, links), (own, links))
    x = np.split(found[0], start[1:-1])
    of_own, of_links = found[1:]
    line, moved = _moved(line, x)
    own = [squares(M, h) for M, h in line.own]
    links = [squares(np.hstack([k.A, k.B]), k.h) for k in line.links]
    tight = (_fold(own, alone, of_own), _fold(links, pairs, of_links))
    return Balanced(line, line.base + moved, x, (own, links), tight)


def _moved(line: SegmentLine, x: Sequence[Array]) -> tuple[SegmentLine, float]:
    """Return the line with what its links cost at x moved to its segments, and the constant."""
    definite = [
        len(h) >= len(own) and np.linalg.matrix_rank(M) == M.shape[1]
        for (M, h), own in zip(line.own, x, strict=True)
    ]
    pulls = [np.zeros(len(own)) for own in x]
    links, moved = [], 0.0
    for s, link in enumerate(line.links):
        p = link.A @ x[s] + link.B @ x[s + 1] - link.h
        if not (definite[s] and definite[s + 1]):
            p = np.zeros_like(p)
        pulls[s] += 2.0 * link.A.T @ p
        pulls[s + 1] += 2.0 * link.B.T @ p
        moved += float(-2.0 * (p @ link.h) - p @ p)
        links.append(replace(link, h=link.h + p))
    own = []
    for (M, h), pull in zip(line.own, pulls, strict=True):
        if not pull.any():
            own.append((M, h))
            continue
        shift = -0.5 * (M @ np.linalg.solve(M.T @ M, pull))
        own.append((M, h + shift))
        moved += float(h @ h - (h + shift) @ (h + shift))
    return replace(line, own=own, links=links), moved


def _segment_rows(line: SegmentLine, s: int) -> tuple[Array, Array]:
    """Return the rows G x <= d of one segment: least and greatest settings, and its limits."""
    space = line.spaces[s]
    n = len(space.values)
    low = np.array([v[0] for v in space.values])
    high = np.array([v[-1] for v in space.values])
    return np.vstack([-np.eye(n), np.eye(n), space.L]), np.r_[-low, high, space.b]


def _fold(
    forms: Sequence[QuadraticForm], rows: Sequence[_Rows], prices: Sequence[Array]
) -> list[QuadraticForm]:
    return [
        QuadraticForm(form.H, form.c - 0.5 * (G.T @ p), form.k - float(p @ d))
        for form, (_, G, d), p in zip(forms, rows, prices, strict=True)
    ]


def _optimum(
    own: Sequence[QuadraticForm],
    links: Sequence[QuadraticForm],
    alone: Sequence[_Rows],
    pairs: Sequence[_Rows],
    start: Array,
) -> tuple[Array, list[Array], list[Array]] | None:
    """Return the continuous optimum and the multipliers of all rows, None if it was not found."""
    import clarabel
    from scipy import sparse

    n = int(start[-1])
    wide = [(start[s], start[s + 2]) for s in range(len(links))]
    curve, slope = [], np.zeros(n)
    for form, (i, j) in zip([*own, *links], [*pairwise(start), *wide], strict=True):
        curve.append((form.H, i, i))
        slope[i:j] -= 2.0 * form.c
    G, d, at = [], [], 0
    for s, rows, right in alone:
        G.append((rows, at, start[s]))
        at += len(right)
        d.append(right)
    for s, rows, right in pairs:
        G.append((rows, at, start[s]))
        at += len(right)
        d.append(right)
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    # unknowns in millimetres and rows of their size
    A = _place(G, (at, n))
    scale = np.asarray(np.abs(A).max(axis=1).todense()).ravel()
    scale = np.where(scale > 0.0, scale, 1.0)
    solver = clarabel.DefaultSolver(
        sparse.triu(_place(curve, (n, n)) * (2.0 * _MM**2)).tocsc(),
        slope * _MM,
        (sparse.diags(1.0 / scale) @ A).tocsc(),
        np.concatenate(d) / scale / _MM,
        [clarabel.NonnegativeConeT(at)],
        settings,
    )
    solution = solver.solve()
    if str(solution.status) not in ("Solved", "AlmostSolved"):
        return None
    price = np.maximum(np.array(solution.z), 0.0) / scale / _MM
    parts = np.split(price, np.cumsum([len(right) for right in d])[:-1])
    return np.array(solution.x) * _MM, parts[: len(alone)], parts[len(alone) :]


def _place(blocks: Sequence[tuple[Array, int, int]], shape: tuple[int, int]) -> Any:
    """Add up blocks at their places in one sparse matrix."""
    from scipy import sparse

    row, column, value = [], [], []
    for block, i, j in blocks:
        down, across = np.nonzero(block)
        row.append(down + i)
        column.append(across + j)
        value.append(block[down, across])
    return sparse.csc_matrix(
        (np.concatenate(value), (np.concatenate(row), np.concatenate(column))), shape=shape
    )
