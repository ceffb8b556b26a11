"""``fitup done --recovery``: readings of a recovery, held against its own bands at once."""

from __future__ import annotations

import tempfile
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitup.cli.done import code_at, readings_table
from fitup.cli.recording import now, own_key, tell
from fitup.errors import EXIT_OUTSIDE, InputError, Problem
from fitup.jobfolder import read_job
from fitup.record.asdone import Asked, Read, judge
from fitup.record.check_code import read_code
from fitup.record.contents import files_now, write_files
from fitup.record.events import PLAN_MADE
from fitup.record.lookup import is_genuine, plan_files
from fitup.record.readback import code_of, form_readings, lost_heads, read_form, read_words
from fitup.record.recoveries import recovery_in, recovery_of, report_recovery
from fitup.record.stage_work import GO_ON, HOLD, StageWork
from fitup.record.store import NotAllowed, Record
from fitup.sheets.recovery_done import recovery_asked

if TYPE_CHECKING:
    from fitup.model import Job
    from fitup.model.recovery import Recovery
    from fitup.record.events import Event
    from fitup.record.history import History
    from fitup.record.readback import FilledForm


def report(
    folder: Path,
    typed: str,
    form_file: Path | None,
    given: tuple[str, ...],
    key_file: Path,
    as_json: bool,
) -> int:
    """Write down a recovery as carried out, and say GO ON, HOLD or STOP.

    Parameters
    ----------
    folder : Path
        The job folder.
    typed : str
        Check code of the recovery.
    form_file : Path, optional
        Its form, filled in.
    given : tuple of str
        Readings in words.
    key_file, as_json
    """
    key, code = own_key(key_file), read_code(typed, "--recovery")
    form = None if form_file is None else read_form(form_file)
    with Record(folder) as record:
        events = record.now()
        made = recovery_of(events, code)
        name, recovery = recovery_in(record, made)
        plan = _plan_of(record, events, name, code)
        job = _planned(record, events, plan)
        asked = _asked(job, recovery, code)
        stage = recovery.stopped.stage
        judged = judge(asked, _read(form, given, code, asked, stage), job, stage)
        doubts = () if form is None else lost_heads(form, partial(code_at, record))
        kept = {} if form is None else {f"read/{form.file}": form.content}
        present = files_now(folder, plan.inputs)
        of = (*recovery.procedure.jacks, *recovery.procedure.seats)
        event = report_recovery(record, key, now(), made, present, judged, of, kept, doubts)
        work = record.now().work
    # halves are reported too: what counts is all that was reported of it
    stands = work.recoveries[str(made.says["recovery"])].report
    if not as_json:
        click.echo(readings_table(event))
        click.echo(f"\nRecovery {code}: {stands.verdict.upper()}")
        for line in stands.reasons:
            click.echo(f"  {line}")
        click.echo(_what_now(stands))
        click.echo(work.words)
    tell(folder, event, as_json, verdict=stands.verdict, reasons=list(stands.reasons))
    return 0 if stands.verdict == GO_ON else EXIT_OUTSIDE


def _what_now(stands: StageWork) -> str:
    """Say what the crew does now; of a recovery that was read whole only GO ON goes on."""
    if stands.verdict == GO_ON:
        return "Carried out as its sheet says. Nobody goes on before the engineer says how."
    if stands.verdict == HOLD and stands.missing:
        return "HOLD: nothing is moved. Read what is missing, then report that."
    return (
        "STOP: pumps off, nuts down, packs up to the load, nobody under the deck. "
        "Call the engineer."
    )


def _asked(job: Job, recovery: Recovery, code: str) -> tuple[Asked, ...]:
    """Return what is read; a recovery that nobody has approved may say anything at all."""
    try:
        return recovery_asked(job, recovery)
    except (ValueError, TypeError, LookupError, AttributeError, ArithmeticError, AssertionError):
        raise NotAllowed(f"recovery {code} holds nothing that can be read; make it again") from None


def _plan_of(record: Record, events: History, plan: str, code: str) -> Event:
    plans = events.of(PLAN_MADE, plan)
    entry = next((e for e in reversed(plans) if is_genuine(record, e)), None)
    if entry is None:
        raise NotAllowed(f"recovery {code} is of a plan that is not in the record")
    return entry


def _planned(record: Record, events: History, plan: Event) -> Job:
    """Return the job as it was planned."""
    with tempfile.TemporaryDirectory() as folder:
        write_files(plan_files(record, events, plan), Path(folder))
        return read_job(folder)


def _read(
    form: FilledForm | None, given: tuple[str, ...], code: str, asked: tuple[Asked, ...], stage: int
) -> dict[str, Read]:
    """Return what was read, in the form and in words."""
    read: dict[str, Read] = {}
    if form is not None:
        carried = code_of(form, stage)
        if carried != code:
            found = f"{code}, but the form is of {carried}"
            do = "which sheet was worked by?"
            raise InputError([Problem("--recovery", found, "one recovery", do)])
        read = form_readings(form, stage, asked)
    typed = read_words(given, asked)
    twice = sorted(read.keys() & typed.keys())
    if twice:
        found = f"{', '.join(twice)} in the file too"
        raise InputError([Problem("--read", found, "each reading once", "say which one holds")])
    return {**read, **typed}
