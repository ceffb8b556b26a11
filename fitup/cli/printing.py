"""What is printed: a plan made now, or one of the record, and where it stands."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from fitup.certify import Certificate, certify
from fitup.cli.loading import Loaded, influence, load
from fitup.cli.plan import planned
from fitup.cli.readings import measured, staged_again
from fitup.cli.recording import caller, now
from fitup.cli.text import progress
from fitup.errors import InputError, Problem
from fitup.model import Plan
from fitup.record.acts import note_plan, note_sheets, plan_files, plan_of
from fitup.record.approval import OPEN, Standing, standing
from fitup.record.check_code import read_code
from fitup.record.contents import files_now, job_files, write_files
from fitup.record.events import APPROVED, PLAN_MADE, Event
from fitup.record.plans import FILE, read_plan
from fitup.record.store import Record, has_record
from fitup.sheets.write import write_documents


@dataclass(frozen=True, eq=False)
class Ready:
    """A certified plan with where it stands, and the record that is to know of its sheets."""

    loaded: Loaded
    plan: Plan
    certificate: Certificate
    stands: Standing
    record: Record | None
    entry: Event | None
    told: tuple[str, ...] = ()
    """What the lift-off says of each load, where it was read."""

    def write(self, files: Mapping[str, bytes], folder: Path) -> tuple[Path, ...]:
        """Write the sheets, and that they were printed: both or neither."""
        if self.record is None or self.entry is None:
            return write_documents(files, folder)
        with self.record.writing() as pen:
            note_sheets(self.record, pen, now(), caller(), self.entry, self.stands, files)
            return write_documents(files, folder)


def prepared(
    folder: Path, code: str | None, stack: ExitStack, readings: Path | None = None
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
    """
    wanted = None if code is None else read_code(code, "--plan")
    if not has_record(folder):
        if wanted:
            found, do = "no record in the job folder", "open one with: fitup people JOB"
            raise InputError([Problem("--plan", found, "a job with a record", do)])
        loaded = load(folder)
        if readings is not None:
            return _measured(folder, None, loaded, planned(loaded)[0], readings)
        return Ready(loaded, *planned(loaded), OPEN, None, None)
    record = stack.enter_context(Record(folder))
    events = record.whole()
    if wanted:
        return of_record(folder, record, plan_of(events, wanted), stack)
    loaded = load(folder)
    files = job_files(folder, loaded.job)
    approved = [e for e in events if e.kind == APPROVED]
    made = [e for e in events if e.kind == PLAN_MADE and approved and e.about == approved[-1].about]
    same = bool(made) and record.files(made[-1].inputs) == files
    if readings is not None:
        known = plan_files(record, events, made[-1])[FILE] if same else None
        plan = planned(loaded)[0] if known is None else read_plan(known)
        return _measured(folder, record, loaded, plan, readings)
    if same:
        return of_record(folder, record, made[-1], stack)
    plan, certificate = planned(loaded)
    entry = note_plan(record, now(), caller(), files, plan)
    return Ready(loaded, plan, certificate, _stands(folder, record, entry), record, entry)


def of_record(folder: Path, record: Record, entry: Event, stack: ExitStack) -> Ready:
    """Return a plan as it was made, from the files it was made from, certified once more."""
    files = plan_files(record, record.whole(), entry)
    plan = read_plan(files.pop(FILE))
    laid_out = Path(stack.enter_context(tempfile.TemporaryDirectory()))
    write_files(files, laid_out)
    loaded = load(laid_out)
    effect = influence(loaded)
    told: tuple[str, ...] = ()
    for name in sorted(set(files) - set(loaded.job.files)):
        # a plan made from a measured lift-off knows its table of readings as well
        if b"moment" in files[name].split(b"\n", 1)[0]:
            found = measured(loaded, effect, laid_out / name)
            loaded, effect, told = found.loaded, found.influence, found.told
    progress("certificate")
    certificate = certify(loaded.job, loaded.survey, loaded.state, effect, plan)
    stands = _stands(folder, record, entry)
    return Ready(loaded, plan, certificate, stands, record, entry, told)


def _measured(
    folder: Path, record: Record | None, loaded: Loaded, plan: Plan, readings: Path
) -> Ready:
    """Return a plan with its stages made again for the loads of a lift-off."""
    found = measured(loaded, influence(loaded), readings)
    again = staged_again(found, plan)
    progress("certificate")
    now_loaded = found.loaded
    certificate = certify(
        now_loaded.job, now_loaded.survey, now_loaded.state, found.influence, again
    )
    if record is None:
        return Ready(now_loaded, again, certificate, OPEN, None, None, found.told)
    if not readings.resolve().is_relative_to(folder.resolve()):
        allowed, do = "a file inside the job folder, which has a record", "copy it in"
        raise InputError([Problem("--readings", str(readings), allowed, do)])
    name = readings.resolve().relative_to(folder.resolve()).as_posix()
    files = {**job_files(folder, loaded.job), name: readings.read_bytes()}
    entry = note_plan(record, now(), caller(), files, again)
    stands = _stands(folder, record, entry)
    return Ready(now_loaded, again, certificate, stands, record, entry, found.told)


def _stands(folder: Path, record: Record, entry: Event) -> Standing:
    events = record.whole()
    present = files_now(folder, entry.inputs)
    return standing(record, events, record.people(events), entry.about, present)
