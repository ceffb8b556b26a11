"""``fitup contingencies``: what can fail in each stage, and the certified answer to it."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path

import click

from fitup.cli.recording import caller, now
from fitup.cli.text import job_argument, progress
from fitup.cli.writing import write_files
from fitup.errors import EXIT_OUTSIDE


@click.command("contingencies")
@job_argument
@click.option("--plan", "code", help="Check code of the plan, in a job with a record.")
@click.option(
    "--to",
    "target",
    type=click.Path(path_type=Path, readable=False),
    required=True,
    help="Folder for the pages and the table.",
)
@click.option(
    "--workers",
    type=click.IntRange(min=1),
    default=None,
    help="Processes side by side; all cores when not given.",
)
def command(job: Path, code: str | None, target: Path, workers: int | None) -> int:
    """Write what can fail in each stage, and what can then be done, before the night.

    One thing fails at a time: a jack, a pump, a plate, a seat that does not lift off, a reading
    outside its band. After every line the ways onto steel, back and on are certified, or the help
    is named with which there is one. It takes minutes. The exit code is 3 where some load could
    not be brought onto steel.

    They have a check code of their own, by which they are approved with the plan (fitup approve
    --plan CODE --contingencies CODE). Those that were are printed once more as they are.

    \b
    Examples:
      fitup contingencies closure-k1 --to night-15
      fitup contingencies closure-k1 --plan FYEP-NART-LLWCX --to night-15
    """
    from fitup.cli.recovering import certified_of, stands_of, worked_by
    from fitup.record.contingencies import (
        approved_contingencies,
        contingencies_id,
        contingencies_standing,
        note_contingencies,
    )
    from fitup.recovery.contingencies import contingencies
    from fitup.sheets.contingencies import contingency_pdf, contingency_sheet, contingency_table
    from fitup.sheets.table_files import csv_bytes

    with ExitStack() as stack:
        by = worked_by(job, code, stack)
        certified, stands, plan = certified_of(by), stands_of(by), by.opened.plan.id
        own = None if by.record is None else by.record.whole().work.plan(plan)
        known = None
        if by.record is not None and own is not None:
            known = approved_contingencies(by.record, own)
        if known is None:
            progress("what can fail, line by line")
        found = contingencies(certified, workers_of(workers)) if known is None else known
        name = contingencies_id(plan, found)
        if own is not None:
            stands = contingencies_standing(stands, own, name)
        sheet = contingency_sheet(certified, found, name, stands)
        files = {
            "contingencies.pdf": contingency_pdf(sheet),
            "contingencies.csv": csv_bytes(contingency_table(certified.job, found)),
        }
        if by.record is not None and known is None:
            with by.record.writing() as pen:
                note_contingencies(pen, now(), caller(), plan, found, files)
                written = write_files(target, files)
        else:
            written = write_files(target, files)
    unanswered = [c for c in found if c.of("safe").status != "way"]
    click.echo(f"plan {sheet.plan_code}, contingencies {sheet.header.check_code}, {stands.status}")
    for line in stands.why:
        click.echo(f"  {line}")
    click.echo(f"{len(found)} answers; {len(unanswered)} without a way onto steel")
    for line in written:
        click.echo(f"Wrote {line}")
    return EXIT_OUTSIDE if unanswered else 0


def workers_of(stated: int | None) -> int:
    """Return how many processes work side by side; all cores when nothing is stated."""
    from joblib import cpu_count

    return int(stated or cpu_count())
