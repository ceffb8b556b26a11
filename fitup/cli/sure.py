"""How sure a plan is, beside its values: what ``fitup plan`` shows of the uncertainty budget."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fitup.cli.loading import Loaded, influence
from fitup.model import Plan
from fitup.trust import make_budget, trust_of
from fitup.trust.robust import small_moves


@dataclass(frozen=True, slots=True)
class Sure:
    """Per judged check its standard uncertainty and probability; per joint that of all at once.

    ``small`` are seats whose move is smaller than the uncertainty of the survey it is based on.
    """

    u: Mapping[str, float]
    probability: Mapping[str, float]
    joints: Mapping[str, float]
    small: tuple[str, ...]


def sure_of(loaded: Loaded, plan: Plan) -> Sure:
    """Carry the uncertainties of a job through its plan."""
    job, survey, state = loaded.job, loaded.survey, loaded.state
    moves = influence(loaded)
    budget = make_budget(job, survey, state, moves, plan, effect=loaded.influence_of_changed)
    joints = trust_of(job, budget)
    told = [c for joint in joints for c in joint.checks]
    return Sure(
        {c.id: float(u) for c, u in zip(budget.checks, budget.u, strict=True)},
        {c.check.id: c.probability for c in told},
        {joint.joint: joint.probability for joint in joints},
        small_moves(state, moves, plan),
    )
