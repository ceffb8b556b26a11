"""The tables of a job folder: what a row of each is made into, and where the manual has it.

The columns are declared on the fields of these records; see :mod:`fitup.model.column`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final, Literal

from fitup.model import (
    Aim,
    BoltGroup,
    Bore,
    CheckPoint,
    ControlPoint,
    Done,
    GroupRule,
    Hold,
    Instrument,
    Jack,
    Joint,
    Learned,
    Limit,
    Moved,
    Pair,
    Plate,
    Pump,
    Reading,
    RidePath,
    Seat,
    Segment,
    SteelReading,
)
from fitup.model.actions import MemberLoad, NodeLoad, Place, Temperature
from fitup.model.cables import FrameCable, FrameSaddle, Lean, Tension
from fitup.model.column import Column, columns_of
from fitup.model.deck import CrossfallEntry, StagePoint
from fitup.model.frame import (
    Body,
    FrameSeat,
    Material,
    Member,
    Node,
    PointTie,
    Section,
    Spring,
)

#: when a table is read: always, with the frame, or after all others
Part = Literal["job", "frame", "round"]


@dataclass(frozen=True)
class JobTable:
    """A table of a job folder.

    Parameters
    ----------
    records : tuple of type
        What a row is made into: one, or one of several.
    needed : bool
        False: the file may be left out; of a frame, once there is one.
    part : {'job', 'frame', 'round'}
        When it is read.
    row : str
        What a row is called on site.
    survey : bool
        False: it is the engineer's and says nothing of the survey.
    page, heading : str
        Where its columns stand in the manual; the heading is the file unless it is given.
    """

    records: tuple[type[Any], ...]
    needed: bool = False
    part: Part = "job"
    row: str = "row"
    survey: bool = True
    page: str = "job-folder.md"
    heading: str = ""

    @cached_property
    def columns(self) -> tuple[Column, ...]:
        """Columns as the records declare them."""
        return columns_of(*self.records)


def _frame(*records: type[Any], needed: bool = False) -> JobTable:
    return JobTable(records, needed, "frame", survey=False, page="structure.md")


#: every table of a job, by its file
TABLES: Final[dict[str, JobTable]] = {
    "segments.csv": JobTable((Segment,), True, row="segment"),
    "points.csv": JobTable((CheckPoint,), True, row="target"),
    "joints.csv": JobTable((Joint,), True, row="joint", survey=False),
    "pairs.csv": JobTable((Pair,), True, row="pair", survey=False),
    "seats.csv": JobTable((Seat,), True, row="seat", survey=False),
    "jacks.csv": JobTable((Jack,), True, row="jack", survey=False),
    "plates.csv": JobTable((Plate,), True, row="plate", survey=False),
    "limits.csv": JobTable((Limit,), row="limit", survey=False),
    "targets.csv": JobTable((StagePoint,)),
    "pumps.csv": JobTable((Pump,), survey=False),
    "groups.csv": JobTable((GroupRule,), survey=False),
    "aims.csv": JobTable((Aim,), row="aim", survey=False),
    "readings.csv": JobTable((Reading,), row="reading"),
    "crossfall.csv": JobTable((CrossfallEntry,), row="crossfall at"),
    "temperatures.csv": JobTable((SteelReading,), row="thermometer"),
    "holds.csv": JobTable((Hold,)),
    "control.csv": JobTable((ControlPoint,)),
    "instruments.csv": JobTable((Instrument,)),
    "ride.csv": JobTable((RidePath,)),
    "bores.csv": JobTable((Bore,)),
    "bolts.csv": JobTable((BoltGroup,)),
    "leans.csv": JobTable((Lean,), survey=False, page="cables.md"),
    "tensions.csv": JobTable((Tension,), page="cables.md"),
    "frame_nodes.csv": _frame(Node, needed=True),
    "frame_members.csv": _frame(Member, needed=True),
    "frame_sections.csv": _frame(Section, needed=True),
    "frame_materials.csv": _frame(Material, needed=True),
    "frame_springs.csv": _frame(Spring),
    "frame_bodies.csv": _frame(Body),
    "frame_loads.csv": _frame(NodeLoad, MemberLoad, Temperature),
    "frame_seats.csv": _frame(FrameSeat),
    "frame_ties.csv": _frame(PointTie),
    "frame_places.csv": _frame(Place),
    "frame_cables.csv": JobTable((FrameCable,), part="frame", page="cables.md"),
    "frame_saddles.csv": JobTable((FrameSaddle,), part="frame", page="cables.md"),
    "moved.csv": JobTable((Moved,), part="round", page="loop.md"),
    "learned.csv": JobTable((Learned,), part="round", page="loop.md"),
}
#: what a crew writes down after a stage; the name of the file is the crew's own
DONE: Final = JobTable((Done,), page="loop.md", heading="As done")
#: signing a hold point changes nothing that a plan was made from
INPUT_TABLES: Final = tuple(name for name in TABLES if name != "holds.csv")


def tables_of(part: Part) -> dict[str, JobTable]:
    """Return the tables that are read together, by their files."""
    return {name: table for name, table in TABLES.items() if table.part == part}
