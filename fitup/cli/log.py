"""``fitup log``: the record, checked and printed."""

from __future__ import annotations

import tempfile
from pathlib import Path
from textwrap import shorten
from typing import TYPE_CHECKING, Final

import click

from fitup.cli.recording import entry_json, witness_option
from fitup.cli.text import job_argument, json_option, say_json, text_table
from fitup.errors import EXIT_BROKEN

if TYPE_CHECKING:
    from fitup.record.approval import Standing
    from fitup.record.people import People
    from fitup.record.store import Record
    from fitup.record.work_state import WorkState

UNKNOWN: Final = "not known, the record is broken"


@click.command("log")
@job_argument
@click.option("--csv", "as_csv", is_flag=True, help="Print one row an entry as CSV.")
@click.option("--holds", "code", help="A record code noted earlier: is its entry still there?")
@click.option(
    "--readings", "plan", help="Print what was read of a plan's stages, for the next round."
)
@witness_option
@json_option
def command(job: Path, as_csv: bool, code: str | None, plan: str | None, as_json: bool) -> int:
    """Check the whole record and print it, one line an entry.

    Every entry, signature, content and byte of the file is checked; what is broken is named, and
    the exit code is then 5.

    \b
    Examples:
      fitup log closure-k1
      fitup log closure-k1 --readings FYEP-NART-LLWCX > night-14.csv
    """
    from fitup.record.check_code import check_code, read_code
    from fitup.record.history import history_of
    from fitup.record.log import head_code, log_csv, log_rows
    from fitup.record.lookup import not_believed
    from fitup.record.store import Record

    if plan is not None:
        click.echo(_readings(job, read_code(plan, "--readings")), nl=False)
        return 0
    wanted = None if code is None else read_code(code, "--holds")
    with Record(job) as record:
        checked = record.check()
        doubted = not_believed(record, checked.events)
        # what a broken record says of the work, or of people, is not repeated
        history = history_of(() if checked.broken else checked.events)
        people = record.people(history)
        plans = _plans(job, record, history.work, people)
        state = UNKNOWN if checked.broken else history.work.words
    broken = list(checked.broken)
    if wanted and wanted not in {check_code(e.hash) for e in checked.events}:
        broken.append(f"no entry has the record code {wanted}: entries are missing or were changed")
    rows = log_rows(checked.events, people)
    if as_json:
        entries = [entry_json(e) for e in checked.events]
        head = head_code(checked.events)
        say_json(
            {
                "entries": entries,
                "broken": broken,
                "not_believed": doubted,
                "notes": checked.notes,
                "record_code": head,
                "state": state,
                "plans": [
                    {"code": code, "status": s.status, "entry": s.entry, "why": list(s.why)}
                    for code, s in plans
                ],
            }
        )
    elif as_csv:
        click.echo(log_csv(rows), nl=False)
    else:
        columns = ("entry", "when_utc", "what", "who", "plan", "stage", "says")
        shown = [[shorten(str(row[c]), 72, placeholder=" ...") for c in columns] for row in rows]
        click.echo(text_table(["entry", "when (UTC)", *columns[2:]], shown, right=[0]))
        click.echo(f"\nWhere the work stands: {state}")
        for own, stands in plans:
            click.echo(f"plan {own}, approved in entry {stands.entry}: {stands.status}")
            for line in stands.why:
                click.echo(f"  {line}")
        click.echo(f"\nRecord code {head_code(checked.events)}: note it, it proves what is above.")
    for line in checked.notes:
        click.echo(f"note: {line}", err=True)
    for line in broken:
        click.echo(f"BROKEN: {line}", err=True)
    for line in doubted:
        click.echo(f"NOT BELIEVED: {line}", err=True)
    if not (broken or doubted or as_json or as_csv):
        click.echo("The record is whole: every entry, signature and content.")
    return EXIT_BROKEN if broken or doubted else 0


def _plans(
    folder: Path, record: Record, work: WorkState, people: People
) -> list[tuple[str, Standing]]:
    """Return where every plan that was approved stands now, against the files in the folder."""
    from fitup.record.approval import standing
    from fitup.record.contents import files_now

    return [
        (p.code, standing(record, work, people, p.id, files_now(folder, p.decision.inputs)))
        for p in work.plans.values()
        if p.decision is not None and p.approved
    ]


def _readings(folder: Path, code: str) -> str:
    """Return the table that ``fitup next --done`` reads."""
    from fitup.jobfolder import read_job
    from fitup.record.contents import write_files
    from fitup.record.crew_table import crew_table
    from fitup.record.lookup import plan_files, plan_of
    from fitup.record.store import Record

    with Record(folder) as record, tempfile.TemporaryDirectory() as laid_out:
        events = record.whole()
        plan = plan_of(record, events, code)
        files = plan_files(record, events, plan)
        write_files(files, Path(laid_out))
        return crew_table(events, record.people(events), plan.about, read_job(laid_out))
