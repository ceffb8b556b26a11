"""The sheet model: every number already rounded, every direction already a word.

The only place a printed number is rounded is :func:`rounded`. Renderers take these values as
they are, so paper, tables and certificate cannot drift apart.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

from fitup.certify.facts import PrintedNumber
from fitup.units import FACTORS, Shown

Key = tuple[str | int, ...]
Cell = str | float | int | None
#: checks of single points; they fill a compact table, not a row each
OF_POINTS: Final = ("level", "line", "station")
#: quantities of towers and cables
OF_STRUCTURE: Final = ("lean", "tension")
#: checks of what crosses the joint; no crew reads them in the middle of a stage
OF_ITEMS: Final = (
    *("straightedge", "slope_change", "tilt_along", "tilt_across"),
    *("bore_step", "bore_offset", "bolt_along", "bolt_across", "bolt_up"),
)
INCH: Final = FACTORS["length"]["in"]


@dataclass(frozen=True, slots=True)
class Number:
    """A number as it is printed: rounded, with its unit, and its SI value after rounding."""

    value: float
    decimals: int
    unit: str
    suffix: str
    si: float
    half_step: float

    @property
    def size(self) -> str:
        """Return the magnitude without unit, for use beside a word that says the side."""
        return f"{abs(self.value):.{self.decimals}f}"

    @property
    def text(self) -> str:
        """Return the number without unit; below zero it is said in a word, not by a sign."""
        return f"minus {self.size}" if self.value < 0.0 else self.size

    @property
    def full(self) -> str:
        """Return the number with its unit."""
        return f"{self.text} {self.unit}"

    @property
    def fraction(self) -> str:
        """Return the nearest 1/32 of an inch for a tape, without a sign; empty for other units.

        Examples
        --------
        >>> from fitup.units import US
        >>> [rounded(i * 0.0254, US.move).fraction for i in (0.307, 1.0, 2.99, 0.01)]
        ['5/16', '1', '3', '0']
        """
        if self.unit != "in":
            return ""
        parts = self.thirty_seconds
        whole, rest = divmod(parts, 32)
        share = Fraction(rest, 32)
        if not rest:
            return f"{whole}"
        return f"{whole} {share}" if whole else f"{share}"

    @property
    def thirty_seconds(self) -> int:
        """Return how many thirty-seconds of an inch are nearest to the size."""
        return math.floor(abs(self.value) * 32.0 + 0.5)

    def printed(self, *key: str | int) -> PrintedNumber:
        """Return this number under a key, for the certificate to compare."""
        return PrintedNumber(key, self.si, self.half_step)

    def on_tape(self, *key: str | int) -> Iterator[PrintedNumber]:
        """Yield the fraction of an inch that stands beside this number, where one does."""
        if self.unit == "in":
            si = math.copysign(self.thirty_seconds / 32.0 * INCH, self.value)
            yield PrintedNumber((*key, "fraction"), si, INCH / 64.0 + self.half_step)


def rounded(si: float, shown: Shown) -> Number:
    """Round an SI value to what is printed.

    Examples
    --------
    >>> from fitup.units import METRIC
    >>> rounded(0.01604, METRIC.move).full
    '16.0 mm'
    """
    value = shown.number(si)
    return Number(
        value, shown.decimals, shown.word, shown.suffix, shown.back(value), shown.half_step
    )


@dataclass(frozen=True, slots=True)
class Worded:
    """A value with its side in words; ``size`` of the number goes with ``side``."""

    words: str
    side: str
    number: Number


@dataclass(frozen=True, slots=True)
class ValidFor:
    """One survey the plan rests on, and the steel temperatures between which it holds."""

    file: str
    taken: str
    segments: tuple[str, ...]
    steel: Number
    steel_from: Number
    steel_to: Number
    deck_load: Number


@dataclass(frozen=True, slots=True)
class Header:
    """What stands on every page."""

    job: str
    plan_id: str
    check_code: str
    spoken: str
    """The check code as it is said over the radio."""
    status: str
    """Where the plan stands; on every page."""
    approved: bool
    decided: str
    """Who decided and when, empty while nobody has."""
    since: tuple[str, ...]
    """What changed since it was approved, or why it was rejected."""
    paper: Literal["a4", "us-letter"]
    length_unit: str
    force_unit: str
    pressure_unit: str
    reference: Number
    inputs: str
    """SHA-256 over all input files."""
    valid: tuple[ValidFor, ...]


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One check before and after."""

    id: str
    quantity: str
    what: str
    place: str
    before: Worded
    after: Worded
    aim: str
    uncertainty: Number
    tolerance: Number | None
    source: str
    verdict: str
    note: str
    share_before: float | None
    """Distance from the aim over the tolerance, for the figure."""
    share_after: float | None
    positive_means: str


@dataclass(frozen=True, slots=True)
class Across:
    """One pair of a joint for its figure: left of and above the joint's middle [m], values [m]."""

    pair: str
    place: str
    left: float
    up: float
    step: tuple[float, float]
    """Before and after; ahead high is positive."""
    offset: tuple[float, float]
    gap: tuple[float, float]
    labels: tuple[tuple[str, str, str], tuple[str, str, str]]
    """Before and after: step, offset and gap as ``high 14.6``; the unit is in the heading."""


#: places along and heights, in the units of the job
Profile = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class RideLine:
    """One wheel path: straightedge and quarter car before and after, and its profiles."""

    path: str
    joint: str
    place: str
    straightedge: Number
    edge: str
    """Its length in words: ``3 m``."""
    gap_before: Number
    gap_after: Number
    roughness_before: Number
    roughness_after: Number
    before: Profile
    after: Profile


@dataclass(frozen=True, slots=True)
class BoreLine:
    """Room in one bore before and after, as numbers and in words."""

    bore: str
    joint: str
    place: str
    before: Number
    after: Number
    before_words: str
    after_words: str


@dataclass(frozen=True, slots=True)
class BoltLine:
    """One group of bolt holes: how many let a bolt pass, and the worst of them."""

    group: str
    joint: str
    place: str
    holes: int
    clearance: Number
    passing_before: int
    worst_before: Number
    passing_after: int
    worst_after: Number
    fitted_after: Number
    """The worst that the best shift and turn of the whole group would leave."""


@dataclass(frozen=True, slots=True)
class JointSheet:
    """One joint, or the levels and lines that belong to no joint."""

    id: str
    back: str
    ahead: str
    lines: tuple[CheckLine, ...]
    across: tuple[Across, ...]
    length_unit: str


@dataclass(frozen=True, slots=True)
class PlateLine:
    """A plate of a pack with its measured thickness."""

    mark: str
    thickness: Number


@dataclass(frozen=True, slots=True)
class SeatCard:
    """One seat of the shim schedule and of the move sheet."""

    seat: str
    segment: str
    place: str
    pushes: str
    held_by: str
    disturbed: bool
    move: Worded
    """``RAISE 16.0 mm`` or ``stays``."""
    pack_now: tuple[PlateLine, ...]
    out: tuple[PlateLine, ...]
    put_in: tuple[PlateLine, ...]
    build_up: tuple[PlateLine, ...]
    height_now: Number
    height_new: Number
    needed: Number
    error: Worded
    count: int
    most_plates: int
    bedding: Number
    insertion: Number | None
    """Clear height over the new pack; None where it is pushed against and slid in behind."""
    plan_size: str
    contact: Number | None
    """Pressure on the smallest plate of the pack."""
    reaction_before: Number
    reaction_after: Number
    reaction_least: Number
    reaction_most: Number
    follow: tuple[str, ...] = ()
    """Temporary plates of a stage, a line each: ``after step 2: P5 on top``."""
    for_good: bool = True
    """False where a later stage changes the pack again."""


@dataclass(frozen=True, slots=True)
class RamReading:
    """A reading on a jack's scale, and the side of the START mark in words."""

    side: str
    number: Number


@dataclass(frozen=True, slots=True)
class JackLine:
    """One jack in one stage."""

    jack: str
    seat: str
    place: str
    out_word: str
    """The move when the ram goes out: RAISE, PUSH AHEAD ..."""
    in_word: str
    up: tuple[RamReading, ...]
    down: tuple[RamReading, ...]
    load_start: Number
    load_raised: Number
    load_stop: Number
    pressure_start: Number
    pressure_raised: Number
    pressure_stop: Number
    capacity: Number
    stroke_free: Number
    stroke_out: Number
    lock_nut: bool
    breaks_loose: bool
    """The deck breaks away from its bearings at about ``load_raised``."""
    load_low: Number
    pressure_low: Number
    load_end: Number
    pressure_end: Number
    pressures_up: tuple[Number, ...]
    pressures_down: tuple[Number, ...]
    move_band: Number
    back: tuple[RamReading, ...]
    """The readings up in reverse, down to START: the way back to the last hold point."""
    pump: str


@dataclass(frozen=True, slots=True)
class ResetLine:
    """One jack set anew before a stage, its stroke used up."""

    jack: str
    seat: str
    place: str
    add: bool
    """Packing goes in under it, else it comes out."""
    base_now: Number
    base_new: Number
    out_now: Number
    out_new: Number


@dataclass(frozen=True, slots=True)
class LoadStep:
    """One step of a measured lift-off: its share in words, load and gauge pressure."""

    share: str
    load: Number
    pressure: Number


@dataclass(frozen=True, slots=True)
class LiftOffJack:
    """One jack at the measured lift-off."""

    jack: str
    seat: str
    place: str
    steps: tuple[LoadStep, ...]
    load_stop: Number
    pressure_stop: Number


@dataclass(frozen=True, slots=True)
class LiftOffSheet:
    """The measured lift-off of one group, before its first stage."""

    sheet: str
    segment: str
    group: str
    jacks: tuple[LiftOffJack, ...]
    creep: Number
    measured: bool
    """The loads are measured ones already."""


@dataclass(frozen=True, slots=True)
class ChartCell:
    """What one seat does in one stage: its move in words, and whether it ends there."""

    words: str
    crew: int
    last: bool


@dataclass(frozen=True, slots=True)
class ChartRow:
    """One seat of the overview: its cells by stage, None where it rests."""

    seat: str
    group: str
    segment: str
    place: str
    whole: str
    cells: tuple[ChartCell | None, ...]


@dataclass(frozen=True, slots=True)
class Chart:
    """The whole sequence: seats against stages."""

    stages: tuple[int, ...]
    hours: tuple[str, ...]
    """Window of each stage; empty: any time."""
    sheets: tuple[str, ...]
    rows: tuple[ChartRow, ...]
    proof: str


@dataclass(frozen=True, slots=True)
class Expected:
    """What a check reads when the stage is done, and the band outside which work stops."""

    id: str
    quantity: str
    what: str
    place: str
    """Joint and pair, or the point: one row of readings."""
    nominal: str
    """``10.0 mm`` for a gap, what the value is wider or narrower than; else empty."""
    expect: Worded
    low: Worded
    high: Worded


@dataclass(frozen=True, slots=True)
class Mark:
    """A symbol on a sketch with its label beside it; millimetres from the top left."""

    x: float
    y: float
    shape: Literal["up", "ahead", "back", "left", "right", "cable"]
    works: bool
    label_y: float
    side: Literal["left", "right"]
    title: str
    move: str
    jacks: str


@dataclass(frozen=True, slots=True)
class Sketch:
    """Plan of one segment, ahead at the top, LEFT on the left, not to scale [mm]."""

    width: float
    height: float
    deck: tuple[float, float, float, float]
    """x, y, width, height of the deck."""
    marks: tuple[Mark, ...]
    back: str
    ahead: str


@dataclass(frozen=True, slots=True)
class GapChange:
    """How much wider or narrower the gaps of a joint read at another steel temperature."""

    joint: str
    halves: int
    """Half-steps of the temperature band either way of the survey's steel."""
    words: str
    """``9.5 °C: 8.6 mm wider``."""
    number: Number


@dataclass(frozen=True, slots=True)
class StageSheet:
    """One stage of work, ready for the crew."""

    number: int
    of: int
    group: str
    segment: str
    sheet: str
    """Joint or area whose move sheet carries this stage, and no other."""
    moves: tuple[str, ...]
    """Seat by seat: ``KD8-BL LOWER 17.8 mm``."""
    seats: tuple[str, ...]
    sketch: Sketch
    conditions: tuple[str, ...]
    jacks: tuple[JackLine, ...]
    cards: tuple[SeatCard, ...]
    expected: tuple[Expected, ...]
    steel: str
    """Steel temperature for which the expected readings hold; empty where none matters."""
    gap_changes: tuple[GapChange, ...]
    move_band: Number
    load_band: str
    follow_up: Number
    way_back: str
    """How the stage is left in the middle."""
    crew: int = 1
    crews: int = 1
    """Crews that work in this stage."""
    window: str = ""
    resets: tuple[ResetLine, ...] = ()
    plates_order: str = ""
    """Seat by seat, or all out before any in."""
    back: tuple[str, ...] = ()
    """The way back in steps; empty where there is none but to hold."""


@dataclass(frozen=True, slots=True)
class StockLine:
    """One mark of plate through the whole plan."""

    mark: str
    nominal: Number
    measured: Number
    before: int
    taken: int
    returned: int
    after: int


@dataclass(frozen=True, slots=True)
class ProofLine:
    """How one wish came out."""

    wish: str
    plan: str
    bound: str
    gap: str
    proven: str
    text: str


@dataclass(frozen=True, slots=True)
class ObstacleLine:
    """What stands in the way, the smallest change that frees it, and whether it was tried."""

    what: str
    change: str
    tried: str


@dataclass(frozen=True, slots=True)
class PlanSeat:
    """A seat in the plan figure, in grid metres turned so that ahead is to the right."""

    seat: str
    ahead: float
    left: float
    pushes: str
    points: str
    """The way the deck moves where the seat works, else the way it pushes."""
    disturbed: bool
    words: str


@dataclass(frozen=True, slots=True)
class PlanSegment:
    """A segment in the plan figure: its corners (ahead, left) [m] and its seats."""

    segment: str
    corners: tuple[tuple[float, float], ...]
    seats: tuple[PlanSeat, ...]


@dataclass(frozen=True, slots=True)
class SheetSet:
    """Everything that is printed for one plan."""

    header: Header
    inside: bool
    joints: tuple[JointSheet, ...]
    stages: tuple[StageSheet, ...]
    seats: tuple[SeatCard, ...]
    stock: tuple[StockLine, ...]
    method: str
    proof: tuple[ProofLine, ...]
    obstacles: tuple[ObstacleLine, ...]
    understood: tuple[str, ...]
    statements: tuple[str, ...]
    segments: tuple[PlanSegment, ...]
    cautions: tuple[str, ...]
    caution_strip: str
    chart: Chart
    ride: tuple[RideLine, ...] = ()
    bores: tuple[BoreLine, ...] = ()
    bolts: tuple[BoltLine, ...] = ()
    lift_offs: tuple[LiftOffSheet, ...] = ()

    @property
    def sheets(self) -> tuple[str, ...]:
        """Return the joints or areas that have a move sheet, in order of work."""
        return tuple(dict.fromkeys(stage.sheet for stage in self.stages))

    def printed(self) -> tuple[PrintedNumber, ...]:
        """Return every rounded number a person acts on, for the certificate to compare."""
        return (
            *self._of_stages(),
            *self._of_lift_offs(),
            *self._of_seats(),
            *self._of_checks(),
            *(line.measured.printed("plate", line.mark, "measured") for line in self.stock),
            *self._of_surveys(),
            *self._of_ride(),
            *self._of_passage(),
        )

    def _of_passage(self) -> Iterator[PrintedNumber]:
        for bore in self.bores:
            yield bore.before.printed("bore", bore.bore, "room_before")
            yield bore.after.printed("bore", bore.bore, "room_after")
        for line in self.bolts:
            for name in ("worst_before", "worst_after", "fitted_after"):
                number: Number = getattr(line, name)
                yield number.printed("bolts", line.group, name)
            for name in ("passing_before", "passing_after"):
                yield PrintedNumber(("bolts", line.group, name), float(getattr(line, name)), 0.0)

    def _of_ride(self) -> Iterator[PrintedNumber]:
        for line in self.ride:
            for name in ("gap_before", "gap_after", "roughness_before", "roughness_after"):
                number: Number = getattr(line, name)
                yield number.printed("ride", line.path, name)

    def _of_stages(self) -> Iterator[PrintedNumber]:
        for stage in self.stages:
            for jack in stage.jacks:
                yield from _of_jack(jack, stage.number)
            for card in stage.cards:
                key: Key = ("pack", stage.number, card.seat)
                yield card.height_new.printed(*key, "height_new")
                yield card.move.number.printed(*key, "move")
                yield from card.height_new.on_tape(*key, "height_new")
            for reset in stage.resets:
                for name in ("base_now", "base_new", "out_now", "out_new"):
                    number: Number = getattr(reset, name)
                    yield number.printed("reset", stage.number, reset.jack, name)
            for change in stage.gap_changes:
                yield change.number.printed("joint", change.joint, "gap", change.halves)
            for line in stage.expected:
                key = ("stage", stage.number, line.id)
                yield line.expect.number.printed(*key, "expect")
                yield line.low.number.printed(*key, "from")
                yield line.high.number.printed(*key, "to")

    def _of_lift_offs(self) -> Iterator[PrintedNumber]:
        for group in self.lift_offs:
            for jack in group.jacks:
                for i, step in enumerate(jack.steps):
                    yield step.load.printed("lift-off", jack.jack, "load", i)
                    yield step.pressure.printed("lift-off", jack.jack, "pressure", i)
                yield jack.load_stop.printed("lift-off", jack.jack, "load_stop")
                yield jack.pressure_stop.printed("lift-off", jack.jack, "pressure_stop")
                yield group.creep.printed("lift-off", jack.jack, "creep")

    def _of_seats(self) -> Iterator[PrintedNumber]:
        for card in self.seats:
            yield card.height_now.printed("seat", card.seat, "height_now")
            yield card.height_new.printed("seat", card.seat, "height_new")
            yield card.move.number.printed("seat", card.seat, "move")

    def _of_checks(self) -> Iterator[PrintedNumber]:
        for joint in self.joints:
            for line in joint.lines:
                yield line.before.number.printed("check", line.id, "before")
                yield line.after.number.printed("check", line.id, "after")

    def _of_surveys(self) -> Iterator[PrintedNumber]:
        for survey in self.header.valid:
            yield survey.steel_from.printed("survey", survey.file, "steel_from")
            yield survey.steel_to.printed("survey", survey.file, "steel_to")


def _of_jack(jack: JackLine, stage: int) -> Iterator[PrintedNumber]:
    key: Key = ("jack", stage, jack.jack)
    for way, readings in (("up", jack.up), ("down", jack.down)):
        for i, reading in enumerate(readings):
            yield reading.number.printed(*key, way, i)
            yield from reading.number.on_tape(*key, way, i)
    for way, pressures in (
        ("pressure_up", jack.pressures_up),
        ("pressure_down", jack.pressures_down),
    ):
        for i, pressure in enumerate(pressures):
            yield pressure.printed(*key, way, i)
    for name in ("start", "raised", "stop", "low", "end"):
        load: Number = getattr(jack, f"load_{name}")
        bar: Number = getattr(jack, f"pressure_{name}")
        yield load.printed(*key, f"load_{name}")
        yield bar.printed(*key, f"pressure_{name}")
    yield jack.move_band.printed(*key, "move_band")


@dataclass(frozen=True, slots=True)
class Table:
    """A table by name: columns with their units, and rows."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
