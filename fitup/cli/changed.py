"""``fitup changed``: what changed between two entries, plans, or the folder as it is now."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.cli.text import job_argument, json_option, say_json


@click.command("changed")
@job_argument
@click.argument("one")
@click.argument("other", default="now")
@json_option
def command(job: Path, one: str, other: str, as_json: bool) -> None:
    """Say in words what changed between ONE and OTHER.

    Each is the number of an entry or the check code of a plan; OTHER may be "now", the files as
    they lie in the folder.

    \b
    Examples:
      fitup changed closure-k1 4 9
      fitup changed closure-k1 FYEP-NART-LLWCX
    """
    from fitup.record.contents import files_now
    from fitup.record.differences import changes
    from fitup.record.lookup import look_up
    from fitup.record.store import Record

    with Record(job) as record:
        events = record.whole()
        entry = look_up(record, events, one)
        before = record.files({**entry.inputs, **entry.outputs})
        if other == "now":
            before = record.files(entry.inputs)
            after = files_now(job, entry.inputs)
        else:
            later = look_up(record, events, other)
            after = record.files({**later.inputs, **later.outputs})
    said = changes(before, after)
    if as_json:
        say_json({"changes": list(said)})
        return
    for line in said or ("nothing changed",):
        click.echo(line)
