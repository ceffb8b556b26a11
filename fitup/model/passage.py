"""What must slide or bolt across a joint: bores of pipes and dowels, groups of bolt holes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final, Literal

from fitup.model.column import column

#: rings of a bore in the order of the member's way
RINGS: Final = ("back_far", "back_near", "ahead_near", "ahead_far")
#: plane of a plate -> the two rows of the joint axes that lie in it (ahead, left, up)
PLANES: Final[dict[str, tuple[int, int]]] = {"web": (0, 2), "deck": (0, 1), "end": (1, 2)}


@dataclass(frozen=True, slots=True)
class Bore:
    """A bore through both sides of a joint, known by rings of points round its wall.

    ``rings`` are the points of back_far, back_near, ahead_near and ahead_far; ``bore`` is the
    clear diameter, ``member`` that of what slides through [m].
    """

    id: Annotated[str, column("id", "a name for the bore")]
    joint: Annotated[str, column("id", "the joint it crosses")]
    rings: Annotated[
        tuple[tuple[str, ...], ...],
        column("ids", "points round it at its back end", name="back_far"),
        column("ids", "points round it on the back segment next to the joint", name="back_near"),
        column("ids", "points round it on the ahead segment next to the joint", name="ahead_near"),
        column("ids", "points round it at its ahead end", name="ahead_far"),
    ]
    bore: Annotated[float, column("length", "its clear diameter", above=0.0, most=10.0)]
    member: Annotated[
        float,
        column("length", "the diameter of what slides through", above=0.0, most=10.0),
    ]
    place: Annotated[str, column("text", "where it is across the deck")]


@dataclass(frozen=True, slots=True)
class BoltGroup:
    """Holes on both sides of a joint that one set of bolts or one splice plate must fit.

    The holes of ``back`` and ``ahead`` go together one by one; ``clearance`` is how far they may
    be shifted against each other before a bolt no longer passes [m].
    """

    id: Annotated[str, column("id", "a name for the group of holes")]
    joint: Annotated[str, column("id", "the joint it crosses")]
    back: Annotated[tuple[str, ...], column("ids", "the holes' points on the back segment")]
    ahead: Annotated[
        tuple[str, ...],
        column("ids", "the holes' points on the ahead segment, in the same order"),
    ]
    plane: Annotated[
        Literal["web", "deck", "end"],
        column(
            "word",
            "the plane of the plate",
            "; a web stands upright along the deck, a deck lies level, an end stands across",
            words=tuple(PLANES),
        ),
    ]
    clearance: Annotated[
        float,
        column(
            "length",
            "the shift of two holes that still lets a bolt pass",
            least=0.0,
            most=0.1,
        ),
    ]
    place: Annotated[str, column("text", "where it is across the deck")]
