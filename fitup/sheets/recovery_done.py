"""What is read when a recovery is carried out: its form, and the bands it is judged by.

Both come from the lines of its sheet, so what is judged is what was printed: where every ram and
dial stood at its last line, the most a gauge showed on the way, packs that were touched, and what
every seat stands on at the end.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from fitup.model import Job
from fitup.model.recovery import Recovery
from fitup.record.asdone import SUPPORTS, Asked
from fitup.record.readback import FORM
from fitup.sheets.as_done import HEAD, end_words, most_words
from fitup.sheets.crew import parts_of
from fitup.sheets.crew_lines import CrewReading
from fitup.sheets.model import Table
from fitup.sheets.places import place_words
from fitup.units import DISPLAY

#: what a value above and one below zero is called, of a dial, by where the jacks of a seat push
_DIALS: Final = {
    "up": ("up", "down"),
    "ahead": ("AHEAD", "BACK"),
    "back": ("BACK", "AHEAD"),
    "left": ("LEFT", "RIGHT"),
    "right": ("RIGHT", "LEFT"),
}


@dataclass(frozen=True, slots=True)
class AskedRow:
    """One thing that is read, with its words on the form.

    ``entry`` names the reading that fills it, as the field page calls it: instrument, where and
    line; it is empty where no single line does.
    """

    asked: Asked
    place: str
    should: str
    ends: tuple[str, str]
    entry: str = ""

    @property
    def name(self) -> str:
        """What it is called on the form."""
        return self.asked.name


def recovery_asked(job: Job, recovery: Recovery) -> tuple[Asked, ...]:
    """Return what is to be read when a recovery is carried out, with its bands as printed.

    Parameters
    ----------
    job : Job
        As it was planned.
    recovery : Recovery
        As it was certified.
    """
    return tuple(row.asked for row in _rows(job, recovery))


def asked_rows(job: Job, recovery: Recovery) -> tuple[AskedRow, ...]:
    """Return the rows of the form of a recovery, as :func:`recovery_asked` does their bands."""
    return tuple(_rows(job, recovery))


def recovery_form(job: Job, recovery: Recovery, code: str, record: str) -> Table:
    """Return the form of a recovery, its last columns empty.

    Parameters
    ----------
    job, recovery
    code : str
        Check code of the recovery; it stands in the column ``plan``.
    record : str
        The record's last entry when it was printed; empty without a record.
    """
    units = DISPLAY[job.units]
    gauge = (f"read_{units.force.suffix}", f"read_{units.pressure.suffix}")
    blank = (f"read_{units.move.suffix}", "side", *gauge, "pack", "stands_on")
    stage = recovery.stopped.stage
    rows = (
        (code, record, stage, row.asked.name, row.place, row.should, *row.ends)
        for row in _rows(job, recovery)
    )
    return Table(FORM, (*HEAD, *blank), tuple((*row, *(None for _ in blank)) for row in rows))


def _rows(job: Job, recovery: Recovery) -> Iterator[AskedRow]:
    procedure = recovery.procedure
    parts = parts_of(job, procedure, procedure.events)
    lines = [line for part in parts for line in part.lines]
    cells = [c.reads for line in lines for c in line.cells]
    packs = [p.reads for line in lines for p in line.packs]
    reads = [r for own in (*cells, *packs) for r in own if r.meaning == "STOP"]
    for jack in procedure.jacks:
        own = [r for r in reads if r.key[2:] == ("ram", jack) and _whole(r)]
        yield from _at_last(job, job.jacks[jack].seat, own)
    for seat in procedure.seats:
        own = [r for r in reads if r.key[2:] == ("dial", seat) and _whole(r)]
        yield from _at_last(job, seat, own)
    for jack in procedure.jacks:
        yield from _load(job, jack, [r for r in reads if r.key[2:] == ("gauge", jack)])
    yield from _left(job, recovery)


def _whole(read: CrewReading) -> bool:
    return read.low is not None and read.high is not None


def _at_last(job: Job, seat: str, reads: Sequence[CrewReading]) -> Iterator[AskedRow]:
    """Yield where a ram or dial stood at the last line that asks for it."""
    if not reads:
        return
    read, own = reads[-1], job.seats[seat]
    _, line, instrument, at = read.key
    assert read.low is not None and read.high is not None
    lifts = own.pushes == "up"
    rams = ("above START", "below START") if lifts else ("beyond START", "short of START")
    sides = rams if instrument == "ram" else _DIALS.get(own.pushes, ("out", "back"))
    ends = sorted((read.low.si, read.high.si))
    name = f"{instrument} {at}"
    asked = Asked(name, "ram", "length", ends[0], ends[1], sides=sides)
    should, *band = end_words(read)
    yield AskedRow(
        asked,
        f"{place_words(job, own)}, line {line}",
        should,
        (band[0], band[1]),
        f"{name} line {line}",
    )


def _load(job: Job, jack: str, reads: Sequence[CrewReading]) -> Iterator[AskedRow]:
    """Yield the most that a gauge showed on the way, between its least and its greatest stop."""
    highs = [r.high.si for r in reads if r.high is not None]
    if not highs:
        return
    lows = [r.low.si for r in reads if r.low is not None and r.low.si > 0.0]
    area = job.jacks[jack].ram_area
    gauge = (min(lows, default=0.0), max(highs))
    ends = (gauge[0] * area, gauge[1] * area)
    asked = Asked(f"load {jack}", "load", "force", *ends, area=area, gauge=gauge)
    place = place_words(job, job.seats[job.jacks[jack].seat])
    yield AskedRow(asked, place, "the most on the way", most_words(reads))


def _left(job: Job, recovery: Recovery) -> Iterator[AskedRow]:
    """Yield the packs and plates that were touched as they are left, and what every seat is on."""
    events = recovery.procedure.events
    touched = {(m.seat, p) for e in events for m in e.moved for p in (m.source, m.target)}
    marks = tuple(job.plates)
    for state in events[-1].after if events else ():
        place = place_words(job, job.seats[state.seat])
        beside = (*state.beside, *state.on_pack)
        moved = {p for seat, p in touched if seat == state.seat}
        asked = []
        if "pack" in moved:
            asked.append(("pack", state.pack))
        if beside or moved & {"beside", "on pack"}:
            asked.append(("temporary", beside))
        for word, pack in asked:
            own = Asked(f"{word} {state.seat}", "pack", pack=tuple(pack), marks=marks)
            yield AskedRow(own, place, "+".join(pack) or "no plates", ("any other pack", ""))
        stands = Asked(f"stands {state.seat}", "support", stands=state.on)
        yield AskedRow(stands, place, SUPPORTS[state.on], ("anything else", ""))
