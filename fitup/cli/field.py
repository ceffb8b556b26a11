"""``fitup field``: one HTML page a crew, for the phone on the deck."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path

import click

from fitup.cli.printing import prepared
from fitup.cli.text import job_argument, progress
from fitup.cli.writing import write_page
from fitup.errors import EXIT_OUTSIDE


@click.command("field")
@job_argument
@click.option(
    "--to",
    "target",
    type=click.Path(path_type=Path, readable=False),
    help="Folder for the pages; the job folder when not given.",
)
@click.option("--plan", "code", help="Check code of a plan in the record.")
def command(job: Path, target: Path | None, code: str | None) -> int:
    """Write one HTML page a crew: the work step by step, for the phone.

    Each reading typed in is judged at once by the bands of the sheets: GO ON, HOLD or STOP. The
    page needs no network, keeps what is typed on the phone, and gives the table as done that
    fitup done takes. It stands beside the sheets and does not replace them: with a record, print
    those too.

    Where a check is outside its tolerance no page is written, and the exit code is 3.

    \b
    Example:
      fitup field closure-k1 --to phones
    """
    from fitup.pages import crews_of, field_facts, field_page

    folder = job if target is None else target
    with ExitStack() as stack:
        ready = prepared(job, code, stack)
        if not ready.opened.plan.inside:
            click.echo("No field pages: a check is outside its tolerance (fitup plan says which).")
            return EXIT_OUTSIDE
        sheets, count = ready.opened.sheets(ready.stands)
        progress(f"{count} printed numbers confirmed; writing")
        crews = crews_of(sheets)
        job_read, stated = ready.opened.job, ready.opened.certificate.procedures
        pages = {
            f"field-crew-{crew}.html": field_page(field_facts(job_read, sheets, stated, crew))
            for crew in crews
        }
    if not pages:
        click.echo("Nothing is to be moved: there is nothing to do on the deck.")
        return 0
    folder.mkdir(parents=True, exist_ok=True)
    click.echo(f"plan {sheets.header.check_code}, {sheets.header.status}; wrote to {folder}:")
    for name, content in pages.items():
        write_page(folder / name, content)
        click.echo(f"  {name}")
    return 0
