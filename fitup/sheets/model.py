"""The sheet model: every number already rounded, every direction already a word.

Numbers are rounded in ``numbers``, nowhere else; what a crew reads of its work is in ``work``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

from fitup.certify.facts import PrintedNumber
from fitup.sheets.confidence import ConfidenceSheet
from fitup.sheets.crew_lines import CrewSheet
from fitup.sheets.envelopes import JackEnvelopeLine, SeatEnvelopeLine
from fitup.sheets.numbers import CALLED, Number, Worded, printed_in
from fitup.sheets.work import (
    Chart,
    LiftOffSheet,
    SeatCard,
    SegmentMap,
    StageSheet,
)

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
    """Every STOP that stands, what changed since it was approved, or why it was rejected."""
    paper: Literal["a4", "us-letter"]
    length_unit: str
    force_unit: str
    pressure_unit: str
    reference: Number
    inputs: str
    """SHA-256 over all input files."""
    valid: tuple[ValidFor, ...]
    survey: str = ""
    """The verdict on the survey."""
    reservations: tuple[str, ...] = ()
    """What must be known before the survey is used."""
    record: str = ""
    """Number and code of the record's last entry when this was made; empty without a record."""


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
    """How the printed plan came out in one objective, and the bound of that objective."""

    name: str
    plan: Number = field(metadata={CALLED: "summary"})
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
class ConflictLine:
    """What cannot all be kept, and what that means."""

    text: str
    parts: tuple[str, ...]


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
    maps: tuple[SegmentMap, ...] = ()
    """Every segment that moves, from above, once."""
    crews: tuple[CrewSheet, ...] = ()
    """The procedures, crew by crew in the order of the stages."""
    seat_envelopes: tuple[SeatEnvelopeLine, ...] = ()
    jack_envelopes: tuple[JackEnvelopeLine, ...] = ()
    confidence: ConfidenceSheet | None = None
    """How sure the joints are; None where nobody asked."""
    conflicts: tuple[ConflictLine, ...] = ()

    @property
    def sheets(self) -> tuple[str, ...]:
        """Return the joints or areas that have a move sheet, in order of work."""
        return tuple(dict.fromkeys(stage.sheet for stage in self.stages))

    def printed(self) -> tuple[PrintedNumber, ...]:
        """Return every rounded number but the inputs, for the certificate to compare.

        Whatever record holds it: a number that comes from nowhere is refused.
        """
        return printed_in(self)


@dataclass(frozen=True, slots=True)
class Table:
    """A table by name: columns with their units, and rows."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
