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
class Table:
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


def _frame(*records: type[Any], needed: bool = False) -> Table:
    return Table(records, needed, "frame", survey=False, page="structure.md")


#: every table of a job, by its file
TABLES: Final[dict[str, Table]] = {
    "segments.csv": Table((Segment,), True, row="segment"),
    "points.csv": Table((CheckPoint,), True, row="target"),
    "joints.csv": Table((Joint,), True, row="joint", survey=False),
    "pairs.csv": Table((Pair,), True, row="pair", survey=False),
    "seats.csv": Table((Seat,), True, row="seat", survey=False),
    "jacks.csv": Table((Jack,), True, row="jack", survey=False),
    "plates.csv": Table((Plate,), True, row="plate", survey=False),
    "limits.csv": Table((Limit,), row="limit", survey=False),
    "targets.csv": Table((StagePoint,)),
    "pumps.csv": Table((Pump,), survey=False),
    "groups.csv": Table((GroupRule,), survey=False),
    "aims.csv": Table((Aim,), row="aim", survey=False),
    "readings.csv": Table((Reading,), row="reading"),
    "crossfall.csv": Table((CrossfallEntry,), row="crossfall at"),
    "temperatures.csv": Table((SteelReading,), row="thermometer"),
    "holds.csv": Table((Hold,)),
    "control.csv": Table((ControlPoint,)),
    "instruments.csv": Table((Instrument,)),
    "ride.csv": Table((RidePath,)),
    "bores.csv": Table((Bore,)),
    "bolts.csv": Table((BoltGroup,)),
    "leans.csv": Table((Lean,), survey=False, page="cables.md"),
    "tensions.csv": Table((Tension,), page="cables.md"),
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
    "frame_cables.csv": Table((FrameCable,), part="frame", page="cables.md"),
    "frame_saddles.csv": Table((FrameSaddle,), part="frame", page="cables.md"),
    "moved.csv": Table((Moved,), part="round", page="loop.md"),
    "learned.csv": Table((Learned,), part="round", page="loop.md"),
}
#: what a crew writes down after a stage; the name of the file is the crew's own
DONE: Final = Table((Done,), page="loop.md", heading="As done")
#: signing a hold point changes nothing that a plan was made from
INPUT_TABLES: Final = tuple(name for name in TABLES if name != "holds.csv")


def tables_of(part: Part) -> dict[str, Table]:
    """Return the tables that are read together, by their files."""
    return {name: table for name, table in TABLES.items() if table.part == part}
