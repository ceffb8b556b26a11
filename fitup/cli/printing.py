"""What is printed: a plan made now, or one of the record, and where it stands."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path

from fitup.cli.giving import with_given
from fitup.cli.recording import caller, now
from fitup.cli.text import progress
from fitup.errors import InputError, Problem
from fitup.jobfolder.done import read_done, require_down
from fitup.model import Plan
from fitup.openjob import OpenJob, open_job
from fitup.record.acts import note_plan, note_sheets
from fitup.record.approval import OPEN, Standing, since, standing
from fitup.record.check_code import check_code, read_code
from fitup.record.contents import files_now, job_files, write_files
from fitup.record.events import PLAN_MADE, Event
from fitup.record.history import History
from fitup.record.lookup import is_genuine, plan_files, plan_of
from fitup.record.plans import FILE, read_plan
from fitup.record.printed import Signed, content_of
from fitup.record.store import Record, has_record
from fitup.sheets.write import write_documents


@dataclass(frozen=True, eq=False)
class Ready:
    """A certified plan with where it stands, and the record that is to know of its sheets."""

    opened: OpenJob
    """With the plan that is to be printed."""
    stands: Standing
    record: Record | None
    entry: Event | None
    stated: tuple[str, ...] = ()
    """What the lift-off says of each load, where it was read."""

    @property
    def inside(self) -> bool:
        """Every check inside its tolerance; what a plan says of itself is not believed alone."""
        return self.opened.plan.inside and self.opened.certificate.inside

    def held_to_approval(self, listed: bytes) -> Ready:
        """Return it as void where its sheets say anything else than those that were approved."""
        if self.record is None or self.stands.state not in ("approved", "stopped"):
            return self
        approval = self.record.now().work.plan(self.opened.plan.id).decision
        if approval is None or content_of(listed) == approval.says.get("content"):
            return self
        why = f"these sheets say other than those approved in entry {approval.number}"
        return replace(self, stands=self.stands.void(f"{why}: approve them again"))

    def write(self, files: Mapping[str, bytes], folder: Path) -> tuple[Path, ...]:
        """Write the sheets, and that they were printed: both or neither.

        Sheets of a record that may only be read are those of an entry it holds; that they were
        printed once more cannot be written down.
        """
        if self.record is None or self.entry is None:
            return write_documents(files, folder)
        if not self.record.may_write:
            progress("the record may only be read: that these were printed is not in it")
            return write_documents(files, folder)
        with self.record.writing() as pen:
            note_sheets(self.record, pen, now(), caller(), self.entry, self.stands, files)
            return write_documents(files, folder)


def prepared(
    folder: Path,
    code: str | None,
    stack: ExitStack,
    readings: Path | None = None,
    give: tuple[str, ...] = (),
) -> Ready:
    """Return what is to be printed of a job.

    Parameters
    ----------
    folder : Path
        The job folder.
    code : str, optional
        Check code of a plan in the record; else the approved plan while nothing has changed, or
        a new one.
    stack : ExitStack
        Closes the record, and removes what was laid out, when the sheets are written.
    readings : Path, optional
        Lift-off as read: the same packs, stages made for the loads measured.
    give : tuple of str
        Packs asked for, ``SEAT=PACK``; then the plan is a new one.
    """
    if give and (code is not None or readings is not None):
        allowed, do = "--give without --plan and --readings", "leave one of them out"
        raise InputError([Problem("command line", repr(give[0]), allowed, do, None, "--give")])
    wanted = None if code is None else read_code(code, "--plan")
    if not has_record(folder):
        if wanted:
            found, do = "no record in the job folder", "open one with: fitup people JOB"
            raise InputError([Problem("--plan", found, "a job with a record", do)])
        opened = with_given(open_job(folder, report=progress), give)
        if readings is not None:
            return _measured(folder, None, opened, opened.plan, readings)
        return Ready(opened, OPEN, None, None)
    record = stack.enter_context(Record(folder))
    events = record.now()
    if wanted:
        return of_record(folder, record, plan_of(record, events, wanted), stack)
    opened = with_given(open_job(folder, report=progress), give)
    files = job_files(folder, opened.job)
    approved = approved_entry(record, events)
    changed = () if approved is None else _since(folder, record, approved)
    if readings is not None:
        same = approved is not None and not changed
        plan = _known(record, events, approved) if same else opened.plan
        return _measured(folder, record, opened, plan, readings)
    if approved is not None and not changed and not give:
        return of_record(folder, record, approved, stack)
    entry = note_plan(record, now(), caller(), files, opened.plan)
    stands = _stands(folder, record, entry)
    if changed and approved is not None and stands.state == "open":
        # whoever works by the sheets that were approved must see that they no longer hold
        code = check_code(approved.about)
        void = (f"plan {code}, approved before, is void:", *changed)
        stands = replace(stands, why=(*stands.why, *void))
    return Ready(opened, stands, record, entry)


def approved_entry(record: Record, events: History) -> Event | None:
    """Return the entry of the plan that was approved last and not rejected since."""
    plan = events.work.approved
    made = () if plan is None else events.of(PLAN_MADE, plan.id)
    return next((e for e in reversed(made) if is_genuine(record, e)), None)


def _since(folder: Path, record: Record, approved: Event) -> tuple[str, ...]:
    """Say what changed since a plan was made, the lift-off it was made from beside the rest."""
    return since(record, approved, files_now(folder, approved.inputs))


def _known(record: Record, events: History, entry: Event | None) -> Plan:
    assert entry is not None
    return read_plan(plan_files(record, events, entry)[FILE])


def of_record(folder: Path, record: Record, entry: Event, stack: ExitStack) -> Ready:
    """Return a plan as it was made, from the files it was made from, certified once more."""
    files = plan_files(record, record.now(), entry)
    plan = read_plan(files.pop(FILE))
    readings = str(entry.says.get("readings", ""))
    laid_out = Path(stack.enter_context(tempfile.TemporaryDirectory()))
    write_files(files, laid_out)
    opened = open_job(laid_out, report=progress)
    stated: tuple[str, ...] = ()
    if readings:
        opened, stated = with_lift_off(opened, laid_out / readings)
    stands = _stands(folder, record, entry)
    return Ready(opened.with_plan(plan), stands, record, entry, stated)


def _measured(
    folder: Path, record: Record | None, opened: OpenJob, plan: Plan, readings: Path
) -> Ready:
    """Return a plan with its stages made again for the loads of a lift-off."""
    from fitup.plan.restage import restage

    now_open, stated = with_lift_off(opened, readings)
    again = restage(now_open.job, now_open.state, now_open.influence, plan, progress)
    now_open = now_open.with_plan(again)
    if record is None:
        return Ready(now_open, OPEN, None, None, stated)
    if not readings.resolve().is_relative_to(folder.resolve()):
        allowed, do = "a file inside the job folder, which has a record", "copy it in"
        raise InputError([Problem("--readings", str(readings), allowed, do)])
    name = readings.resolve().relative_to(folder.resolve()).as_posix()
    files = {**job_files(folder, opened.job), name: readings.read_bytes()}
    entry = note_plan(record, now(), caller(), files, again, name)
    return Ready(now_open, _stands(folder, record, entry), record, entry, stated)


def with_lift_off(opened: OpenJob, file: Path) -> tuple[OpenJob, tuple[str, ...]]:
    """Put the loads read at the lift-off into an opened job; return what each reading says too.

    Raises
    ------
    InputError
        If the readings cannot be used, or hold no lift-off.
    """
    from fitup.plan.restage import rebase_job

    done = read_done(file, str(file), opened.job)
    require_down(done, str(file))
    if not any(row.moment == "lift-off" and row.load is not None for row in done):
        raise InputError(
            [
                Problem(
                    str(file),
                    "no load or pressure of the moment lift-off",
                    "a row for each jack, as in lift-off.csv beside the sheets",
                    "write the readings down",
                    column="moment",
                )
            ]
        )
    if opened.influence.origin == "frame":
        raise InputError(
            [
                Problem(
                    str(file),
                    "a lift-off of a job with a frame",
                    "a job of rigid segments or with an influence table",
                    "put the measured loads into the frame, and plan again",
                )
            ]
        )
    now = rebase_job(opened.job, opened.influence, done, file.read_bytes())
    stated = now.lines()
    survey = replace(opened.survey, understood=(*opened.survey.understood, *stated))
    return opened.changed(now.job, survey=survey, influence=now.influence), stated


def _stands(folder: Path, record: Record, entry: Event) -> Standing:
    events = record.now()
    present = files_now(folder, entry.inputs)
    return standing(record, events.work, record.people(events), entry.about, present)


def signed_of(ready: Ready) -> Signed:
    """Return what is signed of a plan: what its sheets say, made again, and what they ask for."""
    from fitup.sheets.table_files import json_bytes

    certificate = ready.opened.certificate
    sheets, _ = ready.opened.sheets()
    unmeasured = {f.jack for f in certificate.lift_offs if not f.measured}
    lift_off: dict[str, list[str]] = {}
    for stage in certificate.stages:
        # a group is lifted off before its first stage
        first = [j.jack for j in stage.jacks if j.jack in unmeasured]
        unmeasured -= set(first)
        if first:
            lift_off.setdefault(str(stage.number), []).extend(first)
    stages = max((s.number for s in certificate.stages), default=0)
    return Signed(content_of(json_bytes(sheets, ())), stages, lift_off)
