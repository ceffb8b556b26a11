"""``fitup approve``: approve a plan by the code on its sheets."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitup.cli.recording import key_option, now, own_key, tell
from fitup.cli.text import job_argument, json_option, progress
from fitup.errors import InputError, Problem
from fitup.model.identity import plan_hash

if TYPE_CHECKING:
    from fitup.cli.printing import Ready
    from fitup.record.store import Record


@click.command("approve")
@job_argument
@click.option("--plan", "code", help="Check code at the head of the sheet.")
@click.option("--recovery", help="Check code at the head of the sheet of a recovery.")
@click.option(
    "--contingencies",
    help="Check code of the contingencies that are approved with the plan; they are made again.",
)
@click.option("--why", default="", help="The reason, for a plan that was rejected or replaced.")
@key_option
@json_option
def command(
    job: Path,
    code: str | None,
    recovery: str | None,
    contingencies: str | None,
    why: str,
    key_file: Path,
    as_json: bool,
) -> None:
    """Approve a plan or a recovery, by the check code of the sheets that were read.

    Certified once more before it is signed, and the sheets that were printed must say what they
    say when they are made again: that is what is signed. Any change of the job's files, and sheets
    that say anything else, void the approval.

    With --contingencies the answers to what can fail are approved with the plan: all are made
    again, which takes as long as it took, and must come out the same.

    A recovery is made and certified again from what the crew said, and must come out the same. It
    may be approved while a STOP stands, and lifts none.

    \b
    Examples:
      fitup approve closure-k1 --plan FYEP-NART-LLWCX --key ines.key
      fitup approve closure-k1 --plan FYEP-NART-LLWCX --contingencies PYCA-WTKC-ARHNA
      fitup approve closure-k1 --recovery FYEP-NART-LLWCX --key ines.key
    """
    if (code is None) == (recovery is None):
        found, allowed = "neither or both", "--plan CODE or --recovery CODE"
        raise InputError([Problem("command line", found, allowed, "say what is approved")])
    if recovery is not None and contingencies is not None:
        found, allowed = "--contingencies beside --recovery", "--contingencies with --plan"
        raise InputError([Problem("command line", found, allowed, "leave one of them out")])
    if recovery is not None:
        _approve_recovery(job, recovery, key_file, as_json)
        return
    from fitup.cli.printing import of_record, signed_of
    from fitup.record.acts import LIST, approve, require_unchanged
    from fitup.record.check_code import read_code, spoken
    from fitup.record.contents import files_now
    from fitup.record.events import APPROVED
    from fitup.record.lookup import plan_of, sheets_of
    from fitup.record.printed import content_of
    from fitup.record.store import NotAllowed, Record, signer

    key, code = own_key(key_file), read_code(code or "", "--plan")
    with Record(job) as record, ExitStack() as stack:
        events = record.whole()
        # refused before the long work
        signer(record.people(events), APPROVED, key)
        before = events.work.approved
        entry = plan_of(record, events, code)
        files = files_now(job, entry.inputs)
        require_unchanged(record, entry, files)
        ready = of_record(job, record, entry, stack)
        if plan_hash(ready.opened.job.digest, ready.opened.plan) != entry.about:
            raise NotAllowed(f"entry {entry.number} holds another plan than it says; plan again")
        if not ready.inside:
            raise NotAllowed(f"plan {code} leaves a check outside its tolerance")
        printed = sheets_of(events, entry.about)
        signed = signed_of(ready)
        if content_of(record.content(printed.outputs.get(LIST, "")) or b"") != signed.content:
            found = f"the sheets of entry {printed.number} do not say what the plan says"
            raise NotAllowed(f"{found}; print them again and read those")
        if contingencies is not None:
            signed = replace(signed, contingencies=_made_again(record, ready, contingencies))
        event = approve(record, key, now(), code, files, signed, why)
    tell(job, event, as_json)
    if not as_json:
        click.echo(f"Approved: {code} ({spoken(code)}). Print it: fitup sheets {job}")
        if before is not None and before.contingencies and not event.says["contingencies"]:
            click.echo(
                f"Without contingencies: those approved before are of plan {before.code}. Make "
                f"them anew: fitup contingencies {job} --plan {code} --to FOLDER"
            )


def _made_again(record: Record, ready: Ready, typed: str) -> str:
    """Return the id of contingencies, all their answers made again from the plan.

    Raises
    ------
    NotAllowed
        If nothing of that code was made, or another comes of it: nobody signs that entry.
    """
    from fitup.cli.contingencies import workers_of
    from fitup.cli.recovering import WorkedBy, certified_of
    from fitup.record.check_code import check_code, read_code
    from fitup.record.contingencies import contingencies_id
    from fitup.record.events import CONTINGENCIES_MADE
    from fitup.record.store import NotAllowed
    from fitup.recovery.contingencies import contingencies

    code, plan = read_code(typed, "--contingencies"), ready.opened.plan.id
    made = record.now().of(CONTINGENCIES_MADE, plan)
    known = {str(e.says.get("contingencies", "")) for e in made}
    if code not in {check_code(name) for name in known}:
        do = "make them: fitup contingencies JOB --plan CODE --to FOLDER"
        raise NotAllowed(f"no contingencies {code} of this plan in the record; {do}")
    progress("what can fail, line by line, once more")
    certified = certified_of(WorkedBy(record.folder, ready.opened))
    name = contingencies_id(plan, contingencies(certified, workers_of(None)))
    if check_code(name) != code or name not in known:
        raise NotAllowed(f"contingencies {code} come out as {check_code(name)} when made again")
    return name


def _approve_recovery(job: Path, code: str, key_file: Path, as_json: bool) -> None:
    """Approve a way out of a stage that stopped."""
    from fitup.cli.recovering import made_again
    from fitup.record.check_code import read_code, spoken
    from fitup.record.events import RECOVERY_APPROVED
    from fitup.record.recoveries import approve_recovery, recovery_of
    from fitup.record.store import Record, signer

    key, code = own_key(key_file), read_code(code, "--recovery")
    with Record(job) as record, ExitStack() as stack:
        events = record.whole()
        signer(record.people(events), RECOVERY_APPROVED, key)
        made = recovery_of(events, code)
        by, _, recovery = made_again(job, record, made, stack)
        event = approve_recovery(record, key, now(), made, recovery, by.files)
    tell(job, event, as_json)
    if not as_json:
        again = f"fitup recover {job} --recovery {code} --to FOLDER"
        click.echo(f"Approved: recovery {code} ({spoken(code)}). Print it: {again}")
