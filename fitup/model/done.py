"""What was really done: readings of the crew while and after a plan was carried out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final, Literal

from fitup.model.column import column

Moment = Literal["lift-off", "raised", "end"]
#: when a reading was taken: as the seat opened, at the top, or resting on the new pack or nut
MOMENTS: Final[tuple[Moment, ...]] = ("lift-off", "raised", "end")
#: side word of a movement -> its sign in the seat's direction; the first two are of lifts
SIDE_SIGNS: Final = {"above": 1.0, "below": -1.0, "beyond": 1.0, "short": -1.0}


@dataclass(frozen=True, slots=True)
class Done:
    """One reading as done, in SI; what was not read is None.

    ``movement`` counts from the surveyed state in the direction in which the seat pushes [m].
    ``load`` is that of ``jack``, or of the whole seat where no jack is named [N].
    """

    stage: Annotated[
        int, column("count", "the number of the stage on the sheet", least=0, most=9999)
    ]
    moment: Annotated[
        Moment,
        column(
            "word",
            "when it was read",
            "; as the seat opens, at the top, or resting on the new pack or nut",
            words=MOMENTS,
        ),
    ]
    seat: Annotated[str, column("id", "the seat")]
    jack: Annotated[str | None, column("id", "the jack; empty for the whole seat", default=None)]
    movement: Annotated[
        float | None,
        column(
            "length",
            "the movement from START, the mark where the jack touched, without a sign",
            default=None,
            least=0.0,
        ),
        column(
            "word",
            "which side of START",
            "; the first two for lifts, the others for pushes in plan",
            name="side",
            default=None,
            words=tuple(SIDE_SIGNS),
        ),
    ]
    load: Annotated[
        float | None,
        column("force", "the load read", name="load", default=None, least=0.0),
        column(
            "pressure",
            "the gauge pressure, where no load",
            " is given; times the ram area of the jack it is the load",
            name="pressure",
            default=None,
            least=0.0,
        ),
    ]
    pack: Annotated[
        tuple[str, ...] | None,
        column("ids", "the plates now in place, bottom to top", default=None),
    ]
    """Marks of the plates now in place, bottom to top."""
    stroke_out: Annotated[
        float | None, column("length", "how far the ram is out", default=None, least=0.0)
    ]
    """How far the ram is out [m]."""
    who: Annotated[str, column("text", "who read it")]
    time: Annotated[str, column("text", "when, in local time, e.g. 2031-04-02T05:40")]
    """Local time, ISO 8601."""
    row: int = 0
    """Row in its file."""
