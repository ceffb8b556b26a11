"""``fitup people``: take people.toml into the record."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.cli.recording import key_option, now, tell
from fitup.cli.text import job_argument, json_option
from fitup.errors import InputError, Problem


@click.command("people")
@job_argument
@key_option
@json_option
def command(job: Path, key_file: Path, as_json: bool) -> None:
    """Take people.toml into the record: who may do what. The first time opens the record.

    \b
    Example:
      fitup people closure-k1 --key ines.key
    """
    from fitup.record.acts import name_people
    from fitup.record.keys import read_key
    from fitup.record.people import FILE, read_people

    try:
        content = (job / FILE).read_bytes()
    except OSError as error:
        do = "write it, see docs/record.md"
        raise InputError([Problem(FILE, error.strerror or "an error", "a list", do)]) from None
    people = read_people(content)
    event = name_people(job, read_key(key_file), now(), content)
    if not as_json:
        for person in people.values():
            click.echo(f"{person.name} may {', '.join(sorted(person.may)) or 'call stop'}")
    tell(job, event, as_json)
