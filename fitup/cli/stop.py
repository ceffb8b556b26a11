"""``fitup stop``: write down that work was stopped."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.cli.recording import key_option, now, own_key, tell
from fitup.cli.text import job_argument, json_option


@click.command("stop")
@job_argument
@click.option("--why", required=True, help="What was seen or heard.")
@key_option
@json_option
def command(job: Path, why: str, key_file: Path, as_json: bool) -> None:
    """Write down that work was stopped, and why. Call it on the radio first.

    \b
    Example:
      fitup stop closure-k1 --why "dial at A-S1 runs backwards" --key ines.key
    """
    from fitup.record.acts import call_stop
    from fitup.record.store import Record

    key = own_key(key_file)
    with Record(job) as record:
        event = call_stop(record, key, now(), why)
    tell(job, event, as_json)
