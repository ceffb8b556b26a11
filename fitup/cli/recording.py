"""What the commands of the record share: the key, the clock, who calls, how an entry is stated."""

from __future__ import annotations

import getpass
import os
import warnings
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitup.cli.text import say_json
from fitup.errors import InputError, Problem
from fitup.record.witness import VARIABLE

if TYPE_CHECKING:
    from fitup.record import Event
    from fitup.record.keys import Key

_key_option = click.option(
    "--key",
    "key_file",
    type=click.Path(path_type=Path, dir_okay=False, readable=False),
    envvar="FITUP_KEY",
    required=True,
    help="Your key file; FITUP_KEY when not given.",
)


def _witness(_: click.Context, __: click.Parameter, value: Path | None) -> None:
    if value is not None:
        os.environ[VARIABLE] = str(value)


witness_option = click.option(
    "--witness",
    type=click.Path(path_type=Path, dir_okay=False, readable=False),
    expose_value=False,
    callback=_witness,
    help="File kept elsewhere that notes what the record holds; FITUP_WITNESS, or one in your "
    "home folder, when not given.",
)


def key_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Ask for the key of whoever signs, and for a witness beside the one of every user."""
    return witness_option(_key_option(command))


def own_key(path: Path) -> Key:
    """Return the key of whoever signs; its passphrase is asked for on the terminal, unseen."""
    from fitup.record.keys import read_key

    return read_key(path, lambda own: ask_secretly(f"Passphrase of {own}"))


def ask_secretly(question: str, *, twice: bool = False) -> str:
    """Ask on the terminal for what is not shown while it is typed.

    Raises
    ------
    InputError
        If there is no terminal, or it cannot be kept from showing what is typed.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", getpass.GetPassWarning)
            said = click.prompt(question, hide_input=True, err=True, confirmation_prompt=twice)
    except getpass.GetPassWarning:
        found, allowed = "no terminal to ask for it on", "a terminal that can hide what is typed"
        raise InputError([Problem("passphrase", found, allowed, "run it in one")]) from None
    return str(said)


plan_option = click.option(
    "--plan", "code", required=True, help="Check code at the head of the sheet."
)


def now() -> str:
    """Return the time of this machine, UTC."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def caller() -> str:
    """Return who is logged in here; only a hint, for entries that nobody signs."""
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return ""


def tell(folder: Path, event: Event, as_json: bool, **more: Any) -> None:
    """Print an entry that was just made, and the code of the record with it."""
    from fitup.record import check_code
    from fitup.record.chain import went_back
    from fitup.record.store import Record

    code = check_code(event.hash)
    if as_json:
        say_json({"entry": entry_json(event), "record_code": code, **more})
        return
    click.echo(f"Entry {event.number}: {event.kind}, {event.when}. Record code {code}.")
    with Record(folder) as record:
        earlier = record.written(event.number - 1)
    back = "" if earlier is None else went_back(earlier.when, event.when)
    if back:
        click.echo(f"CHECK THE CLOCK: this entry bears a time {back} before the last one.")


def entry_json(event: Event) -> dict[str, Any]:
    """Return an entry with documented keys (docs/json.md)."""
    return {
        "number": event.number,
        "kind": event.kind,
        "when": event.when,
        "who": event.who,
        "about": event.about,
        "inputs": dict(event.inputs),
        "outputs": dict(event.outputs),
        "says": dict(event.says),
        "before": event.before,
        "signature": event.signature,
        "hash": event.hash,
    }
