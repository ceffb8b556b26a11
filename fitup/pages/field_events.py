"""The steps of a stage event by event, as the certificate has the procedure."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Final, Literal

from fitup.model import (
    QUANTITIES,
    SIDES,
    Band,
    ExpectedReading,
    Job,
    Procedure,
    Quantity,
    Seat,
    WorkEvent,
)
from fitup.model.checks import kind_of
from fitup.pages.field_facts import FieldBand, FieldEntry, FieldStep
from fitup.pages.review_facts import UnitName
from fitup.record.asdone import Asked
from fitup.sheets.numbers import rounded
from fitup.sheets.places import place_words
from fitup.sheets.verbs import line_called, note_called
from fitup.sheets.words import NAMES, plain_value, shown_for
from fitup.units import DISPLAY

_HANDS: Final = {
    "pump": "pump hands",
    "nut": "nut hands",
    "plates": "shim hands",
    "dial": "dial readers",
    "survey": "surveyor",
    "engineer": "engineer",
}
_WHAT: Final[dict[str, Literal["ram", "gauge", "dial", "feeler", "calliper"]]] = {
    "ram": "ram",
    "gauge": "gauge",
    "dial": "dial",
    "feeler": "feeler",
    "calliper": "calliper",
}
#: instruments that show a size, not a distance from a mark
_SIZES: Final = {"gauge", "feeler", "calliper"}
_UNITS: Final[dict[str, UnitName]] = {"length": "move", "slope": "slope", "force": "force"}


def event_steps(job: Job, procedure: Procedure, asked: Mapping[str, Asked]) -> Iterator[FieldStep]:
    """Yield one step an event; the hold point is the end of the page, not a step.

    Parameters
    ----------
    job : Job
    procedure : Procedure
    asked : mapping of str to Asked
        What the form as done asks this crew for, by its name there.
    """
    for event in procedure.events:
        if event.verb != "HOLD POINT":
            yield _step(job, event, asked)


def _step(job: Job, event: WorkEvent, asked: Mapping[str, Asked]) -> FieldStep:
    entries = [_entry(job, event, reading, asked) for reading in event.readings]
    entries += _packs(event, asked)
    verb = _verb(job, event)
    done = () if entries else (f"{verb}: done.",)
    say = [*_orders(job, event), *_plates(event)]
    note = note_called(job, _seats(event), event.note)
    if note:
        say.append(f"{note[0].upper()}{note[1:]}.")
    say += _stands(job, event)
    title = f"Line {event.line}: {verb} ({_HANDS[event.who]})"
    return FieldStep(title, tuple(say), done, tuple(entries))


def _orders(job: Job, event: WorkEvent) -> Iterator[str]:
    """Say how far, jack by jack, where the event has an aim; else to what it is done."""
    aims = {r.at: r for r in event.readings if r.aim}
    for name in event.objects:
        jack = job.jacks.get(name)
        seat = job.seats.get(name if jack is None else jack.seat)
        where = name if seat is None else f"{name}, {place_words(job, seat)}"
        far = f" to {_should(job, aims[name])}" if name in aims else ""
        yield f"{where}: {_verb(job, event)}{far}"


def _verb(job: Job, event: WorkEvent) -> str:
    """Return the verb of the move sheet: crews hold the page beside it."""
    return line_called(job, _seats(event), event).partition(",")[0]


def _seats(event: WorkEvent) -> list[str]:
    return [state.seat for state in event.after]


def _plates(event: WorkEvent) -> Iterator[str]:
    for seat in dict.fromkeys(move.seat for move in event.moved):
        ways: dict[tuple[str, str], list[str]] = {}
        for move in event.moved:
            if move.seat == seat:
                ways.setdefault((move.source, move.target), []).append(move.mark)
        for (source, target), marks in ways.items():
            yield f"{seat}: {', '.join(marks)} from {source} to {target}"


def _stands(job: Job, event: WorkEvent) -> Iterator[str]:
    """Say what carries the load afterwards, and how far it could drop."""
    shown = DISPLAY[job.units].move
    stated: dict[str, list[str]] = {}
    for state in event.after:
        drop = "" if state.drop <= 0.0 else f", {shown.text(state.drop)} above steel"
        stated.setdefault(f"{state.on.upper()}{drop}", []).append(state.seat)
    for on, seats in stated.items():
        yield f"Load then on {on}: {', '.join(seats)}"


def _packs(event: WorkEvent, asked: Mapping[str, Asked]) -> Iterator[FieldEntry]:
    if event.verb != "CHANGE PACK":
        return
    for state in (s for s in event.after if s.seat in event.objects):
        own = asked.get(f"pack {state.seat}")
        # the state says which plates lie there; how they are stacked, the schedule says
        final = own is not None and sorted(own.pack) == sorted(state.pack)
        pack = own.pack if own is not None and final else state.pack
        yield FieldEntry(
            name=f"pack {state.seat}" if final else f"pack {state.seat} line {event.line}",
            what="pack",
            label=f"Pack as built at {state.seat}, bottom to top",
            should="+".join(pack) or "no plates",
            unit="move",
            pack=pack,
        )


def _entry(
    job: Job, event: WorkEvent, reading: ExpectedReading, asked: Mapping[str, Asked]
) -> FieldEntry:
    if reading.instrument in {"tape", "straightedge", "survey"}:
        return _check(job, event, reading, asked)
    jack = job.jacks.get(reading.at)
    seat = job.seats[reading.at if jack is None else jack.seat]
    ram = reading.instrument == "ram"
    # a ram cannot go below the mark where it touches; gauges and feelers show sizes
    sized = reading.instrument in _SIZES or (ram and reading.zero == "TOUCH")
    return FieldEntry(
        name=f"{reading.instrument} {reading.at} line {event.line}",
        what=_WHAT[reading.instrument],
        label=f"{reading.instrument.capitalize()} {reading.at}, {place_words(job, seat)}",
        should=_should(job, reading),
        unit="pressure" if reading.instrument == "gauge" else "move",
        sides=() if sized else _sides(seat, reading.zero),
        bands=tuple(_bands(job, reading, sized, asked)),
        area=1.0 if jack is None else jack.ram_area,
        jack="" if jack is None else jack.id,
        last=ram and reading.aim and reading.zero == "START",
    )


def _check(
    job: Job, event: WorkEvent, reading: ExpectedReading, asked: Mapping[str, Asked]
) -> FieldEntry:
    """Return a reading of the joint; a tape shows the whole opening of a pair."""
    joint, quantity = reading.at.split("/", 1)[0], quantity_of_check(reading.at)
    unit = _UNITS[kind_of(quantity)]
    own = asked.get(reading.at)
    whole = reading.instrument == "tape"
    shown = shown_for(quantity, DISPLAY[job.units])
    number = rounded(reading.value, shown)
    what = "opening of the gap" if whole else NAMES[quantity].lower()
    return FieldEntry(
        name=reading.at if own is not None else f"{reading.at} line {event.line}",
        what="check",
        label=f"{joint}, {reading.at.removeprefix(joint + '/')}: {what}",
        should=number.full
        if whole
        else plain_value(quantity, reading.value, DISPLAY[job.units]).words,
        unit=unit,
        sides=() if whole else SIDES[quantity],
        bands=tuple(_band(b) for b in reading.bands),
        whole=whole,
    )


def quantity_of_check(name: str) -> Quantity:
    """Return the quantity of a check by its name: ``J1/P1/step``, ``level/A-T1``, ``lean/T``."""
    return next(q for q in QUANTITIES if q in (name.rsplit("/", 1)[-1], name.split("/", 1)[0]))


def _sides(seat: Seat, zero: str) -> tuple[str, str]:
    mark = zero or "zero"
    words = ("above", "below") if seat.pushes == "up" else ("beyond", "short of")
    return (f"{words[0]} {mark}", f"{words[1]} {mark}")


def _should(job: Job, reading: ExpectedReading) -> str:
    """Say what an instrument should show, against its mark."""
    shown = DISPLAY[job.units]
    number = rounded(reading.value, shown.pressure if reading.instrument == "gauge" else shown.move)
    jack = job.jacks.get(reading.at)
    if reading.instrument in _SIZES:
        return number.full
    sides = _sides(job.seats[reading.at if jack is None else jack.seat], reading.zero)
    if number.value == 0.0:
        return reading.zero or number.full
    return f"{number.size} {number.unit} {sides[0 if number.value > 0.0 else 1]}"


def _bands(
    job: Job, reading: ExpectedReading, sized: bool, asked: Mapping[str, Asked]
) -> Iterator[FieldBand]:
    """Yield the bands of a reading; a gauge also keeps the load that the form as done allows."""
    jack = job.jacks.get(reading.at)
    load = None if jack is None else asked.get(f"load {jack.id}")
    for band in reading.bands:
        low, high = _band(band).low, _band(band).high
        if sized and low is not None and low <= 0.0:
            low = None
        if reading.instrument == "gauge" and load is not None and jack is not None:
            step = 2.0 * DISPLAY[job.units].pressure.half_step
            cap = math.floor(load.most / jack.ram_area / step + 1e-9) * step
            high = cap if high is None or (band.meaning == "STOP" and high > cap) else high
        if low is not None or high is not None:
            yield FieldBand(band.meaning, low, high, band.why)


def _band(band: Band) -> FieldBand:
    low = band.low if math.isfinite(band.low) else None
    high = band.high if math.isfinite(band.high) else None
    return FieldBand(band.meaning, low, high, band.why)
