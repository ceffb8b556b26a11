"""What was really done: readings of the crew while and after a plan was carried out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Moment = Literal["lift-off", "raised", "end"]
#: when a reading was taken: as the seat opened, at the top, or resting on the new pack or nut
MOMENTS: Final[tuple[Moment, ...]] = ("lift-off", "raised", "end")


@dataclass(frozen=True, slots=True)
class Done:
    """One reading as done, in SI; what was not read is None.

    ``movement`` counts from the surveyed state in the direction in which the seat pushes [m].
    ``load`` is that of ``jack``, or of the whole seat where no jack is named [N].
    """

    stage: int
    moment: Moment
    seat: str
    jack: str | None
    movement: float | None
    load: float | None
    pack: tuple[str, ...] | None
    """Marks of the plates now in place, bottom to top."""
    stroke_out: float | None
    """How far the ram is out [m]."""
    who: str
    time: str
    """Local time, ISO 8601."""
    row: int = 0
    """Row in its file."""
