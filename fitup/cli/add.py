"""``fitup add``: another table for a job folder, empty, with its comments."""

from __future__ import annotations

import tomllib
from pathlib import Path

import click

from fitup.cli.text import job_argument, json_option, say_json
from fitup.jobfolder import add_tables, addable


@click.command("add")
@job_argument
@click.argument("tables", nargs=-1)
@json_option
def command(job: Path, tables: tuple[str, ...], as_json: bool) -> None:
    """Write empty tables into a job folder, with their comments and headers.

    Without a name, lists the tables there are. A table without rows says nothing.

    \b
    Example:
      fitup add closure-k1
      fitup add closure-k1 pumps ride
    """
    if not tables:
        there = [{"table": name, "there": (job / name).exists()} for name in addable()]
        if as_json:
            say_json({"written": [], "tables": there})
            return
        for one in there:
            name = str(one["table"]).removesuffix(".csv")
            click.echo(f"{name:18s}{'there' if one['there'] else ''}".rstrip())
        return
    files = tuple(t if t.endswith(".csv") else f"{t}.csv" for t in tables)
    written = add_tables(job, files, _display(job))
    if as_json:
        say_json({"written": [str(path) for path in written], "tables": []})
        return
    for path in written:
        click.echo(f"wrote {path}")


def _display(job: Path) -> str:
    """Return the units a job is printed in, whatever else may be missing in it."""
    try:
        settings = tomllib.loads((job / "job.toml").read_text("utf-8"))
    except (OSError, ValueError):
        return "metric"
    return "US" if settings.get("units") == "US" else "metric"
