"""A procedure: what one crew does in one stage, event by event, in the order of time.

How to read it
--------------
A :class:`Procedure` is one crew in one stage. Its events stand in the order in which they are
done; ``line`` is unique over the whole plan, so that a number said on the radio means one thing.

A :class:`WorkEvent` is one verb, done by one hand (``who``) to one kind of object (``objects``:
jacks, seats or joints), all of them together. How far is no field of its own: it is the
:class:`ExpectedReading` whose ``aim`` is true. A raise says that the ram of each jack is brought to
such a reading; all other readings are taken and judged.

A :class:`Band` says what a reading may be in *this* event. Outside a ``STOP`` band work stops at
once; outside a ``HOLD`` band the crew rests the load on steel and asks the engineer. Both ends are
whole steps of the instrument; an infinite end asks nothing. During take-up and landing the load
passes from one support to another, so there the gauge has no lower end.

``moved`` are the plates that change place in this event; every plate is in the store, in a pack or
in a temporary stack beside or on it, and in one of them only. ``after`` says for every seat of the
crew where its load stands when the event is done, which plates lie where, and where the deck is.

Ram readings count from the mark named in ``zero``: ``TOUCH``, where jack and deck first touch, or
``START``, set once in a procedure at lift-off (of a push: where the deck starts to move). A jack
that is set anew has its START after that, once. All numbers are SI, already rounded to
``resolution``, the step of the instrument: m, Pa, N, rad.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Hand = Literal["pump", "nut", "plates", "dial", "survey", "engineer"]
Phase = Literal[
    "set",
    "touch",
    "take-up",
    "lift-off",
    "lift",
    "rest",
    "plates",
    "free",
    "lower",
    "landing",
    "breakaway",
    "push",
    "let off",
    "off",
    "read",
    "hold",
]
Verb = Literal[
    "SET ANEW",
    "SET",
    "TOUCH",
    "TAKE UP",
    "LIFT OFF",
    "BREAK LOOSE",
    "RAISE",
    "PUSH",
    "FOLLOW WITH NUT",
    "FOLLOW WITH PLATES",
    "NUT HOME",
    "LET DOWN",
    "OIL OFF",
    "CHANGE PACK",
    "FREE",
    "RUN NUT BACK",
    "TAKE OUT PLATES",
    "LOWER",
    "LAND",
    "JACK OFF",
    "READ",
    "HOLD POINT",
]
Instrument = Literal["ram", "gauge", "dial", "feeler", "calliper", "tape", "straightedge", "survey"]
Zero = Literal["", "TOUCH", "START"]
Support = Literal["pack", "nut", "oil", "temporary", "friction"]
Meaning = Literal["STOP", "HOLD"]
#: the pack, a temporary stack beside it on the temporary seat, or one that follows on the pack
PlatePlace = Literal["store", "pack", "beside", "on pack"]


@dataclass(frozen=True, slots=True)
class Band:
    """What a reading may be: outside it the crew stops, or holds and asks.

    ``low`` and ``high`` are in the unit of the reading (SI); infinite where nothing is asked.
    """

    meaning: Meaning
    low: float = -math.inf
    high: float = math.inf
    why: str = ""
    """What sets the nearer end, in words."""

    def holds(self, value: float) -> bool:
        """Say whether a reading lies inside, ends included."""
        return self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class ExpectedReading:
    """What one instrument should show when an event is done.

    Parameters
    ----------
    instrument : str
        ``ram`` and ``gauge`` belong to a jack, ``dial`` (the deck), ``calliper`` (height of the
        pack) and ``feeler`` (opening over the pack) to a seat; a ``feeler`` at a jack is the gap
        of its lock nut. ``tape``, ``straightedge`` and ``survey`` belong to a check of a joint.
    at : str
        Id of the jack, seat or check.
    value : float
        Rounded to ``resolution``; a length [m], a pressure [Pa], or a check in its own unit. A
        ``tape`` shows the whole opening of a pair.
    resolution : float
        Step of the instrument, in the same unit.
    load : float
        Of a gauge: the load of the jack that the pressure stands for [N].
    aim : bool
        The crew works towards this reading; others are read and judged.
    """

    instrument: Instrument
    at: str
    value: float
    resolution: float
    bands: tuple[Band, ...] = ()
    zero: Zero = ""
    load: float = 0.0
    aim: bool = False

    def band(self, meaning: Meaning) -> Band | None:
        """Return the band of one meaning, None where there is none."""
        return next((b for b in self.bands if b.meaning == meaning), None)


@dataclass(frozen=True, slots=True)
class PlateMove:
    """One plate of a seat from one place to another."""

    mark: str
    seat: str
    source: PlatePlace
    target: PlatePlace


@dataclass(frozen=True, slots=True)
class SeatState:
    """One seat after an event: what carries it, which plates lie there, where the deck is.

    ``load`` is the whole load of the seat [N], ``deck`` how far the deck has gone there in the
    direction of the seat since the survey [m], ``opening`` the clear room over the pack [m].
    ``drop`` is how far the load could go before steel carries it, were the oil lost [m]; zero where
    it stands on steel.
    """

    seat: str
    on: Support
    load: float
    deck: float
    opening: float
    drop: float
    pack: tuple[str, ...]
    beside: tuple[str, ...] = ()
    """Temporary plates on the temporary seat."""
    on_pack: tuple[str, ...] = ()
    """Temporary plates that follow the load on the pack."""


@dataclass(frozen=True, slots=True)
class WorkEvent:
    """One thing that one hand of a crew does, what is read then, and how all stands afterwards."""

    line: int
    stage: int
    crew: int
    who: Hand
    phase: Phase
    verb: Verb
    objects: tuple[str, ...]
    """Jacks, seats or joints it is done to, all together."""
    readings: tuple[ExpectedReading, ...] = ()
    moved: tuple[PlateMove, ...] = ()
    after: tuple[SeatState, ...] = ()
    note: str = ""
    """What must be seen or made sure of, in plain words."""


@dataclass(frozen=True, slots=True)
class Procedure:
    """What one crew does in one stage."""

    stage: int
    crew: int
    group: str
    segment: str
    seats: tuple[str, ...]
    jacks: tuple[str, ...]
    pumps: tuple[str, ...]
    window: str
    events: tuple[WorkEvent, ...]
