"""A whole job, with how the crew works and what the engineer objectives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from fitup.alignment import Alignment
from fitup.model.cables import Lean, Tension
from fitup.model.checks import Aim, Quantity, Tolerance
from fitup.model.control import ControlPoint, Instrument, NetworkRules
from fitup.model.deck import CheckPoint, Joint, Pair, Segment
from fitup.model.epochs import Epoch, Gates, Reading
from fitup.model.frame import FrameModel
from fitup.model.passage import BoltGroup, Bore
from fitup.model.ride import STRAIGHTEDGE, RidePath
from fitup.model.rounds import Learned, Learning, Moved
from fitup.model.seats import Jack, Limit, Plate, Seat
from fitup.model.staging import GroupRule, Pump, Staging
from fitup.model.thermal import ThermalResponse
from fitup.model.trust import Hold, LockOff, SteelReading, Uncertainties


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
class Objectives:
    """The order of objectives and how much each may give way to the next."""

    worst_ratio_goal: float = 1.0
    """First objective: bring every check to this share of its tolerance, or as near as can be."""
    squares_slack: float = 0.05
    """Third objective: the sum of squares may exceed its optimum by this share..."""
    squares_slack_floor: float = 0.02
    """... or by this amount, whichever is more (in units of tolerance squared)."""
    search_effort: float = 30.0
    """Work of a search before the gap is stated instead of closed [million steps]; a million is
    about a second of an ordinary core."""
    time_limit: float = 300.0
    """Safety catch: a search still at work after so long ends, and says so [s]."""
    risk: float | None = None
    """Accepted risk that a check called inside is not; given, plans keep it too."""
    leave_alone: tuple[str, ...] = ()
    """Seats whose packs stay as they are, for an engineer who prefers to work elsewhere; unlike
    held seats they are lifted with their group."""


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
    stage: str = ""
    """Stage of the work whose geometry the points have; empty: the final one."""
    aims: tuple[Aim, ...] = ()
    epochs: tuple[Epoch, ...] = ()
    readings: tuple[Reading, ...] = ()
    excluded: Mapping[str, str] = field(default_factory=dict)
    """Point, reading, control point or observation -> the engineer's reason for leaving it out."""
    names: Mapping[str, str] = field(default_factory=dict)
    """Name or target code that a crew writes -> the id of the point it means."""
    leans: Mapping[str, Lean] = field(default_factory=dict)
    """Towers whose lean is checked."""
    tensions: Mapping[str, Tension] = field(default_factory=dict)
    """Cables whose tension was measured."""
    influence_table: str | None = None
    """File with the engineer's own influence table."""
    alignment: Alignment | None = None
    """The design axis, where the job names one."""
    frame: FrameModel | None = None
    """The structure as a frame, where the folder holds its tables."""
    influence_by: Literal["rigid", "table", "frame"] = "rigid"
    """Where the influence of the seats comes from."""
    thermal: ThermalResponse | None = None
    """How its frame answers to temperature; None: segments expand and bend freely."""
    control: Mapping[str, ControlPoint] = field(default_factory=dict)
    instruments: Mapping[str, Instrument] = field(default_factory=dict)
    network: NetworkRules = NetworkRules()
    bores: Mapping[str, Bore] = field(default_factory=dict)
    bolts: Mapping[str, BoltGroup] = field(default_factory=dict)
    ride_paths: Mapping[str, RidePath] = field(default_factory=dict)
    straightedge: float = STRAIGHTEDGE
    """Length of the straightedge [m]."""
    gates: Gates = Gates()
    working: Working = Working()
    objectives: Objectives = Objectives()
    uncertainties: Uncertainties = Uncertainties()
    lockoff: LockOff = LockOff()
    thermometers: tuple[SteelReading, ...] = ()
    holds: tuple[Hold, ...] = ()
    files: tuple[str, ...] = ()
    """Names of the input files it was read from."""
    moved: tuple[Moved, ...] = ()
    """What was moved since the survey before, seat by seat; empty in a first round."""
    learned: tuple[Learned, ...] = ()
    """Corrections already put into the values of this job, with where they come from."""
    learning: Learning = Learning()
    staging: Staging = Staging()
    pumps: Mapping[str, Pump] = field(default_factory=dict)
    """Empty: pumps are no limit."""
    groups: Mapping[str, GroupRule] = field(default_factory=dict)
    """What groups ask of the order; those not named ask nothing."""
    given: Mapping[str, tuple[str, ...] | float] = field(default_factory=dict)
    """Seat -> the pack (marks), or the move of its nut [m], that the engineer asks for."""
    waived: tuple[str, ...] = ()
    """What can hardly be meant and is, each with the reason it was waived for."""
    digest: str = ""
    """SHA-256 over all input files; part of every plan id."""

    def seats_of(self, segment: str) -> tuple[Seat, ...]:
        """Return the seats of one segment in the order of the file."""
        return tuple(s for s in self.seats.values() if s.segment == segment)

    def jacks_at(self, seat: str) -> tuple[Jack, ...]:
        """Return the jacks that serve one seat."""
        return tuple(j for j in self.jacks.values() if j.seat == seat)

    def stays_pushed(self, seat: Seat) -> bool:
        """Say whether friction keeps a deck where a ram pushed it.

        The pack is then slid in behind it with room and carries nothing. A deck that hangs on a
        lock nut and has no friction comes back onto its pack.

        Parameters
        ----------
        seat : Seat
            One that has come back, is held by a nut or is not moved does not.
        """
        if seat.hold or seat.comes_back or seat.held_by != "packs":
            return False
        return seat.breakaway > 0.0 or not all(j.lock_nut for j in self.jacks_at(seat.id))

    def pairs_of(self, joint: str) -> tuple[Pair, ...]:
        """Return the pairs of one joint in the order of the file."""
        return tuple(p for p in self.pairs.values() if p.joint == joint)

    def load_measured(self, seat: str) -> bool:
        """Whether the present load of a seat was measured, not computed in this job or the last."""
        last = next((m for m in self.moved if m.seat == seat), None)
        given = self.seats[seat].reaction_now is not None
        return given and (last is None or last.load_after is not None)

    def pack_height(self, marks: tuple[str, ...]) -> float:
        """Return the measured height of a stack of plates [m]."""
        return float(sum(self.plates[m].measured for m in marks))
