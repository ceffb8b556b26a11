"""What a job is and what a plan is, as frozen values in SI units (m, rad, N, Pa, K).

Nothing here reads, computes or prints: the values flow from ``jobfolder`` through ``survey``,
``checks``, ``structure`` and ``plan`` to ``certify`` and ``sheets``.
"""

from fitup.model.checks import (
    FORCES,
    LENGTHS,
    QUANTITIES,
    SIDES,
    Aim,
    Check,
    CheckState,
    Quantity,
    Tolerance,
    kind_of,
)
from fitup.model.circuits import Circuit, circuits_of
from fitup.model.control import ControlPoint, Instrument, NetworkRules
from fitup.model.deck import CheckPoint, Joint, Pair, Segment
from fitup.model.done import MOMENTS, Done, Moment
from fitup.model.epochs import Epoch, Gates, Reading
from fitup.model.influence import ForceRow, Influence
from fitup.model.job import Job, Objectives, Working
from fitup.model.passage import PLANES, RINGS, BoltGroup, Bore
from fitup.model.plans import (
    Conflict,
    ObjectiveResult,
    Obstacle,
    Order,
    Plan,
    Reset,
    SeatPlan,
    Stage,
)
from fitup.model.procedure import (
    Band,
    ExpectedReading,
    PlateMove,
    Procedure,
    SeatState,
    WorkEvent,
)
from fitup.model.ride import STRAIGHTEDGE, RidePath
from fitup.model.rounds import LEARNED, STEEL, Learned, Learning, Moved, What
from fitup.model.seats import MOVE_WORDS, SPRINGS, Jack, Limit, Plate, Seat, Springs
from fitup.model.staging import GroupRule, Pump, Staging
from fitup.model.thermal import ThermalResponse
from fitup.model.trust import STANDARD_RISK, Hold, LockOff, SteelReading, Uncertainties

__all__ = [
    "FORCES",
    "LEARNED",
    "LENGTHS",
    "MOMENTS",
    "MOVE_WORDS",
    "PLANES",
    "QUANTITIES",
    "RINGS",
    "SIDES",
    "SPRINGS",
    "STANDARD_RISK",
    "STEEL",
    "STRAIGHTEDGE",
    "Aim",
    "Band",
    "BoltGroup",
    "Bore",
    "Check",
    "CheckPoint",
    "CheckState",
    "Circuit",
    "Conflict",
    "ControlPoint",
    "Done",
    "Epoch",
    "ExpectedReading",
    "ForceRow",
    "Gates",
    "GroupRule",
    "Hold",
    "Influence",
    "Instrument",
    "Jack",
    "Job",
    "Joint",
    "Learned",
    "Learning",
    "Limit",
    "LockOff",
    "Moment",
    "Moved",
    "NetworkRules",
    "ObjectiveResult",
    "Objectives",
    "Obstacle",
    "Order",
    "Pair",
    "Plan",
    "Plate",
    "PlateMove",
    "Procedure",
    "Pump",
    "Quantity",
    "Reading",
    "Reset",
    "RidePath",
    "Seat",
    "SeatPlan",
    "SeatState",
    "Segment",
    "Springs",
    "Stage",
    "Staging",
    "SteelReading",
    "ThermalResponse",
    "Tolerance",
    "Uncertainties",
    "What",
    "WorkEvent",
    "Working",
    "circuits_of",
    "kind_of",
]
