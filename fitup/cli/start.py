"""``fitup start``: a commented job folder to fill in."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.cli.text import json_option, say_json
from fitup.jobfolder import start_job


@click.command("start")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--frame", is_flag=True, help="A job whose structure is a frame of members.")
@click.option("--observations", is_flag=True, help="A survey of what the instrument read.")
@json_option
def command(folder: Path, frame: bool, observations: bool, as_json: bool) -> None:
    """Write a commented job folder to fill in.

    \b
    Example:
      fitup start closure-k1
      fitup start closure-k1 --observations
    """
    written = start_job(folder, frame=frame, observations=observations)
    if as_json:
        say_json({"written": [str(path) for path in written]})
        return
    for path in written:
        click.echo(f"wrote {path}")
    click.echo(f"Fill in the tables, then: fitup check {folder}")
