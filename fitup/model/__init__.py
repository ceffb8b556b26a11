"""What a job is and what a plan is, as frozen values in SI units (m, rad, N, Pa, K).

Nothing here reads, computes or prints: the values flow from ``jobfolder`` through ``survey``,
``joints``, ``structure`` and ``optimize`` to ``certify`` and ``sheets``.
"""

from fitup.model.checks import (
    LENGTHS,
    QUANTITIES,
    SIDES,
    Aim,
    Check,
    CheckState,
    Quantity,
    Tolerance,
)
from fitup.model.deck import CheckPoint, Joint, Pair, Segment
from fitup.model.done import MOMENTS, Done, Moment
from fitup.model.epochs import Epoch, Gates, Reading
from fitup.model.influence import ForceRow, Influence
from fitup.model.job import Job, Wishes, Working
from fitup.model.plans import Obstacle, Plan, SeatPlan, Stage, WishResult
from fitup.model.seats import MOVE_WORDS, Jack, Limit, Plate, Seat

__all__ = [
    "LENGTHS",
    "MOMENTS",
    "MOVE_WORDS",
    "QUANTITIES",
    "SIDES",
    "Aim",
    "Check",
    "CheckPoint",
    "CheckState",
    "Done",
    "Epoch",
    "ForceRow",
    "Gates",
    "Influence",
    "Jack",
    "Job",
    "Joint",
    "Limit",
    "Moment",
    "Obstacle",
    "Pair",
    "Plan",
    "Plate",
    "Quantity",
    "Reading",
    "Seat",
    "SeatPlan",
    "Segment",
    "Stage",
    "Tolerance",
    "WishResult",
    "Wishes",
    "Working",
]
