"""How sure we are: uncertainty, conformity, temperature windows, robust plans, and when to lock."""

from fitup.trust.budget import Budget, make_budget
from fitup.trust.conformity import conformity, probability_inside
from fitup.trust.joint import CheckTrust, JointTrust, Share, trust_of
from fitup.trust.shots import PlannedShot, best_shot
from fitup.trust.source import Source

__all__ = [
    "Budget",
    "CheckTrust",
    "JointTrust",
    "PlannedShot",
    "Share",
    "Source",
    "best_shot",
    "conformity",
    "make_budget",
    "probability_inside",
    "trust_of",
]
