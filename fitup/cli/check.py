"""``fitup check``: everything that is wrong with a job folder, all at once."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.cli.loading import influence, load
from fitup.cli.text import job_argument, json_option, say_json


@click.command("check")
@job_argument
@json_option
def command(job: Path, as_json: bool) -> None:
    """List everything that is wrong with a job folder and its survey.

    Prints what was understood when nothing is.

    \b
    Example:
      fitup check closure-k1
    """
    loaded = load(job)
    influence(loaded)
    counts = {
        "segments": len(loaded.job.segments),
        "joints": len(loaded.job.joints),
        "pairs": len(loaded.job.pairs),
        "seats": len(loaded.job.seats),
        "jacks": len(loaded.job.jacks),
        "plates": sum(p.count for p in loaded.job.plates.values()),
    }
    if as_json:
        say_json({"job": loaded.job.name, "counts": counts, "understood": loaded.survey.understood})
        return
    click.echo(f"{loaded.job.name}: nothing wrong found.")
    click.echo(", ".join(f"{n} {what}" for what, n in counts.items()) + " (plates loose in store)")
    click.echo("Survey, as understood:")
    for line in loaded.survey.understood:
        click.echo(f"  {line}")
