"""Where traffic rides over a joint: wheel paths through points of the deck."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final

from fitup.model.column import column

#: length of the straightedge where the job names none [m]
STRAIGHTEDGE: Final = 3.0


@dataclass(frozen=True, slots=True)
class RidePath:
    """A wheel path: points of the deck in a line, from the back segment to the ahead one.

    The last point on the back segment and the first on the ahead one stand at the faces.
    """

    id: Annotated[str, column("id", "a name for the wheel path")]
    joint: Annotated[str, column("id", "the joint it crosses")]
    points: Annotated[
        tuple[str, ...],
        column(
            "ids",
            "its points from back to ahead, two or more on each segment",
            ", separated by spaces",
        ),
    ]
    place: Annotated[str, column("text", "where it is across the deck, e.g. LEFT lane")]
