"""What was measured and when it may be believed: epochs, readings at the joint, gates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fitup.model.checks import Quantity
from fitup.model.column import column


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
    widths: tuple[int, ...] | None = None
    """Characters of each column of a list of fixed width."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A gap, step or offset read directly at the joint [m], with its standard uncertainty."""

    id: Annotated[str, column("id", "a name for the reading")]
    pair: Annotated[str, column("id", "the pair it was taken at")]
    quantity: Annotated[Quantity, column("word", "what was read", words=("gap", "step", "offset"))]
    value: Annotated[
        float,
        column(
            "length",
            "the amount, without a sign",
            "; for a gap the whole opening",
            least=0.0,
            most=10.0,
        ),
        column(
            "text",
            "for step and offset: which way; for gap: 'opening'",
            ": `ahead high`, `ahead low`, `ahead left`, `ahead right`",
            name="side",
        ),
    ]
    uncertainty: Annotated[
        float,
        column(
            "length",
            "the standard uncertainty of the reading",
            name="u",
            above=0.0,
            most=0.1,
        ),
    ]
    how: Annotated[str, column("text", "the tool, e.g. straightedge and feeler")]


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
