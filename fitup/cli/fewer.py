"""``fitup fewer``: what it costs to disturb fewer seats."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.cli.loading import influence, load
from fitup.cli.text import job_argument, progress, text_table


@click.command("fewer")
@job_argument
def command(job: Path) -> None:
    """Show what disturbing fewer seats costs in accuracy, one seat after the other.

    Found by descent, not proven; the plan itself is that of fitup plan. To have a plan with fewer
    seats, hold the others in seats.csv.

    \b
    Example:
      fitup fewer closure-k1
    """
    from fitup.optimize.whatif import fewer_seats

    loaded = load(job)
    rows = []
    for row in fewer_seats(loaded.job, loaded.state, influence(loaded), progress):
        inside = "inside" if row.worst <= 1.0 else "OUTSIDE"
        rows.append(
            [
                str(row.seats),
                f"{row.worst:.2f}",
                inside,
                f"{row.squares:.2f}",
                ", ".join(row.disturbed),
            ]
        )
    header = ["seats", "worst, share of tolerance", "", "sum of squares", "disturbed"]
    click.echo(text_table(header, rows, right=[0, 1, 3]))
