"""What was measured and when it may be believed: epochs, readings at the joint, gates."""

from __future__ import annotations

from dataclasses import dataclass

from fitup.model.checks import Quantity


@dataclass(frozen=True, slots=True)
class Epoch:
    """One survey: file, time, temperatures, what stood on the deck."""

    file: str
    taken: str
    """Local time, ISO 8601, ``2031-04-02T04:10``."""
    temperature: float
    deck_load: float
    """Load on the deck beyond the segment's own weight [N]."""
    uncertainty: float | None
    """Standard uncertainty of each coordinate where the list gives none [m]."""
    unit: str | None
    """Length unit of the coordinates where the header does not name it."""
    order: tuple[str, ...] | None
    """Declared columns of a list without header."""
    decimal: str | None
    """Declared decimal mark of the list, where it must be declared."""
    observed: bool = False
    """``file`` holds what the instrument read, not coordinates."""
    levelling: str | None = None
    """File with levelled differences of height, beside the observations."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A gap, step or offset read directly at the joint [m], with its standard uncertainty."""

    id: str
    pair: str
    quantity: Quantity
    value: float
    uncertainty: float
    how: str


@dataclass(frozen=True, slots=True)
class Gates:
    """Beyond these the survey is refused, not averaged."""

    hours_apart: float = 2.0 * 3600.0
    """Between the two sides of a joint [s]."""
    temperature_apart: float = 3.0
    """Between the two sides of a joint [K]."""
    temperature_off: float = 3.0
    """From the reference temperature without an expansion model [K]."""
    deck_load_apart: float = 20e3
    """Between the two sides of a joint [N]."""
    deviation_most: float = 0.25
    """Greatest shift of a segment from the design that is believed [m]."""
