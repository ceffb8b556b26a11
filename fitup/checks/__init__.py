"""Step, gap, offset, kink and twist of every joint, with uncertainty, against tolerance."""

from fitup.checks.definitions import checks_of, parts_of
from fitup.checks.part import Part
from fitup.checks.readings import combine_readings
from fitup.checks.state import joint_state
from fitup.checks.words import side_of

__all__ = ["Part", "checks_of", "combine_readings", "joint_state", "parts_of", "side_of"]
