"""What a crew's field page knows: steps in the order of time, and the bands of the sheets.

Limits are SI values of numbers as printed, so that paper, page and ``fitup done`` judge alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fitup.model import Job
from fitup.pages.review_facts import Unit, UnitName
from fitup.record.asdone import What
from fitup.units import DISPLAY


@dataclass(frozen=True, slots=True)
class FieldBand:
    """Outside it the crew stops, or holds and asks; ends in SI, None where nothing is asked."""

    meaning: Literal["STOP", "HOLD"]
    low: float | None
    high: float | None
    why: str = ""


@dataclass(frozen=True, slots=True)
class FieldEntry:
    """One thing to be read and typed in.

    Parameters
    ----------
    name : str
        What it is called in the form as done, or unique in the stage where it is not in the form.
    what : {'ram', 'gauge', 'dial', 'feeler', 'calliper', 'check', 'pack', 'support'}
    label : str
        Of what, and where.
    should : str
        What it should read, in words.
    unit : str
    sides : tuple of str
        What a value above and one below zero is called; empty where there is only a size. Of a
        support: everything a seat may stand on.
    bands : tuple of FieldBand
    area : float
        Of a gauge: the ram area [m2].
    jack : str
        Of a ram or gauge.
    pack : tuple of str
        Of a pack: the plates, bottom to top.
    opening : float, optional
        Nominal opening of a gap [m]: it may be read whole.
    whole : bool
        A gap that is read whole, as on the tape.
    last : bool
        A ram reading that counts for the form: where the crew brought it to.
    """

    name: str
    what: Literal["ram", "gauge", "dial", "feeler", "calliper", "check", "pack", "support"]
    label: str
    should: str
    unit: UnitName
    sides: tuple[str, ...] = ()
    bands: tuple[FieldBand, ...] = ()
    area: float = 1.0
    jack: str = ""
    pack: tuple[str, ...] = ()
    opening: float | None = None
    whole: bool = False
    last: bool = False


@dataclass(frozen=True, slots=True)
class FieldStep:
    """One thing at a time: what to do, what to make sure of, what to read."""

    title: str
    say: tuple[str, ...] = ()
    ticks: tuple[str, ...] = ()
    entries: tuple[FieldEntry, ...] = ()


@dataclass(frozen=True, slots=True)
class FormRow:
    """One row of the form as done, as it is printed."""

    name: str
    what: What
    place: str
    should_read: str
    stop_beyond: str
    or_beyond: str
    unit: UnitName
    pack: tuple[str, ...] = ()
    most: float | None = None
    """Of a load: above it work stops [N]."""
    entry: str = ""
    """Name of the reading that fills it, where that is not its own."""


@dataclass(frozen=True, slots=True)
class FieldStage:
    """One stage of one crew."""

    number: int
    title: str
    steps: tuple[FieldStep, ...]
    form: tuple[FormRow, ...]


@dataclass(frozen=True, slots=True)
class FieldFacts:
    """Everything on the field page of one crew."""

    job: str
    check_code: str
    spoken: str
    status: str
    approved: bool
    crew: int
    crews: int
    units: dict[UnitName, Unit]
    stages: tuple[FieldStage, ...]
    stop: tuple[str, ...]
    """What to do when a band is passed."""
    hold: str
    caution: str
    heading: str
    of: Literal["Plan", "Recovery"] = "Plan"
    """What the check code is of."""


def field_units(job: Job) -> dict[UnitName, Unit]:
    """Return the units of a crew's instruments."""
    shown = DISPLAY[job.units]
    return {
        "move": Unit.of(shown.move),
        "pressure": Unit.of(shown.pressure),
        "force": Unit.of(shown.force),
        "slope": Unit.of(shown.slope),
    }
