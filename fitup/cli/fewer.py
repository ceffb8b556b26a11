"""``fitup fewer``: what it costs to disturb fewer seats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitup.cli.text import job_argument, json_option, progress, say_json, text_table
from fitup.cli.writing import write_files
from fitup.errors import InputError, Problem
from fitup.openjob import OpenJob, open_job
from fitup.units import DISPLAY

if TYPE_CHECKING:
    from fitup.plan.whatif import Fewer

_KINDS = ("pdf", "png", "svg")


@click.command("fewer")
@job_argument
@click.option(
    "--figure",
    type=click.Path(path_type=Path, readable=False),
    help="Also draw it, as the ending says: .pdf, .png or .svg.",
)
@json_option
def command(job: Path, figure: Path | None, as_json: bool) -> None:
    """Show what disturbing fewer seats costs in accuracy, one seat after the other.

    Found by descent, not proven; the plan itself is that of fitup plan. To have a plan with fewer
    seats, name the others in leave_alone under [objectives] in job.toml; fitup others lists
    the best of these, proven.

    \b
    Example:
      fitup fewer closure-k1
      fitup fewer closure-k1 --figure fewer.pdf
    """
    from fitup.plan.whatif import fewer_seats

    if figure is not None:
        _require_kind(figure)
    opened = open_job(job, report=progress)
    found = fewer_seats(opened.job, opened.state, opened.influence, progress)
    written = [] if figure is None else _draw(opened, found, figure)
    if as_json:
        rows = [asdict(row) for row in found]
        say_json({"job": opened.job.name, "fewer": rows, "written": written})
        return
    click.echo(_table(opened, found))
    for path in written:
        click.echo(f"\nwrote {path}")


def _require_kind(figure: Path) -> None:
    if figure.suffix[1:] not in _KINDS:
        found, allowed = f"'{figure.name}'", "a file that ends in .pdf, .png or .svg"
        do = "give the ending of the kind you want"
        raise InputError([Problem("command line", found, allowed, do, None, "--figure")])
    if figure.is_dir():
        found, do = f"'{figure.name}', which is a folder", "name a file, in it or beside it"
        raise InputError([Problem("command line", found, "a file", do, None, "--figure")])


def _draw(opened: OpenJob, found: Sequence[Fewer], figure: Path) -> list[str]:
    from fitup.sheets.figure_fewer import FewerLine, fewer_figure

    lines, before = [], set(found[0].disturbed) if found else set()
    for row in found:
        left = tuple(s for s in before - set(row.disturbed))
        lines.append(FewerLine(row.seats, row.worst, _miss(opened, row), tuple(sorted(left))))
        before = set(row.disturbed)
    if not lines:
        return []
    title = f"{opened.job.name}: what disturbing fewer seats costs (found by descent)"
    content = fewer_figure(lines, figure.suffix[1:], title)
    return write_files(figure.parent, {figure.name: content})


def _miss(opened: OpenJob, row: Fewer) -> str:
    return "-" if row.miss is None else DISPLAY[opened.job.units].move.text(row.miss)


def _table(opened: OpenJob, found: Sequence[Fewer]) -> str:
    rows = [
        [
            str(row.seats),
            f"{row.worst:.2f}",
            "inside" if row.worst <= 1.0 else "OUTSIDE",
            _miss(opened, row),
            f"{row.squares:.2f}",
            ", ".join(row.disturbed),
        ]
        for row in found
    ]
    header = ["seats", "worst, share of tolerance", "", "step, gap, offset off by"]
    return text_table([*header, "sum of squares", "disturbed"], rows, right=[0, 1, 3, 4])
