"""What one round leaves for the next: moves as done, corrections learned, how far off we may be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final, Literal

from fitup.model.column import column

What = Literal["stiffness", "bedding", "movement", "expansion"]
#: what a learned correction may correct
LEARNED: Final[tuple[What, ...]] = ("stiffness", "bedding", "movement", "expansion")
#: the place of a correction that holds for all steel
STEEL: Final = "steel"


@dataclass(frozen=True, slots=True)
class Moved:
    """How far one seat was moved before this job's survey, and what it carried."""

    seat: Annotated[str, column("id", "the seat")]
    setting: Annotated[
        float,
        column("length", "how far it was moved, without a sign", name="move", least=0.0),
        column(
            "word",
            "with or against the direction in which it pushes, or stays",
            name="way",
            words=("with", "against", "stays"),
        ),
    ]
    """In the direction in which it pushes [m]; what its plates or its jack's scale say."""
    uncertainty: Annotated[
        float,
        column(
            "length",
            "the standard uncertainty of the move",
            ", from plates or the jack's resolution",
            name="u",
            least=0.0,
        ),
    ]
    """Standard uncertainty from plates or the jack's resolution [m]."""
    load_before: Annotated[
        float | None, column("force", "the reaction measured before the moves", default=None)
    ]
    """Measured reaction before the moves [N]."""
    load_after: Annotated[
        float | None, column("force", "the reaction measured after the moves", default=None)
    ]
    """Measured reaction after the moves [N]."""
    source: Annotated[str, column("text", "where it comes from")]


@dataclass(frozen=True, slots=True)
class Learned:
    """One correction of an assumption, learned from surveys after moves.

    ``value`` multiplies the stiffness of a seat, the movement of a nut seat's jack or the
    expansion of all steel; for bedding it is the height a new pack loses [m].
    """

    what: Annotated[What, column("word", "what is corrected", words=LEARNED)]
    at: Annotated[str, column("id", f"the seat, or {STEEL} for expansion")]
    """Seat, or ``steel``."""
    value: Annotated[
        float,
        column(
            "number",
            "what multiplies the value written down",
            " in seats.csv or segments.csv, or the jack's scale",
            name="factor",
            default=None,
            above=0.0,
        ),
        column(
            "number",
            "its standard uncertainty, as a share",
            name="u_factor",
            default=None,
            least=0.0,
        ),
        column(
            "length",
            "for bedding: the height a new pack loses",
            name="amount",
            default=None,
            least=0.0,
            most=0.01,
        ),
        column("length", "its standard uncertainty", name="u_amount", default=None, least=0.0),
    ]
    uncertainty: float
    """Standard uncertainty: a share of a factor, or metres of bedding."""
    correlations: Annotated[
        tuple[float, ...],
        column("text", "correlation with each row above, separated by spaces", default=""),
    ]
    """With the corrections before this one."""
    source: Annotated[str, column("text", "where it comes from")]


@dataclass(frozen=True, slots=True)
class Learning:
    """How far off what only a round can show may be, as standard uncertainties; 0: exact.

    Stiffness, bedding, expansion and steel temperature are those of :class:`Uncertainties`.
    """

    settlement: float = 0.001
    """A seat that sank beside what was ordered [m]."""
    movement: float = 0.02
    """Of a jack's movement scale, as a share; counts for nuts only."""
    gauge: float = 0.05
    """Of the scale of all gauges, as a share."""
    load_reading: float = 0.03
    """Of one load reading, as a share."""
