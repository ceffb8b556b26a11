"""``fitup done``: readings after a stage, held against the bands at once."""

from __future__ import annotations

import json
import tempfile
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from fitup.cli.recording import key_option, now, own_key, tell
from fitup.cli.text import job_argument, json_option, text_table
from fitup.errors import EXIT_OUTSIDE, InputError, Problem

if TYPE_CHECKING:
    from fitup.model import Job
    from fitup.record import Event, Record
    from fitup.record.asdone import Asked, Judgement, Read
    from fitup.record.readback import FilledForm
    from fitup.record.stage_work import StageWork
    from fitup.record.work_state import PlanWork

WHAT_NOW: Final = {
    "go on": "Hold point: nobody goes on until the engineer has released it (fitup release).",
    "hold": "HOLD: packs and nuts up to the load. Read what is missing, then report that; what was "
    "reported counts on until the engineer releases it with a reason.",
    "stop": "STOP: pumps off, nuts down, packs up to the load, nobody under the deck. "
    "Call the engineer.",
}


@click.command("done")
@job_argument
@click.option("--stage", type=click.IntRange(min=0), help="Its number; 0 is the lift-off.")
@click.option("--recovery", help="Check code of a recovery that was carried out, in its place.")
@click.option("--plan", "code", help="Check code at the head of the sheet; a form carries it.")
@click.option(
    "--from",
    "form_file",
    type=click.Path(path_type=Path, readable=False),
    help="The form as-done, filled in (sheets.xlsx or as-done.csv), or a table of readings.",
)
@click.option(
    "--read", "given", multiple=True, help='One reading: "J1/P1/step = 0.4 mm ahead high".'
)
@key_option
@json_option
def command(
    job: Path,
    stage: int | None,
    recovery: str | None,
    code: str | None,
    form_file: Path | None,
    given: tuple[str, ...],
    key_file: Path,
    as_json: bool,
) -> int:
    """Report a stage as done, with what was read: GO ON, HOLD or STOP comes at once.

    Stage 0 is the measured lift-off. Crews may report halves of a stage; the worst of all reports
    counts until its hold point is released. What was done is written down even where it should
    not have been; then it says STOP. The exit code is 0 for GO ON, else 3. A recovery is judged in
    the same way, by its own form and the bands of its sheet.

    \b
    Examples:
      fitup done closure-k1 --stage 1 --from sheets.xlsx --key ahmed.key
      fitup done closure-k1 --stage 1 --plan FYEP-NART-LLWCX --key ahmed.key \\
        --read "J1/P1/step = 0.4 mm ahead high" --read "load J-A1 = 612 kN" \\
        --read "pack A-S1 = P20+P5"
      fitup done closure-k1 --recovery FYEP-NART-LLWCX --key ahmed.key --from recovery.csv
    """
    if (stage is None) == (recovery is None):
        found, allowed = "neither or both", "--stage N, or --recovery CODE"
        raise InputError([Problem("command line", found, allowed, "say what is done")])
    if stage is None:
        from fitup.cli.recovered import report

        if code is not None:
            found, do = "--plan beside --recovery", "leave --plan out"
            raise InputError([Problem("command line", found, "the code of the recovery alone", do)])
        return report(job, recovery or "", form_file, given, key_file, as_json)
    from fitup.record.acts import report_stage
    from fitup.record.contents import files_now
    from fitup.record.lookup import plan_of, sheets_of
    from fitup.record.readback import is_crew_table, lost_heads, read_form
    from fitup.record.stage_work import GO_ON
    from fitup.record.store import Record

    key = own_key(key_file)
    table = form_file is not None and is_crew_table(form_file)
    form = None if form_file is None or table else read_form(form_file)
    with Record(job) as record:
        events = record.now()
        plan = plan_of(record, events, _code(code, form, stage))
        sheets = sheets_of(events, plan.about)
        paper = _Paper(stage, form, form_file if table else None, given)
        work = events.work
        judged = _judged(record, plan, sheets, paper)
        doubts = _unlike(record, work.plan(plan.about), sheets)
        if form is not None:
            doubts += lost_heads(form, partial(code_at, record))
        content = {} if form_file is None else {f"read/{form_file.name}": form_file.read_bytes()}
        present = files_now(job, plan.inputs)
        event = report_stage(record, key, now(), sheets, judged, content, present, doubts)
        stands = record.now().work.plan(plan.about).stage(stage)
    if not as_json:
        show(event, stands)
    more = {"stage_verdict": stands.verdict, "stage_reasons": list(stands.reasons)}
    tell(job, event, as_json, **more)
    return 0 if stands.verdict == GO_ON else EXIT_OUTSIDE


def _code(code: str | None, form: FilledForm | None, stage: int) -> str:
    """Return the plan's code as typed or as the form carries it; both must agree."""
    from fitup.record.check_code import read_code
    from fitup.record.readback import code_of

    typed = None if code is None else read_code(code, "--plan")
    carried = None if form is None else code_of(form, stage)
    if typed and carried and typed != carried:
        found = f"{typed}, but the form is of {carried}"
        raise InputError([Problem("--plan", found, "one plan", "which sheet was worked by?")])
    chosen = typed or carried
    if chosen is None:
        found, do = "neither a code nor a form", "read the check code at the head of the sheet"
        raise InputError([Problem("--plan", found, "the plan that was worked by", do)])
    return chosen


@dataclass(frozen=True)
class _Paper:
    """What came back from the deck: a filled form or a table of readings, and words."""

    stage: int
    form: FilledForm | None
    table: Path | None
    given: tuple[str, ...]


def _judged(record: Record, plan: Event, sheets: Event, paper: _Paper) -> Judgement:
    from fitup.jobfolder import read_job
    from fitup.record.acts import LIST
    from fitup.record.asdone import asked_of, judge
    from fitup.record.connect import RecordBroken
    from fitup.record.contents import write_files
    from fitup.record.lookup import plan_files
    from fitup.record.readback import read_words

    with tempfile.TemporaryDirectory() as folder:
        files = plan_files(record, record.now(), plan)
        write_files(files, Path(folder))
        planned = read_job(folder)
    listed = record.content(sheets.outputs.get(LIST, "")) or b""
    try:
        asked = asked_of(json.loads(listed), planned, paper.stage)
    except (ValueError, KeyError, TypeError, AttributeError, StopIteration):
        found = f"entry {sheets.number} holds sheets that cannot be read"
        raise RecordBroken((found,)) from None
    if not asked:
        found = f"stage {paper.stage}, which is not on the sheets of this plan"
        raise InputError([Problem("--stage", found, "a stage of the plan", "read its number")])
    read = _of_file(paper, asked, planned)
    typed = read_words(paper.given, asked)
    twice = sorted(read.keys() & typed.keys())
    if twice:
        found = f"{', '.join(twice)} in the file too"
        raise InputError([Problem("--read", found, "each reading once", "say which one holds")])
    return judge(asked, {**read, **typed}, planned, paper.stage)


def _unlike(record: Record, plan: PlanWork, sheets: Event) -> tuple[str, ...]:
    """Say why printed bands are not to be believed: not those that the engineer signed."""
    from fitup.record.acts import LIST
    from fitup.record.printed import content_of

    signed = plan.decision.says.get("content", "") if plan.decision is not None else ""
    if not plan.approved:
        return ()  # which is said already, and worse
    if content_of(record.content(sheets.outputs.get(LIST, "")) or b"") == signed:
        return ()
    return (f"the sheets of entry {sheets.number} do not say what was approved: print again",)


def code_at(record: Record, number: int) -> str:
    """Return the record code of an entry as it now stands, empty where there is none."""
    from fitup.record.check_code import check_code

    entry = record.written(number)
    return "" if entry is None else check_code(entry.hash)


def _of_file(paper: _Paper, asked: tuple[Asked, ...], job: Job) -> dict[str, Read]:
    from fitup.jobfolder.done import read_done
    from fitup.record.readback import crew_readings, form_readings

    if paper.table is not None:
        return crew_readings(read_done(paper.table, paper.table.name, job), job, paper.stage)
    return {} if paper.form is None else form_readings(paper.form, paper.stage, asked)


def show(event: Event, stands: StageWork) -> None:
    """Print a stage as it was read, and the verdict where it cannot be overlooked."""
    click.echo(readings_table(event))
    name = "Lift-off" if stands.number == 0 else f"Stage {stands.number}"
    more = f" of {len(stands.reports)} reports" if len(stands.reports) > 1 else ""
    click.echo(f"\n{name}: {stands.verdict.upper()}{more}")
    for reason in stands.reasons:
        click.echo(f"  {reason}")
    click.echo(WHAT_NOW[stands.verdict])


def readings_table(event: Event) -> str:
    """Return what was read, one reading a line, and what follows from each."""
    rows = [[r["read"], r["words"], r["verdict"].upper()] for r in event.says["readings"]]
    return text_table(["read", "as read", ""], rows)
