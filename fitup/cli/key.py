"""``fitup key``: a key to sign with."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import click

from fitup.cli.recording import ask_secretly, own_key
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
@click.option(
    "--change",
    is_flag=True,
    help="Change, or set, the passphrase of a key that is there; the old one is asked first.",
)
@click.option(
    "--take-off", is_flag=True, help="Take the passphrase off a key; it is asked for once more."
)
@json_option
def command(
    name: str, target: Path | None, locked: bool, change: bool, take_off: bool, as_json: bool
) -> None:
    """Make a key to sign with, and print its public half for people.toml.

    The file is yours alone: do not copy it into the job folder, do not lend it. With a passphrase
    who gets hold of it still cannot sign; it is asked for at every signature, and nobody can
    recover it.

    With --change or --take-off the key stays the same, so nothing is to be changed in people.toml.
    Interrupted at any moment, the file is the old one or the new one, whole.

    \b
    Examples:
      fitup key ines
      fitup key ines --passphrase
      fitup key ines --change
    """
    from fitup.record.keys import make_key

    if change + take_off + locked > 1:
        found, allowed = "more than one of them", "--passphrase, --change or --take-off"
        raise InputError([Problem("command line", found, allowed, "say what is wanted")])
    if not re.fullmatch(r"[A-Za-z0-9_-]{1,40}", name):
        found, allowed = f"'{name}'", "letters, figures, - and _"
        raise InputError([Problem("NAME", found, allowed, "choose a short name")])
    path = Path.home() / ".fitup" / f"{name}.key" if target is None else target
    if change or take_off:
        _change(path, take_off, as_json)
        return
    key = make_key(path, _passphrase(path) if locked else "")
    if as_json:
        say_json({"key": key.public, "written": str(path)})
        return
    click.echo(f"wrote {path}, readable by you alone")
    click.echo("Give these lines to whoever keeps people.toml:\n")
    click.echo(f'[{name}]\nname = ""\nmay = []\nkey = "{key.public}"')


def _change(path: Path, take_off: bool, as_json: bool) -> None:
    """Encrypt a key file anew, or leave it plain; its owner shows first that he can open it."""
    from fitup.record.keys import change_passphrase, has_passphrase

    if take_off and not has_passphrase(path):
        found, allowed = "a key without a passphrase", "one that has one"
        raise InputError([Problem(str(path), found, allowed, "nothing was done")])
    key = own_key(path)
    change_passphrase(path, key, "" if take_off else _passphrase(path))
    if as_json:
        say_json({"key": key.public, "written": str(path)})
        return
    said = "opens without a passphrase now" if take_off else "opens with the new passphrase only"
    click.echo(f"{path} {said}; the key is the same")
    if not take_off:
        click.echo("Copies made before still open as before: destroy them, or make a new key.")


def _passphrase(path: Path) -> str:
    said = ask_secretly(f"New passphrase of {path}", twice=True)
    if len(said) < SHORTEST:
        found, allowed = f"{len(said)} characters", f"at least {SHORTEST}"
        raise InputError([Problem("passphrase", found, allowed, "several words are best")])
    return said
