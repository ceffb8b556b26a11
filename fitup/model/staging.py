"""What the crews have for the moves: crews, pumps, order, and how exactly a lift is carried out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from fitup.model.column import column


@dataclass(frozen=True, slots=True)
class Staging:
    """How stages are made: hands, lift in one go, and what an imperfect lift may do."""

    crews: int = 1
    """Groups that may move in one stage."""
    stage_lift: float = math.inf
    """Greatest travel of any jack in one go, up or down, between pack and pack [m]."""
    out_of_step: float = 0.0
    """How far any jack may be off its reading while moving, either way [m]."""
    friction: float = 0.0
    """Share by which a jack reads more on the way up and less on the way down."""
    pressure_error: float = 0.0
    """How far a gauge may be off, as a share of the jack's capacity."""
    worst_reserve: float = 1.25
    """Capacity over the worst-case load, at least."""
    creep: float = 0.001
    """How far the deck leaves its packs at the measured lift-off [m]."""
    slide: float = 0.001
    """Room a follow-up plate needs to slide in, or to stay free on the way down [m]."""
    spring_back: float = 0.0005
    """How far a pushed deck may come back when its ram is let off, at most to its pack [m]."""
    base_step: float = 0.010
    """Packing under a jack comes in whole steps of this [m]."""
    outwards_from: str = ""
    """Segment, seat or point from which the work should go outwards; empty: as in the files."""

    @property
    def exact(self) -> bool:
        """True where nothing is stated of an imperfect lift."""
        return self.out_of_step == 0.0 and self.friction == 0.0 and self.pressure_error == 0.0


@dataclass(frozen=True, slots=True)
class Pump:
    """A pump with the jacks it can drive together.

    ``synchronised``: all its jacks move at once under one control; else they are worked one
    after the other within every step. ``out_of_step`` [m] overrides the job's, where given.
    """

    id: Annotated[str, column("id", "the number painted on the pump")]
    jacks: Annotated[
        tuple[str, ...],
        column(
            "ids",
            "the jacks its hoses can drive together, separated by spaces",
            "; every jack of a seat that is not held stands at some pump",
        ),
    ]
    synchronised: Annotated[
        bool,
        column(
            "yesno",
            "yes where all its jacks move at once under one control",
            ". no: they are worked one after the other within every step, so each may be off by "
            "a whole `lift_step` more",
        ),
    ] = True
    out_of_step: Annotated[
        float | None,
        column(
            "length",
            "how far its jacks may be off their readings, either way",
            "; empty: as in `[staging]`",
            least=0.0,
            most=0.5,
        ),
    ] = None
    pressure_most: Annotated[
        float | None,
        column(
            "pressure",
            "the highest pressure it is rated for",
            "; a jack then lifts no more than this on its ram, whatever its own capacity",
            above=0.0,
            most=3e8,
        ),
    ] = None
    """[Pa]"""


@dataclass(frozen=True, slots=True)
class GroupRule:
    """What one group of seats asks of the order of work.

    ``after`` names groups that must be finished before this one starts, ``rank`` is an objective
    (lower first), ``window`` the name of the hours in which alone it may move, ``stage_lift``
    [m] overrides the job's.
    """

    id: Annotated[
        str,
        column(
            "id",
            "the name of a group of seats",
            ", its empty cells named as the plan names them: `W7-lift`, `W7-along`, `W7-across`",
        ),
    ]
    after: Annotated[
        tuple[str, ...], column("ids", "groups that must be finished before it starts")
    ] = ()
    rank: Annotated[
        int | None,
        column(
            "count",
            "the objective for the order, lower first",
            "; among orders with the fewest stages",
            least=0,
        ),
    ] = None
    window: Annotated[
        str,
        column(
            "text",
            "the hours in which alone it may move",
            ", by a name (temperature, tide, traffic): stands on its stages, and groups with "
            "different hours share none",
        ),
    ] = ""
    stage_lift: Annotated[
        float | None,
        column(
            "length",
            "the greatest travel of its jacks in one go",
            "; empty: as in `[staging]`",
            above=0.0,
            most=5.0,
        ),
    ] = None
