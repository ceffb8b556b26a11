"""A recovery in words: what is done line by line, and which help makes a way."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fitup.model import Job
from fitup.model.recovery import Tried
from fitup.sheets.crew_lines import Line, Read
from fitup.sheets.places import place_words
from fitup.units import DISPLAY

#: a capacity is asked for in whole steps of this many newtons, a stroke of so many metres
_FORCE_STEP, _STROKE_STEP = 50e3, 5e-3


def event_words(line: Line) -> str:
    """Return a line of a procedure as one line of text."""
    said = [f"{line.number:>4}  {line.who.upper():<8} {line.asks}"]
    said += [_read_words(read) for cell in line.cells for read in cell.reads if read.aim]
    for pack in line.packs:
        steps = ", ".join(f"{word} {marks}" for word, marks in pack.steps)
        said.append(f"{pack.seat}: {steps or 'no plate moves'}")
    if line.same:
        said.append(line.same)
    if line.note:
        said.append(f"({line.note})")
    return "  ".join(said)


def _read_words(read: Read) -> str:
    at = read.key[-1]
    return f"{at} {read.number.full} {read.side}".rstrip()


def help_words(job: Job, tried: Tried) -> Iterator[str]:
    """Yield which help makes a way where there is none, by name, rounded to the safe side."""
    units = DISPLAY[job.units]
    for jack in tried.jacks:
        seat = job.seats[jack.seat]
        capacity = math.ceil(jack.capacity / _FORCE_STEP) * _FORCE_STEP
        stroke = math.ceil(jack.stroke / _STROKE_STEP) * _STROKE_STEP
        yield (
            f"HELP: a jack of {units.force.text(capacity)} or more with "
            f"{units.move.text(stroke)} of stroke or more, beside {jack.jack} at seat "
            f"{jack.seat}, {place_words(job, seat)}; with it there is a certified way"
        )
    for plate in tried.plates:
        yield f"HELP: {plate.count} plate {plate.mark} more; with it there is a certified way"
