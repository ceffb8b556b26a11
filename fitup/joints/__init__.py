"""Step, gap, offset, kink and twist of every joint, with uncertainty, against tolerance."""

from fitup.joints.checks import checks_of, parts_of
from fitup.joints.part import Part
from fitup.joints.readings import combine_readings
from fitup.joints.state import joint_state
from fitup.joints.words import side_of

__all__ = ["Part", "checks_of", "combine_readings", "joint_state", "parts_of", "side_of"]
