"""A way out of trouble: what is true where work stopped, what can be done from there, which help.

Work stops after some line of a stage. The crew says what is true there (:class:`Stopped`); what
follows for every seat is a :class:`Found`. From there a :class:`Recovery` leads to a goal:

``safe``
    every load onto steel where it stands;
``back``
    to where the stage began;
``end``
    to the end of the stage, by its own lines that are left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Final, Literal

from fitup.model.plans import Order
from fitup.model.procedure import Procedure, SeatState, Support

Goal = Literal["safe", "back", "end"]
GOALS: Final[tuple[Goal, ...]] = ("safe", "back", "end")


@dataclass(frozen=True, slots=True)
class Stopped:
    """What is true where one crew stopped.

    Parameters
    ----------
    line : int
        The last one that was done.
    broken : tuple of str
        Jacks that neither move nor hold oil. Their lock nuts hold.
    replaced : tuple of str
        Broken jacks for which another of the same capacity, area and stroke stands beside them.
    lost : tuple of str
        Plates of the store that are not there, a mark for each.
    rams : tuple of (jack, reading)
        Rams that stand elsewhere than the line says, from START [m].
    on : tuple of (seat, support)
        Seats that stand on something else than follows from the line and what is broken.
    at_rest : bool
        Nuts are home or the load is let down on temporary plates, oil off, at all jacks.
    stage, crew : int
        Whose line it is; zero before that is looked up.
    within : str
        Id of the recovery whose line it is; empty for a line of a stage or of its way back.
    """

    line: int
    broken: tuple[str, ...] = ()
    replaced: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()
    rams: tuple[tuple[str, float], ...] = ()
    on: tuple[tuple[str, Support], ...] = ()
    at_rest: bool = False
    stage: int = 0
    crew: int = 0
    within: str = ""


@dataclass(frozen=True, slots=True)
class SeatFound:
    """One seat where work stopped.

    ``ram`` counts from START [m], ``nut`` is the gap at its lock nut [m], infinite where it is run
    back, None where there is none. ``dead`` seats have a broken jack and no other in its place.
    """

    state: SeatState
    ram: float
    nut: float | None
    dead: bool
    started: bool
    """START is set: the load was lifted off, or the push broke loose."""


@dataclass(frozen=True, slots=True)
class Found:
    """Every seat of a crew where it stopped, after so many orders of its stage.

    ``outside`` says which limits do not hold there, in words; nobody chose that state. ``legs``
    are the ways that led there from the stage, in the order of time, the last broken off.
    """

    stopped: Stopped
    done: int
    seats: tuple[SeatFound, ...]
    outside: tuple[str, ...] = ()
    legs: tuple[Recovery, ...] = ()

    @property
    def started(self) -> bool:
        """True where START of any seat is set."""
        return any(s.started for s in self.seats)


@dataclass(frozen=True, slots=True)
class Recovery:
    """What a crew does from where it stopped, certified.

    Parameters
    ----------
    orders : tuple of Order
        Empty where the goal is reached already.
    procedure : Procedure
        The same as events, with readings and bands.
    outside : tuple of str
        Limits that do not hold in some state of it, in words; only on the way onto steel, which
        nobody may put off for them.
    reached : tuple of int
        After each order, how many orders of the stage stand as if only they were done.
    """

    goal: Goal
    stopped: Stopped
    orders: tuple[Order, ...]
    procedure: Procedure
    outside: tuple[str, ...] = ()
    reached: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class JackHelp:
    """A jack that is needed: where, and what it must carry [N] and travel [m] at the least."""

    jack: str
    seat: str
    capacity: float
    stroke: float


#: a capacity is asked for in whole steps of so many newtons, a stroke of so many metres
_FORCE_STEP, _STROKE_STEP = 50e3, 5e-3


def rounded_up(jack: JackHelp) -> JackHelp:
    """Return what a jack must carry and travel in whole steps, upwards; twice is as once."""
    capacity = math.ceil(jack.capacity / _FORCE_STEP - 1e-9) * _FORCE_STEP
    stroke = round(math.ceil(jack.stroke / _STROKE_STEP - 1e-9) * _STROKE_STEP, 3)
    return replace(jack, capacity=capacity, stroke=stroke)


@dataclass(frozen=True, slots=True)
class PlateHelp:
    """Plates of one mark that are needed before a goal can be reached."""

    mark: str
    count: int


@dataclass(frozen=True, slots=True)
class Tried:
    """One goal: the certified way there, or why there is none and which help makes one."""

    goal: Goal
    recovery: Recovery | None
    why_not: tuple[str, ...] = ()
    jacks: tuple[JackHelp, ...] = ()
    plates: tuple[PlateHelp, ...] = ()

    @property
    def helped(self) -> bool:
        """True where there is no way now, and one with the help that is named."""
        return self.recovery is None and bool(self.jacks or self.plates)


@dataclass(frozen=True, slots=True)
class Answer:
    """What can be done from where a crew stopped, goal by goal."""

    found: Found
    tried: tuple[Tried, ...] = field(default=())

    def of(self, goal: Goal) -> Tried:
        """Return what was tried for a goal."""
        return next(t for t in self.tried if t.goal == goal)
