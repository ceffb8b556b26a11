"""``fitup recover``: ways out of a stage that stopped, certified, or which help is needed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast, get_args

import click

from fitup.cli.text import job_argument, json_option, progress, say_json, text_table
from fitup.errors import EXIT_OUTSIDE, InputError, Problem
from fitup.model.procedure import Support
from fitup.model.recovery import GOALS, Answer, Goal, Tried
from fitup.units import DISPLAY

if TYPE_CHECKING:
    from fitup.model import Job
    from fitup.openjob import OpenJob

#: how a goal is called where it cannot be overlooked
GOAL_WORDS: Final[dict[Goal, str]] = {
    "safe": "MAKE SAFE: every load onto steel where it stands",
    "back": "BACK: to where the stage began",
    "end": "ON: to the end of the stage",
}


@click.command("recover")
@job_argument
@click.option("--plan", "code", help="Check code of the plan, in a job with a record.")
@click.option("--line", type=int, required=True, help="Number of the last line that was done.")
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
@json_option
def command(
    job: Path,
    code: str | None,
    line: int,
    broken: tuple[str, ...],
    replaced: tuple[str, ...],
    lost: tuple[str, ...],
    ram: tuple[str, ...],
    on: tuple[str, ...],
    at_rest: bool,
    goal: Goal | None,
    as_json: bool,
) -> int:
    """Say what can be done from where a crew stopped: make safe, go back, go on, or which help.

    Every way is followed event by event on the state of the steel like a plan's own lines, and
    uses only jacks that work. The exit code is 3 where a goal has no way without help.

    \b
    Examples:
      fitup recover closure-k1 --line 15 --broken J-W7-S2
      fitup recover closure-k1 --line 15 --broken J-W7-S2 --replaced J-W7-S2 --at-rest
      fitup recover closure-k1 --line 22 --lost P20 --goal back
    """
    from fitup.recovery import stopped_at

    with ExitStack() as stack:
        opened = worked_by(job, code, stack)
        stopped = stopped_at(
            opened.job,
            opened.certificate.procedures,
            line,
            broken=broken,
            replaced=replaced,
            lost=lost,
            rams=tuple(_ram(opened.job, given) for given in ram),
            on=tuple(_on(given) for given in on),
            at_rest=at_rest,
        )
        answer = opened.rescuer.answer(stopped, GOALS if goal is None else (goal,))
    if as_json:
        say_json(answer_json(answer))
    else:
        show(opened.job, answer)
    return 0 if all(t.recovery is not None for t in answer.tried) else EXIT_OUTSIDE


def worked_by(folder: Path, code: str | None, stack: ExitStack) -> OpenJob:
    """Return the job with the plan that is worked by: of its record, where it has one.

    Raises
    ------
    InputError
        If the record has no approved plan and none is named.
    """
    from fitup.cli.printing import approved_entry, of_record
    from fitup.openjob import open_job
    from fitup.record.check_code import read_code
    from fitup.record.lookup import plan_of
    from fitup.record.store import Record, has_record

    if not has_record(folder):
        if code is not None:
            found, do = "no record in the job folder", "leave --plan out"
            raise InputError([Problem("--plan", found, "a job with a record", do)])
        return open_job(folder, report=progress)
    record = stack.enter_context(Record(folder))
    events = record.whole()
    if code is not None:
        entry = plan_of(record, events, read_code(code, "--plan"))
    else:
        approved = approved_entry(record, events)
        if approved is None:
            found, do = "no approved plan in the record", "name one by the code on its sheets"
            raise InputError([Problem("--plan", found, "the plan that is worked by", do)])
        entry = approved
    return of_record(folder, record, entry, stack).opened


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


def show(job: Job, answer: Answer) -> None:
    """Print where everything stands and what can be done, goal by goal."""
    units, stopped = DISPLAY[job.units], answer.found.stopped
    click.echo(f"Stage {stopped.stage}, crew {stopped.crew}, stopped after line {stopped.line}")
    rows = [
        [s.state.seat, s.state.on, units.force.text(s.state.load), "BROKEN" if s.dead else ""]
        for s in answer.found.seats
    ]
    click.echo(text_table(["seat", "stands on", "load", ""], rows, right=[2]))
    for line in answer.found.outside:
        click.echo(f"  OUTSIDE where it stands: {line}")
    for tried in answer.tried:
        click.echo(f"\n{GOAL_WORDS[tried.goal]}")
        for line in _told(job, tried):
            click.echo(f"  {line}")
    click.echo("\nNOT APPROVED. Nobody works by it until the engineer has approved it.")


def _told(job: Job, tried: Tried) -> Iterator[str]:
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
    return {
        "stage": answer.found.stopped.stage,
        "crew": answer.found.stopped.crew,
        "line": answer.found.stopped.line,
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
