"""One crew's pages for one stage: its procedure, event by event, as it stands on paper.

Events come from the certificate in the order of time. They are gathered into parts of the work
(take the load, lift, change packs, ...), each with its stop bands said once, in the largest print.
A band that differs from line to line stands beside its reading instead.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Final

from fitup.certify.facts import Certificate, CheckFact
from fitup.model import Job
from fitup.model.procedure import Band, ExpectedReading, Procedure, WorkEvent
from fitup.sheets.crew_lines import (
    Cell,
    CrewJack,
    CrewSheet,
    JointRead,
    JointRow,
    Line,
    PackLine,
    Part,
    Read,
    Stops,
)
from fitup.sheets.model import OF_POINTS
from fitup.sheets.numbers import Number, Worded, rounded
from fitup.sheets.places import place_words
from fitup.sheets.stages import quantity_of
from fitup.sheets.words import NAMES, shown_for, side_word
from fitup.units import DISPLAY, DisplayUnits, Shown

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
#: what a verb asks, where it is not the verb itself
ASKS: Final[dict[str, str]] = {
    "SET": "SET",
    "TAKE UP": "TAKE UP, gauge to",
    "LIFT OFF": "LIFT OFF",
    "RAISE": "RAISE, ram to",
    "LOWER": "LOWER, ram to",
    "PUSH": "PUSH, ram to",
    "FOLLOW WITH NUT": "NUT FOLLOWS",
    "FOLLOW WITH PLATES": "PLATES FOLLOW",
}
#: what is looked for where the certificate says nothing more
_NOTES: Final = {
    "OIL OFF": "until every gauge reads 0",
    "LET DOWN": "onto the plates, until every gauge reads 0",
    "JACK OFF": "ram back, jack loose",
}
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


def parts_of(job: Job, procedure: Procedure, events: Sequence[WorkEvent]) -> tuple[Part, ...]:
    """Gather events into parts of the work."""
    return tuple(
        _part(job, procedure, title, list(own))
        for title, own in groupby(events, key=lambda e: PARTS[e.phase])
    )


def _jack(job: Job, procedure: Procedure, name: str, stroke: tuple[float, float]) -> CrewJack:
    jack, units = job.jacks[name], DISPLAY[job.units]
    pumps = [p for p in procedure.pumps if name in job.pumps[p].jacks]
    return CrewJack(
        jack=name,
        seat=jack.seat,
        place=place_words(job, job.seats[jack.seat]),
        stroke_out=rounded(stroke[0], units.move),
        stroke_free=rounded(stroke[1], units.move),
        lock_nut=jack.lock_nut,
        pump=", ".join(pumps),
    )


def _part(job: Job, procedure: Procedure, title: str, events: Sequence[WorkEvent]) -> Part:
    """Return one part of the work; a stop band that all its lines share is said at its head."""
    shared = _shared(events)
    units = DISPLAY[job.units]
    words: dict[str, list[str]] = {j: [] for j in procedure.jacks}
    for (instrument, at), band in shared.items():
        for jack in procedure.jacks:
            if at in (jack, job.jacks[jack].seat):
                words[jack].append(_head_words(instrument, band, units))
    listed = list(words.values())
    common = [w for w in listed[0] if all(w in own for own in listed)] if listed else []
    stops = tuple(
        Stops(jack, tuple(w for w in own if w not in common)) for jack, own in words.items()
    )
    lines = tuple(_line(job, procedure, e, shared) for e in events)
    return Part(title, tuple(common), stops if any(s.words for s in stops) else (), lines)


#: instrument and place -> the stop band of most lines: its ends, or how far off each reading
_Shared = dict[tuple[str, str], tuple[str, float, float]]


def _shared(events: Sequence[WorkEvent]) -> _Shared:
    """Return the stop bands that most lines of a part share, where several do."""
    found: dict[tuple[str, str], list[ExpectedReading]] = {}
    for event in events:
        for reading in event.readings:
            if reading.band("STOP") is not None:
                found.setdefault((reading.instrument, reading.at), []).append(reading)
    shared: _Shared = {}
    for key, readings in found.items():
        how = {"gauge": _ends, "ram": _off, "dial": _off}.get(key[0])
        if how is None:
            continue
        (band, times), *_ = Counter(how(r) for r in readings).most_common(1)
        if times > 1 or key[0] == "ram":
            shared[key] = ("ends" if how is _ends else "off", *band)
    return shared


def _is_shared(reading: ExpectedReading, shared: _Shared) -> bool:
    """Say whether the head of the part says the stop band of a reading."""
    band = shared.get((reading.instrument, reading.at))
    if band is None:
        return False
    return band[1:] == (_ends(reading) if band[0] == "ends" else _off(reading))


def _ends(reading: ExpectedReading) -> tuple[float, float]:
    band = reading.band("STOP") or Band("STOP")
    return (round(band.low, 9), round(band.high, 9))


def _off(reading: ExpectedReading) -> tuple[float, float]:
    low, high = _ends(reading)
    return (round(reading.value - low, 6), round(high - reading.value, 6))


def _head_words(instrument: str, band: tuple[str, float, float], units: DisplayUnits) -> str:
    """Say a stop band that holds through a part: ``ABOVE 471 bar``."""
    how, low, high = band
    shown = shown_of(instrument, units)
    if how == "off":
        if low == high:
            return f"{instrument} more than {shown.text(low)} off its reading"
        return f"{instrument} {shown.text(low)} under or {shown.text(high)} over its reading"
    return f"{instrument} {_outside(low, high, shown.text)}"


def _outside(low: float, high: float, say: Callable[[float], str]) -> str:
    if math.isinf(low) or low <= 0.0:
        return f"ABOVE {say(high)}" if math.isfinite(high) else ""
    if math.isinf(high):
        return f"BELOW {say(low)}"
    return f"ABOVE {say(high)}, BELOW {say(low)}"


def shown_of(instrument: str, units: DisplayUnits, resolution: float = 1.0) -> Shown:
    """Return how readings of an instrument with a resolution [SI] are printed."""
    if instrument == "gauge":
        return units.pressure
    fine = resolution < 0.9 * 2.0 * units.move.half_step
    return units.plate if fine else units.move


def _line(job: Job, procedure: Procedure, event: WorkEvent, shared: _Shared) -> Line:
    by_jack: dict[str, list[Read]] = {j: [] for j in procedure.jacks}
    seat_of = {job.jacks[j].seat: j for j in reversed(procedure.jacks)}
    packed = event.verb in ("CHANGE PACK", "FOLLOW WITH PLATES", "TAKE OUT PLATES")
    loose: dict[str, list[Read]] = {}
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
    back = event.verb == "FOLLOW WITH NUT" and event.phase == "lower"
    same = _same(cells)
    packs = tuple(_packs(job, event, loose)) if packed else ()
    return Line(
        number=event.line,
        who=event.who,
        asks="NUT BACK, gap of" if back else ASKS.get(event.verb, event.verb),
        note=event.note or _NOTES.get(event.verb, ""),
        same=same,
        cells=cells,
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


def _same(cells: Sequence[Cell]) -> str:
    """Say what the nuts of all jacks show alike, where nobody works towards it."""
    said = {tuple((r.number.full, r.stop) for r in cell.reads) for cell in cells}
    reads = [read for cell in cells for read in cell.reads]
    if len(said) != 1 or any(r.instrument != "feeler" or r.aim for r in reads) or not reads:
        return ""
    first = reads[0]
    gap = "home, no gap" if first.number.value == 0.0 else f"gap {first.number.full}"
    return f"every jack: {gap}; STOP {first.stop}"


def _read(job: Job, event: WorkEvent, reading: ExpectedReading, shared: _Shared) -> Read:
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
        words = _own_words(job, reading, asked, shown)
        stop = words if band is not None and not _is_shared(reading, shared) else ""
        hold = words if band is None else ""
    return Read(
        key=("event", event.line, reading.instrument, reading.at),
        instrument=reading.instrument,
        number=number,
        side=_side(job, reading, number),
        aim=reading.aim,
        stop=stop,
        hold=hold,
        meaning="" if asked is None else asked.meaning,
        low=low,
        high=high,
        sides=(
            "" if low is None else _side(job, reading, low, short=True),
            "" if high is None else _side(job, reading, high, short=True),
        ),
    )


def _own_words(job: Job, reading: ExpectedReading, band: Band, shown: Shown) -> str:
    """Say the stop band of one reading, sides in words: ``12.3 above to 13.3 above``."""

    def say(value: float) -> str:
        number = rounded(value, shown)
        side = _side(job, reading, number, short=True)
        return f"{number.size} {number.unit} {side}".strip()

    if math.isinf(band.low) or math.isinf(band.high) or reading.instrument == "gauge":
        return _outside(band.low, band.high, say)
    low, high = rounded(band.low, shown), rounded(band.high, shown)
    sides = [_side(job, reading, n, short=True) for n in (low, high)]
    if low.value < 0.0 and high.value < 0.0:
        low, high = high, low
    if sides[0] in ("", sides[1]) or high.value == 0.0:
        side = sides[1] or sides[0]
        return f"outside {low.size} to {high.size} {low.unit} {side}".strip()
    return f"outside {low.size} {sides[0]} to {high.size} {high.unit} {sides[1]}"


def _side(job: Job, reading: ExpectedReading, number: Number, *, short: bool = False) -> str:
    """Return the side of a reading in words; empty where it has none."""
    if reading.instrument in ("gauge", "feeler", "calliper", "tape") or number.value == 0.0:
        return (
            f"at {reading.zero}"
            if reading.instrument == "ram" and reading.zero and not short
            else ""
        )
    seat = reading.at if reading.at in job.seats else None
    if reading.at in job.jacks:
        seat = job.jacks[reading.at].seat
    if seat is None:
        return ""
    pushes, out = job.seats[seat].pushes, number.value > 0.0
    if reading.instrument == "dial":
        words = {"up": ("up", "down"), "ahead": ("AHEAD", "BACK"), "back": ("BACK", "AHEAD")}
        words |= {"left": ("LEFT", "RIGHT"), "right": ("RIGHT", "LEFT")}
        return words.get(pushes, ("out", "back"))[0 if out else 1]
    side = ("above", "below") if pushes == "up" else ("beyond", "short of")
    return side[0 if out else 1]


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
            yield JointRow(event.line, place, tuple(reads[i : i + 3]))


def _check(job: Job, event: WorkEvent, reading: ExpectedReading, fact: CheckFact) -> JointRead:
    units, quantity = DISPLAY[job.units], quantity_of(fact)
    shown = shown_for(quantity, units)
    whole = reading.instrument == "tape"
    band = reading.band("STOP") or reading.band("HOLD") or Band("STOP")
    ends = [rounded(v, shown) for v in (band.low, band.high)]

    def worded(number: Number) -> str:
        side = "" if whole else side_word(quantity, number).replace("ahead side ", "")
        return f"{number.size} {side}".strip()

    below = max(n.value for n in ends) < 0.0
    first, last = (ends[1], ends[0]) if below else (ends[0], ends[1])
    number = rounded(reading.value, shown)
    side = "" if whole else side_word(quantity, number)
    point = f" {fact.place}" if fact.quantity in OF_POINTS or not fact.joint else ""
    return JointRead(
        key=("event", event.line, reading.instrument, reading.at),
        what=("Gap, whole opening" if whole else NAMES[quantity]) + point,
        expect=Worded(f"{side} {number.size} {number.unit}".strip(), side, number),
        stop=f"{band.meaning} outside {worded(first)} to {worded(last)}",
        meaning=band.meaning,
        low=ends[0],
        high=ends[1],
        ends=(f"{worded(ends[0])} {ends[0].unit}", f"{worded(ends[1])} {ends[1].unit}"),
    )


def _packs(job: Job, event: WorkEvent, reads: Mapping[str, Sequence[Read]]) -> Iterator[PackLine]:
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
    """Return the pages of every crew in every stage, in the order of work."""
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
