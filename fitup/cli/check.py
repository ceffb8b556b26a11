"""``fitup check``: everything that is wrong with a job folder, all at once."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.alignment import Alignment
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
    axis = _alignment(loaded.job.alignment)
    if as_json:
        say_json(
            {
                "job": loaded.job.name,
                "counts": counts,
                "alignment": axis,
                "understood": loaded.survey.understood,
            }
        )
        return
    click.echo(f"{loaded.job.name}: nothing wrong found.")
    click.echo(", ".join(f"{n} {what}" for what, n in counts.items()) + " (plates loose in store)")
    if axis:
        click.echo("Alignment, as understood:")
    for line in axis:
        click.echo(f"  {line}")
    click.echo("Survey, as understood:")
    for line in loaded.survey.understood:
        click.echo(f"  {line}")


def _alignment(axis: Alignment | None) -> list[str]:
    """Return how the alignment of a job was understood, a line each."""
    if axis is None:
        return []
    text, fall = axis.stations.text, axis.crossfall
    profile = "with" if axis.profile is not None else "without"
    across = "no crossfall" if fall is None else f"crossfall from {fall.source}"
    first = (
        f"'{axis.name}' from {text(axis.start)} to {text(axis.end)}, {profile} profile, {across}"
    )
    return [first, *(f"note: {n}" for n in axis.notes)]
