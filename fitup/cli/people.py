"""``fitup people``: take people.toml into the record."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.cli.recording import key_option, now, own_key, tell
from fitup.cli.text import job_argument, json_option
from fitup.errors import InputError, Problem


@click.command("people")
@job_argument
@click.option(
    "--after",
    "before",
    type=click.Path(path_type=Path, readable=False),
    help="Job folder whose record goes on in this one.",
)
@click.option(
    "--resume",
    "why",
    help="Take the record up again after its seal or entries were lost: the reason.",
)
@key_option
@json_option
def command(job: Path, before: Path | None, why: str | None, key_file: Path, as_json: bool) -> None:
    """Take people.toml into the record: who may do what. The first time opens the record.

    With --resume a record whose seal is gone, or which a witness saw to hold more, is taken up
    again as it is; what is known to be lost is signed for.

    \b
    Examples:
      fitup people closure-k1 --key ines.key
      fitup people closure-k1-b --after closure-k1 --key ines.key
    """
    from fitup.plainfile import read_bytes
    from fitup.record import Record, check_code
    from fitup.record.acts import name_people, resume
    from fitup.record.people import FILE, read_people

    if why is not None:
        event = resume(job, own_key(key_file), now(), why)
        if not as_json:
            for line in event.says["found"]:
                click.echo(f"taken up in spite of: {line}")
        tell(job, event, as_json)
        return
    try:
        content = read_bytes(job / FILE)
    except OSError as error:
        do = "write it, see docs/record.md"
        raise InputError([Problem(FILE, error.strerror or "an error", "a list", do)]) from None
    people = read_people(content)
    key, earlier = own_key(key_file), None
    if before is not None:
        with Record(before) as record:
            earlier = record.whole()[-1]
    event = name_people(job, key, now(), content, earlier)
    if earlier is not None and not as_json:
        click.echo(f"Goes on from record code {check_code(earlier.hash)} of {before}")
    if not as_json:
        for person in people.values():
            click.echo(f"{person.name} may {', '.join(sorted(person.may)) or 'call stop'}")
    tell(job, event, as_json)
