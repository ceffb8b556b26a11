"""When tolerance cannot be met: what stands in the way together, and the smallest single change.

What no plates of any thickness can keep, no whole plates can: such conflicts are found, and the
least that each part would have to give, by linear programmes. Where only whole plates stand in the
way, the exact search says so. A change is named only when a plan of whole plates was found with it
that meets every tolerance.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Final

import numpy as np

from fitup.model import Conflict, Obstacle
from fitup.plan.infeasibility import Fence, fence
from fitup.plan.priorities import attainable, best_squares
from fitup.problem.problem import build_problem
from fitup.problem.relaxations import GIVES, Case, Key, loosened, what
from fitup.solve.effort import SECOND, Effort

Report = Callable[[str], None]
#: every check inside its tolerance
_INSIDE: Final = 1.0 + 1e-9
_STARTS: Final = 3
#: amounts tried, in steps beyond the least that could be enough
_STEPS: Final = (0, 1, 2, 3, 5, 8, 13, 21, 34)
#: most work of a proof that whole plates cannot, and of the search for what they cannot keep
#: [million steps]
_PROOF: Final = 1.0
_LONGEST: Final = 10.0
#: steps of a quick try, for every seat
_TRY: Final = 3e3
#: kinds of things that are given up together before they are looked at one by one
_KINDS: Final = (
    ("stock",),
    ("pack",),
    ("contact", "watched"),
    ("leave", "locked", "opening"),
    ("reaction_least", "reaction_most", "jack"),
    ("limit",),
    ("stroke", "lift", "back", "raise", "lower"),
    ("held", "alone"),
    ("tolerance",),
)


def find_obstacles(
    case: Case, effort: Effort, report: Report = lambda line: None
) -> tuple[tuple[Conflict, ...], tuple[Obstacle, ...]]:
    """Return what cannot be kept together, and single changes that let every tolerance be met.

    Parameters
    ----------
    case : Case
        A job that has no plan inside every tolerance, as far as is known.
    effort : Effort
        Nothing further is tried after it.
    report : callable
        Called with what is being tried.
    """
    report("what stands in the way")
    bounds = fence(case)
    sets = bounds.sets_in_the_way()
    if sets:
        conflicts = tuple(Conflict(_words(case, keys), "any thickness") for keys in sets)
        # what frees the job alone is part of every conflict, so of the first
        return conflicts, tuple(_changes(case, bounds, sets[0], effort, report))
    keys = (*bounds.every(), *_of_plates(case))
    conflict = _whole_conflict(case, keys, effort.part(_LONGEST * SECOND), report)
    conflicts = (Conflict(_words(case, conflict), "whole"),) if conflict else ()
    return conflicts, tuple(_changes(case, bounds, conflict or keys, effort, report))


def limits_in_the_way(case: Case) -> tuple[str, ...]:
    """Return the hard limits, in words, that cannot be kept together by any plates at all."""
    return _words(case, fence(case, tolerances=False).in_the_way(fence(case).every()))


def _words(case: Case, keys: Iterable[Key]) -> tuple[str, ...]:
    return tuple(what(case, key) for key in keys)


def _of_plates(case: Case) -> tuple[Key, ...]:
    """Return what only whole plates are bound by: the stock, and how many a pack may have."""
    packs = [s for s in case.influence.seats if case.job.seats[s].held_by == "packs"]
    moving = [s for s in packs if not case.job.seats[s].hold]
    return (*(("stock", m) for m in case.job.plates), *(("pack", s) for s in moving))


def _changes(
    case: Case, bounds: Fence, keys: Sequence[Key], effort: Effort, report: Report
) -> Iterable[Obstacle]:
    """Yield the smallest change found of each key that alone is enough."""
    for key in keys:
        if effort.over():
            return
        least = 0.0 if key[0] in ("stock", "pack") else bounds.least_change(key)
        if least is None:
            continue
        report(f"why not: {what(case, key)}")
        effort.spend(_TRY * len(_STEPS) * len(case.influence.seats))
        amount = _smallest(case, key, least)
        if amount is not None:
            give = GIVES[key[0]]
            yield Obstacle(give.what(case, key[1]), give.more(case, key[1], amount), True)


def _smallest(case: Case, key: Key, least: float) -> float | None:
    """Return the smallest amount tried with which a plan of whole plates was found."""
    kind, subject = key
    if kind in ("stock", "pack"):
        amounts: Sequence[float] = (1.0, 2.0, 3.0, 4.0) if kind == "stock" else (1.0,)
    else:
        give = GIVES[kind]
        first, step = give.rounded(case, subject, least), give.rounded(case, subject, 0.0)
        amounts = (math.inf,) if math.isinf(first) else [first + k * step for k in _STEPS]
    # the largest first: where even that is not enough the others need not be tried
    if not _found(loosened(case, key, amounts[-1])):
        return None
    smaller = (a for a in amounts[:-1] if _found(loosened(case, key, a)))
    return next(smaller, amounts[-1])


def _found(case: Case) -> bool:
    """Say whether a plan of whole plates inside every tolerance is easily found."""
    problem = build_problem(case.job, case.state, case.influence)
    return attainable(problem, _INSIDE, _STARTS) is not None


def _whole_conflict(
    case: Case, keys: Sequence[Key], effort: Effort, report: Report
) -> tuple[Key, ...]:
    """Return what whole plates cannot keep together, none of which may be left out.

    Whole kinds are given up first, then their members one by one. Nothing is returned where that
    was not shown of every part in time.
    """
    report("is there any choice of whole plates?")
    if _possible(case, effort) is not False:
        return ()
    left = list(keys)
    groups = [[k for k in keys if k[0] in kinds] for kinds in _KINDS]
    for group in (*groups, *([k] for k in keys)):
        own = [k for k in group if k in left]
        if not own:
            continue
        over = effort.over()
        gone = [k for k in keys if k not in left or k in own]
        possible = None if over else _possible(_without(case, gone), effort)
        if possible is False:
            left = [k for k in left if k not in own]
        elif possible is None and len(group) == 1:
            return ()
    return tuple(left)


def _without(case: Case, keys: Iterable[Key]) -> Case:
    for key in keys:
        case = loosened(case, key)
    return case


def _possible(case: Case, effort: Effort) -> bool | None:
    """Say whether whole plates can keep everything; None where neither was shown in time."""
    problem = build_problem(case.job, case.state, case.influence)
    effort.spend(_TRY * len(problem.seats))
    if attainable(problem, _INSIDE, _STARTS) is not None:
        return True
    found = best_squares(problem, _INSIDE, effort.part(_PROOF * SECOND))
    if found.selection is not None:
        return True
    return False if found.proven or np.isinf(found.lower) else None
