"""``fitup key``: a key to sign with."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import click

from fitup.cli.recording import ask_secretly
from fitup.cli.text import json_option, say_json
from fitup.errors import InputError, Problem

#: characters of a passphrase: fewer are guessed by trying them all
SHORTEST: Final = 10


@click.command("key")
@click.argument("name")
@click.option(
    "--to",
    "target",
    type=click.Path(path_type=Path),
    help="File of the private key; .fitup/NAME.key in your home folder when not given.",
)
@click.option(
    "--passphrase", "locked", is_flag=True, help="Ask for one, and encrypt the key with it."
)
@json_option
def command(name: str, target: Path | None, locked: bool, as_json: bool) -> None:
    """Make a key to sign with, and print its public half for people.toml.

    The file is yours alone: do not copy it into the job folder, do not lend it. With a passphrase
    who gets hold of it still cannot sign; it is asked for at every signature, and nobody can
    recover it.

    \b
    Examples:
      fitup key ines
      fitup key ines --passphrase
    """
    from fitup.record.keys import make_key

    if not re.fullmatch(r"[A-Za-z0-9_-]{1,40}", name):
        found, allowed = f"'{name}'", "letters, figures, - and _"
        raise InputError([Problem("NAME", found, allowed, "choose a short name")])
    path = Path.home() / ".fitup" / f"{name}.key" if target is None else target
    key = make_key(path, _passphrase(path) if locked else "")
    if as_json:
        say_json({"key": key.public, "written": str(path)})
        return
    click.echo(f"wrote {path}, readable by you alone")
    click.echo("Give these lines to whoever keeps people.toml:\n")
    click.echo(f'[{name}]\nname = ""\nmay = []\nkey = "{key.public}"')


def _passphrase(path: Path) -> str:
    said = ask_secretly(f"New passphrase of {path}", twice=True)
    if len(said) < SHORTEST:
        found, allowed = f"{len(said)} characters", f"at least {SHORTEST}"
        raise InputError([Problem("passphrase", found, allowed, "several words are best")])
    return said
