"""``fitup accept``: accept a survey."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.cli.recording import key_option, now, own_key, tell
from fitup.cli.text import job_argument, json_option
from fitup.openjob import open_job


@click.command("accept")
@job_argument
@key_option
@json_option
def command(job: Path, key_file: Path, as_json: bool) -> None:
    """Accept the survey of a job; refused where the survey itself would be.

    \b
    Example:
      fitup accept closure-k1 --key ines.key
    """
    from fitup.record.acts import accept_survey
    from fitup.record.contents import job_files
    from fitup.record.store import Record

    key = own_key(key_file)
    with Record(job) as record:
        opened = open_job(job)
        files = job_files(job, opened.job)
        event = accept_survey(record, key, now(), files, opened.survey.understood)
    if not as_json:
        for line in opened.survey.understood:
            click.echo(line)
    tell(job, event, as_json)
