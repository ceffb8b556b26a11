"""The tables of a job folder: which record each one holds, and whether it may be left out."""

from __future__ import annotations

from typing import Final

from fitup.model import (
    Aim,
    BoltGroup,
    Bore,
    CheckPoint,
    ControlPoint,
    GroupRule,
    Hold,
    Instrument,
    Jack,
    Joint,
    Limit,
    Pair,
    Plate,
    Pump,
    Reading,
    RidePath,
    Seat,
    Segment,
    SteelReading,
)
from fitup.model.column import Column, columns_of

CROSSFALL: Final = (
    Column("station", "text", "a station in the notation of the alignment"),
    Column("side", "word", "the side of the axis", words=("left", "right", "both")),
    Column("slope", "slope", "the slope across, without a sign", least=0.0, most=0.5),
    Column(
        "falls_to",
        "word",
        "the side it falls to",
        words=("left", "right", "level"),
        more="; `level` with a slope of 0",
    ),
)
TARGETS: Final = (
    Column("stage", "id", "the stage of the work"),
    Column("point", "id", "the check point"),
    Column("E", "length", "its easting wanted then; empty: as in points.csv", required=False),
    Column("N", "length", "its northing wanted then; empty: as in points.csv", required=False),
    Column("H", "length", "its height wanted then"),
)
#: file -> (columns, required)
TABLES: Final[dict[str, tuple[tuple[Column, ...], bool]]] = {
    "segments.csv": (columns_of(Segment), True),
    "points.csv": (columns_of(CheckPoint), True),
    "joints.csv": (columns_of(Joint), True),
    "pairs.csv": (columns_of(Pair), True),
    "seats.csv": (columns_of(Seat), True),
    "jacks.csv": (columns_of(Jack), True),
    "plates.csv": (columns_of(Plate), True),
    "limits.csv": (columns_of(Limit), False),
    "targets.csv": (TARGETS, False),
    "pumps.csv": (columns_of(Pump), False),
    "groups.csv": (columns_of(GroupRule), False),
    "aims.csv": (columns_of(Aim), False),
    "readings.csv": (columns_of(Reading), False),
    "crossfall.csv": (CROSSFALL, False),
    "temperatures.csv": (columns_of(SteelReading), False),
    "holds.csv": (columns_of(Hold), False),
    "control.csv": (columns_of(ControlPoint), False),
    "instruments.csv": (columns_of(Instrument), False),
    "ride.csv": (columns_of(RidePath), False),
    "bores.csv": (columns_of(Bore), False),
    "bolts.csv": (columns_of(BoltGroup), False),
}
