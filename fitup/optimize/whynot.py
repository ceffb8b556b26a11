"""When tolerance cannot be met: what stands in the way, and the smallest change of each.

Every change is tried alone, on the whole job, and counts only when a plan of whole plates is
found that then meets every tolerance.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from fitup.joints import checks_of
from fitup.model import FORCES, Aim, Check, CheckState, Influence, Job, Obstacle, Quantity, Seat
from fitup.optimize.problem import FitProblem, build_problem, stroke_left
from fitup.optimize.wishes import attainable

Report = Callable[[str], None]
_MM = 1e-3
_STARTS = 3


@dataclass(frozen=True, eq=False)
class _Change:
    """A kind of change: what it is, and its tries from small to large, each with its words."""

    what: str
    tries: tuple[tuple[str, Job], ...]


def find_obstacles(
    job: Job,
    state: CheckState,
    influence: Influence,
    problem: FitProblem,
    x: np.ndarray,
    report: Report = lambda line: None,
) -> tuple[Obstacle, ...]:
    """Return the single changes that would each let every tolerance be met.

    Parameters
    ----------
    job, state, influence
        The job as it is.
    problem : FitProblem
    x : Array (n,)
        Settings of the best plan [m].
    report : callable
        Told what is being tried.
    """
    found: list[Obstacle] = []
    for change in _changes(job, state, problem, x):
        if not change.tries:
            continue
        report(f"why not: {change.what}")
        # the largest amount first: where even that is not enough the others need not be tried
        text, other = change.tries[-1]
        if not _enough(other, state, influence):
            continue
        for smaller, less in change.tries[:-1]:
            if _enough(less, state, influence):
                text = smaller
                break
        found.append(Obstacle(change.what, text, True))
    return tuple(found)


def _enough(job: Job, state: CheckState, influence: Influence) -> bool:
    """Say whether a changed job has a plan of whole plates inside every tolerance."""
    trial = build_problem(job, _with_tolerances(job, state), influence)
    return attainable(trial, job.wishes.worst_ratio_goal, _STARTS) is not None


def _with_tolerances(job: Job, state: CheckState) -> CheckState:
    """Give the checks the tolerances of a changed job; values stay as surveyed."""
    return replace(state, checks=checks_of(job))


def _changes(job: Job, state: CheckState, problem: FitProblem, x: np.ndarray) -> Iterator[_Change]:
    yield from _tolerance_changes(job, state, problem, x)
    yield from _plate_changes(job)
    yield from _seat_changes(job, problem)
    yield from _limit_changes(job)


def _tolerance_changes(
    job: Job, state: CheckState, problem: FitProblem, x: np.ndarray
) -> Iterator[_Change]:
    goal = job.wishes.worst_ratio_goal
    checks = {c.id: c for c in state.checks}
    points: dict[Quantity, float] = {}
    for name, ratio in zip(problem.rows, np.abs(problem.F @ x - problem.g), strict=True):
        check = checks[name]
        if ratio <= goal or check.tolerance is None:
            continue
        if check.point is not None or check.subject:
            loosest = max(ratio / goal, points.get(check.quantity, 0.0))
            points[check.quantity] = loosest
            continue
        word, step = ("mm", 0.1) if check.is_length else ("mm/m", 0.01)
        tries = []
        for share in (0.6, 0.8, 1.0, 1.2):
            wanted = check.tolerance * ratio / goal * share
            amount = math.ceil(wanted / _MM / step - 1e-9) * step
            if wanted <= check.tolerance:
                continue
            aim = Aim(check.joint, check.pair, check.quantity, "tolerance", amount * _MM, "tried")
            text = (
                f"{_words(check)} tolerance of {amount:.2f} {word} "
                f"(now {check.tolerance / _MM:.2f} {word})"
            )
            tries.append((text, replace(job, aims=(*job.aims, aim))))
        yield _Change(f"{_words(check)} tolerance", tuple(tries))
    for quantity, ratio in points.items():
        yield _Change(f"{quantity} tolerance", tuple(_point_tolerances(job, quantity, ratio)))


def _point_tolerances(job: Job, quantity: Quantity, ratio: float) -> Iterator[tuple[str, Job]]:
    """Loosen a tolerance of single points, towers or cables, which holds for all of them."""
    now = job.tolerances[quantity]
    word, unit = ("kN", 1e3) if quantity in FORCES else ("mm", _MM)
    where = {"lean": "towers", "tension": "cables"}.get(quantity, "points")
    for share in (0.7, 0.8, 0.9, 1.0, 1.1):
        amount = math.ceil(now.value * ratio * share / unit - 1e-9)
        if amount * unit > now.value:
            looser = {**job.tolerances, quantity: replace(now, value=amount * unit)}
            text = (
                f"{quantity} tolerance of {amount} {word} at all {where} "
                f"(now {now.value / unit:g} {word})"
            )
            yield text, replace(job, tolerances=looser)


def _words(check: Check) -> str:
    name = check.quantity.replace("kink_", "kink in ").replace("_", " ")
    return f"{name} at {check.item or check.pair or check.joint}"


def _plate_changes(job: Job) -> Iterator[_Change]:
    for mark, plate in job.plates.items():
        tries = []
        for more in (1, 2, 3, 4):
            stock = {**job.plates, mark: replace(plate, count=plate.count + more)}
            word = "plate" if more == 1 else "plates"
            text = f"{more} more {word} {mark} ({plate.nominal / _MM:g} mm)"
            tries.append((text, replace(job, plates=stock)))
        yield _Change(f"stock of plate {mark}", tuple(tries))


def _seat_changes(job: Job, problem: FitProblem) -> Iterator[_Change]:
    for name in problem.seats:
        seat = job.seats[name]
        if seat.hold:
            free = _with_seat(job, replace(seat, hold=False))
            yield _Change(f"seat {name} held", ((f"let seat {name} move (hold = no)", free),))
            continue
        if stroke_left(job, seat) < 0.1:
            yield _Change(f"stroke at seat {name}", tuple(_strokes(job, name)))
        if seat.held_by == "packs":
            more = _with_seat(job, replace(seat, most_plates=seat.most_plates + 1))
            text = f"one more plate allowed in the pack at seat {name}"
            yield _Change(f"plates in the pack at seat {name}", ((text, more),))


def _with_seat(job: Job, seat: Seat) -> Job:
    return replace(job, seats={**job.seats, seat.id: seat})


def _strokes(job: Job, name: str) -> Iterator[tuple[str, Job]]:
    for more in (1, 2, 3, 5, 7, 10, 15, 20, 30, 40):
        longer = {j.id: replace(j, stroke=j.stroke + more * _MM) for j in job.jacks_at(name)}
        yield f"{more} mm more stroke at seat {name}", replace(job, jacks={**job.jacks, **longer})


def _limit_changes(job: Job) -> Iterator[_Change]:
    for name, limit in job.limits.items():
        kind = "difference in lift" if limit.kind == "difference" else "warp"
        tries = []
        for more in (1.0, 2.0, 5.0, 10.0):
            wider = replace(limit, most=limit.most + more * _MM)
            text = f"{kind} {name} up to {wider.most / _MM:.1f} mm (now {limit.most / _MM:.1f} mm)"
            tries.append((text, replace(job, limits={**job.limits, name: wider})))
        yield _Change(f"limit {name}", tuple(tries))
