"""What a review page knows: the certificate's numbers, and how they answer to a change of pack.

All numbers are SI. The page rounds them by the same units as the program (:class:`Unit`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fitup.units import FACTORS, Shown

UnitName = Literal["move", "plate", "force", "slope", "pressure", "temperature", "moment", "stress"]


@dataclass(frozen=True, slots=True)
class Unit:
    """How one kind of number is printed: ``si / factor`` with so many decimals and a word."""

    word: str
    decimals: int
    factor: float
    suffix: str

    @classmethod
    def of(cls, shown: Shown) -> Unit:
        """Return the unit that the sheets print by."""
        factor = FACTORS.get(shown.dimension, {}).get(shown.suffix, 1.0)
        return cls(shown.word, shown.decimals, factor, shown.suffix)


@dataclass(frozen=True, slots=True)
class Wording:
    """How a value is said: above zero, below zero and at zero; ``{}`` stands for size and unit.

    Where the aim is not zero, ``aim`` is the printed number at which ``at_aim`` is added, else
    ``off_aim``.
    """

    above: str
    below: str
    zero: str
    aim: float | None = None
    at_aim: str = ""
    off_aim: str = ""


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One check as surveyed, with the plan, and how it goes with the steel."""

    id: str
    heading: str
    place: str
    what: str
    unit: UnitName
    wording: Wording
    before: float
    plan: float
    u: float
    target: float
    tolerance: float | None
    leave_within: float | None
    source: str
    reads: float
    """What it reads with the plan at the steel of the survey."""
    read_wording: Wording
    """How a reading is said: an aim holds at the reference temperature, and is left out."""
    reads_before: float
    per_kelvin: float


@dataclass(frozen=True, slots=True)
class Pack:
    """One state a seat may be given: setting [m] and plates by their number, bottom to top."""

    setting: float
    plates: tuple[int, ...]
    disturbed: bool


@dataclass(frozen=True, slots=True)
class SeatRow:
    """One seat: what it holds now, what the plan gives it, and everything it may be given."""

    id: str
    segment: str
    place: str
    raised: str
    lowered: str
    nut: bool
    held: bool
    rule: str
    """Which packs it may be given, in words."""
    present: tuple[int, ...]
    """Plates now in place by their number, bottom to top."""
    packs: tuple[Pack, ...]
    chosen: int
    """Number of the plan's pack."""
    stays: int
    """Number of the pack as it is; -1 where it may not stay."""
    reaction_before: float
    reaction_plan: float
    reaction_least: float | None
    reaction_most: float | None
    """None where there is no such limit."""


@dataclass(frozen=True, slots=True)
class JackRow:
    """One jack and the share of its seat's load."""

    id: str
    seat: int
    share: float
    capacity: float
    area: float


@dataclass(frozen=True, slots=True)
class ReviewLimit:
    """One hard limit: how far over it the plan is (below zero: room), and what a move adds."""

    text: str
    unit: UnitName
    over: float
    care: float
    """Over by no more than this is rounding."""
    row: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class PlateRow:
    """One mark: thickness [m], and how many there are for all packs together."""

    mark: str
    nominal: float
    measured: float
    stock: int


@dataclass(frozen=True, slots=True)
class DrawnPair:
    """A pair of a joint: where it is [m] and the numbers of its checks."""

    id: str
    place: str
    left: float
    up: float
    step: int
    offset: int
    gap: int


@dataclass(frozen=True, slots=True)
class DrawnJoint:
    """A joint as it is drawn."""

    id: str
    back: str
    ahead: str
    pairs: tuple[DrawnPair, ...]


@dataclass(frozen=True, slots=True)
class FilmStep:
    """One state on the way: what is done, settings of all seats [m], readings where given.

    ``readings`` are check numbers with what they should read, at the steel of the survey.
    """

    label: str
    settings: tuple[float, ...]
    readings: tuple[tuple[int, float], ...] = ()


@dataclass(frozen=True, slots=True)
class ReviewSteel:
    """Steel temperatures: of the reference, of the survey, and how far it may be off [K].

    ``survey`` is None where the segments were surveyed at different ones.
    """

    reference: float
    survey: float | None
    apart: float


@dataclass(frozen=True, slots=True)
class ReviewFacts:
    """Everything on a review page."""

    job: str
    folder: str
    check_code: str
    status: str
    approved: bool
    inside: bool
    survey: tuple[str, ...]
    """The verdict on the survey and its reservations."""
    units: dict[UnitName, Unit]
    checks: tuple[CheckRow, ...]
    seats: tuple[SeatRow, ...]
    jacks: tuple[JackRow, ...]
    limits: tuple[ReviewLimit, ...]
    plates: tuple[PlateRow, ...]
    reuse: bool
    """Plates that come out of packs may go into others."""
    settings: tuple[float, ...]
    """Moves of the plan [m], seat by seat."""
    A: tuple[tuple[float, ...], ...]
    R: tuple[tuple[float, ...], ...]
    straight: bool
    """False where seats may lift off: figures hold while the same seats carry."""
    joints: tuple[DrawnJoint, ...]
    film: tuple[FilmStep, ...]
    steel: ReviewSteel
    caution: str
