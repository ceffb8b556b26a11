"""``fitup release``: release the hold point after a stage."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.cli.recording import key_option, now, own_key, tell
from fitup.cli.text import job_argument, json_option
from fitup.errors import InputError, Problem


@click.command("release")
@job_argument
@click.option("--plan", "code", help="Check code at the head of the sheet.")
@click.option(
    "--stage", type=click.IntRange(min=0), help="Its number; 0 is the lift-off. With --plan."
)
@click.option(
    "--stop", "entry", type=click.IntRange(min=1), help="Lift a STOP: the number of its entry."
)
@click.option(
    "--why", default="", help="The reason; always for a STOP, else where a stage is not GO ON."
)
@key_option
@json_option
def command(
    job: Path,
    code: str | None,
    stage: int | None,
    entry: int | None,
    why: str,
    key_file: Path,
    as_json: bool,
) -> None:
    """Release the hold point after a stage, or lift a STOP.

    A STOP is lifted by itself, with the reason; only then a hold point is released.

    \b
    Examples:
      fitup release closure-k1 --plan FYEP-NART-LLWCX --stage 1 --key ines.key
      fitup release closure-k1 --stop 12 --why "crane is back, dials read again"
    """
    from fitup.record.acts import lift_stop, release
    from fitup.record.check_code import read_code
    from fitup.record.contents import files_now
    from fitup.record.lookup import plan_of
    from fitup.record.store import Record

    whole = code is not None and stage is not None
    if whole == (entry is not None) or (code is None) != (stage is None):
        found, allowed = "neither one hold point nor one STOP", "--plan CODE --stage N, or --stop N"
        raise InputError([Problem("command line", found, allowed, "say what is released")])
    key = own_key(key_file)
    with Record(job) as record:
        if entry is not None:
            event = lift_stop(record, key, now(), entry, why)
        else:
            read = read_code(code or "", "--plan")
            present = files_now(job, plan_of(record, record.now(), read).inputs)
            event = release(record, key, now(), read, stage or 0, why, present)
    tell(job, event, as_json)
