"""What a crew reads of its work: seats, jacks, lift-off, the sequence, one stage."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from fitup.sheets.numbers import CALLED, Number, Worded


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
    room_behind: Number | None
    """How far a deck that friction holds stands past its pack, which carries nothing."""
    insertion: Number | None
    """Clear height over the new pack; None where it is pushed against and slid in behind."""
    plan_size: str
    contact: Number | None
    """Pressure on the smallest plate of the pack."""
    reaction_before: Number
    reaction_after: Number
    reaction_least: Number
    reaction_most: Number
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
    back: tuple[RamReading, ...] = field(metadata={CALLED: "up"})
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
    rise: Number
    """Of the deck, until the last pack is open."""
    rise_stop: Number


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
class SegmentMap:
    """One segment from above, once for all its stages, with the whole moves of the plan."""

    segment: str
    sheet: str
    sketch: Sketch


@dataclass(frozen=True, slots=True)
class Condition:
    """A line to tick before a stage starts."""

    words: str
    short: str = ""
    """Of one that holds before every stage: the words beside the box of a stage."""


@dataclass(frozen=True, slots=True)
class GapAtTemperature:
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
    conditions: tuple[Condition, ...]
    jacks: tuple[JackLine, ...]
    cards: tuple[SeatCard, ...]
    expected: tuple[Expected, ...]
    steel: str
    """Steel temperature for which the expected readings hold; empty where none matters."""
    gap_changes: tuple[GapAtTemperature, ...] = field(metadata={CALLED: "change"})
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
