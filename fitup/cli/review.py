"""``fitup review``: one HTML page to look at a plan and to try other packs."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path

import click

from fitup.cli.giving import give_option
from fitup.cli.printing import prepared
from fitup.cli.text import job_argument
from fitup.cli.writing import write_page
from fitup.errors import EXIT_OUTSIDE


@click.command("review")
@job_argument
@click.option(
    "--to",
    "target",
    type=click.Path(path_type=Path, readable=False),
    help="File for the page; JOB/review.html when not given.",
)
@click.option("--plan", "code", help="Check code of a plan in the record, to look at that.")
@give_option
def command(job: Path, target: Path | None, code: str | None, give: tuple[str, ...]) -> int:
    """Plan, certify and write one HTML page to look at the plan and to try other packs.

    The page opens in a browser without network: joints drawn before and after, every step on the
    way, every check, load, limit and plate. Packs can be changed by hand; what comes of it is
    shown at once, is not certified, and the page gives the command that plans and certifies it.

    Exit code 3 where a check is outside its tolerance.

    \b
    Example:
      fitup review closure-k1 --to night-15.html
    """
    from fitup.pages import review_facts, review_page

    file = job / "review.html" if target is None else target
    with ExitStack() as stack:
        ready = prepared(job, code, stack, give=give)
        facts = review_facts(ready.opened, folder=str(job), stands=ready.stands)
    write_page(file, review_page(facts))
    click.echo(f"plan {facts.check_code}, {facts.status}")
    click.echo(f"wrote {file}; open it in a browser")
    return 0 if facts.inside else EXIT_OUTSIDE
