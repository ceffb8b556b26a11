"""``fitup reject``: reject a plan, with the reason."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.cli.recording import key_option, now, own_key, plan_option, tell
from fitup.cli.text import job_argument, json_option


@click.command("reject")
@job_argument
@plan_option
@click.option("--why", required=True, help="The reason.")
@key_option
@json_option
def command(job: Path, code: str, why: str, key_file: Path, as_json: bool) -> None:
    """Reject a plan, or take back its approval, with the reason.

    \b
    Example:
      fitup reject closure-k1 --plan FYEP-NART-LLWCX --why "pack at B-S1 too tall" --key ines.key
    """
    from fitup.record.acts import reject
    from fitup.record.check_code import read_code
    from fitup.record.store import Record

    key = own_key(key_file)
    with Record(job) as record:
        event = reject(record, key, now(), read_code(code, "--plan"), why)
    tell(job, event, as_json)
