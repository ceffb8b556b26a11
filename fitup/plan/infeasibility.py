"""Everything that fences a plan in, as rows that can be taken away one by one.

Plates may be of any thickness here. Where a set of rows cannot be kept even so, neither can it be
with whole plates; which rows stand in the way, by how much one of them would have to give, and
what one binds, are small linear programmes.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.model import Job, Seat
from fitup.problem.problem import (
    LimitRow,
    clearance,
    limit_rows,
    movable,
    stroke_back,
    stroke_left,
)
from fitup.problem.relaxations import Case, Key, loosened, of_tolerance

#: no seat goes further [m]
_WIDE: Final = 0.5
_MM: Final = 1e-3
#: rows that miss by no more are kept [mm, rows scaled to settings]
_KEPT: Final = 1e-5
_SUPPORT: Final = 1e-9
#: most sets without a part in common that are looked for
_MOST: Final = 3


@dataclass(frozen=True, eq=False)
class _BoundRow:
    """``row . x <= bound`` [SI]; the bound grows by ``slope`` as its key gives way by one."""

    row: Array
    bound: float
    key: Key | None
    slope: float = 1.0
    unless: tuple[Key, ...] = ()
    """A row that counts only where all of these have given way: a held seat needs no jack."""


@dataclass(frozen=True, eq=False)
class Fence:
    """Rows ``G x <= d``, scaled to settings [mm], each with its key and how it gives way."""

    G: Array
    d: Array
    slopes: Array
    keys: tuple[Key | None, ...]
    unless: tuple[tuple[Key, ...], ...]

    def every(self) -> tuple[Key, ...]:
        """Return every key, in the order of the rows."""
        return tuple(dict.fromkeys(k for k in self.keys if k is not None))

    def active(self, kept: Collection[Key]) -> Array:
        """Say which rows (r,) count while these are kept."""
        return np.array(
            [
                (k is None or k in kept) and not any(u in kept for u in us)
                for k, us in zip(self.keys, self.unless, strict=True)
            ]
        )

    def missed(self, kept: Collection[Key]) -> tuple[float, frozenset[Key]]:
        """Return by how much the kept cannot be kept [mm], and those that say so."""
        from scipy.optimize import linprog

        on = self.active(kept)
        n = self.G.shape[1]
        A = np.c_[self.G[on], -np.ones(int(on.sum()))]
        cost = np.r_[np.zeros(n), 1.0]
        bounds = [(None, None)] * n + [(0.0, None)]
        found = linprog(cost, A_ub=A, b_ub=self.d[on], bounds=bounds, method="highs")
        if found.status != 0:
            return math.inf, frozenset(kept)
        own = [k for k, use in zip(self.keys, on, strict=True) if use]
        said = frozenset(
            k
            for k, price in zip(own, found.ineqlin.marginals, strict=True)
            if k is not None and price < -_SUPPORT
        )
        return float(found.x[n]), said

    def contradict(self, kept: Collection[Key]) -> bool:
        """Say whether the kept cannot all be kept, whatever the plates."""
        return self.missed(kept)[0] > _KEPT

    def in_the_way(self, kept: Collection[Key]) -> tuple[Key, ...]:
        """Return some of the kept that cannot be kept together, none of which may be left out.

        Empty where all can be kept. A deletion filter over what the multipliers of the linear
        programme name: a key is dropped where the others still contradict each other.
        """
        missed, said = self.missed(kept)
        if missed <= _KEPT:
            return ()
        left = [k for k in self.every() if k in said]
        if not self.contradict(left):
            left = [k for k in self.every() if k in kept]
        for key in list(left):
            fewer = [k for k in left if k != key]
            if self.contradict(fewer):
                left = fewer
        return tuple(left)

    def sets_in_the_way(self) -> tuple[tuple[Key, ...], ...]:
        """Return such sets, no two with a part in common; a change frees all or none."""
        kept = list(self.every())
        sets: list[tuple[Key, ...]] = []
        while len(sets) < _MOST and (found := self.in_the_way(kept)):
            sets.append(found)
            kept = [k for k in kept if k not in found]
        return tuple(sets)

    def least_change(self, key: Key) -> float | None:
        """Return the least by which a key must give way alone [SI] for all to be kept.

        None where that is not enough, however far it gives way.
        """
        from scipy.optimize import linprog

        kept = self.every()
        others = [k for k in kept if k != key]
        if self.contradict(others):
            return None
        on = self.active(kept)
        own = np.array([k == key for k in self.keys])[on]
        if any(key in us for us in self.unless):
            # rows come and go with it: given way or not
            return 0.0
        n = self.G.shape[1]
        A = np.c_[self.G[on], -np.where(own, self.slopes[on], 0.0)]
        cost = np.r_[np.zeros(n), 1.0]
        bounds = [(None, None)] * n + [(0.0, None)]
        found = linprog(cost, A_ub=A, b_ub=self.d[on] + _KEPT, bounds=bounds, method="highs")
        return float(found.x[n]) if found.status == 0 else None


def fence(case: Case, *, tolerances: bool = True, share: float = 1.0) -> Fence:
    """Return what fences a plan in, every check being inside its tolerance.

    Parameters
    ----------
    case : Case
    tolerances : bool
        Count the tolerances of the checks; without, only what must be kept in any case.
    share : float
        Of each tolerance, that a check must be within.
    """
    rows = list(_limits(case))
    if tolerances:
        rows += _tolerances(case, share)
    G = np.array([r.row for r in rows])
    size = np.abs(G).max(axis=1)
    keep = size > 0.0
    rows = [r for r, k in zip(rows, keep, strict=True) if k]
    G, size = G[keep], size[keep]
    return Fence(
        G / size[:, None],
        np.array([r.bound for r in rows]) / size / _MM,
        np.array([r.slope for r in rows]) / size / _MM,
        tuple(r.key for r in rows),
        tuple(r.unless for r in rows),
    )


def _tolerances(case: Case, share: float) -> Iterator[_BoundRow]:
    state, A = case.state, case.influence.A
    for i, check in enumerate(state.checks):
        if check.tolerance is None or check.weight <= 0.0:
            continue
        off = check.target - float(state.values[i])
        for sign in (1.0, -1.0):
            bound = share * check.tolerance + sign * off
            yield _BoundRow(sign * A[i], bound, of_tolerance(check), share)


def _limits(case: Case) -> Iterator[_BoundRow]:
    """Yield all hard limits, as if what their jacks could lift were free to move."""
    job = case.job
    held = {
        n: ("held", n)
        for n, s in job.seats.items()
        if s.hold and job.jacks_at(n) and stroke_left(job, s) >= clearance(job, s)
    }
    stuck = {s.group: ("lift", s.group) for s in job.seats.values() if not movable(job, s)}
    seats = {n: replace(s, hold=False) if n in held else s for n, s in job.seats.items()}
    free = Case(replace(job, seats=seats), case.state, case.influence)
    for key in stuck.values():
        free = loosened(free, key)
    n = len(case.influence.seats)
    fixed = {
        name: tuple(k for k in (held.get(name), stuck.get(seats[name].group)) if k is not None)
        for name in case.influence.seats
    }
    for i, name in enumerate(case.influence.seats):
        yield from _travel(free.job, seats[name], np.eye(n)[i], fixed[name])
    wide = np.tile([-_WIDE, _WIDE], (n, 1))
    L, b, labels = limit_rows(free.job, case.state, case.influence, wide)
    joint = {c.id: c.joint for c in case.state.checks}
    for row, bound, label in zip(L, b, labels, strict=True):
        slope = 1.0
        if label.kind == "jack":
            slope = 1.0 / (job.working.jack_reserve * (1.0 + job.staging.friction))
        unless = fixed[label.subject] if label.kind in ("jack", "stroke") else ()
        yield _BoundRow(row, float(bound), _key(job, label, joint), slope, unless)


def _key(job: Job, label: LimitRow, joint: dict[str, str]) -> Key:
    kind, subject = label.kind, label.subject
    if kind in ("difference", "warp"):
        return ("limit", subject)
    if kind == "locked":
        return (kind, joint[subject])
    if kind == "opening":
        return (kind, job.pairs[subject].joint)
    return ("watched", subject) if kind in ("force", "moment", "stress") else (kind, subject)


def _travel(job: Job, seat: Seat, unit: Array, fixed: tuple[Key, ...]) -> Iterator[_BoundRow]:
    """Yield how far a seat may go, every reason apart: held, left alone, stroke, its own travel."""
    name = seat.id
    yield _BoundRow(unit, _WIDE, None)
    yield _BoundRow(-unit, _WIDE, None)
    for key in (*fixed, None) if seat.hold else fixed:
        yield _BoundRow(unit, 0.0, key)
        yield _BoundRow(-unit, 0.0, key)
    if name in job.objectives.leave_alone:
        yield _BoundRow(unit, 0.0, ("alone", name))
        yield _BoundRow(-unit, 0.0, ("alone", name))
    if seat.hold:
        return
    reach = max(0.0, stroke_left(job, seat) - clearance(job, seat))
    yield _BoundRow(unit, reach, ("stroke", name), unless=fixed)
    if seat.raise_most is not None:
        yield _BoundRow(unit, max(0.0, seat.raise_most), ("raise", name), unless=fixed)
    back = max(0.0, stroke_back(job, seat)) if seat.comes_back else 0.0
    yield _BoundRow(-unit, back, ("back", name) if seat.comes_back else None, unless=fixed)
    if seat.lower_most is not None:
        yield _BoundRow(-unit, max(0.0, seat.lower_most), ("lower", name), unless=fixed)
