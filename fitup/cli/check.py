"""``fitup check``: everything that is wrong with a job folder, all at once."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.alignment import Alignment
from fitup.cli.text import job_argument, json_option, say_json, verdict_json
from fitup.openjob import open_job


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
    opened = open_job(job)
    opened.require_sound()
    counts = {
        "segments": len(opened.job.segments),
        "joints": len(opened.job.joints),
        "pairs": len(opened.job.pairs),
        "seats": len(opened.job.seats),
        "jacks": len(opened.job.jacks),
        "plates": sum(p.count for p in opened.job.plates.values()),
    }
    axis = _alignment(opened.job.alignment)
    if as_json:
        say_json(
            {
                "job": opened.job.name,
                "counts": counts,
                "waived": list(opened.job.waived),
                "alignment": axis,
                "verdict": verdict_json(opened.survey.verdict),
                "understood": opened.survey.understood,
            }
        )
        return
    click.echo(f"{opened.job.name}: nothing wrong found in the tables.")
    for line in opened.job.waived:
        click.echo(f"WAIVED IN WRITING: {line}")
    for line in opened.survey.verdict.lines:
        click.echo(line)
    click.echo(", ".join(f"{n} {what}" for what, n in counts.items()) + " (plates loose in store)")
    if axis:
        click.echo("Alignment, as understood:")
    for line in axis:
        click.echo(f"  {line}")
    click.echo("Survey, as understood:")
    for line in opened.survey.story:
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
