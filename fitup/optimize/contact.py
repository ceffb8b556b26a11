"""Plans for a structure whose seats may lift off: planned on a straight line, then looked at again.

A plan is made with the influence about the surveyed state. If its moves change which seats carry,
the influence is taken about the plan's own moves and the plan is made again, until the seats that
carry in the end are those it was made with. Then what the plan was promised is what contact gives.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.errors import NoPlan
from fitup.frames import Array
from fitup.model import CheckState, Influence, Plan

#: a plan that has not come to rest after so many rounds will not
_ROUNDS: Final = 8
#: what the straight line may miss [m or m/m] and [N]
_LENGTH, _FORCE = 1e-6, 1e2


@dataclass(frozen=True, eq=False)
class Round:
    """One plan, its influence, and by how much its straight line missed [m or m/m], [N]."""

    plan: Plan
    influence: Influence
    missed: float
    missed_force: float


def based(state: CheckState, influence: Influence) -> CheckState:
    """Return the checks that the slope of an influence gives where nothing has moved."""
    if influence.shift is None:
        return state
    return replace(state, values=state.values + influence.shift)


def plan_with_contact(
    state: CheckState,
    influence: Influence,
    make: Callable[[CheckState, Influence], Plan],
    report: Callable[[str], None],
) -> Plan:
    """Return a plan whose straight line is what contact gives.

    Parameters
    ----------
    state : CheckState
    influence : Influence
        About the surveyed state, with its exact structure.
    make : callable
        Makes a plan from checks and an influence.
    report : callable
        Told in a line what is being done.

    Raises
    ------
    NoPlan
        If the seats that carry go on changing from plan to plan.
    """
    exact = influence.exact
    assert exact is not None
    rounds: list[Round] = []
    for number in range(1, _ROUNDS + 1):
        plan = make(based(state, influence), influence)
        x = np.array([s.setting for s in plan.seats])
        rounds.append(_look(plan, influence, x))
        if rounds[-1].missed <= _LENGTH and rounds[-1].missed_force <= _FORCE:
            return replace(plan, method=plan.method + _told(rounds, x))
        report(f"the moves change which seats carry: plan {number + 1}")
        influence = exact.about(x)
    raise NoPlan(
        f"the seats that carry went on changing over {_ROUNDS} plans; hold one of them in "
        "seats.csv, or give it a least bearing above zero so that it stays in contact"
    )


def _look(plan: Plan, influence: Influence, x: Array) -> Round:
    change, reactions = influence.state(x)
    straight, carried = influence.straight(x)
    missed = float(np.abs(change - straight).max(initial=0.0))
    return Round(plan, influence, missed, float(np.abs(reactions - carried).max(initial=0.0)))


def _told(rounds: list[Round], x: Array) -> str:
    """Say what contact changed, empty where it changed nothing."""
    if len(rounds) == 1:
        return ""
    first, last = rounds[0], rounds[-1]
    before, after = first.influence.r0, last.influence.state(x)[1]
    names = last.influence.seats
    left = [n for n, a, b in zip(names, before, after, strict=True) if a > 0.0 and b <= 0.0]
    taken = [n for n, a, b in zip(names, before, after, strict=True) if a <= 0.0 and b > 0.0]
    words = [f"{', '.join(left)} left free"] if left else []
    words += [f"{', '.join(taken)} taken up"] if taken else []
    told = "; ".join(words) or "seats lifted off on the way"
    return (
        f"; planned {len(rounds)} times because the moves change which seats carry ({told}): a "
        f"straight line would have missed a check by {first.missed * 1e3:.1f} mm or mm/m and a "
        f"load by {first.missed_force / 1e3:.0f} kN"
    )
