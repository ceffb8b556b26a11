"""``fitup approve``: approve a plan by the code on its sheets."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.cli.recording import key_option, now, plan_option, tell
from fitup.cli.text import job_argument, json_option, progress
from fitup.openjob import open_job


@click.command("approve")
@job_argument
@plan_option
@click.option("--why", default="", help="The reason, where STOP was called.")
@key_option
@json_option
def command(job: Path, code: str, why: str, key_file: Path, as_json: bool) -> None:
    """Approve a plan, by the check code of the sheets that were read.

    Certified once more before it is signed. Any change of the job's files voids the approval.

    \b
    Example:
      fitup approve closure-k1 --plan FYEP-NARK --key ines.key
    """
    from fitup.plan.plan import plan_id
    from fitup.record.acts import approve, plan_of
    from fitup.record.check_code import read_code, spoken
    from fitup.record.contents import job_files
    from fitup.record.keys import read_key
    from fitup.record.plans import FILE, read_plan
    from fitup.record.store import NotAllowed, Record

    key, code = read_key(key_file), read_code(code, "--plan")
    with Record(job) as record:
        entry = plan_of(record.whole(), code)
        opened = open_job(job, report=progress)
        files = job_files(job, opened.job)
        plan = read_plan(record.files(entry.outputs)[FILE])
        if record.files(entry.inputs) == files:
            if plan_id(opened.job, plan) != entry.about:
                raise NotAllowed(
                    f"entry {entry.number} holds another plan than it says; plan again"
                )
            opened.with_plan(plan)
        event = approve(record, key, now(), code, files, why)
    tell(job, event, as_json)
    if not as_json:
        click.echo(f"Approved: {code} ({spoken(code)}). Print it: fitup sheets {job}")
