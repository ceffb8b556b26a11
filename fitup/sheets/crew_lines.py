"""What stands on a crew's pages: lines in the order of time, with readings and stop bands."""

from __future__ import annotations

from dataclasses import dataclass, field

from fitup.sheets.numbers import CALLED, Number, Worded


@dataclass(frozen=True, slots=True)
class CrewJack:
    """One jack of a crew: where it is, what is left of its stroke, whether it has a lock nut."""

    jack: str
    seat: str
    place: str
    stroke_out: Number
    stroke_free: Number
    lock_nut: bool
    pump: str


@dataclass(frozen=True, slots=True)
class CrewReading:
    """One reading of one cell: what the instrument should show, and where work stops.

    ``key`` names the event's line, the instrument and what it stands at.
    """

    key: tuple[str | int, ...]
    instrument: str
    number: Number = field(metadata={CALLED: "value"})
    side: str
    aim: bool
    stop: str
    """Its own stop band in words; empty where the part says it for all lines."""
    hold: str
    """Its own hold band in words."""
    meaning: str
    low: Number | None
    high: Number | None
    sides: tuple[str, str] = ("", "")
    """On which side the low and the high end lie, in a word."""

    @property
    def said(self) -> str:
        """The value with its unit and side; where a word says the side, nothing else does."""
        if not self.side:
            return self.number.full
        return f"{self.number.size} {self.number.unit} {self.side}"


@dataclass(frozen=True, slots=True)
class Bands:
    """The bands of one instrument at every jack, as one row: how they are said, then their ends."""

    meaning: str
    instrument: str
    how: str
    """``ABOVE``, ``BELOW``, ``outside``; empty where it differs and stands in the words."""
    words: tuple[str, ...]
    """One for each jack; empty where it has none."""
    same: str
    """The words of all jacks, where they are the same."""


@dataclass(frozen=True, slots=True)
class Cell:
    """The readings of one jack (and its seat) in one line."""

    reads: tuple[CrewReading, ...]


@dataclass(frozen=True, slots=True)
class CrewRow:
    """What one instrument reads at every jack of a line, with the bands of this line alone."""

    label: str
    reads: tuple[CrewReading | None, ...]
    stop: Bands | None
    hold: Bands | None


@dataclass(frozen=True, slots=True)
class PackLine:
    """Plates moved at one seat in one line, and the pack as it then stands."""

    seat: str
    place: str
    steps: tuple[tuple[str, str], ...]
    """What is done with which plates, in order: ``OUT``, ``P5, P2``."""
    pack: tuple[str, ...]
    """Marks, bottom to top."""
    reads: tuple[CrewReading, ...]


@dataclass(frozen=True, slots=True)
class CrewLine:
    """One line of a procedure: one hand, one verb."""

    number: int
    who: str
    asks: str
    note: str
    same: str
    """What every jack of the line must show alike, in words; no rows then."""
    same_stop: str
    """The stop band of that."""
    cells: tuple[Cell, ...]
    """One for each jack of the crew; empty where nothing is read."""
    rows: tuple[CrewRow, ...]
    """The same readings, a row for each instrument: what the crew works towards first."""
    packs: tuple[PackLine, ...]


@dataclass(frozen=True, slots=True)
class CrewPart:
    """One part of the work with its stop bands and lines."""

    title: str
    common: tuple[str, ...]
    """Stop bands that are the same for every jack, said once."""
    stops: tuple[Bands, ...]
    """Stop bands that hold through the part and differ from jack to jack."""
    lines: tuple[CrewLine, ...]


@dataclass(frozen=True, slots=True)
class JointRead:
    """One check read at the joint: what it should be, and the band outside which work stops."""

    key: tuple[str | int, ...]
    head: str
    """What is read, over its column."""
    point: str
    """The point it is read at, where that is no pair of the joint."""
    side: str
    """``high``, ``RIGHT``; what it is the side of stands in ``head``."""
    expect: Worded = field(metadata={CALLED: "value"})
    outside: str
    """Both ends of the band in words: ``1.6 low to 2.4 mm high``."""
    meaning: str
    low: Number
    high: Number
    ends: tuple[str, str]
    """Each end by itself in words."""


@dataclass(frozen=True, slots=True)
class JointRow:
    """All that is read in one place after the stage."""

    line: int
    place: str
    heads: tuple[str, ...]
    """One over each reading."""
    reads: tuple[JointRead, ...]


@dataclass(frozen=True, slots=True)
class CrewSheet:
    """What one crew reads in one stage."""

    number: int
    crew: int
    jacks: tuple[CrewJack, ...]
    parts: tuple[CrewPart, ...]
    joint: tuple[JointRow, ...]
    """What is read at the joint before the hold point."""
    hold_line: int
    first: int
    last: int
    back: tuple[CrewPart, ...] = ()
    """The way back from the raised state on steel; empty where the deck does not come back."""
