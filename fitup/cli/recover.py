"""``fitup recover``: ways out of a stage that stopped, certified, or which help is needed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast, get_args

import click

from fitup.cli.recording import caller, now
from fitup.cli.text import job_argument, json_option, say_json, text_table
from fitup.cli.writing import write_files
from fitup.errors import EXIT_OUTSIDE, InputError, Problem
from fitup.model.procedure import Support
from fitup.model.recovery import GOALS, Answer, Goal, Recovery, Stopped, Tried
from fitup.units import DISPLAY

if TYPE_CHECKING:
    from fitup.cli.recovering import WorkedBy
    from fitup.model import Job
    from fitup.sheets.recovery import RecoverySheet


@click.command("recover")
@job_argument
@click.option("--plan", "code", help="Check code of the plan, in a job with a record.")
@click.option(
    "--line",
    type=int,
    help="Number of the last line that was done, of a stage, of its way back or of a recovery.",
)
@click.option("--broken", multiple=True, metavar="JACK", help="A jack that fails: no oil holds.")
@click.option(
    "--replaced", multiple=True, metavar="JACK", help="A broken jack with its like beside it now."
)
@click.option("--lost", multiple=True, metavar="MARK", help="A plate of the store that is gone.")
@click.option(
    "--ram", multiple=True, metavar="JACK=MM", help="A ram that stands elsewhere, from START."
)
@click.option(
    "--on",
    multiple=True,
    metavar="SEAT=SUPPORT",
    help="What a seat stands on, where it does not follow: oil, nut, temporary, pack, friction.",
)
@click.option("--at-rest", is_flag=True, help="Nuts are home, loads let down, oil off everywhere.")
@click.option("--goal", type=click.Choice(["safe", "back", "end"]), help="Only this one.")
@click.option(
    "--to",
    "target",
    type=click.Path(path_type=Path, readable=False),
    help="Folder for the sheet of the goal; a job with a record notes it.",
)
@click.option(
    "--recovery",
    help="Check code of a recovery in the record: to print it once more, or with --line, that of "
    "its lines that was done last.",
)
@json_option
def command(
    job: Path,
    code: str | None,
    line: int | None,
    broken: tuple[str, ...],
    replaced: tuple[str, ...],
    lost: tuple[str, ...],
    ram: tuple[str, ...],
    on: tuple[str, ...],
    at_rest: bool,
    goal: Goal | None,
    target: Path | None,
    recovery: str | None,
    as_json: bool,
) -> int:
    """Say what can be done from where a crew stopped: make safe, go back, go on, or which help.

    Every way is followed event by event on the state of the steel like a plan's own lines, and
    uses only jacks that work. The exit code is 3 where a goal has no way without help.

    \b
    Examples:
      fitup recover closure-k1 --line 15 --broken J-W7-S2
      fitup recover closure-k1 --line 15 --broken J-W7-S2 --replaced J-W7-S2 --at-rest
      fitup recover closure-k1 --line 22 --lost P20 --goal back --to night-15
      fitup recover closure-k1 --recovery FYEP-NART-LLWCX --line 71 --goal safe
    """
    from fitup.cli.recovering import answered, within, worked_by

    if line is None and recovery is None:
        found, allowed = "neither --line nor --recovery", "--line N, or --recovery CODE"
        raise InputError([Problem("command line", found, allowed, "say where work stopped")])
    if target is not None and line is not None and goal is None:
        allowed, do = "--goal safe, back or end", "say which one is printed"
        raise InputError([Problem("--to", "no goal", allowed, do)])
    with ExitStack() as stack:
        if line is None:
            return _print_again(job, recovery or "", target, stack)
        by = worked_by(job, code, stack)
        stated = Stopped(
            line=line,
            broken=broken,
            replaced=replaced,
            lost=lost,
            rams=tuple(_ram(by.opened.job, given) for given in ram),
            on=tuple(_on(given) for given in on),
            at_rest=at_rest,
            within="" if recovery is None else within(by, recovery),
        )
        answer = answered(by, stated, GOALS if goal is None else (goal,))
        written = () if target is None else _written(by, answer, target)
    if as_json:
        say_json({**answer_json(answer), "written": list(written)})
    else:
        show(by.opened.job, answer)
        for name in written:
            click.echo(f"Wrote {name}")
    return 0 if all(t.recovery is not None for t in answer.tried) else EXIT_OUTSIDE


def _written(by: WorkedBy, answer: Answer, folder: Path) -> tuple[str, ...]:
    """Write the sheet of the one goal that was asked for, and that it was made; none without."""
    from fitup.cli.recovering import sheet_of
    from fitup.record.recoveries import note_recovery, recovery_id

    (tried,) = answer.tried
    recovery = tried.recovery
    if recovery is None or not recovery.orders:
        return ()
    name = recovery_id(by.opened.plan.id, recovery)
    sheet = sheet_of(by, answer, recovery, name, None)
    files = _papers(by, sheet, recovery)
    if by.record is not None:
        with by.record.writing() as pen:
            note_recovery(pen, now(), caller(), by.opened.plan.id, recovery, files)
            return tuple(write_files(folder, files))
    return tuple(write_files(folder, files))


def _papers(by: WorkedBy, sheet: RecoverySheet, recovery: Recovery) -> dict[str, bytes]:
    """Return the sheet of a recovery, its form, workbook and field page, by file name."""
    from fitup.pages import field_page, recovery_field
    from fitup.sheets.recovery import recovery_book, recovery_pdf
    from fitup.sheets.recovery_done import recovery_form
    from fitup.sheets.table_files import csv_bytes

    code = sheet.header.check_code
    form = recovery_form(by.opened.job, recovery, code, sheet.header.record)
    return {
        f"recovery-{code}.pdf": recovery_pdf(sheet),
        f"recovery-{code}-as-done.csv": csv_bytes(form),
        f"recovery-{code}.xlsx": recovery_book(sheet, form),
        f"recovery-{code}-field.html": field_page(recovery_field(by.opened.job, recovery, sheet)),
    }


def _print_again(folder: Path, code: str, target: Path | None, stack: ExitStack) -> int:
    """Print a recovery of the record once more, with where it stands now."""
    from fitup.cli.recovering import made_again, sheet_of
    from fitup.record.check_code import read_code
    from fitup.record.recoveries import recovery_of
    from fitup.record.store import Record

    record = stack.enter_context(Record(folder))
    made = recovery_of(record.whole(), read_code(code, "--recovery"))
    by, answer, recovery = made_again(folder, record, made, stack)
    sheet = sheet_of(by, answer, recovery, str(made.says["recovery"]), made)
    show(by.opened.job, answer, sheet.header.status)
    if target is not None:
        files = _papers(by, sheet, recovery)
        for name in write_files(target, files):
            click.echo(f"Wrote {name}")
    return 0


def _ram(job: Job, given: str) -> tuple[str, float]:
    """Read ``J-A1=7.5``, in the unit of the sheets."""
    shown = DISPLAY[job.units].move
    name, _, value = given.rpartition("=")
    try:
        return name.strip(), shown.back(float(value.replace(shown.word, "")))
    except ValueError:
        do = "read the ram from its mark START"
        allowed = f"JACK=READING in {shown.word}, e.g. J-A1=7.5"
        raise InputError(
            [Problem("command line", repr(given), allowed, do, None, "--ram")]
        ) from None


def _on(given: str) -> tuple[str, Support]:
    seat, _, word = given.rpartition("=")
    supports = get_args(Support)
    if word.strip() not in supports:
        allowed = f"SEAT=SUPPORT, a support being one of {', '.join(supports)}"
        do = "say what the seat stands on"
        raise InputError([Problem("command line", repr(given), allowed, do, None, "--on")])
    return seat.strip(), cast(Support, word.strip())


def show(job: Job, answer: Answer, status: str = "NOT APPROVED") -> None:
    """Print where everything stands and what can be done, goal by goal."""
    from fitup.record.approval import WORDS
    from fitup.sheets.recovery import GOAL_WORDS, line_words

    units, stopped = DISPLAY[job.units], answer.found.stopped
    where = f"Stage {stopped.stage}, crew {stopped.crew}, stopped after line {line_words(stopped)}"
    click.echo(where)
    rows = [
        [s.state.seat, s.state.on, units.force.text(s.state.load), "BROKEN" if s.dead else ""]
        for s in answer.found.seats
    ]
    click.echo(text_table(["seat", "stands on", "load", ""], rows, right=[2]))
    for line in answer.found.outside:
        click.echo(f"  OUTSIDE where it stands: {line}")
    for tried in answer.tried:
        click.echo(f"\n{GOAL_WORDS[tried.goal]}")
        for line in _lines_of(job, tried):
            click.echo(f"  {line}")
    only = (
        ""
        if status == WORDS["approved"]
        else " Nobody works by it unless the engineer has approved it."
    )
    click.echo(f"\n{status}.{only}")


def _lines_of(job: Job, tried: Tried) -> Iterator[str]:
    from fitup.sheets.crew import parts_of
    from fitup.sheets.recovery import event_words, help_words

    if tried.recovery is None:
        yield "no way by what there is:"
        yield from (f"  {line}" for line in tried.why_not)
        yield from help_words(job, tried)
        return
    procedure = tried.recovery.procedure
    if not procedure.events:
        yield "nothing to do: it is so already"
    for part in parts_of(job, procedure, procedure.events):
        yield from (event_words(line) for line in part.lines)
    yield from (f"OUTSIDE until it is done: {words}" for words in tried.recovery.outside)


def answer_json(answer: Answer) -> dict[str, Any]:
    """Return an answer with documented keys (docs/json.md)."""
    from fitup.record.check_code import check_code

    stopped = answer.found.stopped
    return {
        "stage": stopped.stage,
        "crew": stopped.crew,
        "line": stopped.line,
        "within": "" if not stopped.within else check_code(stopped.within),
        "outside": list(answer.found.outside),
        "seats": [
            {"seat": s.state.seat, "on": s.state.on, "load_N": s.state.load, "broken": s.dead}
            for s in answer.found.seats
        ],
        "goals": [
            {
                "goal": t.goal,
                "certified": t.recovery is not None,
                "lines": 0 if t.recovery is None else len(t.recovery.procedure.events),
                "why_not": list(t.why_not),
                "jacks": [
                    {"jack": h.jack, "seat": h.seat, "capacity_N": h.capacity, "stroke_m": h.stroke}
                    for h in t.jacks
                ],
                "plates": [{"mark": h.mark, "count": h.count} for h in t.plates],
            }
            for t in answer.tried
        ],
    }
