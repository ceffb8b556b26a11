"""Plan a structure with cables about its own moves: there its straight line is true enough."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from fitup.model import Influence, Job, Plan
from fitup.structure import about_moves

#: how often a plan is made again about its own moves
_TURNS: Final = 3


def plan_about(
    make: Callable[[Influence], Plan],
    job: Job,
    influence: Influence,
    report: Callable[[str], None],
) -> tuple[Plan, Influence]:
    """Return a plan and the influence it was made with.

    Parameters
    ----------
    make : callable
        Makes a plan with an influence.
    job : Job
    influence : Influence
        About the surveyed state.
    report : callable

    Raises
    ------
    StructureError
        If the structure finds no rest where the plan brings it.
    """
    plan = make(influence)
    for _ in range(_TURNS):
        better = about_moves(job, influence, plan.settings())
        if better is None:
            break
        report("cables answer unevenly: plan again about these moves")
        influence = better
        plan = make(influence)
    return plan, influence
