"""What stands there: segments, check points, joints and the pairs that must meet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from fitup.frames import Array
from fitup.model.column import column, grid


@dataclass(frozen=True, eq=False)
class Segment:
    """A prefabricated length of deck, moved as a unit.

    Parameters
    ----------
    id : str
    azimuth : float
        Direction of increasing station [rad]; gives ahead and left at its seats.
    weight : float
        Weight with all that stood on it at the survey [N].
    centre : Array (3,)
        Centre of gravity in the grid [m].
    held : frozenset of {'along', 'across', 'turn'}
        Motions in plan that friction or guides hold because no seat works on them.
    expansion : float, optional
        Coefficient of thermal expansion [1/K].
    fixed_point : Array (3,), optional
        Point that does not move with temperature [m].
    depth : float, optional
        Between top and bottom thermometers [m].
    """

    id: Annotated[str, column("id", "the name painted on the segment")]
    azimuth: Annotated[
        float,
        column(
            "angle",
            "the direction of increasing station, clockwise from north",
            "; gives ahead and left at its seats and points. Empty: that of the alignment beside "
            "the centre of gravity",
            default=None,
        ),
    ]
    weight: Annotated[
        float,
        column(
            "force",
            "the weight of the segment with all that is fixed to it",
            above=0.0,
            most=1e9,
        ),
    ]
    centre: Annotated[Array, grid("centre_", " of the centre of gravity")]
    held: Annotated[
        frozenset[str],
        column(
            "ids",
            "motions in plan held by friction or guides: along, across, turn",
            ". Name only those no seat works on",
        ),
    ] = frozenset()
    expansion: Annotated[
        float | None,
        column(
            "expansion",
            "the thermal expansion coefficient",
            "; with the fixed point, all four or none. With a frame the fixed point may be left "
            "out: the frame's own supports count",
            least=0.0,
            most=5e-5,
        ),
    ] = None
    fixed_point: Annotated[
        Array | None, grid("fixed_", " of the thermal fixed point", needed=False)
    ] = None
    depth: Annotated[
        float | None,
        column(
            "length",
            "from top to bottom thermometers",
            "; needed for those in `temperatures.csv`",
            above=0.0,
            most=30.0,
        ),
    ] = None


@dataclass(frozen=True, eq=False)
class CheckPoint:
    """A marked point of a segment with its design coordinates (3,) for this stage [m].

    The level and line of a point are checked if it belongs to a pair or is ``watched``.
    """

    id: Annotated[str, column("id", "the name of the point, as the survey uses it")]
    segment: Annotated[str, column("id", "the segment it is on")]
    design: Annotated[
        Array,
        grid("", " of the design at this stage", needed=False)[:2],
        column(
            "text",
            "its station, where E and N are empty",
            ", written as in [alignment.md](alignment.md)",
            name="station",
            default=None,
        ),
        column(
            "length",
            "its distance from the axis",
            ", without a sign",
            name="offset",
            default=None,
            least=0.0,
            most=1e3,
        ),
        column(
            "word",
            "the side it lies on, looking ahead",
            "; `axis` with an offset of 0",
            name="side",
            default=None,
            words=("left", "right", "axis"),
        ),
        grid("", " of the design at this stage")[2:],
    ]
    watched: Annotated[
        bool, column("yesno", "yes to check its level and line too (points of pairs always are)")
    ] = False


@dataclass(frozen=True, eq=False)
class Joint:
    """Where the end of a back segment meets the end of an ahead segment."""

    id: Annotated[str, column("id", "the name of the joint")]
    back: Annotated[str, column("id", "the segment with the lower station")]
    ahead: Annotated[str, column("id", "the segment with the higher station")]
    axes_in_grid: Annotated[
        Array,
        column(
            "angle",
            "the direction of increasing station, clockwise from north",
            ". Empty: that of the alignment beside the middle of its pairs",
            name="azimuth",
            default=None,
        ),
        column(
            "slope",
            "the rise going ahead, falling ahead is negative",
            ". Empty: that of the alignment's profile there",
            name="grade",
            default=None,
            least=-0.5,
            most=0.5,
        ),
        column(
            "slope",
            "the slope across, without a sign",
            ". Empty, with an empty `falls_to`: that of the deck beside the middle of its pairs "
            "([alignment.md](alignment.md))",
            name="crossfall",
            default=None,
            least=0.0,
            most=0.5,
        ),
        column(
            "word",
            "the side the crossfall falls to",
            "; `level` with a crossfall of 0",
            name="falls_to",
            default=None,
            words=("left", "right", "level"),
        ),
    ]
    """Rows a, l, u (3, 3)."""
    least_opening: Annotated[
        float | None,
        column(
            "length",
            "the clear opening that must remain in every state",
            ", at every pair",
            least=-10.0,
            most=10.0,
        ),
    ] = None
    """[m]"""
    locked_within: Annotated[
        float | None,
        column(
            "length",
            "locked already: the most its gaps, steps and offsets may change",
            " in every state, where the joint is welded, bolted or pinned",
            above=0.0,
            most=1.0,
        ),
    ] = None
    """[m]"""


@dataclass(frozen=True, slots=True)
class Pair:
    """A check point on each face that must meet."""

    id: Annotated[str, column("id", "the name of the pair")]
    joint: Annotated[str, column("id", "the joint it belongs to")]
    back_point: Annotated[str, column("id", "the check point on the back face")]
    ahead_point: Annotated[str, column("id", "the check point on the ahead face")]
    opening: Annotated[
        float,
        column(
            "length", "the nominal opening at the reference temperature", least=-10.0, most=10.0
        ),
    ]
    """[m]"""
    place: Annotated[str, column("text", "where it is across the deck, e.g. LEFT")]


@dataclass(frozen=True, slots=True)
class StagePoint:
    """Where a check point is wanted at one stage of the work [m]; None: where the design has it."""

    stage: Annotated[str, column("id", "the stage of the work")]
    point: Annotated[str, column("id", "the check point")]
    E: Annotated[
        float | None,
        column("length", "its easting wanted then; empty: as in points.csv", default=None),
    ]
    N: Annotated[
        float | None,
        column("length", "its northing wanted then; empty: as in points.csv", default=None),
    ]
    H: Annotated[float, column("length", "its height wanted then")]


@dataclass(frozen=True, slots=True)
class CrossfallEntry:
    """The slope across a deck at one station, on one side of its axis or on both."""

    station: Annotated[str, column("text", "a station in the notation of the alignment")]
    side: Annotated[
        Literal["left", "right", "both"],
        column("word", "the side of the axis", words=("left", "right", "both")),
    ]
    slope: Annotated[
        float, column("slope", "the slope across, without a sign", least=0.0, most=0.5)
    ]
    falls_to: Annotated[
        Literal["left", "right", "level"],
        column(
            "word",
            "the side it falls to",
            "; `level` with a slope of 0",
            words=("left", "right", "level"),
        ),
    ]
