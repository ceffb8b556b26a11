"""Plans for a structure whose seats may lift off: a straight line, and the next one beside it.

While the same seats carry, a structure is linear. A plan is made with the influence about the
surveyed state. If its moves change which seats carry, it is made again with the limit that they do
not, and then with the influence about its own moves, where others carry; so from one such piece
to the next until none is new. The best of these plans is taken: each is what contact gives.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.errors import NoPlan, NoSafeOrder
from fitup.frames import Array
from fitup.model import CheckState, Influence, Plan

Make = Callable[[CheckState, Influence, bool], Plan]
#: pieces that are looked at
_PIECES: Final = 6
#: what the straight line may miss [m or m/m] and [N]
_LENGTH, _FORCE = 1e-6, 1e2


@dataclass(frozen=True, eq=False)
class _Tried:
    """A plan, the influence it was made with, and by how much its straight line missed."""

    plan: Plan
    influence: Influence
    missed: float
    """[m or m/m]"""
    missed_force: float
    """[N]"""

    @property
    def holds(self) -> bool:
        """Say whether contact gives what the plan was promised."""
        return self.missed <= _LENGTH and self.missed_force <= _FORCE

    @property
    def x(self) -> Array:
        """Moves (n,) [m]."""
        return np.array([s.setting for s in self.plan.seats])

    @property
    def score(self) -> tuple[float, float]:
        """Worst ratio beyond one, then squares: less is better."""
        found = {w.name: w.upper for w in self.plan.objectives}
        worst = found.get("worst ratio", 0.0)
        return max(worst, 1.0), found.get("least squares", worst)


def based(state: CheckState, influence: Influence) -> CheckState:
    """Return the checks that the slope of an influence gives where nothing has moved.

    Parameters
    ----------
    state, influence

    Returns
    -------
    CheckState
        The state itself where the influence has no shift.
    """
    if influence.shift is None:
        return state
    return replace(state, values=state.values + influence.shift)


def plan_with_contact(
    state: CheckState, influence: Influence, make: Make, report: Callable[[str], None]
) -> Plan:
    """Return the best plan whose straight line is what contact gives.

    Parameters
    ----------
    state : CheckState
    influence : Influence
        About the surveyed state, with its exact structure.
    make : callable
        Makes a plan from checks and an influence; told whether to explain what stands in the way.
    report : callable
        Called with one line: what is being done.

    Raises
    ------
    NoPlan
        If no plan was found that keeps every limit and holds.
    """
    first = _try(state, influence, make, explain=True)
    if first.holds:
        return first.plan
    kept = _walk(state, influence, first, make, report)
    if not kept:
        raise NoPlan(
            "every plan changes which seats carry, and none was found that keeps the limits then; "
            "give seats that must stay in contact a least bearing above zero, or more travel"
        )
    best = min(kept, key=lambda t: t.score)
    plan = best.plan
    if not plan.inside:
        plan = make(based(state, best.influence), best.influence, True)
    # a bound of one piece says nothing of the others
    objectives = tuple(
        replace(w, lower=0.0, proven=False, text=f"{w.text}, while the same seats carry")
        for w in plan.objectives
    )
    return replace(
        plan, objectives=objectives, method=plan.method + _contact_words(first, best, len(kept))
    )


def _walk(
    state: CheckState,
    influence: Influence,
    first: _Tried,
    make: Make,
    report: Callable[[str], None],
) -> list[_Tried]:
    """Return plans that hold, one for every piece that the plans lead to."""
    exact = influence.exact
    assert exact is not None
    kept: list[_Tried] = []
    seen: set[tuple[bool, ...]] = set()
    at, free = np.zeros(len(influence.seats)), first
    for _ in range(_PIECES):
        stays = exact.stays(at)
        seen.add(tuple(s.carries for s in stays))
        report("the moves change which seats carry: plan with those that carry now")
        try:
            kept.append(_try(state, replace(free.influence, stays=stays), make, explain=False))
        except (NoPlan, NoSafeOrder):
            report("no plan while those carry")
        at = free.x
        if tuple(s.carries for s in exact.stays(at)) in seen:
            break
        report("plan with the seats that carry then")
        try:
            free = _try(state, exact.about(at), make, explain=False)
        except (NoPlan, NoSafeOrder):
            break
        if free.holds:
            kept.append(free)
            break
    return [t for t in kept if t.holds]


def _try(state: CheckState, influence: Influence, make: Make, *, explain: bool) -> _Tried:
    plan = make(based(state, influence), influence, explain)
    x = np.array([s.setting for s in plan.seats])
    change, reactions = influence.state(x)
    straight, carried = influence.straight(x)
    return _Tried(
        plan,
        influence,
        float(np.abs(change - straight).max(initial=0.0)),
        float(np.abs(reactions - carried).max(initial=0.0)),
    )


def _contact_words(first: _Tried, best: _Tried, pieces: int) -> str:
    """Say what contact changed."""
    before, after = first.influence.r0, best.influence.state(best.x)[1]
    names = best.influence.seats
    left = [n for n, a, b in zip(names, before, after, strict=True) if a > 0.0 and b <= 0.0]
    taken = [n for n, a, b in zip(names, before, after, strict=True) if a <= 0.0 and b > 0.0]
    words = [f"{', '.join(left)} left free"] if left else []
    words += [f"{', '.join(taken)} taken up"] if taken else []
    stated = "; ".join(words) or "the seats that carry now go on carrying"
    return (
        f"; the best of {pieces} plans, for the first would change which seats carry, and a "
        f"straight line miss a check by {first.missed * 1e3:.1f} mm or mm/m and a load by "
        f"{first.missed_force / 1e3:.0f} kN: {stated}"
    )
