"""Is an influence table to be believed? Statics and geometry that hold for every structure.

A table is somebody else's analysis: a sign turned at export, or two columns exchanged, still reads
well and turns every RAISE into a LOWER. Whatever the structure is,

* reactions answer to moves reciprocally, R = R' (Maxwell 1864, Betti 1872), and a seat that is
  raised takes more load, not less;
* moves that lift or tilt a segment as a rigid body and change no reaction carry every point with
  them as geometry says, however the deck bends otherwise.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.checks import parts_of
from fitup.checks.part import Part
from fitup.errors import Problem
from fitup.frames import Array
from fitup.model import Check, Influence, Job

#: share by which reciprocal entries may differ: tables are printed with few digits
_RECIPROCAL: Final = 0.1
#: share of its terms up to which a sum is nothing
_NOTHING: Final = 0.02
#: a reaction that answers with less than this is rounding [N/m]
_ROUNDING: Final = 1e3
#: share by which a check may miss what geometry says
_OFF: Final = 0.25
#: a term whose row cancels counts with this share of what cancels
_CANCELS: Final = 0.2
#: share of rows that must read the other way round for the columns to be named
_MOST_ROWS: Final = 0.8
#: rows named one by one
_NAMED: Final = 6
#: checks that follow a segment up and down; others hang on where it is held in plan
_UPRIGHT: Final = ("step", "level", "kink_grade", "twist")
_DO = "correct the export"


@dataclass(frozen=True, eq=False)
class _Motion:
    """A rigid motion of some segments: moves (n,) of all seats, changes (m,) of the checks."""

    what: str
    x: Array
    change: Array


def doubts_of(shown: str, job: Job, checks: Sequence[Check], table: Influence) -> list[Problem]:
    """Return what statics and geometry say against an influence table.

    Parameters
    ----------
    shown : str
        Name of the file in messages.
    job : Job
    checks : sequence of Check
        Of the rows of ``table.A``.
    table : Influence

    Returns
    -------
    list of Problem
        Empty where nothing speaks against it.
    """
    found = _of_reactions(shown, table)
    return found or _of_geometry(shown, job, checks, table)


def _of_reactions(shown: str, table: Influence) -> list[Problem]:
    R, seats = table.R, table.seats
    size = float(np.abs(R).max(initial=0.0))
    if size <= _ROUNDING:
        return []
    falls = [i for i in range(len(seats)) if R[i, i] < -_NOTHING * size]
    if falls:
        which = "every seat" if len(falls) == len(seats) else ", ".join(seats[i] for i in falls)
        swap = _swapped(R) if len(falls) < len(seats) else None
        if swap is not None:
            return [_exchanged(shown, seats, swap, "reactions answer reciprocally")]
        found = f"a seat that is raised loses load: {which}"
        allowed = "more load on the seat that is raised"
        do = f"turn the sign of the column, or of the row reaction/SEAT, of {which}"
        return [Problem(shown, found, allowed, do)]
    if _reciprocal(R):
        return []
    swap = _swapped(R)
    if swap is not None:
        return [_exchanged(shown, seats, swap, "reactions answer reciprocally")]
    i, j = np.unravel_index(int(np.abs(R - R.T).argmax()), R.shape)
    found = (
        f"reaction/{seats[i]} changes by {R[i, j] / 1e6:.4g} kN/mm with {seats[j]}, "
        f"reaction/{seats[j]} by {R[j, i] / 1e6:.4g} kN/mm with {seats[i]}"
    )
    return [Problem(shown, found, "the same both ways (Maxwell-Betti)", _DO)]


def _exchanged(shown: str, seats: Sequence[str], swap: tuple[int, int], why: str) -> Problem:
    a, b = (seats[i] for i in swap)
    found = f"with the columns {a} and {b} exchanged, {why}; as they stand, not"
    return Problem(shown, found, "each column under the name of its seat", _DO)


def _reciprocal(R: Array) -> bool:
    size = float(np.abs(R).max(initial=0.0))
    return bool(np.abs(R - R.T).max(initial=0.0) <= _RECIPROCAL * size)


def _swapped(R: Array) -> tuple[int, int] | None:
    """Return the one pair of columns that makes reactions reciprocal when exchanged."""
    size = float(np.abs(R).max(initial=0.0))
    found = []
    for i, j in itertools.combinations(range(len(R)), 2):
        other = _exchange(R, i, j)
        if _reciprocal(other) and np.diag(other).min() >= -_NOTHING * size:
            found.append((i, j))
    return found[0] if len(found) == 1 else None


def _exchange(rows: Array, i: int, j: int) -> Array:
    other = rows.copy()
    other[:, [i, j]] = rows[:, [j, i]]
    return other


def _of_geometry(shown: str, job: Job, checks: Sequence[Check], table: Influence) -> list[Problem]:
    motions = list(_motions(job, checks, table))
    upright = np.array([c.quantity in _UPRIGHT for c in checks])
    wrong, turned = _misses(table.A, motions, upright)
    if not wrong.any():
        return []
    seen = np.any([upright & (np.abs(m.change) > 0.0) for m in motions], axis=0)
    if turned.sum() >= _MOST_ROWS * seen.sum():
        found = "checks go down where all seats of a segment are raised together"
        allowed = "a point that rises with its segment"
        do = "turn the sign of every column of a seat that pushes up"
        return [Problem(shown, found, allowed, do)]
    for i, j in itertools.combinations(range(len(table.seats)), 2):
        if not _misses(_exchange(table.A, i, j), motions, upright)[0].any():
            why = "the checks follow the segments as geometry says"
            return [_exchanged(shown, table.seats, (i, j), why)]
    problems = []
    for k in np.flatnonzero(wrong)[:_NAMED]:
        motion = max(motions, key=lambda m: abs(float(table.A[k] @ m.x - m.change[k])))
        got, right = float(table.A[k] @ motion.x), float(motion.change[k])
        found = f"'{checks[k].id}' changes by {got:.3g} when {motion.what}"
        do = "turn its sign" if turned[k] else "correct the row, or the seats in seats.csv"
        problems.append(Problem(shown, found, f"{right:.3g}, by geometry", do))
    return problems


def _misses(A: Array, motions: Sequence[_Motion], upright: Array) -> tuple[Array, Array]:
    """Return which rows (m,) miss what geometry says of a motion, and which have its sign turned.

    A row is turned where every motion that it feels comes out with the other sign.
    """
    wrong, straight = np.zeros(len(A), dtype=bool), np.zeros(len(A), dtype=bool)
    felt = np.zeros(len(A), dtype=bool)
    for motion in motions:
        got = A @ motion.x
        size = np.maximum(np.abs(motion.change), _CANCELS * (np.abs(A) @ np.abs(motion.x)))
        feels = np.abs(motion.change) > 0.5 * size
        wrong |= upright & (np.abs(got - motion.change) > _OFF * size)
        straight |= feels & (np.abs(got + motion.change) > _OFF * size)
        felt |= feels
    return wrong, wrong & felt & ~straight


def _motions(job: Job, checks: Sequence[Check], table: Influence) -> Iterator[_Motion]:
    """Yield rigid motions of single segments and of all together that change no reaction."""
    parts = [parts_of(job, check) for check in checks]
    bodies: list[tuple[str, ...]] = [(name,) for name in job.segments]
    if len(bodies) > 1:
        bodies.append(tuple(job.segments))
    for body in bodies:
        own = [i for i, s in enumerate(table.seats) if job.seats[s].segment in body]
        lifts = [job.seats[table.seats[i]] for i in own if job.seats[table.seats[i]].lifts]
        if len(lifts) < 3:
            continue
        centre = np.mean([s.position for s in lifts], axis=0)
        spread = np.array([s.position[:2] - centre[:2] for s in lifts])
        if np.linalg.svd(spread, compute_uv=False)[-1] < 1e-2 * np.abs(spread).max():
            continue
        names = f"segment {body[0]} is" if len(body) == 1 else "all segments are"
        for turn, word in ((None, "lifted"), (0, "tilted"), (1, "tilted")):
            shift, about = np.array([0.0, 0.0, 1.0]), np.zeros(3)
            if turn is not None:
                shift, about[turn] = np.zeros(3), 1.0 / max(1.0, np.abs(spread).max())
            x = np.zeros(len(table.seats))
            for i in own:
                seat = job.seats[table.seats[i]]
                x[i] = seat.direction @ (shift + np.cross(about, seat.position - centre))
            if np.all(np.abs(table.R @ x) <= _NOTHING * (np.abs(table.R) @ np.abs(x)) + _ROUNDING):
                change = [_change(job, p, body, centre, shift, about) for p in parts]
                yield _Motion(f"{names} {word}", x, np.array(change))


def _change(
    job: Job, part: Part, body: Sequence[str], centre: Array, shift: Array, turn: Array
) -> float:
    """Return the change of a check when some segments move rigidly."""
    total = 0.0
    for name, row in part.points.items():
        if job.points[name].segment in body:
            arm = job.points[name].design - centre
            total += float(row @ (shift + np.cross(turn, arm)))
    return total + sum(float(row @ turn) for name, row in part.turns.items() if name in body)
