"""The answer: packs, stages, how each objective came out, what stands in the way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitup.frames import Array
from fitup.model.procedure import Phase, PlateMove, Verb


@dataclass(frozen=True, slots=True)
class SeatPlan:
    """What one seat is to become, in whole plates."""

    seat: str
    out: tuple[str, ...]
    """Plates that come out, bottom to top as they stand now."""
    put_in: tuple[str, ...]
    """Plates that go in."""
    build_up: tuple[str, ...]
    """The finished pack, bottom to top."""
    setting: float
    """Move of the seat from the surveyed state [m]."""
    disturbed: bool


@dataclass(frozen=True, slots=True)
class Reset:
    """A jack whose stroke is used up is set anew: packing [m] under its base before and after."""

    jack: str
    seat: str
    base_now: float
    base_new: float


@dataclass(frozen=True, slots=True)
class Order:
    """One thing a crew is to do in a stage; the certificate makes a work event of it.

    ``aims`` stand for ``objects`` one by one: of TAKE UP the share of the load, of LIFT OFF the
    least opening over any pack [m], of SET ANEW the packing under the jack [m], of FOLLOW WITH NUT
    the gap that is left at the nut [m], else the ram reading from START [m].
    """

    verb: Verb
    phase: Phase
    objects: tuple[str, ...]
    aims: tuple[float, ...] = ()
    moved: tuple[PlateMove, ...] = ()


@dataclass(frozen=True, slots=True)
class Stage:
    """Seats that move together: up to a raised state, packs, down onto the packs.

    Stages with one number are worked at the same time by different crews, which do not wait for
    each other. ``up`` and ``down`` list the settings [m, from the surveyed state] after each
    increment, seat by seat; the last of ``down`` is where the stage leaves the seats.
    """

    number: int
    group: str
    seats: tuple[str, ...]
    up: tuple[tuple[float, ...], ...]
    down: tuple[tuple[float, ...], ...]
    start: tuple[float, ...]
    """Settings before the stage [m]."""
    before: tuple[tuple[str, ...], ...]
    """Packs before the stage, bottom to top; none at a nut."""
    after: tuple[tuple[str, ...], ...]
    """Packs the stage leaves."""
    resets: tuple[Reset, ...] = ()
    """Jacks set anew before the stage."""
    crew: int = 1
    pumps: tuple[str, ...] = ()
    window: str = ""
    orders: tuple[Order, ...] = ()
    """What the crew does, in the order of time; the hold point belongs to all crews."""
    back: tuple[Order, ...] = ()
    """From the raised state on steel, packs changed, back to where the stage began; empty where
    nothing brings the deck back."""


@dataclass(frozen=True, slots=True)
class ObjectiveResult:
    """How one objective came out: the plan's value, a bound below every choice, and the gap."""

    name: str
    upper: float
    lower: float
    proven: bool
    text: str


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One thing that stands in the way and the smallest change that would free it."""

    what: str
    change: str
    verified: bool
    """A plan with this one change was found and meets every tolerance."""


@dataclass(frozen=True, slots=True)
class Conflict:
    """Limits, tolerances and the like that cannot all be kept; without any one of them all can."""

    parts: tuple[str, ...]
    plates: str
    """``any thickness``: not even with plates cut to measure; ``whole``: not with whole plates."""


@dataclass(frozen=True, slots=True)
class Plan:
    """The answer: packs, stages and proof."""

    seats: tuple[SeatPlan, ...]
    stages: tuple[Stage, ...]
    objectives: tuple[ObjectiveResult, ...]
    method: str
    ideal: tuple[float, ...]
    """Settings if plates could be of any thickness [m], in the order of ``seats``."""
    inside: bool
    obstacles: tuple[Obstacle, ...] = ()
    conflicts: tuple[Conflict, ...] = ()
    """What stands in the way, where a check stays outside; no two with a part in common."""
    reuse: bool = True
    """Plates that come out of packs were counted for others; false where no order was safe so."""
    id: str = ""

    def settings(self) -> Array:
        """Return the moves (n,) [m] in the order of ``seats``."""
        return np.array([s.setting for s in self.seats])
