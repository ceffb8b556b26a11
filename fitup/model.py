"""What a job is and what a plan is, as frozen values in SI units (m, rad, N, Pa, K).

Nothing here reads, computes or prints: the values flow from ``jobfolder`` through ``survey``,
``joints``, ``structure`` and ``optimize`` to ``certify`` and ``sheets``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from fitup.frames import Array

Quantity = Literal[
    "gap", "step", "offset", "kink_grade", "kink_plan", "twist", "level", "line", "station"
]
#: quantities that are lengths [m]; the others are slopes [m/m = rad]
LENGTHS: Final = frozenset({"gap", "step", "offset", "level", "line", "station"})
QUANTITIES: Final[tuple[Quantity, ...]] = (
    "gap",
    "step",
    "offset",
    "kink_grade",
    "kink_plan",
    "twist",
    "level",
    "line",
    "station",
)
#: what a positive and a negative value of each quantity is called (docs/signs.md)
SIDES: Final[dict[Quantity, tuple[str, str]]] = {
    "gap": ("wide", "narrow"),
    "step": ("ahead high", "ahead low"),
    "offset": ("ahead left", "ahead right"),
    "kink_grade": ("dip", "crest"),
    "kink_plan": ("bends left", "bends right"),
    "twist": ("ahead left edge high", "ahead right edge high"),
    "level": ("high", "low"),
    "line": ("left", "right"),
    "station": ("ahead", "back"),
}
#: seat direction word -> (word for a move with the direction, word for a move against it)
MOVE_WORDS: Final[dict[str, tuple[str, str]]] = {
    "up": ("RAISE", "LOWER"),
    "ahead": ("PUSH AHEAD", "LET BACK"),
    "back": ("PUSH BACK", "LET AHEAD"),
    "left": ("PUSH LEFT", "LET RIGHT"),
    "right": ("PUSH RIGHT", "LET LEFT"),
}


@dataclass(frozen=True, eq=False)
class Segment:
    """A prefabricated length of deck, moved as a unit.

    Parameters
    ----------
    id : str
    azimuth : float
        Direction of increasing station [rad]; gives ahead and left at its seats.
    weight : float
        Weight with all that stood on it at the survey [N].
    centre : Array (3,)
        Centre of gravity in the grid [m].
    held : frozenset of {'along', 'across', 'turn'}
        Motions in plan that friction or guides hold because no seat works on them.
    expansion : float, optional
        Coefficient of thermal expansion [1/K].
    fixed_point : Array (3,), optional
        Point that does not move with temperature [m].
    """

    id: str
    azimuth: float
    weight: float
    centre: Array
    held: frozenset[str] = frozenset()
    expansion: float | None = None
    fixed_point: Array | None = None


@dataclass(frozen=True, eq=False)
class CheckPoint:
    """A marked point of a segment with its design coordinates (3,) for this stage [m].

    The level and line of a point are checked if it belongs to a pair or is ``watched``.
    """

    id: str
    segment: str
    design: Array
    watched: bool = False


@dataclass(frozen=True, eq=False)
class Joint:
    """Where the end of a back segment meets the end of an ahead segment."""

    id: str
    back: str
    ahead: str
    axes_in_grid: Array
    """Rows a, l, u (3, 3)."""
    least_opening: float | None = None
    """Clear opening that must remain at every pair in every state [m]."""


@dataclass(frozen=True, slots=True)
class Pair:
    """A check point on each face that must meet."""

    id: str
    joint: str
    back_point: str
    ahead_point: str
    opening: float
    """Nominal opening at the reference temperature [m]."""
    place: str
    """LEFT, CENTRE, RIGHT or the crew's own word."""


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Greatest deviation either way [m or m/m], where it comes from, and its weight."""

    value: float
    source: str
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Aim:
    """What one check should become where that is not the design: a preset, or better left.

    ``treat`` is ``preset`` (aim at ``amount``), ``leave`` (do not work on it, but keep it
    within ``amount`` either way) or ``tolerance`` (its own tolerance ``amount``).
    """

    joint: str
    pair: str | None
    quantity: Quantity
    treat: Literal["preset", "leave", "tolerance"]
    amount: float
    reason: str


@dataclass(frozen=True, eq=False)
class Seat:
    """A place that holds a segment and whose setting can be changed in one direction.

    Parameters
    ----------
    id, segment : str
    position, direction : Array (3,)
        Where it is [m] and the unit direction in which it pushes the segment.
    pushes : str
        The direction in a word: up, ahead, back, left, right (or ``along its axis``).
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

    @property
    def lifts(self) -> bool:
        """True where gravity brings the load back: only then can a jack let the seat go back."""
        return bool(self.direction[2] > 0.5)


@dataclass(frozen=True, slots=True)
class Jack:
    """What moves a seat; several may serve one seat and share its load equally.

    ``stroke_used`` is how far the ram is out when it touches: that much it can go back.
    """

    id: str
    seat: str
    capacity: float
    ram_area: float
    stroke: float
    stroke_used: float
    resolution: float
    lock_nut: bool


@dataclass(frozen=True, slots=True)
class Plate:
    """One kind of plate on hand: mark, nominal and measured thickness [m], loose count."""

    mark: str
    nominal: float
    measured: float
    count: int
    length: float
    width: float
    spread: float = 0.0
    """Standard uncertainty of one plate's thickness [m]."""


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit between seats: ``difference`` of two lifts or ``warp`` of four [m]."""

    id: str
    kind: Literal["difference", "warp"]
    seats: tuple[str, ...]
    most: float


@dataclass(frozen=True, slots=True)
class Epoch:
    """One survey: file, time, temperatures, what stood on the deck."""

    file: str
    taken: str
    """Local time, ISO 8601, ``2031-04-02T04:10``."""
    temperature: float
    deck_load: float
    """Load on the deck beyond the segment's own weight [N]."""
    uncertainty: float | None
    """Standard uncertainty of each coordinate where the list gives none [m]."""
    unit: str | None
    """Length unit of the coordinates where the header does not name it."""
    order: tuple[str, ...] | None
    """Declared columns of a list without header."""
    decimal: str | None
    """Declared decimal mark of the list, where it must be declared."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A gap, step or offset read directly at the joint [m], with its standard uncertainty."""

    id: str
    pair: str
    quantity: Quantity
    value: float
    uncertainty: float
    how: str


@dataclass(frozen=True, slots=True)
class Gates:
    """Beyond these the survey is refused, not averaged."""

    hours_apart: float = 2.0 * 3600.0
    """Between the two sides of a joint [s]."""
    temperature_apart: float = 3.0
    """Between the two sides of a joint [K]."""
    temperature_off: float = 3.0
    """From the reference temperature without an expansion model [K]."""
    deck_load_apart: float = 20e3
    """Between the two sides of a joint [N]."""
    deviation_most: float = 0.25
    """Greatest shift of a segment from the design that is believed [m]."""


@dataclass(frozen=True, slots=True)
class Working:
    """How the crew works: what every lift needs besides the final setting."""

    insertion: float = 0.005
    """Clear height over a pack to slide plates [m]."""
    lift_step: float = 0.005
    """Greatest travel of any jack between two readings [m]."""
    follow_up: float = 0.006
    """Packs follow the load within this distance [m]."""
    jack_reserve: float = 1.5
    """Capacity over calculated load, at least."""
    move_band: float = 0.002
    """Stop when a movement is off the sheet by more [m]."""
    load_band: float = 0.25
    """Stop when a load is off by more than this share of the calculated load."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """The order of wishes and how much each may give way to the next."""

    worst_ratio_goal: float = 1.0
    """First wish: bring every check to this share of its tolerance, or as near as can be."""
    squares_slack: float = 0.05
    """Third wish: the sum of squares may exceed its optimum by this share..."""
    squares_slack_floor: float = 0.02
    """... or by this amount, whichever is more (in units of tolerance squared)."""
    time_limit: float = 60.0
    """Longest search before the gap is stated instead of closed [s]."""


@dataclass(frozen=True, eq=False)
class Job:
    """A whole job: everything the engineer and the crew wrote down, checked, in SI."""

    name: str
    units: Literal["metric", "US"]
    grid: str
    reference_temperature: float
    segments: Mapping[str, Segment]
    points: Mapping[str, CheckPoint]
    joints: Mapping[str, Joint]
    pairs: Mapping[str, Pair]
    seats: Mapping[str, Seat]
    jacks: Mapping[str, Jack]
    plates: Mapping[str, Plate]
    limits: Mapping[str, Limit]
    tolerances: Mapping[Quantity, Tolerance]
    aims: tuple[Aim, ...] = ()
    epochs: tuple[Epoch, ...] = ()
    readings: tuple[Reading, ...] = ()
    excluded: Mapping[str, str] = field(default_factory=dict)
    """Point or reading id -> the engineer's reason for leaving it out."""
    influence_table: str | None = None
    """File with the engineer's own influence table, else segments are rigid."""
    gates: Gates = Gates()
    working: Working = Working()
    wishes: Wishes = Wishes()
    digest: str = ""
    """SHA-256 over all input files; part of every plan id."""

    def seats_of(self, segment: str) -> tuple[Seat, ...]:
        """Return the seats of one segment in the order of the file."""
        return tuple(s for s in self.seats.values() if s.segment == segment)

    def jacks_at(self, seat: str) -> tuple[Jack, ...]:
        """Return the jacks that serve one seat."""
        return tuple(j for j in self.jacks.values() if j.seat == seat)

    def pairs_of(self, joint: str) -> tuple[Pair, ...]:
        """Return the pairs of one joint in the order of the file."""
        return tuple(p for p in self.pairs.values() if p.joint == joint)

    def pack_height(self, marks: tuple[str, ...]) -> float:
        """Return the measured height of a stack of plates [m]."""
        return float(sum(self.plates[m].measured for m in marks))


@dataclass(frozen=True, slots=True)
class Check:
    """A number that must come right, in the sign convention of docs/signs.md."""

    id: str
    """``joint/pair/quantity`` or ``joint/quantity`` or ``level/point``."""
    quantity: Quantity
    joint: str
    """Joint it belongs to; empty for a watched point away from joints."""
    pair: str | None
    point: str | None
    target: float
    """What it should become [m or m/m]; zero is the design."""
    tolerance: float | None
    """None: reported only."""
    weight: float
    source: str
    leave_within: float | None = None
    """Better left: not worked on, but kept within this either way."""
    reason: str = ""

    @property
    def is_length(self) -> bool:
        """True for metres, false for metres per metre."""
        return self.quantity in LENGTHS


@dataclass(frozen=True, eq=False)
class CheckState:
    """All checks at the reference temperature: values (m,) and covariance (m, m).

    ``at_survey`` (m,) is what the steel of the survey adds to each, ``per_kelvin`` (m,) what one
    kelvin more of all steel does; None stands for nothing.
    """

    checks: tuple[Check, ...]
    values: Array
    covariance: Array
    at_survey: Array | None = None
    per_kelvin: Array | None = None

    def least_change(self, i: int, apart: float) -> float:
        """Return the least that temperature adds to check i [m].

        Over the steel temperatures for which a plan is valid, ``apart`` [K] either way from the
        survey's, and at the reference temperature.
        """
        if self.at_survey is None or self.per_kelvin is None:
            return 0.0
        swing = abs(float(self.per_kelvin[i])) * apart
        return min(0.0, float(self.at_survey[i]) - swing)

    @property
    def uncertainties(self) -> Array:
        """Standard uncertainties (m,)."""
        return np.sqrt(np.clip(np.diag(self.covariance), 0.0, None))


@dataclass(frozen=True, eq=False)
class Influence:
    """``y(x) = y0 + A x`` and ``r(x) = r0 + R x`` about the surveyed state.

    Parameters
    ----------
    checks, seats : tuple of str
        Row and column names of ``A``; ``seats`` also names the rows of ``R``.
    A : Array (m, n)
        Change of every check for a unit move of every seat [m/m or 1/m].
    R : Array (n, n)
        Change of every reaction for a unit move of every seat [N/m].
    r0 : Array (n,)
        Reactions in the surveyed state [N].
    origin : str
        ``rigid`` or ``table``, for the report only.
    """

    checks: tuple[str, ...]
    seats: tuple[str, ...]
    A: Array
    R: Array
    r0: Array
    origin: str


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
class Stage:
    """Seats that move together: up to a raised state, packs, down onto the packs.

    ``up`` and ``down`` list the jack readings [m, from the surveyed state] after each
    increment, seat by seat; the last of ``down`` is the final setting.
    """

    number: int
    group: str
    seats: tuple[str, ...]
    up: tuple[tuple[float, ...], ...]
    down: tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class WishResult:
    """How one wish came out: the plan's value, a bound below every choice, and the gap."""

    wish: str
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
class Plan:
    """The answer: packs, stages and proof."""

    seats: tuple[SeatPlan, ...]
    stages: tuple[Stage, ...]
    wishes: tuple[WishResult, ...]
    method: str
    ideal: tuple[float, ...]
    """Settings if plates could be of any thickness [m], in the order of ``seats``."""
    inside: bool
    obstacles: tuple[Obstacle, ...] = ()
    id: str = ""

    def settings(self) -> Array:
        """Return the moves (n,) [m] in the order of ``seats``."""
        return np.array([s.setting for s in self.seats])
