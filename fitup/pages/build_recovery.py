"""From the sheet of a recovery to its field page: the same lines, one at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from fitup.model import Job
from fitup.model.recovery import Recovery
from fitup.pages.field_events import event_steps
from fitup.pages.field_facts import (
    FieldBand,
    FieldEntry,
    FieldFacts,
    FieldStage,
    FieldStep,
    FormRow,
    field_units,
)
from fitup.record.asdone import SUPPORTS, Asked
from fitup.sheets.cautions import BAND_PASSED, STRIP
from fitup.sheets.recovery import RecoverySheet
from fitup.sheets.recovery_done import AskedRow, asked_rows


def recovery_field(job: Job, recovery: Recovery, sheet: RecoverySheet) -> FieldFacts:
    """Return what the field page of a recovery shows.

    Parameters
    ----------
    job : Job
        As it was planned.
    recovery : Recovery
        As it was certified.
    sheet : RecoverySheet
        Its sheet, confirmed by the certificate.
    """
    head, stopped = sheet.header, recovery.stopped
    rows = asked_rows(job, recovery)
    steps = [_before(sheet), *_worked(job, recovery, rows)]
    stage = FieldStage(
        number=stopped.stage,
        title=f"Stage {stopped.stage}: {sheet.goal}",
        steps=(*steps, _left(rows, {e.name for s in steps for e in s.entries})),
        form=tuple(_form_row(row) for row in rows),
    )
    return FieldFacts(
        job=head.job,
        check_code=head.check_code,
        spoken=head.spoken,
        status=head.status,
        approved=head.approved,
        crew=stopped.crew,
        crews=1,
        units=field_units(job),
        stages=(stage,),
        stop=BAND_PASSED,
        hold=f"{sheet.then} Nobody goes on before the engineer says how.",
        caution=STRIP,
        of="Recovery",
        heading=f"Field page of a recovery, crew {stopped.crew}, plan {sheet.plan_code}",
    )


def _before(sheet: RecoverySheet) -> FieldStep:
    """Return what must be true before anything is done: that it stands as the sheet says."""
    ticks = [
        f"{f.seat}, {f.place}, stands on {f.on}; its jack {_jack(f.jack)}" for f in sheet.found
    ]
    said = [f"Stopped after line {sheet.line}", *sheet.said]
    said += [f"OUTSIDE where it stands: {words}" for words in sheet.outside]
    return FieldStep("Before anything is done: is it so?", tuple(said), tuple(ticks))


def _jack(words: str) -> str:
    return f"is {words}" if words != "works" else words


def _worked(job: Job, recovery: Recovery, rows: tuple[AskedRow, ...]) -> Iterator[FieldStep]:
    """Yield one step an event; what the form asks for keeps the band and sides of the form."""
    asked = {row.asked.name: row.asked for row in rows}
    own = {row.entry: row.asked for row in rows if row.entry}
    for step in event_steps(job, recovery.procedure, asked):
        entries = (_as_asked(e, own[e.name]) if e.name in own else e for e in step.entries)
        yield replace(step, entries=tuple(entries))


def _as_asked(entry: FieldEntry, asked: Asked) -> FieldEntry:
    kept = tuple(band for band in entry.bands if band.meaning == "HOLD")
    stop = FieldBand("STOP", asked.least, asked.most)
    return replace(entry, sides=asked.sides, bands=(stop, *kept))


def _left(rows: tuple[AskedRow, ...], read: set[str]) -> FieldStep:
    """Return the last step: how everything is left, as far as no line asked for it."""
    entries = [
        _entry(row) for row in rows if row.asked.what != "load" and not {row.name, row.entry} & read
    ]
    return FieldStep("How everything is left", (), (), tuple(entries))


def _entry(row: AskedRow) -> FieldEntry:
    if row.asked.what == "support":
        sides = tuple(SUPPORTS.values())
        label = f"What {row.asked.name.split()[1]} stands on, {row.place}"
        return FieldEntry(row.name, "support", label, row.should, "move", sides)
    word, seat = row.name.split()
    label = f"{'Pack' if word == 'pack' else 'Temporary plates'} at {seat}, bottom to top"
    return FieldEntry(row.name, "pack", label, row.should, "move", pack=row.asked.pack)


def _form_row(row: AskedRow) -> FormRow:
    asked = row.asked
    return FormRow(
        name=row.name,
        what=asked.what,
        place=row.place,
        should_read=row.should,
        stop_beyond=row.ends[0],
        or_beyond=row.ends[1],
        unit="force" if asked.dimension == "force" else "move",
        pack=asked.pack,
        most=asked.most if asked.what == "load" else None,
        entry=row.entry,
    )
