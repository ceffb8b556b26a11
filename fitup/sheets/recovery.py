"""A recovery as a crew's sheet, and in words: what is done line by line, or which help it takes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from fitup.certify.facts import Certificate, PrintedNumber, recovery_facts
from fitup.model import Job, Plan, SeatState
from fitup.model.recovery import (
    Found,
    Goal,
    JackHelp,
    Recovery,
    Stopped,
    Tried,
    rounded_up,
)
from fitup.record.approval import Standing
from fitup.record.asdone import SUPPORTS
from fitup.record.check_code import check_code, spoken
from fitup.sheets.build import header_of
from fitup.sheets.cautions import BAND_PASSED, STRIP, cautions
from fitup.sheets.crew import crew_sheet
from fitup.sheets.crew_lines import CrewLine, CrewReading, CrewSheet
from fitup.sheets.model import Header, Table
from fitup.sheets.numbers import Number, printed_in, rounded
from fitup.sheets.pdf import compile_pdf, printable
from fitup.sheets.places import place_words
from fitup.sheets.words import ram_reading
from fitup.survey.points import Survey
from fitup.units import DISPLAY

#: how a goal is called where it cannot be overlooked
GOAL_WORDS: Final[dict[Goal, str]] = {
    "safe": "MAKE SAFE: every load onto steel where it stands",
    "back": "BACK: to where the stage began",
    "end": "ON: to the end of the stage",
}
#: what is done when the last line is done
_THEN: Final[dict[Goal, str]] = {
    "safe": "Every load stands on steel where it is. Nothing more is moved. Ask the engineer for "
    "the way back or on.",
    "back": "The stage has not begun. It begins anew, from its first line, when every STOP is "
    "lifted.",
    "end": "Go on with the joint readings of the stage, as its own sheet says, to the hold point.",
}


@dataclass(frozen=True, slots=True)
class FoundLine:
    """One seat where work stopped, as the sheet says it."""

    seat: str
    place: str
    on: str
    load: Number
    pack: tuple[str, ...]
    temporary: tuple[str, ...]
    jack: str
    """Whether its jack works."""


@dataclass(frozen=True, slots=True)
class RecoverySheet:
    """A recovery as a crew reads it."""

    header: Header
    goal: str
    then: str
    plan_code: str
    line: str
    """The last one that was done, in words."""
    said: tuple[str, ...]
    """What the crew said, in words."""
    found: tuple[FoundLine, ...]
    outside: tuple[str, ...]
    pages: CrewSheet
    segment: str
    window: str
    cautions: tuple[str, ...]

    def printed(self) -> tuple[PrintedNumber, ...]:
        """Return every rounded number but the inputs, for the certificate to compare."""
        return printed_in(self)


def recovery_sheet(
    job: Job,
    survey: Survey,
    plan: Plan,
    certificate: Certificate,
    found: Found,
    recovery: Recovery,
    name: str,
    stands: Standing,
) -> RecoverySheet:
    """Return the sheet of a certified recovery.

    Parameters
    ----------
    job, survey, plan, certificate
        The plan that is worked by.
    found : Found
        Where everything stands before.
    name : str
        Id of the recovery.
    stands : Standing
        Where the recovery stands in the record.
    """
    procedure = recovery.procedure
    stage = next(s for s in certificate.stages if s.number == procedure.stage)
    facts = recovery_facts(certificate, found, recovery)
    strokes = {s.jack: (s.stroke_out, s.stroke_free) for s in facts.strokes}
    code = check_code(name)
    header = header_of(job, survey, plan, certificate, stands)
    return RecoverySheet(
        header=replace(header, plan_id=name, check_code=code, spoken=spoken(code)),
        goal=GOAL_WORDS[recovery.goal],
        then=_THEN[recovery.goal],
        plan_code=header.check_code,
        line=line_words(recovery.stopped),
        said=tuple(_said(job, found)),
        found=tuple(_found(job, found.stopped, seat) for seat in facts.found),
        outside=tuple(dict.fromkeys((*found.outside, *recovery.outside))),
        pages=crew_sheet(job, facts.procedures[0], strokes, {}),
        segment=procedure.segment,
        window=stage.window,
        cautions=cautions(job),
    )


def recovery_pdf(sheet: RecoverySheet) -> bytes:
    """Return the sheet of a recovery as PDF."""
    content = {k: v for k, v in printable(sheet).items() if k != "header"}
    return compile_pdf(
        "recovery.typ",
        sheet.header,
        STRIP,
        id_word="Recovery",
        band_passed=list(BAND_PASSED),
        **content,
    )


def recovery_book(sheet: RecoverySheet, form: Table) -> bytes:
    """Return a recovery as a workbook: what it is, where everything stands, its lines, its form.

    Parameters
    ----------
    sheet : RecoverySheet
    form : Table
        For what is read, with empty columns to be filled in.
    """
    from fitup.sheets.table_files import book_bytes

    head = sheet.header
    about = [
        ("job", head.job),
        ("status", head.status),
        ("check code", head.check_code),
        ("recovery of plan", sheet.plan_code),
        ("goal", sheet.goal),
        ("stopped after line", sheet.line),
        *(("the crew said", words) for words in sheet.said),
        *(("OUTSIDE until it is done", words) for words in sheet.outside),
        ("then", sheet.then),
        *((f"caution {i + 1}", caution) for i, caution in enumerate(sheet.cautions)),
    ]
    found = tuple(
        (f.seat, f.place, f.on, f.load.full, "+".join(f.pack), "+".join(f.temporary), f.jack)
        for f in sheet.found
    )
    lines = tuple(
        (line.number, line.who, line.asks, _reads(line), _stops(line), line.note)
        for part in sheet.pages.parts
        for line in part.lines
    )
    columns = ("seat", "place", "stands_on", "load", "pack", "temporary", "jack")
    tables = (
        Table("found", columns, found),
        Table("lines", ("line", "who", "does", "reads", "stop", "note"), lines),
        form,
    )
    return book_bytes(about, tables)


def _reads(line: CrewLine) -> str:
    """Say what a line brings jacks to, and which plates it moves."""
    said = [_read_words(read) for cell in line.cells for read in cell.reads if read.aim]
    for pack in line.packs:
        steps = ", ".join(f"{word} {marks}" for word, marks in pack.steps)
        said.append(f"{pack.seat}: {steps or 'no plate moves'}")
    return "; ".join([*said, line.same] if line.same else said)


def _stops(line: CrewLine) -> str:
    """Say the stop bands of a line, reading by reading."""
    reads = [read for cell in line.cells for read in cell.reads if read.stop]
    own = [f"{read.key[-1]}: {read.stop}" for read in reads]
    return "; ".join([*own, line.same_stop] if line.same_stop else own)


def line_words(stopped: Stopped) -> str:
    """Say the line that was done last, and of which recovery it is one."""
    of = f" of recovery {check_code(stopped.within)}" if stopped.within else ""
    return f"{stopped.line}{of}"


def _found(job: Job, stopped: Stopped, state: SeatState) -> FoundLine:
    own = {j.id for j in job.jacks_at(state.seat)}
    words = "works"
    if own & set(stopped.broken):
        words = "REPLACED" if own & set(stopped.replaced) else "BROKEN: leave it alone"
    return FoundLine(
        seat=state.seat,
        place=place_words(job, job.seats[state.seat]),
        on=SUPPORTS[state.on],
        load=rounded(state.load, DISPLAY[job.units].force),
        pack=state.pack,
        temporary=(*state.beside, *state.on_pack),
        jack=words,
    )


def _said(job: Job, found: Found) -> Iterator[str]:
    """Yield what the crew said beside the line, in words."""
    stopped = found.stopped
    yield from (f"jack {name} is broken" for name in stopped.broken)
    yield from (f"another of its kind stands beside jack {name}" for name in stopped.replaced)
    yield from (f"plate {mark} is lost" for mark in stopped.lost)
    for name, reading in stopped.rams:
        said = ram_reading(job.seats[job.jacks[name].seat].pushes, reading, DISPLAY[job.units])
        far = f"{said.number.size} {said.number.unit} " if said.number.value else "at "
        yield f"ram {name} stands {far}{said.side}"
    yield from (f"seat {seat} stands on {SUPPORTS[on]}" for seat, on in stopped.on)
    if stopped.at_rest:
        yield "nuts are home, loads let down, oil off at every jack"


def event_words(line: CrewLine) -> str:
    """Return a line of a procedure as one line of text."""
    said = [f"{line.number:>4}  {line.who.upper():<8} {line.asks}"]
    said += [_read_words(read) for cell in line.cells for read in cell.reads if read.aim]
    for pack in line.packs:
        steps = ", ".join(f"{word} {marks}" for word, marks in pack.steps)
        said.append(f"{pack.seat}: {steps or 'no plate moves'}")
    if line.same:
        said.append(f"{line.same}; {line.same_stop}")
    if line.note:
        said.append(f"({line.note})")
    return "  ".join(said)


def _read_words(read: CrewReading) -> str:
    return f"{read.key[-1]} {read.said}"


def help_words(job: Job, tried: Tried) -> Iterator[str]:
    """Yield which help makes a way where there is none, by name, rounded to the safe side.

    Parameters
    ----------
    job, tried
    """
    for jack in tried.jacks:
        place = place_words(job, job.seats[jack.seat])
        yield (
            f"HELP: {jack_words(job, (jack,))}, beside {jack.jack} at seat {jack.seat}, {place}; "
            "with it there is a certified way"
        )
    for plate in tried.plates:
        yield f"HELP: {plate.count} plate {plate.mark} more; with it there is a certified way"


def enough(jacks: Sequence[JackHelp]) -> tuple[float, float]:
    """Return capacity [N] and stroke [m] of a jack for any of some places, rounded upwards."""
    up = [rounded_up(jack) for jack in jacks]
    return max(j.capacity for j in up), max(j.stroke for j in up)


def jack_words(job: Job, jacks: Sequence[JackHelp]) -> str:
    """Say which jack is enough for any of some places.

    Parameters
    ----------
    job : Job
    jacks : sequence of JackHelp
        At least one; the greatest capacity and the greatest stroke of them count.
    """
    units, (capacity, stroke) = DISPLAY[job.units], enough(jacks)
    return f"a jack of {units.force.text(capacity)} and {units.move.text(stroke)} stroke or more"
