"""What must slide or bolt across a joint: bores of pipes and dowels, groups of bolt holes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

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

    id: str
    joint: str
    rings: tuple[tuple[str, ...], ...]
    bore: float
    member: float
    place: str


@dataclass(frozen=True, slots=True)
class BoltGroup:
    """Holes on both sides of a joint that one set of bolts or one splice plate must fit.

    The holes of ``back`` and ``ahead`` go together one by one; ``clearance`` is how far they may
    be shifted against each other before a bolt no longer passes [m].
    """

    id: str
    joint: str
    back: tuple[str, ...]
    ahead: tuple[str, ...]
    plane: Literal["web", "deck", "end"]
    clearance: float
    place: str
