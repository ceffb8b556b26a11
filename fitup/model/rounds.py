"""What one round leaves for the next: moves as done, corrections learned, how far off we may be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

What = Literal["stiffness", "bedding", "movement", "expansion"]
#: what a learned correction may correct
LEARNED: Final[tuple[What, ...]] = ("stiffness", "bedding", "movement", "expansion")
#: the place of a correction that holds for all steel
STEEL: Final = "steel"


@dataclass(frozen=True, slots=True)
class Moved:
    """How far one seat was moved before this job's survey, and what it carried."""

    seat: str
    setting: float
    """In the direction in which it pushes [m]; what its plates or its jack's scale say."""
    uncertainty: float
    """Standard uncertainty from plates or the jack's resolution [m]."""
    load_before: float | None
    """Measured reaction before the moves [N]."""
    load_after: float | None
    """Measured reaction after the moves [N]."""
    source: str


@dataclass(frozen=True, slots=True)
class Learned:
    """One correction of an assumption, learned from surveys after moves.

    ``value`` multiplies the stiffness of a seat, the movement of a nut seat's jack or the
    expansion of all steel; for bedding it is the height a new pack loses [m].
    """

    what: What
    at: str
    """Seat, or ``steel``."""
    value: float
    uncertainty: float
    """Standard uncertainty: a share of a factor, or metres of bedding."""
    correlations: tuple[float, ...]
    """With the corrections before this one."""
    source: str


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
