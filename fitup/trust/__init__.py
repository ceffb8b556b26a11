"""How sure we are: uncertainty, conformity, temperature windows, robust plans, and when to lock."""

from fitup.trust.budget import Budget, make_budget
from fitup.trust.conformity import conformity, probability_inside
from fitup.trust.joint import CheckTrust, JointTrust, Share, trust_of
from fitup.trust.risks import Risks, guard_band, risks
from fitup.trust.shots import PlannedShot, best_shot
from fitup.trust.source import Source

__all__ = [
    "Budget",
    "CheckTrust",
    "JointTrust",
    "PlannedShot",
    "Risks",
    "Share",
    "Source",
    "best_shot",
    "conformity",
    "guard_band",
    "make_budget",
    "probability_inside",
    "risks",
    "trust_of",
]
