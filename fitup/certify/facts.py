"""What the certificate states: every number a person will act on, recomputed, in SI."""

from __future__ import annotations

from dataclasses import dataclass

from fitup.certify.envelopes import JackEnvelope, SeatEnvelope
from fitup.model import FORCES, Job, Procedure


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
    setting: float
    ideal: float
    disturbed: bool
    reaction_before: float
    reaction_after: float
    reaction_least: float
    reaction_most: float


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
        return self.load_low / self.ram_area

    @property
    def pressure_start(self) -> float:
        """Gauge pressure when it takes the load [Pa]."""
        return self.load_start / self.ram_area

    @property
    def pressure_raised(self) -> float:
        """Gauge pressure in the raised state [Pa]."""
        return self.load_raised / self.ram_area

    @property
    def pressure_stop(self) -> float:
        """Gauge pressure at which work stops [Pa]."""
        return self.load_stop / self.ram_area


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

    @property
    def pressure_stop(self) -> float:
        """Gauge pressure at which work stops [Pa]."""
        return self.load_stop / self.ram_area


@dataclass(frozen=True, slots=True)
class StageFact:
    """One stage of one crew: who moves, and what every check reads when the stage is done."""

    number: int
    group: str
    segment: str
    seats: tuple[str, ...]
    jacks: tuple[JackFact, ...]
    expected: tuple[tuple[str, float], ...]
    """Check id -> value after the stage, at the steel temperature of the survey."""
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
        return float(getattr(self, name))


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
    gap_rates: tuple[tuple[str, float], ...] = ()
    """Joint -> change of its gaps for one kelvin of all steel [m/K]."""
    ride: tuple[RideFact, ...] = ()
    """Wheel paths; empty with an influence table, which moves no points."""
    bores: tuple[BoreFact, ...] = ()
    bolts: tuple[BoltFact, ...] = ()
    lift_offs: tuple[LiftOffFact, ...] = ()
    procedures: tuple[Procedure, ...] = ()
    seat_envelopes: tuple[SeatEnvelope, ...] = ()
    jack_envelopes: tuple[JackEnvelope, ...] = ()
    """What every crew does, event by event; in the order of stages, then crews."""
    ways_back: tuple[Procedure, ...] = ()
    """From the raised state on steel, packs changed, back to where a stage began: old packs in,
    down as it went up. Only where the deck comes back by itself and packs hold it."""


@dataclass(frozen=True, slots=True)
class PrintedNumber:
    """One rounded number that a person acts on, as it stands on paper, back in SI.

    Keys a sheet set uses::

        ("jack", stage, jack, "up" | "down", i)            # and (..., "fraction"): in 1/32 in
        ("jack", stage, jack, "load_start" | "load_raised" | "load_stop" | "load_low" | "load_end")
        ("jack", stage, jack, "pressure_start" | ... )      # the same, as gauge pressure
        ("jack", stage, jack, "pressure_up" | "pressure_down", i)
        ("jack", stage, jack, "move_band")
        ("pack", stage, seat, "height_new" | "move")
        ("reset", stage, jack, "base_now" | "base_new" | "out_now" | "out_new")
        ("lift-off", jack, "load" | "pressure", i)          # i counts the steps
        ("lift-off", jack, "load_stop" | "pressure_stop" | "creep")
        ("seat", seat, "height_now" | "height_new" | "move")
        ("plate", mark, "measured")
        ("check", id, "before" | "after")
        ("stage", stage, id, "expect" | "from" | "to")   # from, to: expect -/+ working.move_band
        ("survey", file, "steel_from" | "steel_to")      # epoch -/+ gates.temperature_apart
        ("ride", path, "gap_before" | "gap_after" | "roughness_before" | "roughness_after")
        ("bore", bore, "room_before" | "room_after")
        ("bolts", group, "passing_before" | "worst_before" | "fitted_before" | ... "after")
        ("joint", joint, "gap", half_steps)  # change of its gaps at half_steps / 2 of that band
    """

    key: tuple[str | int, ...]
    value_si: float
    half_step: float
    """Half of the last printed digit: how far the exact value may lie from the printed one."""
