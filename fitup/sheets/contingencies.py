"""The page of what can fail in a stage, and the certified answer to each, for the engineer."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Final

from fitup.model import Job
from fitup.record.approval import Standing
from fitup.record.check_code import check_code, spoken
from fitup.recovery.contingencies import Certified, Contingency, GoalAnswer
from fitup.sheets.build import header_of
from fitup.sheets.cautions import STRIP
from fitup.sheets.model import Cell, Header, Table
from fitup.sheets.pdf import compile_pdf, printable
from fitup.sheets.recovery import enough, jack_words
from fitup.units import DISPLAY

_WHAT: Final = {
    "jack": "Jack fails, its oil is lost",
    "pump": "Pump or hose fails, oil lost at all its jacks",
    "plate": "One plate less than there should be",
    "no lift-off": "The deck does not lift off",
    "reading": "A reading is outside its band",
}
_SAFE, _BACK, _END = range(3)


@dataclass(frozen=True, slots=True)
class ContingencyRow:
    """One failure, after which lines, and what can then be done, in words."""

    what: str
    which: str
    lines: str
    safe: str
    back: str
    end: str


@dataclass(frozen=True, slots=True)
class ContingencyPage:
    """What can fail in one crew's stage."""

    stage: int
    crew: int
    segment: str
    first: int
    last: int
    rows: tuple[ContingencyRow, ...]
    open: int
    """Failures for which nothing can be done but to make safe, or not even that."""


@dataclass(frozen=True, slots=True)
class ContingencySheet:
    """All pages of a plan."""

    header: Header
    plan_code: str
    pages: tuple[ContingencyPage, ...]


def contingency_sheet(
    certified: Certified, found: Sequence[Contingency], name: str, stands: Standing
) -> ContingencySheet:
    """Return the pages of a plan's contingencies, one for each crew and stage.

    Parameters
    ----------
    certified : Certified
    found : sequence of Contingency
        Of all stages and crews, in any order.
    name : str
        Id of the contingencies.
    stands : Standing
        Where they stand, for the header.
    """
    job = certified.job
    header = header_of(job, certified.survey, certified.plan, certified.certificate, stands)
    pages = []
    for procedure in certified.certificate.procedures:
        own = [c for c in found if (c.stage, c.crew) == (procedure.stage, procedure.crew)]
        work = [e.line for e in procedure.events if e.phase not in ("read", "hold")]
        pages.append(
            ContingencyPage(
                stage=procedure.stage,
                crew=procedure.crew,
                segment=procedure.segment,
                first=work[0],
                last=work[-1],
                rows=tuple(_rows(job, own)),
                open=sum(c.of("safe").status != "way" for c in own),
            )
        )
    code = check_code(name)
    head = replace(header, plan_id=name, check_code=code, spoken=spoken(code))
    return ContingencySheet(head, header.check_code, tuple(pages))


def contingency_pdf(sheet: ContingencySheet) -> bytes:
    """Return the pages as PDF."""
    return compile_pdf(
        "contingencies.typ",
        sheet.header,
        STRIP,
        id_word="Contingencies",
        plan_code=sheet.plan_code,
        pages=printable(sheet.pages),
    )


def contingency_table(job: Job, found: Sequence[Contingency]) -> Table:
    """Return every failure as a row, with what help must carry and travel.

    Parameters
    ----------
    job : Job
    found : sequence of Contingency
        Rows keep their order.

    Returns
    -------
    Table
        Capacity and stroke in the units that their columns name.
    """
    units = DISPLAY[job.units]
    columns = (
        "stage",
        "crew",
        "fails",
        "which",
        "first_line",
        "last_line",
        *(f"{goal}{end}" for goal in ("safe", "back", "end") for end in ("", "_why_not")),
        "jack_at",
        f"capacity_{units.force.suffix}",
        f"stroke_{units.move.suffix}",
        "plates",
    )
    return Table("contingencies", columns, tuple(_cells(job, c) for c in found))


def _cells(job: Job, found: Contingency) -> tuple[Cell, ...]:
    units = DISPLAY[job.units]
    jacks = [h for o in found.outcomes for h in o.jacks]
    plates = [f"{p.count} x {p.mark}" for o in found.outcomes for p in o.plates]
    return (
        found.stage,
        found.crew,
        found.failure.kind,
        found.failure.what,
        found.first,
        found.last,
        *(cell for o in found.outcomes for cell in (o.status, o.why_not)),
        ", ".join(dict.fromkeys(h.seat for h in jacks)),
        units.force.number(enough(jacks)[0]) if jacks else "",
        units.move.number(enough(jacks)[1]) if jacks else "",
        ", ".join(dict.fromkeys(plates)),
    )


def _rows(job: Job, found: Sequence[Contingency]) -> Iterator[ContingencyRow]:
    """Yield a row for each kind of failure and answer; jacks with like answers share one."""
    order = list(_WHAT)

    def alike(one: Contingency) -> tuple[object, ...]:
        lines = () if one.failure.kind == "plate" else (one.first, one.last)
        answers = tuple((o.status, _reason(job, one, o)) for o in one.outcomes)
        return (order.index(one.failure.kind), *lines, answers)

    for _, group in groupby(sorted(found, key=alike), key=alike):
        own = list(group)
        first, last = min(c.first for c in own), max(c.last for c in own)
        yield ContingencyRow(
            what=_WHAT[own[0].failure.kind],
            which=", ".join(c.failure.what for c in own if c.failure.what),
            lines=f"{first}" if first == last else f"{first} to {last}",
            safe=_words(job, own, _SAFE),
            back=_words(job, own, _BACK),
            end=_words(job, own, _END),
        )


def _reason(job: Job, found: Contingency, outcome: GoalAnswer) -> str:
    """Return why there is no way, without the names that differ from jack to jack."""
    words = outcome.why_not if outcome.status == "none" else ""
    if found.failure.kind == "jack":
        seat = job.jacks[found.failure.what].seat
        words = words.replace(f"seat {seat}", "the seat")
    return words


def _words(job: Job, own: Sequence[Contingency], k: int) -> str:
    """Say what can be done towards one goal."""
    outcomes = [c.outcomes[k] for c in own]
    if outcomes[0].status == "way":
        most = max(o.lines for o in outcomes)
        said = "YES" if most else "YES, it is so already"
        said += f", {most} lines at most" if most > 1 else ", 1 line" if most else ""
        return said + ("; LIMITS PASSED until then" if any(o.outside for o in outcomes) else "")
    if outcomes[0].status == "none":
        return f"no: {_reason(job, own[0], outcomes[0])}"
    jacks = [h for o in outcomes for h in o.jacks]
    plates = [f"{p.count} plate {p.mark}" for o in outcomes for p in o.plates]
    if jacks:
        return f"WITH {jack_words(job, jacks)}"
    return f"WITH {', '.join(dict.fromkeys(plates))} more"
