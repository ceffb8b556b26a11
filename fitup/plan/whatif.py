"""What if: a job with seats held or left alone, plates gone, jacks broken; and fewer seats."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitup.errors import InputError, Problem
from fitup.frames import Array
from fitup.model import CheckState, Influence, Job
from fitup.plan.search_space import space_of, squares_goal
from fitup.problem.continuous import least_squares
from fitup.problem.problem import FitProblem, build_problem
from fitup.solve.local_search import improve

Report = Callable[[str], None]
_STARTS = 2


def changed_job(
    job: Job,
    hold: Sequence[str] = (),
    gone: Mapping[str, int] | None = None,
    broken: Sequence[str] = (),
    leave: Sequence[str] = (),
) -> Job:
    """Return a job in which some things are otherwise.

    Parameters
    ----------
    job : Job
    hold : sequence of str
        Seats that must stay as they are.
    gone : mapping of str to int, optional
        Plates of a mark that are no longer in the store.
    broken : sequence of str
        Jacks that cannot be used.
    leave : sequence of str
        Seats whose packs stay as they are.

    Raises
    ------
    InputError
        For a seat, mark or jack that the job does not have, and more plates than it has.
    """
    gone = {} if gone is None else gone
    problems = [
        *_unknown("--hold", hold, job.seats, "a seat"),
        *_unknown("--gone", gone, job.plates, "a plate mark"),
        *_unknown("--broken", broken, job.jacks, "a jack"),
        *_unknown("--leave", leave, job.seats, "a seat"),
    ]
    for mark, count in gone.items():
        if mark in job.plates and not 0 <= count <= job.plates[mark].count:
            have = job.plates[mark].count
            found, allowed = f"{mark}={count}", f"0 to {have}, the loose plates {mark} in stock"
            problems.append(
                Problem("command line", found, allowed, "give how many are gone", None, "--gone")
            )
    if problems:
        raise InputError(problems)
    plates = {
        mark: replace(plate, count=plate.count - gone.get(mark, 0))
        for mark, plate in job.plates.items()
    }
    seats = {name: replace(s, hold=s.hold or name in hold) for name, s in job.seats.items()}
    jacks = {name: jack for name, jack in job.jacks.items() if name not in broken}
    objectives = replace(job.objectives, leave_alone=(*job.objectives.leave_alone, *leave))
    return replace(job, seats=seats, plates=plates, jacks=jacks, objectives=objectives)


def _unknown(
    option: str, given: Sequence[str] | Mapping[str, int], known: Mapping[str, object], what: str
) -> list[Problem]:
    allowed = ", ".join(known)
    return [
        Problem(
            "command line",
            repr(name),
            f"{what} of the job: {allowed}",
            "mend the name",
            None,
            option,
        )
        for name in given
        if name not in known
    ]


@dataclass(frozen=True, slots=True)
class Fewer:
    """The best plan found that disturbs at most so many seats."""

    seats: int
    disturbed: tuple[str, ...]
    worst: float
    squares: float
    miss: float | None
    """Greatest distance from its aim of any step, gap or offset [m]; None where there is none."""


def fewer_seats(
    job: Job,
    state: CheckState,
    influence: Influence,
    report: Report = lambda line: None,
) -> tuple[Fewer, ...]:
    """Return what disturbing fewer seats costs, the most seats first.

    One seat after the other is left as it is, each time the one whose rest is worked best; found
    by descent, two seats at a time, so nothing is proven.

    Parameters
    ----------
    job, state, influence
    report : callable
        Called with one line for every row that is found.
    """
    problem = build_problem(job, state, influence)
    lengths = _joint_lengths(problem, state)
    stays = [next((k for k, c in enumerate(own) if not c.disturbed), -1) for own in problem.choices]
    left: frozenset[int] = frozenset()
    rows = []
    best = _worked(problem, stays, left)
    while best is not None:
        row, selection = best
        off = np.abs(problem.F @ problem.settings(selection) - problem.g) * lengths
        rows.append(replace(row, miss=float(off.max()) if lengths.any() else None))
        moved = [i for i, own in enumerate(problem.choices) if own[selection[i]].disturbed]
        left = frozenset(range(len(stays))) - frozenset(moved)
        free = [i for i in moved if stays[i] >= 0]
        report(f"fewer seats: {len(moved)}")
        tries = [_worked(problem, stays, left | {i}) for i in free]
        found = [t for t in tries if t is not None]
        best = min(found, key=lambda t: t[0].squares) if found else None
    return tuple(rows)


def _joint_lengths(problem: FitProblem, state: CheckState) -> Array:
    """Return the tolerances (m,) of the rows that are steps, gaps, offsets [m], 0 for others."""
    checks = {c.id: c for c in state.checks}
    own = [checks[name] for name in problem.rows]
    return np.array([(c.tolerance or 0.0) if c.pair and c.is_length else 0.0 for c in own])


def _worked(
    problem: FitProblem, stays: list[int], left: frozenset[int]
) -> tuple[Fewer, Array] | None:
    """Return the best plan found that leaves some seats as they are, and its selection."""
    keep = [
        [stays[i]] if i in left else list(range(len(own))) for i, own in enumerate(problem.choices)
    ]
    narrowed = replace(
        problem,
        choices=tuple(
            tuple(own[k] for k in ks) for own, ks in zip(problem.choices, keep, strict=True)
        ),
        counts=tuple(u[ks] for u, ks in zip(problem.counts, keep, strict=True)),
        windows=np.array(
            [[0.0, 0.0] if i in left else w for i, w in enumerate(problem.windows)]
        ).reshape(-1, 2),
    )
    relaxed = least_squares(narrowed, None)
    if relaxed is None:
        return None
    space = space_of(narrowed, relaxed.x, None)
    selection, squares = improve(space, squares_goal(narrowed), _STARTS)
    if selection is None:
        return None
    moved = tuple(
        name
        for name, own, k in zip(narrowed.seats, narrowed.choices, selection, strict=True)
        if own[k].disturbed
    )
    worst = narrowed.worst_ratio(narrowed.settings(selection))
    whole = np.array([ks[k] for ks, k in zip(keep, selection, strict=True)])
    return Fewer(len(moved), moved, worst, squares, None), whole
