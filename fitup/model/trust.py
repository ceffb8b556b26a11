"""How sure one must be: uncertainties the tables do not carry, and when a joint may be locked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final, Literal

from fitup.model.column import column

#: accepted risk that a check called inside is not, where the job names none: the 5 % on which
#: ISO 14253-1 bases its guard band of 1.65 standard uncertainties
STANDARD_RISK: Final = 0.05
#: steel that anyone works on [K]; beyond, the unit is wrong (common practice, no source)
COLDEST_STEEL: Final = 273.15 - 60.0
HOTTEST_STEEL: Final = 273.15 + 90.0


@dataclass(frozen=True, slots=True)
class Uncertainties:
    """Standard uncertainties that no table carries; zero is not counted, and said to be so."""

    steel: float = 0.0
    """Of the steel temperature of a segment without thermometers [K]."""
    expansion: float = 0.0
    """Of the coefficients of expansion, as a share."""
    plate: float = 0.0
    """Of the thickness of a plate whose ``spread`` is not given [m]."""
    bedding: float = 0.0
    """Of the bedding of a new pack [m]."""
    dial: float = 0.0
    """Of setting a nut seat by its dial, beyond the resolution [m]."""
    stiffness: float = 0.0
    """Of the stiffness of each seat, as a share."""
    influence: float = 0.0
    """Of each column of an influence table, of what a move of its seat does, as a share."""
    cables: float = 0.0
    """Of the temperature of cables, and what else stands apart, against the deck [K]."""
    shot: float | None = None
    """Of a coordinate if a target is measured once more [m]; None: as it was measured."""
    reading: float | None = None
    """Of a direct reading that may be asked for at a joint [m]; None: none is asked for."""
    fabrication: float | None = None
    """Scatter of the steel about its drawing, of each coordinate [m]; None: found, or usual."""


@dataclass(frozen=True, slots=True)
class LockOff:
    """When a joint may be locked."""

    survey_age: float = 12.0 * 3600.0
    """Oldest survey a joint is locked on [s]."""
    survey_takes: float = 3600.0
    """How long a survey takes [s]..."""
    survey_change: float = 0.001
    """... and how far a check may go meanwhile [m, or m in a lever of a metre]."""
    air_lag: float | None = None
    """How much later the steel is at the temperature of the air [s]."""


@dataclass(frozen=True, slots=True)
class SteelReading:
    """A thermometer on a segment during its survey: where, reading [K], standard uncertainty."""

    id: Annotated[str, column("id", "the thermometer")]
    segment: Annotated[str, column("id", "the segment it is on", "; one with expansion")]
    place: Annotated[
        Literal["top", "middle", "bottom"],
        column("word", "where in its depth", words=("top", "middle", "bottom")),
    ]
    temperature: Annotated[
        float,
        column(
            "temperature",
            "the steel temperature during the survey",
            least=COLDEST_STEEL,
            most=HOTTEST_STEEL,
        ),
    ]
    uncertainty: Annotated[
        float,
        column(
            "temperature_step",
            "its standard uncertainty",
            ", its place on the section included",
            name="u",
            above=0.0,
            most=50.0,
        ),
    ]


@dataclass(frozen=True, slots=True)
class Hold:
    """A hold point before a joint may be locked; ``signed`` by whom and when, empty while open."""

    id: Annotated[str, column("id", "the hold point")]
    what: Annotated[str, column("text", "what must be done before the joint is locked")]
    signed: Annotated[
        str,
        column("text", "who released it and when; empty while it is open", default=""),
    ]
