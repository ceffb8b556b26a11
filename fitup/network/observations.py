"""What was read on site, as frozen values: set-ups, shots, levelled differences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final, Literal

from fitup.model import Instrument
from fitup.model.column import column, columns_of
from fitup.model.control import COLDEST, DENSEST, HOTTEST, THINNEST

#: what an observation measures: direction, zenith angle, slope distance, levelled difference,
#: or a coordinate of a control point
Kind = Literal["hz", "v", "sd", "dh", "E", "N", "H"]
_SETUP: Final = column(
    "id",
    "the name of the set-up, one for each standing of the instrument",
    "; a tripod that was moved or knocked is a new one",
    name="setup",
)


@dataclass(frozen=True, slots=True)
class Setup:
    """One standing of an instrument: free, or over a point."""

    id: Annotated[str, _SETUP]
    instrument: Annotated[
        Instrument, column("id", "the instrument, where instruments.csv has several", default=None)
    ]
    over: Annotated[
        str | None, column("id", "the point the instrument stands over; empty: free", default=None)
    ]
    """Point it stands over; None: a free set-up, its place is found from what it sees."""
    height: Annotated[
        float,
        column(
            "length",
            "its height over that point",
            "; needed with `over`",
            name="instrument_height",
            default=None,
            least=0.0,
            most=5.0,
        ),
    ]
    """Height of the instrument over that point [m]."""
    row: int
    """First row in the file."""


@dataclass(frozen=True, slots=True)
class Shot:
    """One pointing in one face, as read: angles [rad], distance and heights [m]."""

    setup: Annotated[str, _SETUP]
    target: Annotated[str, column("id", "the point sighted")]
    face: Annotated[int, column("count", "1 or 2", default=1, least=1, most=2)]
    set: Annotated[
        int,
        column(
            "count",
            "the number of the set",
            "; empty: the n-th reading in a face belongs to set n",
            default=None,
            least=1,
            most=99,
        ),
    ]
    hz: Annotated[
        float | None, column("circle", "the horizontal circle reading, clockwise", default=None)
    ]
    v: Annotated[
        float | None,
        column(
            "circle",
            "the zenith angle, 0 straight up",
            "; in face 2 beyond half a circle",
            default=None,
        ),
    ]
    sd: Annotated[
        float | None,
        column("length", "the slope distance as displayed", default=None, above=0.0),
    ]
    target_height: Annotated[
        float,
        column(
            "length", "the height of the prism over its mark", default=0.0, least=-5.0, most=5.0
        ),
    ]
    prism: Annotated[
        float,
        column(
            "length",
            "the prism constant still to be added to the distance",
            default=0.0,
            least=-0.2,
            most=0.2,
        ),
    ]
    """Constant still to be added to the distance [m]."""
    air: Annotated[
        tuple[float, float, float] | None,
        column(
            "temperature",
            "the temperature of the air",
            "; with `pressure` needed for instruments with a wavelength",
            name="temperature",
            default=None,
            least=COLDEST,
            most=HOTTEST,
        ),
        column(
            "air_pressure",
            "the pressure of the air at the instrument",
            name="pressure",
            default=None,
            least=THINNEST,
            most=DENSEST,
        ),
        column(
            "number",
            "the relative humidity in percent",
            "; 60 where empty, which moves a distance by 0.4 millionths at most",
            name="humidity_pct",
            default=None,
            least=0.0,
            most=100.0,
        ),
    ]
    """Temperature [K], pressure [Pa], humidity [1]."""
    seconds: Annotated[
        float | None,
        column(
            "text",
            "when it was read, 04:10:35 or a date and time",
            "; in order within a set-up",
            name="time",
            default=None,
        ),
    ]
    """Time of day or since the first day [s]."""
    row: int


@dataclass(frozen=True, slots=True)
class LevelledDifference:
    """Height of ``end`` over ``start`` by levelling [m], with its standard uncertainty."""

    start: Annotated[str, column("id", "the point the run starts at", name="from")]
    end: Annotated[str, column("id", "the point it ends at", name="to")]
    difference: Annotated[float, column("length", "height of the end less height of the start")]
    u: Annotated[float, column("length", "the standard uncertainty of the difference", above=0.0)]
    number: int
    """1, 2, ... among runs between the same two points."""
    row: int


#: columns of an observation file and of a levelling file
SHOTS: Final = columns_of(Shot, Setup)
LEVELS: Final = columns_of(LevelledDifference)


@dataclass(frozen=True, eq=False)
class ObservationSet:
    """Everything read in one epoch."""

    file: str
    levels_file: str
    setups: Mapping[str, Setup]
    shots: tuple[Shot, ...]
    levels: tuple[LevelledDifference, ...]
    understood: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sight:
    """One set of a set-up to a target: faces meant, distance corrected for prism and air.

    ``velocity`` and ``prism`` are what was added to the distance [m].
    """

    setup: str
    target: str
    set: int
    sets: int
    """How many sets of this target there are from this set-up."""
    hz: float | None
    v: float | None
    sd: float | None
    faces: int
    target_height: float
    velocity: float
    prism: float
    row: int
    """First row in the file."""

    @property
    def id(self) -> str:
        """``setup/target``, as [exclude] names it."""
        return f"{self.setup}/{self.target}"


@dataclass(frozen=True, slots=True)
class Observation:
    """One equation: what was observed between two nodes, with its standard uncertainty.

    ``value`` and ``u`` are in rad or m. Nodes are points, or free set-ups by the name of
    :func:`station`.
    """

    id: str
    kind: Kind
    at: str
    to: str
    value: float
    u: float
    h_at: float = 0.0
    h_to: float = 0.0
    setup: str = ""
    row: int = 0


def station(setup: Setup) -> str:
    """Return the node an instrument stands at: a point, or the free set-up itself."""
    return setup.over if setup.over is not None else f"set-up {setup.id}"
