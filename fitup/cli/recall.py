"""``fitup recall``: the files of an entry once more, byte for byte."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.cli.text import job_argument, json_option, say_json


@click.command("recall")
@job_argument
@click.argument("entry")
@click.option(
    "--to", "target", type=click.Path(path_type=Path), required=True, help="A new or empty folder."
)
@json_option
def command(job: Path, entry: str, target: Path, as_json: bool) -> None:
    """Write the files of an ENTRY once more, byte for byte: what went in, and what came out.

    ENTRY is its number, or the check code of a plan. Sheets that come out are for looking at: what
    stands on them was true when they were printed.

    \b
    Example:
      fitup recall closure-k1 7 --to entry-7
    """
    from fitup.record.contents import write_files
    from fitup.record.lookup import look_up
    from fitup.record.store import Record

    with Record(job) as record:
        found = look_up(record, record.whole(), entry)
        parts = {"in": record.files(found.inputs), "out": record.files(found.outputs)}
    files = {f"{part}/{name}": c for part, own in parts.items() for name, c in own.items()}
    written = write_files(files, target)
    if as_json:
        say_json({"entry": found.number, "written": [str(p) for p in written]})
        return
    click.echo(f"Entry {found.number}, {found.kind}, {found.when}: {len(written)} files")
    for path in written:
        click.echo(f"  {path}")
    click.echo("NOT FOR WORK: copies from the record. Work by the sheets last printed.")
