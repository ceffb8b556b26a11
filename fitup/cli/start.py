"""``fitup start``: a commented job folder to fill in."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.jobfolder import start_job


@click.command("start")
@click.argument("folder", type=click.Path(path_type=Path))
def command(folder: Path) -> None:
    """Write a commented job folder to fill in.

    \b
    Example:
      fitup start closure-k1
    """
    for path in start_job(folder):
        click.echo(f"wrote {path}")
    click.echo(f"Fill in the tables, then: fitup check {folder}")
