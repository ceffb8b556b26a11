"""What was read on site, as frozen values: set-ups, shots, levelled differences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from fitup.model import Instrument

#: what an observation measures: direction, zenith angle, slope distance, levelled difference,
#: or a coordinate of a control point
Kind = Literal["hz", "v", "sd", "dh", "E", "N", "H"]


@dataclass(frozen=True, slots=True)
class Setup:
    """One standing of an instrument: free, or over a point."""

    id: str
    instrument: Instrument
    over: str | None
    """Point it stands over; None: a free set-up, its place is found from what it sees."""
    height: float
    """Height of the instrument over that point [m]."""
    row: int
    """First row in the file."""


@dataclass(frozen=True, slots=True)
class Shot:
    """One pointing in one face, as read: angles [rad], distance and heights [m]."""

    setup: str
    target: str
    face: int
    set: int
    hz: float | None
    v: float | None
    sd: float | None
    target_height: float
    prism: float
    """Constant still to be added to the distance [m]."""
    air: tuple[float, float, float] | None
    """Temperature [K], pressure [Pa], humidity [1]."""
    seconds: float | None
    """Time of day or since the first day [s]."""
    row: int


@dataclass(frozen=True, slots=True)
class LevelledDifference:
    """Height of ``end`` over ``start`` by levelling [m], with its standard uncertainty."""

    start: str
    end: str
    difference: float
    u: float
    number: int
    """1, 2, ... among runs between the same two points."""
    row: int


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
