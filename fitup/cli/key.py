"""``fitup key``: a key to sign with."""

from __future__ import annotations

import re
from pathlib import Path

import click

from fitup.cli.text import json_option, say_json
from fitup.errors import InputError, Problem


@click.command("key")
@click.argument("name")
@click.option(
    "--to",
    "target",
    type=click.Path(path_type=Path),
    help="File of the private key; .fitup/NAME.key in your home folder when not given.",
)
@json_option
def command(name: str, target: Path | None, as_json: bool) -> None:
    """Make a key to sign with, and print its public half for people.toml.

    The file is yours alone: do not copy it into the job folder, do not lend it.

    \b
    Example:
      fitup key ines
    """
    from fitup.record.keys import make_key

    if not re.fullmatch(r"[A-Za-z0-9_-]{1,40}", name):
        found, allowed = f"'{name}'", "letters, figures, - and _"
        raise InputError([Problem("NAME", found, allowed, "choose a short name")])
    path = Path.home() / ".fitup" / f"{name}.key" if target is None else target
    key = make_key(path)
    if as_json:
        say_json({"key": key.public, "written": str(path)})
        return
    click.echo(f"wrote {path}, readable by you alone")
    click.echo("Give these lines to whoever keeps people.toml:\n")
    click.echo(f'[{name}]\nname = ""\nmay = []\nkey = "{key.public}"')
