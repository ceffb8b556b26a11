"""What holds and moves segments: seats, jacks, plates, and the limits between seats."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from fitup.frames import Array

#: seat direction word -> (word for a move with the direction, word for a move against it)
MOVE_WORDS: Final[dict[str, tuple[str, str]]] = {
    "up": ("RAISE", "LOWER"),
    "ahead": ("PUSH AHEAD", "LET BACK"),
    "back": ("PUSH BACK", "LET AHEAD"),
    "left": ("PUSH LEFT", "LET RIGHT"),
    "right": ("PUSH RIGHT", "LET LEFT"),
    "main_span": ("PUSH TO MAIN SPAN", "LET TO SIDE SPAN"),
    "shorten": ("SHORTEN", "SLACKEN"),
}

#: one thickness in two units may differ by this [m]
_SAME: Final = 1e-9


@dataclass(frozen=True, eq=False)
class Seat:
    """A place that holds a segment and whose setting can be changed in one direction.

    Parameters
    ----------
    id, segment : str
    position, direction : Array (3,)
        Where it is [m] and the unit direction in which it pushes the segment.
    pushes : str
        The direction in a word: up, ahead, back, left, right, main_span (a saddle), shorten (a
        cable), or axis.
    stiffness : float
        Stiffness in its direction [N/m].
    held_by : {'packs', 'nut'}
        Plates, or a lock nut on a jack that stays.
    pack : tuple of str
        Marks of the plates now in place, bottom to top.
    pack_least, pack_most : float
        Least and greatest pack height [m].
    most_plates : int
        Most plates in a pack.
    thinnest, thickest : float
        Nominal thickness of the plates that a new pack may hold [m].
    bedding : float
        Height lost when a new pack takes the load [m].
    reaction_least, reaction_most : float
        Least bearing and greatest reaction of the seat [N].
    reaction_now : float, optional
        Measured present reaction [N]; computed from weight when missing.
    breakaway : float
        Extra jack load to start a slide or free a bearing [N].
    raise_most, lower_most : float, optional
        Most the seat may go with and against its direction from now [m].
    group : str
        Seats with one group name move together.
    hold : bool
        The engineer wants this seat left as it is.
    may_unload : bool
        On the way the deck may leave this seat; it then carries nothing.
    """

    id: str
    segment: str
    position: Array
    direction: Array
    pushes: str
    stiffness: float
    held_by: Literal["packs", "nut"]
    pack: tuple[str, ...]
    pack_least: float
    pack_most: float
    most_plates: int
    bedding: float
    reaction_least: float
    reaction_most: float
    reaction_now: float | None = None
    breakaway: float = 0.0
    raise_most: float | None = None
    lower_most: float | None = None
    group: str = ""
    hold: bool = False
    may_unload: bool = False
    thinnest: float = 0.0
    thickest: float = math.inf

    def may_hold(self, plate: Plate) -> bool:
        """Say whether a new pack may hold a plate, by nominal thickness, rounding aside."""
        return self.thinnest - _SAME <= plate.nominal <= self.thickest + _SAME

    @property
    def lifts(self) -> bool:
        """True where the seat pushes up, so that gravity brings the load back."""
        return bool(self.direction[2] > 0.5)

    @property
    def comes_back(self) -> bool:
        """True where gravity or a cable's pull brings the seat back onto its pack or nut."""
        return self.lifts or self.pushes in {"main_span", "shorten"}

    @property
    def only_pushes(self) -> bool:
        """True where the structure may lift off it; of a cable it is the cable that goes slack."""
        return self.reaction_least >= 0.0 and self.pushes != "shorten"


@dataclass(frozen=True, slots=True)
class Jack:
    """What moves a seat; several may serve one seat and share its load equally.

    ``stroke_used`` is how far the ram is out when it touches: that much it can go back.
    ``base`` is the packing under it that can be taken out, ``base_most`` the most that may stand
    there [m]: room to set it anew when its stroke is used up.
    """

    id: str
    seat: str
    capacity: float
    ram_area: float
    stroke: float
    stroke_used: float
    resolution: float
    lock_nut: bool
    base: float = 0.0
    base_most: float = 0.0


@dataclass(frozen=True, slots=True)
class Plate:
    """One kind of plate on hand: mark, nominal and measured thickness [m], how many may be used.

    ``count`` are loose and may be used; ``kept_back`` more are loose but kept back as spare.
    """

    mark: str
    nominal: float
    measured: float
    count: int
    length: float
    width: float
    spread: float = 0.0
    """Standard uncertainty of one plate's thickness [m]."""
    alike: bool = False
    """Bought to limits and not measured: plates of one mark err alike."""
    kept_back: int = 0


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit between seats: ``difference`` of two lifts or ``warp`` of four [m].

    ``most_moving`` holds while seats move, where it differs from ``most`` at rest on the packs.
    """

    id: str
    kind: Literal["difference", "warp"]
    seats: tuple[str, ...]
    most: float
    most_moving: float | None = None

    @property
    def moving(self) -> float:
        """Greatest value while seats move [m]."""
        return self.most if self.most_moving is None else self.most_moving
