"""One crew's pages for one stage: its procedure, event by event, as it stands on paper.

Events come from the certificate in the order of time. They are gathered into parts of the work
(take the load, lift, change packs, ...), each with its stop bands said once, in the largest print.
A band that differs from line to line stands beside its reading instead.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Final

from fitup.certify.facts import Certificate, CheckFact
from fitup.model import Job, circuits_of
from fitup.model.procedure import Band, ExpectedReading, Procedure, WorkEvent
from fitup.sheets.crew_lines import (
    Cell,
    CrewJack,
    CrewLine,
    CrewPart,
    CrewReading,
    CrewRow,
    CrewSheet,
    JointRead,
    JointRow,
    PackLine,
)
from fitup.sheets.crew_words import (
    Shared,
    band_words,
    bands,
    head_bands,
    is_shared,
    shared_bands,
    shown_of,
    side_of,
)
from fitup.sheets.model import OF_POINTS
from fitup.sheets.numbers import Number, Worded, rounded
from fitup.sheets.places import place_words
from fitup.sheets.stages import quantity_of
from fitup.sheets.verbs import line_called, note_called, part_called
from fitup.sheets.words import NAMES, shown_for, side_word
from fitup.units import DISPLAY

#: phases that are one part of the work, and what it is called
PARTS: Final[dict[str, str]] = {
    "set": "Take the load",
    "touch": "Take the load",
    "take-up": "Take the load",
    "lift-off": "Take the load",
    "lift": "Lift",
    "rest": "Onto steel, change the packs by tool, free the load",
    "plates": "Onto steel, change the packs by tool, free the load",
    "free": "Onto steel, change the packs by tool, free the load",
    "lower": "Lower and land",
    "landing": "Lower and land",
    "off": "Lower and land",
    "breakaway": "Push",
    "push": "Push",
    "let off": "Let off",
}
#: what is looked for where the certificate says nothing more
_NOTES: Final = {
    "OIL OFF": "until every gauge reads 0",
    "LET DOWN": "onto the plates, until every gauge reads 0",
    "JACK OFF": "ram back, jack loose",
}
#: what stands before the side of one segment against the other, said once over its column
_AHEAD: Final = "ahead side "
_WHOLE: Final = "Gap, whole opening"
#: where a plate goes, from and to -> the word before its mark
_PLATES: Final[dict[tuple[str, str], str]] = {
    ("pack", "store"): "OUT",
    ("store", "pack"): "IN",
    ("store", "on pack"): "ON TOP",
    ("on pack", "store"): "OFF THE TOP",
    ("store", "beside"): "ONTO TEMPORARY SEAT",
    ("beside", "store"): "OFF TEMPORARY SEAT",
}


def crew_sheet(
    job: Job,
    procedure: Procedure,
    strokes: Mapping[str, tuple[float, float]],
    checks: Mapping[str, CheckFact],
) -> CrewSheet:
    """Return the pages of one crew in one stage.

    Parameters
    ----------
    procedure : Procedure
        As certified.
    strokes : mapping of jack to (out, free)
        How far its ram is out at the start of the stage, and what is left of it [m].
    checks : mapping of id to CheckFact
        What is read at the joint.
    """
    working = [e for e in procedure.events if e.phase not in ("read", "hold")]
    return CrewSheet(
        number=procedure.stage,
        crew=procedure.crew,
        jacks=tuple(_jack(job, procedure, j, strokes[j]) for j in procedure.jacks),
        parts=parts_of(job, procedure, working),
        joint=tuple(
            row for e in procedure.events if e.phase == "read" for row in _joint(job, e, checks)
        ),
        hold_line=0,
        first=working[0].line,
        last=working[-1].line,
    )


def parts_of(job: Job, procedure: Procedure, events: Sequence[WorkEvent]) -> tuple[CrewPart, ...]:
    """Gather events into parts of the work.

    Parameters
    ----------
    job, procedure
    events : sequence of WorkEvent
        By time, of phases in :data:`PARTS`: without joint readings and hold point.
    """
    seats = procedure.seats

    def part(event: WorkEvent) -> str:
        return part_called(job, seats, PARTS[event.phase], event.phase)

    return tuple(
        _part(job, procedure, title, list(own)) for title, own in groupby(events, key=part)
    )


def _jack(job: Job, procedure: Procedure, name: str, stroke: tuple[float, float]) -> CrewJack:
    jack, units = job.jacks[name], DISPLAY[job.units]
    pumps = [p for p in procedure.pumps if name in job.pumps[p].jacks]
    pumps += [c.id for c in circuits_of(job, procedure.seats) if name in c.jacks]
    return CrewJack(
        jack=name,
        seat=jack.seat,
        place=place_words(job, job.seats[jack.seat]),
        stroke_out=rounded(stroke[0], units.move),
        stroke_free=rounded(stroke[1], units.move),
        lock_nut=jack.lock_nut,
        pump=", ".join(pumps),
    )


def _part(job: Job, procedure: Procedure, title: str, events: Sequence[WorkEvent]) -> CrewPart:
    """Return one part of the work; a stop band that most of its lines share is said at its head."""
    shared = shared_bands(reading for event in events for reading in event.readings)
    heads = head_bands(job, procedure.jacks, shared)
    alone = len(procedure.jacks) == 1
    common = {b: b.words[0] if alone else b.same for b in heads}
    return CrewPart(
        title=title,
        common=tuple(f"{b.instrument} {b.how} {w}" for b, w in common.items() if w),
        stops=tuple(b for b, words in common.items() if not words),
        lines=tuple(_line(job, procedure, e, shared) for e in events),
    )


def _line(job: Job, procedure: Procedure, event: WorkEvent, shared: Shared) -> CrewLine:
    by_jack: dict[str, list[CrewReading]] = {j: [] for j in procedure.jacks}
    seat_of = {job.jacks[j].seat: j for j in reversed(procedure.jacks)}
    packed = event.verb in ("CHANGE PACK", "FOLLOW WITH PLATES", "TAKE OUT PLATES")
    loose: dict[str, list[CrewReading]] = {}
    for reading in event.readings:
        if _is_plain(job, event, reading):
            continue
        read = _read(job, event, reading, shared)
        column = reading.at if reading.at in by_jack else seat_of.get(reading.at)
        if column is None or (packed and reading.at not in by_jack):
            loose.setdefault(reading.at, []).append(read)
        else:
            by_jack[column].append(read)
    cells = tuple(Cell(tuple(reads)) for reads in by_jack.values())
    if not any(c.reads for c in cells):
        cells = ()
    asks = line_called(job, procedure.seats, event)
    same, same_stop = _same(cells)
    packs = tuple(_packs(job, event, loose)) if packed else ()
    return CrewLine(
        number=event.line,
        who=event.who,
        asks=asks,
        note=note_called(job, procedure.seats, event.note) or _NOTES.get(event.verb, ""),
        same=same,
        same_stop=same_stop,
        cells=cells,
        rows=tuple(_rows(asks, cells)),
        packs=packs,
    )


def _is_plain(job: Job, event: WorkEvent, reading: ExpectedReading) -> bool:
    """Say whether a reading goes without a box: pressure let off, a ram beside its own dial."""
    if reading.instrument == "gauge" and event.verb in ("OIL OFF", "LET DOWN"):
        return True
    judged = reading.aim or reading.band("STOP") is not None or event.verb == "LAND"
    if reading.instrument != "ram" or judged:
        return False
    seat = job.jacks[reading.at].seat
    return any(
        r.instrument == "dial" and r.at == seat and r.band("STOP") is not None
        for r in event.readings
    )


def _same(cells: Sequence[Cell]) -> tuple[str, str]:
    """Say what the nuts of all jacks show alike, where nobody works towards it, and its stop."""
    said = {tuple((r.number.full, r.stop) for r in cell.reads) for cell in cells}
    reads = [read for cell in cells for read in cell.reads]
    if len(said) != 1 or any(r.instrument != "feeler" or r.aim for r in reads) or not reads:
        return "", ""
    first = reads[0]
    gap = "home, no gap" if first.number.value == 0.0 else f"gap {first.number.full}"
    return f"every jack: {gap}", f"STOP {first.stop}"


def _rows(asks: str, cells: Sequence[Cell]) -> Iterator[CrewRow]:
    """Yield a row for each instrument; the first is named after what the line asks."""
    held = [_named(cell) for cell in cells]
    for n, key in enumerate(dict.fromkeys(key for own in held for key in own)):
        reads = tuple(own.get(key) for own in held)
        yield CrewRow(
            label=_label(asks, key[0], aim=any(r.aim for r in reads if r), first=n == 0),
            reads=reads,
            stop=bands("STOP", [r.stop if r else "" for r in reads]),
            hold=bands("HOLD", [r.hold if r else "" for r in reads]),
        )


def _named(cell: Cell) -> dict[tuple[str, int], CrewReading]:
    """Return the readings of a cell by instrument, and which one of its kind."""
    count: Counter[str] = Counter()
    named = {}
    for read in cell.reads:
        named[read.instrument, count[read.instrument]] = read
        count[read.instrument] += 1
    return named


def _label(asks: str, instrument: str, *, aim: bool, first: bool) -> str:
    """Name a row: the instrument; of the first what is asked: ``RAISE: ram``, ``TAKE UP to``.

    Bar and psi are read on gauges alone, so that one is not named there.
    """
    if not first:
        return instrument
    verb, _, rest = asks.partition(", ")
    if instrument == "gauge":
        return f"{verb} to" if aim else verb
    return f"{verb}: {rest.removesuffix(' of').removesuffix(' to') or instrument}"


def _read(job: Job, event: WorkEvent, reading: ExpectedReading, shared: Shared) -> CrewReading:
    units = DISPLAY[job.units]
    shown = shown_of(reading.instrument, units, reading.resolution)
    number = rounded(reading.value, shown)
    band = reading.band("STOP")
    asked = band or reading.band("HOLD")
    low = high = None
    stop = hold = ""
    if asked is not None:
        low = rounded(asked.low, shown) if math.isfinite(asked.low) else None
        high = rounded(asked.high, shown) if math.isfinite(asked.high) else None
        words = band_words(job, reading, asked, shown)
        stop = words if band is not None and not is_shared(reading, shared) else ""
        held = reading.band("HOLD")
        hold = "" if held is None else band_words(job, reading, held, shown)
    return CrewReading(
        key=("event", event.line, reading.instrument, reading.at),
        instrument=reading.instrument,
        number=number,
        side=side_of(job, reading, number),
        aim=reading.aim,
        stop=stop,
        hold=hold,
        meaning="" if asked is None else asked.meaning,
        low=low,
        high=high,
        sides=(
            "" if low is None else side_of(job, reading, low, short=True),
            "" if high is None else side_of(job, reading, high, short=True),
        ),
    )


def _joint(job: Job, event: WorkEvent, checks: Mapping[str, CheckFact]) -> Iterator[JointRow]:
    """Yield what is read at the joint, place by place, at most three readings to a row."""
    rows: dict[str, list[JointRead]] = {}
    for reading in event.readings:
        fact = checks[reading.at]
        single = fact.quantity in OF_POINTS or not fact.joint
        place = "" if single else f"{fact.joint} {fact.place}".strip()
        rows.setdefault(place, []).append(_check(job, event, reading, fact))
    for place, reads in rows.items():
        for i in range(0, len(reads), 3):
            own = tuple(reads[i : i + 3])
            heads = tuple(r.head for r in own)
            yield JointRow(event.line, place, heads, own)


def _check(job: Job, event: WorkEvent, reading: ExpectedReading, fact: CheckFact) -> JointRead:
    units, quantity = DISPLAY[job.units], quantity_of(fact)
    shown = shown_for(quantity, units)
    whole = reading.instrument == "tape"
    band = reading.band("STOP") or reading.band("HOLD") or Band("STOP")
    number = rounded(reading.value, shown)
    ends = [rounded(v, shown) for v in (band.low, band.high)]
    sides = ["" if whole else side_word(quantity, n) for n in (number, *ends)]
    across = any(side.startswith(_AHEAD) for side in sides)
    side, *near = (side.removeprefix(_AHEAD) for side in sides)
    single = fact.quantity in OF_POINTS or not fact.joint
    return JointRead(
        key=("event", event.line, reading.instrument, reading.at),
        head=(_WHOLE if whole else NAMES[quantity]) + (", ahead side" if across else ""),
        point=fact.place if single else "",
        side=side,
        expect=Worded(f"{sides[0]} {number.size} {number.unit}".strip(), sides[0], number),
        outside=_between(ends, near),
        meaning=band.meaning,
        low=ends[0],
        high=ends[1],
        ends=(_end(ends[0], near[0]), _end(ends[1], near[1])),
    )


def _end(number: Number, side: str) -> str:
    return f"{number.size} {side}".strip() + f" {number.unit}"


def _between(ends: Sequence[Number], sides: Sequence[str]) -> str:
    """Say both ends of a band, the nearer to zero first: ``1.6 low to 2.4 mm high``."""
    pairs = list(zip(ends, sides, strict=True))
    (low, first), (high, last) = pairs if max(n.value for n in ends) > 0.0 else pairs[::-1]
    if first in ("", last):
        return f"{low.size} to {high.size} {high.unit} {last}".strip()
    return f"{low.size} {first} to {high.size} {high.unit} {last}"


def _packs(
    job: Job, event: WorkEvent, reads: Mapping[str, Sequence[CrewReading]]
) -> Iterator[PackLine]:
    """Yield what becomes of the plates at every seat of a line."""
    after = {state.seat: state for state in event.after}
    for seat in dict.fromkeys([*(m.seat for m in event.moved), *event.objects]):
        if seat not in job.seats:
            continue
        own = [m for m in event.moved if m.seat == seat]
        steps = tuple(
            (_PLATES[way], ", ".join(m.mark for m in moves))
            for way, moves in groupby(own, key=lambda m: (m.source, m.target))
        )
        yield PackLine(
            seat=seat,
            place=place_words(job, job.seats[seat]),
            steps=steps,
            pack=after[seat].pack if seat in after and event.verb == "CHANGE PACK" else (),
            reads=tuple(reads.get(seat, ())),
        )


def crew_sheets(job: Job, certificate: Certificate) -> tuple[CrewSheet, ...]:
    """Return the pages of every crew in every stage, in the order of work.

    Parameters
    ----------
    job, certificate

    Returns
    -------
    tuple of CrewSheet
        One for every procedure, with its way back where the certificate has one.
    """
    facts = {fact.id: fact for fact in certificate.checks}
    strokes = {
        (stage.number, jack.jack): (jack.stroke_out, jack.stroke_free)
        for stage in certificate.stages
        for jack in stage.jacks
    }
    holds = {p.stage: e.line for p in certificate.procedures for e in p.events if e.phase == "hold"}
    return tuple(
        replace(
            crew_sheet(job, p, {j: strokes[p.stage, j] for j in p.jacks}, facts),
            hold_line=holds.get(p.stage, 0),
            back=tuple(
                part
                for b in certificate.ways_back
                if (b.stage, b.crew) == (p.stage, p.crew)
                for part in parts_of(job, b, b.events)
            ),
        )
        for p in certificate.procedures
    )
