"""Where traffic rides over a joint: wheel paths through points of the deck."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

#: length of the straightedge where the job names none [m]
STRAIGHTEDGE: Final = 3.0


@dataclass(frozen=True, slots=True)
class RidePath:
    """A wheel path: points of the deck in a line, from the back segment to the ahead one.

    The last point on the back segment and the first on the ahead one stand at the faces.
    """

    id: str
    joint: str
    points: tuple[str, ...]
    place: str
