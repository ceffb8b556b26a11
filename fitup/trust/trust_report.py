"""Everything that may be said of how sure a plan is, found linearly and held against draws."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.model import CheckState, Influence, Job, Plan
from fitup.survey.points import Survey
from fitup.trust.budget import Budget, make_budget
from fitup.trust.joint import JointTrust, trust_of
from fitup.trust.montecarlo import Draws, simulate
from fitup.trust.moved import Effect
from fitup.trust.robust import small_moves
from fitup.trust.shots import PlannedShot, best_shot

Report = Callable[[str], None]
#: probabilities found both ways may differ by this, beside four standard deviations of the draws
PROBABILITY: Final = 0.01
#: drawn values that are held at once, at most
_HELD: Final = 20_000_000


@dataclass(frozen=True, eq=False)
class TrustReport:
    """A plan, or the joints as surveyed, with all uncertainties.

    Parameters
    ----------
    budget : Budget
    joints : tuple of JointTrust
    shots : tuple of PlannedShot, optional each
        The next most useful measurement of each joint.
    draws : Draws
    small : tuple of str
        Seats whose move is smaller than the uncertainty of the survey it is based on.
    """

    budget: Budget
    joints: tuple[JointTrust, ...]
    shots: tuple[PlannedShot | None, ...]
    draws: Draws
    small: tuple[str, ...]

    def drawn(self, joint: JointTrust) -> float:
        """Return the probability of all checks of a joint at once by the draws."""
        return self.draws.probability(self.budget.judged(joint.joint))

    @property
    def apart(self) -> float:
        """Greatest difference of an uncertainty found linearly and by draws, as a share."""
        u = self.budget.u
        known = u > 0.0
        return float(np.abs(self.draws.u[known] / u[known] - 1.0).max(initial=0.0))


def tell(
    job: Job,
    survey: Survey,
    state: CheckState,
    influence: Influence,
    plan: Plan | None,
    effect: Effect,
    draws: int,
    report: Report = lambda line: None,
) -> TrustReport:
    """Carry the uncertainties of a job through its plan, name the next most useful shots, and draw.

    Parameters
    ----------
    job, survey, state, influence, plan, effect
        As for :func:`fitup.trust.budget.make_budget`.
    draws : int
        At most: fewer where there are very many checks.
    report : callable
    """
    report("uncertainty budget")
    budget = make_budget(job, survey, state, influence, plan, effect=effect)
    joints = trust_of(job, budget)
    report("next most useful shot")
    shots = tuple(best_shot(job, survey, budget, j.joint) for j in joints)
    count = min(draws, _HELD // max(1, len(state.checks)))
    report(f"{count} draws")
    drawn = simulate(job, survey, state, influence, plan, effect=effect, draws=count)
    small = () if plan is None else small_moves(state, influence, plan)
    return TrustReport(budget, joints, shots, drawn, small)


def both_ways(one: float, other: float, draws: int) -> bool:
    """Say whether two probabilities, by linear propagation and by so many draws, agree.

    Parameters
    ----------
    one : float
        Probability by linear propagation.
    other : float
        Share of the draws; its own scatter is allowed for.
    draws : int
        How many there were.
    """
    spread = float(np.sqrt(other * (1.0 - other) / draws))
    return abs(one - other) <= PROBABILITY + 4.0 * spread


def shares_inside(stated: TrustReport, joint: JointTrust) -> Array:
    """Return the share of draws (m,) in which each judged check of a joint is inside.

    Parameters
    ----------
    stated
    joint : JointTrust
        One of its joints; m judged checks, in the order of the budget.
    """
    inside: Array = stated.draws.inside(stated.budget.judged(joint.joint)).mean(axis=0)
    return inside
