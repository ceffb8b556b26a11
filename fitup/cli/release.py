"""``fitup release``: release the hold point after a stage."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.cli.recording import key_option, now, plan_option, stage_option, tell
from fitup.cli.text import job_argument, json_option


@click.command("release")
@job_argument
@plan_option
@stage_option
@click.option(
    "--why", default="", help="The reason, where the stage was not GO ON or STOP was called."
)
@key_option
@json_option
def command(job: Path, code: str, stage: int, why: str, key_file: Path, as_json: bool) -> None:
    """Release the hold point after a stage.

    \b
    Example:
      fitup release closure-k1 --plan FYEP-NART-LLWCX --stage 1 --key ines.key
    """
    from fitup.record.acts import plan_of, release
    from fitup.record.check_code import read_code
    from fitup.record.contents import files_now
    from fitup.record.keys import read_key
    from fitup.record.store import Record

    key, code = read_key(key_file), read_code(code, "--plan")
    with Record(job) as record:
        present = files_now(job, plan_of(record, record.whole(), code).inputs)
        event = release(record, key, now(), code, stage, why, present)
    tell(job, event, as_json)
