"""``fitup sheets``: the whole way from survey to certified sheets."""

from __future__ import annotations

import json
import os
from contextlib import ExitStack
from pathlib import Path
from typing import Final

import click

from fitup.cli.giving import give_option, given_words
from fitup.cli.plan import as_json_result, show
from fitup.cli.printing import Ready, prepared
from fitup.cli.text import job_argument, json_option, progress, say_json
from fitup.errors import EXIT_OUTSIDE, FitupError, InputError, Problem
from fitup.jobfolder import read_job
from fitup.model.identity import with_readings
from fitup.plainfile import read_bytes
from fitup.sheets.table_files import json_bytes
from fitup.sheets.write import LIST, documents, set_aside

#: a table of a lift-off is smaller [bytes]
_LIFT_OFF: Final = 1_000_000


@click.command("sheets")
@job_argument
@click.option(
    "--to",
    "target",
    type=click.Path(path_type=Path, readable=False),
    help="Folder for the sheets; JOB/out when not given.",
)
@click.option("--plan", "code", help="Check code of a plan in the record, to print that once more.")
@click.option(
    "--readings",
    type=click.Path(path_type=Path, readable=False),
    help="Lift-off as read: loads, order and stop bands are made again from it.",
)
@give_option
@json_option
def command(
    job: Path,
    target: Path | None,
    code: str | None,
    readings: Path | None,
    give: tuple[str, ...],
    as_json: bool,
) -> int:
    """Plan, certify and write move sheets, shim schedule, report, tables and figures.

    Where tolerance cannot be met, schedule and report are written for the engineer, move sheets
    are not, and the exit code is 3.

    A job with a record prints the approved plan while nothing has changed, and writes down what
    was planned and printed. Every page says whether the plan is approved.

    \b
    Example:
      fitup sheets closure-k1 --to night-15
      fitup sheets closure-k1 --readings lift-off.csv
    """
    folder = job / "out" if target is None else target
    _require_sheet_folder(folder.resolve(), job.resolve())
    try:
        ready, count, written, code_now = _written(job, code, readings, give, folder)
    except (FitupError, KeyboardInterrupt):
        _retire(job, {folder, job / "out"})
        raise
    _retire(job, {job / "out"} - {folder})
    opened = ready.opened
    if as_json:
        result = as_json_result(opened)
        own = {"status": ready.stands.status, "check_code": code_now}
        say_json({**result, **own, "written": [str(p) for p in written]})
    else:
        survey = opened.survey.verdict
        show(opened.job, opened.plan, opened.certificate, survey, ready.stands.status)
        if give:
            click.echo(given_words(opened.job, give))
        for line in ready.stands.why:
            click.echo(f"  {line}")
        if ready.stated:
            click.echo("\nLoads by the lift-off; these sheets replace all earlier ones")
            for line in ready.stated:
                click.echo(f"  {line}")
        click.echo(f"{count} printed numbers confirmed by the certificate; wrote to {folder}:")
        for path in written:
            click.echo(f"  {path.name}")
        if not ready.inside:
            click.echo("No move sheets: a check is outside its tolerance.")
    return 0 if ready.inside else EXIT_OUTSIDE


def _written(
    job: Path, code: str | None, readings: Path | None, give: tuple[str, ...], folder: Path
) -> tuple[Ready, int, tuple[Path, ...], str]:
    """Make and write the sheets; return what was printed, numbers confirmed, paths and code."""
    with ExitStack() as stack:
        ready = prepared(job, code, stack, readings, give)
        sheets, count = ready.opened.sheets(ready.stands)
        held = ready.held_to_approval(json_bytes(sheets, ()))
        if held is not ready:
            ready = held
            sheets, count = ready.opened.sheets(ready.stands)
        progress(f"{count} printed numbers confirmed; writing")
        files = documents(sheets, moves=ready.inside)
        return ready, count, ready.write(files, folder), sheets.header.check_code


def _retire(job: Path, folders: set[Path]) -> None:
    """Move sheets aside that were made from other files than lie there now."""
    for folder in sorted(folders):
        if not _stale(job, folder):
            continue
        aside = set_aside(folder, "the files of the job were changed since they were printed")
        if aside is not None:
            click.echo(
                f"Sheets in {folder} were made from other files than lie there now: moved to "
                f"{aside.name}. DO NOT USE them.",
                err=True,
            )


def _stale(job: Path, folder: Path) -> bool:
    """Say whether sheets in a folder were made from other files than the job has now."""
    try:
        made_from = json.loads(read_bytes(folder / LIST))["inputs_sha256"]
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return False
    try:
        digest = read_job(job).digest
    except FitupError:
        return True
    tables = (p for p in job.glob("*.csv") if p.is_file() and p.stat().st_size < _LIFT_OFF)
    return made_from != digest and all(
        made_from != with_readings(digest, table.read_bytes()) for table in tables
    )


def _require_sheet_folder(folder: Path, job: Path) -> None:
    """Refuse, before the long work, a folder the sheets cannot be written to or must not take."""

    def refuse(found: str, allowed: str, do: str) -> InputError:
        return InputError([Problem(str(folder), found, allowed, do)])

    # the set replaces its folder as a whole, so a folder of other things is never taken over
    if folder == job:
        raise refuse("the job folder itself", "a folder of its own", "name another with --to")
    if folder.is_dir() and any(folder.iterdir()) and not (folder / LIST).is_file():
        raise refuse(
            f"a folder with files in it, but no {LIST} of earlier sheets",
            "a new or empty folder, or one of earlier sheets",
            "name another with --to",
        )
    if folder.exists() and not folder.is_dir():
        raise refuse("a file", "a folder", "name another with --to")
    parent = folder.parent
    while not parent.exists():
        parent = parent.parent
    if not parent.is_dir() or not os.access(parent, os.W_OK | os.X_OK):
        raise refuse(
            f"a place below {parent}, which cannot be written to",
            "a folder that can be written",
            "name another with --to",
        )
