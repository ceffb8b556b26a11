"""What the certificate states: every number a person will act on, recomputed, in SI."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from fitup.certify.certified import beside, with_paths
from fitup.certify.envelopes import JackEnvelope, SeatEnvelope
from fitup.model import FORCES, Job, Procedure, SeatState
from fitup.model.recovery import Found, Recovery


def reading_band(job: Job, quantity: str, value: float) -> float:
    """Return how far a reading after a stage may be off before work stops [m or N].

    Parameters
    ----------
    job : Job
    quantity : str
        What the check measures; a tension is held to its tolerance or, where none is stated, to
        the load band.
    value : float
        Expected reading [m or N]; the band of a length does not depend on it.
    """
    if quantity not in FORCES:
        return job.working.move_band
    tolerance = next((t for q, t in job.tolerances.items() if q == quantity), None)
    return job.working.load_band * abs(value) if tolerance is None else tolerance.value


@dataclass(frozen=True, slots=True)
class CheckFact:
    """One check before and after, with what it should become."""

    id: str
    quantity: str
    joint: str
    place: str
    """Pair and place, the point, tower or cable, or empty for the whole joint."""
    before: float
    after: float
    uncertainty: float
    """Standard uncertainty of ``after``, from survey, plates and jacks."""
    target: float
    tolerance: float | None
    inside: bool | None
    """None where there is no tolerance."""
    leave_within: float | None
    reason: str
    is_length: bool


@dataclass(frozen=True, slots=True)
class SeatFact:
    """One seat: pack now and new [m], move [m], reactions [N]."""

    seat: str
    segment: str
    pushes: str
    held_by: str
    pack_now: tuple[str, ...]
    out: tuple[str, ...]
    put_in: tuple[str, ...]
    build_up: tuple[str, ...]
    height_now: float
    height_new: float
    bedding: float
    room_behind: float
    """How far a deck that friction holds may come back until it bears on its pack [m]."""
    setting: float
    ideal: float
    disturbed: bool
    reaction_before: float
    reaction_after: float
    reaction_least: float
    reaction_most: float
    contact: float | None = None
    """Pressure on the smallest plate of the new pack [Pa]; None where its size is not known."""

    @property
    def move(self) -> float:
        """Move of the seat from the surveyed state [m]."""
        return beside(self.setting, self.setting, "move", "setting")

    @property
    def needed(self) -> float:
        """Height of the pack that would be exact, if plates were of any thickness [m]."""
        height = self.height_new - (self.setting - self.ideal)
        return beside(self.ideal, height, "needed", "ideal")

    @property
    def error(self) -> float:
        """By how much the new pack is thicker than needed [m]."""
        return beside(self.ideal, self.height_new - self.needed, "error", "ideal")


@dataclass(frozen=True, slots=True)
class JackFact:
    """One jack in one stage.

    ``up`` and ``down`` are the readings [m] on its scale after each increment, zero being where
    it touches; loads [N] are its own share; ``load_stop`` and ``pressure_stop`` say stop.
    """

    jack: str
    seat: str
    pushes: str
    up: tuple[float, ...]
    down: tuple[float, ...]
    load_start: float
    load_raised: float
    load_most: float
    load_stop: float
    capacity: float
    ram_area: float
    stroke_free: float
    stroke_out: float
    """How far the ram is out when it touches: it can go back by that much [m]."""
    lock_nut: bool
    load_low: float = 0.0
    """Load below which work stops [N]: it went elsewhere."""
    move_band: float = 0.0
    """How far a reading may be off before work stops [m]."""
    loads_up: tuple[float, ...] = ()
    """Load after each increment up [N]."""
    loads_down: tuple[float, ...] = ()
    load_end: float = 0.0
    """Load it carries when it is let off onto the new pack or nut [N]."""

    @property
    def pressure_low(self) -> float:
        """Gauge pressure below which work stops [Pa]."""
        return self._gauge(self.load_low, "low")

    @property
    def pressure_start(self) -> float:
        """Gauge pressure when it takes the load [Pa]."""
        return self._gauge(self.load_start, "start")

    @property
    def pressure_raised(self) -> float:
        """Gauge pressure in the raised state [Pa]."""
        return self._gauge(self.load_raised, "raised")

    @property
    def pressure_stop(self) -> float:
        """Gauge pressure at which work stops [Pa]."""
        return self._gauge(self.load_stop, "stop")

    @property
    def pressure_end(self) -> float:
        """Gauge pressure when it is let off onto the new pack or nut [Pa]."""
        return self._gauge(self.load_end, "end")

    @property
    def pressures_up(self) -> tuple[float, ...]:
        """Gauge pressure after each increment up [Pa]."""
        return tuple(
            beside(v, v / self.ram_area, "pressures_up", "loads_up") for v in self.loads_up
        )

    @property
    def pressures_down(self) -> tuple[float, ...]:
        """Gauge pressure after each increment down [Pa]."""
        return tuple(
            beside(v, v / self.ram_area, "pressures_down", "loads_down") for v in self.loads_down
        )

    def _gauge(self, load: float, when: str) -> float:
        return beside(load, load / self.ram_area, f"pressure_{when}", f"load_{when}")


@dataclass(frozen=True, slots=True)
class PackFact:
    """One seat in one stage: its pack before and after, height [m], and move of the stage [m]."""

    seat: str
    before: tuple[str, ...]
    out: tuple[str, ...]
    put_in: tuple[str, ...]
    after: tuple[str, ...]
    height_new: float
    move: float


@dataclass(frozen=True, slots=True)
class ResetFact:
    """One jack set anew: packing under it [m], and how far its ram is out before and after [m]."""

    jack: str
    seat: str
    base_now: float
    base_new: float
    out_now: float
    out_new: float


@dataclass(frozen=True, slots=True)
class LiftOffFact:
    """One jack at the measured lift-off: its share of the load [N] and the steps to it.

    ``steps`` are shares of the expected load; the last one is lift-off itself.
    """

    jack: str
    seat: str
    segment: str
    group: str
    load: float
    measured: bool
    steps: tuple[tuple[float, float], ...]
    load_stop: float
    capacity: float
    ram_area: float
    creep: float
    """How far the deck leaves its packs [m]."""
    rise: float
    """How far the deck rises at the seat until its pack is open: what the pack springs back [m]."""
    rise_stop: float
    """Rise at which work stops [m]."""

    @property
    def pressure_stop(self) -> float:
        """Gauge pressure at which work stops [Pa]."""
        return beside(self.load_stop, self.load_stop / self.ram_area, "pressure_stop", "load_stop")

    @property
    def loads(self) -> tuple[float, ...]:
        """Load at each step [N]."""
        return tuple(
            beside(self.load, v, "loads", "load", i) for i, (_, v) in enumerate(self.steps)
        )

    @property
    def pressures(self) -> tuple[float, ...]:
        """Gauge pressure at each step [Pa]."""
        area = self.ram_area
        return tuple(
            beside(self.load, v / area, "pressures", "load", i)
            for i, (_, v) in enumerate(self.steps)
        )


@dataclass(frozen=True, slots=True)
class ExpectedFact:
    """What one check reads when a stage is done, and between which readings work goes on.

    At the steel temperature of the survey [m, m/m or N].
    """

    check: str
    expect: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class StageFact:
    """One stage of one crew: who moves, and what every check reads when the stage is done."""

    number: int
    group: str
    segment: str
    seats: tuple[str, ...]
    jacks: tuple[JackFact, ...]
    expected: tuple[ExpectedFact, ...]
    crew: int = 1
    packs: tuple[PackFact, ...] = ()
    resets: tuple[ResetFact, ...] = ()
    pumps: tuple[str, ...] = ()
    window: str = ""
    one_by_one: bool = False
    """Packs are changed seat by seat, temporary plates standing at the others."""


@dataclass(frozen=True, slots=True)
class StockFact:
    """One mark: loose before, taken, given back, loose after."""

    mark: str
    nominal: float
    measured: float
    before: int
    taken: int
    returned: int
    after: int


@dataclass(frozen=True, slots=True)
class RideFact:
    """One wheel path over a joint before and after the moves.

    ``gap`` is the greatest under a straightedge laid anywhere across the joint [m], ``roughness``
    the index of ASTM E1926 over 100 m with the joint in it [m/m].
    """

    path: str
    joint: str
    place: str
    gap_before: float
    gap_after: float
    roughness_before: float
    roughness_after: float
    profile_before: tuple[tuple[float, float], ...]
    """Place from the joint, ahead positive, and height over its plane, of every point [m]."""
    profile_after: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class BoreFact:
    """Room all round the member of one bore before and after [m]; below zero it does not pass."""

    bore: str
    joint: str
    place: str
    room_before: float
    room_after: float


@dataclass(frozen=True, slots=True)
class BoltFact:
    """Holes of one group: how many pass, the worst mismatch, and after the best fit [m]."""

    group: str
    joint: str
    place: str
    holes: int
    passing_before: int
    worst_before: float
    fitted_before: float
    passing_after: int
    worst_after: float
    fitted_after: float


@dataclass(frozen=True, slots=True)
class GapChange:
    """How much wider a gap gets at so many half steps of the allowed steel temperatures [m]."""

    half_steps: int
    change: float


@dataclass(frozen=True, slots=True)
class GapFact:
    """What warmer or cooler steel does to the gaps of a joint."""

    joint: str
    per_kelvin: float
    """Mean change for one kelvin of all steel [m/K]."""
    changes: tuple[GapChange, ...]
    """Over the steel temperatures for which the plan is valid."""


@dataclass(frozen=True, slots=True)
class SurveyFact:
    """Steel temperatures between which a plan made from a survey is valid [K]."""

    file: str
    steel: float
    steel_from: float
    steel_to: float


@dataclass(frozen=True, slots=True)
class SummaryFact:
    """How good the printed plan is: one field for every objective, named like it."""

    worst_ratio: float
    """Greatest deviation over tolerance of the checks that are worked on."""
    least_squares: float
    """Weighted sum of squared ratios, with the little that moves themselves add."""
    seats_disturbed: int
    plates_handled: int
    """Plates that go in or out."""
    plates_in_new_packs: int
    stages: int
    """Stage numbers; crews of one stage counted once."""

    def of(self, objective: str) -> float:
        """Return the value of an objective of the plan by its name.

        Raises
        ------
        KeyError
            If nothing recomputes it.
        """
        name = objective.replace(" ", "_")
        if name not in SummaryFact.__slots__:
            raise KeyError(objective)
        value: float = getattr(self, name)
        return value


@dataclass(frozen=True, slots=True)
class Certificate:
    """The second, plain recomputation of a plan; without it no sheet is printed."""

    plan_id: str
    checks: tuple[CheckFact, ...]
    seats: tuple[SeatFact, ...]
    stages: tuple[StageFact, ...]
    stock: tuple[StockFact, ...]
    statements: tuple[str, ...]
    """What was recomputed and found to hold, a line each."""
    inside: bool
    summary: SummaryFact
    gaps: tuple[GapFact, ...] = ()
    surveys: tuple[SurveyFact, ...] = ()
    ride: tuple[RideFact, ...] = ()
    """Wheel paths; empty with an influence table, which moves no points."""
    bores: tuple[BoreFact, ...] = ()
    bolts: tuple[BoltFact, ...] = ()
    lift_offs: tuple[LiftOffFact, ...] = ()
    procedures: tuple[Procedure, ...] = ()
    """What every crew does, event by event; in the order of stages, then crews."""
    seat_envelopes: tuple[SeatEnvelope, ...] = ()
    jack_envelopes: tuple[JackEnvelope, ...] = ()
    ways_back: tuple[Procedure, ...] = ()
    """From the raised state on steel, packs changed, back to where a stage began: old packs in,
    down as it went up. Only where the deck comes back by itself and packs hold it."""


@dataclass(frozen=True, slots=True)
class StrokeFact:
    """How far the ram of a jack is out where work stopped, and how far it can still go [m]."""

    jack: str
    stroke_out: float
    stroke_free: float


@dataclass(frozen=True, slots=True)
class RecoveryFacts:
    """What the sheet of a recovery may print: its procedure, and how all stands before it."""

    procedures: tuple[Procedure, ...]
    found: tuple[SeatState, ...]
    strokes: tuple[StrokeFact, ...]
    surveys: tuple[SurveyFact, ...]


def recovery_facts(certificate: Certificate, found: Found, recovery: Recovery) -> RecoveryFacts:
    """Return what is certified of a recovery; every number of it knows its path.

    Parameters
    ----------
    certificate : Certificate
        Of the plan that is worked by.
    found : Found
        Where everything stands before.
    recovery : Recovery
        As certified.
    """
    rams = {s.state.seat: s.ram for s in found.seats}
    facts = RecoveryFacts(
        procedures=(recovery.procedure,),
        found=tuple(s.state for s in found.seats),
        strokes=tuple(
            StrokeFact(j.jack, j.stroke_out + rams[j.seat], j.stroke_free - rams[j.seat])
            for s in certificate.stages
            if s.number == recovery.procedure.stage
            for j in s.jacks
            if j.seat in rams
        ),
        surveys=certificate.surveys,
    )
    return with_paths(facts)


#: ends the key of a fraction of an inch for a tape, which stands beside the number itself
TAPE: Final = "fraction"


@dataclass(frozen=True, slots=True)
class PrintedNumber:
    """One rounded number as it stands on paper, back in SI."""

    key: tuple[str | int, ...]
    """Path of its field in the certificate: field names, and the first field of each record.

    For example ``("stages", 3, "jacks", "J1", "load_stop")``; :data:`TAPE` may follow.
    """
    value_si: float
    half_step: float
    """Half of the last printed digit: how far the exact value may lie from the printed one."""
    name: str = ""
    """Field of the sheets in which it stands; part of a field's name in the certificate."""
