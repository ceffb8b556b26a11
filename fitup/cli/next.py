"""``fitup next``: the job after the moves, everything carried over with its source."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any, Literal

import click

from fitup.cli.printing import prepared
from fitup.cli.text import job_argument, json_option, progress, say_json, text_table
from fitup.errors import EXIT_BAD_INPUT, FitupError, InputError, Problem
from fitup.jobfolder.done import read_done, require_down
from fitup.jobfolder.table import parse_local_time, parse_number
from fitup.loop.carry import CarriedValue, NextJob, carry
from fitup.loop.folder import NewSurvey, write_next
from fitup.loop.incoming import READINGS_FILE, STEEL_FILE, TENSIONS_FILE, Incoming, incoming
from fitup.model import Job
from fitup.openjob import open_job
from fitup.record.check_code import check_code
from fitup.units import suffixes


@click.command("next")
@job_argument
@click.option(
    "--to",
    "--out",
    "target",
    required=True,
    type=click.Path(path_type=Path),
    help="Folder of the next job; new or empty.",
)
@click.option(
    "--survey",
    "surveys",
    multiple=True,
    type=click.Path(path_type=Path),
    help="New coordinate list, observations, or a folder of a night; may be given several times.",
)
@click.option(
    "--levelling",
    type=click.Path(path_type=Path),
    help="Levelling measured with the new observations.",
)
@click.option("--taken", help="Local time of the new survey: 2031-04-03T04:10.")
@click.option("--steel", help='Steel temperature of the new survey: "11.5 C" or "52.7 F".')
@click.option("--deck-load", help='Load on the deck at the new survey: "0 kN".')
@click.option(
    "--readings",
    type=click.Path(path_type=Path),
    help="New readings at the joint, as readings.csv.",
)
@click.option(
    "--temperatures",
    type=click.Path(path_type=Path),
    help="New readings of thermometers, as temperatures.csv.",
)
@click.option(
    "--tensions",
    type=click.Path(path_type=Path),
    help="New tensions of cables, as tensions.csv.",
)
@click.option(
    "--done",
    type=click.Path(path_type=Path),
    help="Readings as done (docs/loop.md); without them everything counts as planned.",
)
@click.option(
    "--plan", "code", help="Check code of the plan that was carried out, from the record."
)
@click.option(
    "--rest",
    type=click.Choice(["refuse", "planned", "still"]),
    default="refuse",
    help="What counts for a seat the plan moves when --done says nothing of its end.",
)
@json_option
def command(
    job: Path,
    target: Path,
    surveys: tuple[Path, ...],
    levelling: Path | None,
    taken: str | None,
    steel: str | None,
    deck_load: str | None,
    readings: Path | None,
    temperatures: Path | None,
    tensions: Path | None,
    done: Path | None,
    code: str | None,
    rest: Literal["refuse", "planned", "still"],
    as_json: bool,
) -> int:
    """Write the next job folder after a plan was carried out, nothing guessed in silence.

    Packs, store, strokes, reactions, windows and limits are carried over, each value listed with
    where it comes from; JOB is not changed. The plan is the approved one of the record, the one
    named by --plan, or without a record the one that JOB gives.

    \b
    Example:
      fitup next closure-k1 --to closure-k1-b --done night-14.csv --survey night-15.csv
                 --taken 2031-04-03T04:10 --steel "11.5 C" --deck-load "0 kN"
    """
    new, measured = _surveys(surveys, levelling, taken, steel, deck_load)
    stated = {READINGS_FILE: readings, STEEL_FILE: temperatures, TENSIONS_FILE: tensions}
    # a file that is named counts before one of a folder
    measured |= {name: path for name, path in stated.items() if path is not None}
    with ExitStack() as stack:
        ready = prepared(job, code, stack)
        opened, plan = ready.opened, ready.opened.plan
        _require_later(new, opened.job)
        rows = () if done is None else read_done(done, str(done), opened.job)
        shown = "readings" if done is None else str(done)
        if rest != "planned":
            require_down(rows, shown)
        result = carry(opened.job, opened.influence, plan, rows, shown=shown, rest=rest)
        if opened.folder != job and (job / "holds.csv").is_file():
            result.warnings.append(f"hold points are no part of a plan: copy holds.csv from {job}")
        if ready.record is not None:
            work = ready.record.whole().work
            result.warnings += [f"in the record of {job}: {line}" for line in work.open_holds]
        written, story = write_next(opened.folder, opened.job, result, target, new, measured)
    problems = _problems(target) if new else []
    if as_json:
        say_json(_as_json(plan.id, result, story, written, problems))
    else:
        _show(job, target, plan.id, result, story, problems, bool(new))
    return EXIT_BAD_INPUT if problems else 0


def _surveys(
    paths: tuple[Path, ...],
    levelling: Path | None,
    taken: str | None,
    steel: str | None,
    deck_load: str | None,
) -> tuple[tuple[NewSurvey, ...], dict[str, Path]]:
    """Return the new surveys, and tables that came with them; all problems at once."""
    stated = {"--taken": taken, "--steel": steel, "--deck-load": deck_load}
    alone = {"--levelling": None if levelling is None else str(levelling)}
    problems = []
    if not paths:
        problems = [
            Problem(name, "no --survey to which it belongs", "--survey FILE", "add or leave it out")
            for name, value in {**stated, **alone}.items()
            if value is not None
        ]
    else:
        for name, value in stated.items():
            if value is None:
                problems.append(
                    Problem(name, "nothing", "a value with every --survey", "write it down")
                )
    when = _time(taken, problems)
    warm = _quantity("--steel", steel, "temperature", problems)
    loads = _quantity("--deck-load", deck_load, "force", problems)
    found = Incoming(())
    try:
        found = incoming(paths, levelling) if paths else found
    except InputError as error:
        problems += error.problems
    if problems:
        raise InputError(problems)
    return tuple(
        NewSurvey(path, when, warm, loads, observed, found.levelling if observed else None)
        for path, observed in found.surveys
    ), dict(found.tables)


def _time(text: str | None, problems: list[Problem]) -> dt.datetime:
    if text is None:
        return dt.datetime.min
    when = parse_local_time(text)
    if when is not None:
        return when
    problems.append(
        Problem("--taken", f"'{text}'", "a local time such as 2031-04-03T04:10", "correct it")
    )
    return dt.datetime.min


def _require_later(new: Sequence[NewSurvey], job: Job) -> None:
    """Refuse a survey after the moves that is no later than the one they were planned on."""
    latest = max((dt.datetime.fromisoformat(e.taken) for e in job.epochs), default=dt.datetime.min)
    if new and new[0].taken <= latest:
        found = f"'{new[0].taken.isoformat(timespec='minutes')}'"
        allowed = f"later than {latest.isoformat(timespec='minutes')}, the survey of the plan"
        raise InputError([Problem("--taken", found, allowed, "correct it")])


def _quantity(
    name: str, text: str | None, dimension: str, problems: list[Problem]
) -> tuple[str, float]:
    """Return unit suffix and number of a text such as ``11.5 C``."""
    units = suffixes(dimension)
    if text is None:
        return units[0], 0.0
    found = re.fullmatch(r"\s*([-+0-9.eE]+)\s*([A-Za-z]+)\s*", text)
    if found and found[2] in units:
        try:
            return found[2], parse_number(found[1])
        except ValueError:
            pass
    allowed = f"a number and one of: {', '.join(units)}"
    problems.append(Problem(name, f"'{text}'", allowed, "write number and unit"))
    return units[0], 0.0


def _problems(target: Path) -> list[str]:
    """Check the job just written, as ``fitup check`` does."""
    progress("checking the new job")
    try:
        open_job(target, report=progress).require_sound()
    except FitupError as error:
        return str(error).split("\n")
    return []


def _show(
    job: Path,
    target: Path,
    plan: str,
    result: NextJob,
    story: tuple[CarriedValue, ...],
    problems: list[str],
    surveyed: bool,
) -> None:
    click.echo(f"From plan {check_code(plan)} of {job}: compare it with the number on the sheets.")
    rows = [[c.file, c.row, c.column, c.before, c.after, c.source] for c in story]
    click.echo(text_table(["file", "row", "what", "before", "now", "where it comes from"], rows))
    for line in result.warnings:
        click.echo(f"LOOK: {line}")
    click.echo(f"\nWrote {target}; the same list is in its carried.csv.")
    if problems:
        click.echo("It cannot be used as it stands:")
        for line in problems:
            click.echo(f"  {line}")
    elif surveyed:
        click.echo(f"Nothing wrong found. Then: fitup compare {job} {target}")
    else:
        click.echo(f"Add the new [[survey]] to its job.toml, then: fitup check {target}")


def _as_json(
    plan: str,
    result: NextJob,
    story: tuple[CarriedValue, ...],
    written: tuple[Path, ...],
    problems: list[str],
) -> dict[str, Any]:
    return {
        "plan": plan,
        "carried": [
            {
                "file": c.file,
                "row": c.row,
                "column": c.column,
                "before": c.before,
                "after": c.after,
                "source": c.source,
            }
            for c in story
        ],
        "warnings": result.warnings,
        "written": [str(path) for path in written],
        "problems": problems,
    }
