"""What the commands of a recovery share: the plan that is worked by, and a recovery made again."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from fitup.cli.printing import approved_entry, of_record
from fitup.cli.text import progress
from fitup.errors import InputError, Problem
from fitup.model.recovery import Answer, Goal, Recovery, Stopped
from fitup.openjob import OpenJob, open_job
from fitup.record.approval import OPEN, Standing, standing
from fitup.record.check_code import read_code
from fitup.record.contents import Files, files_now
from fitup.record.events import PLAN_MADE, Event
from fitup.record.lookup import is_genuine, plan_of
from fitup.record.recoveries import (
    earlier_of,
    recovery_id,
    recovery_of,
    recovery_standing,
    require_same,
    stated_in,
)
from fitup.record.store import NotAllowed, Record, has_record
from fitup.recovery import stopped_at
from fitup.recovery.contingencies import Certified
from fitup.sheets.recovery import RecoverySheet


@dataclass(frozen=True, eq=False)
class WorkedBy:
    """The plan that is worked by, and the record that holds it, where there is one."""

    folder: Path
    opened: OpenJob
    record: Record | None = None
    entry: Event | None = None

    @property
    def files(self) -> Files:
        """The files of the job as they lie in the folder now."""
        return {} if self.entry is None else files_now(self.folder, self.entry.inputs)


def worked_by(folder: Path, code: str | None, stack: ExitStack) -> WorkedBy:
    """Return the plan that is worked by: of the record, where the job has one.

    Raises
    ------
    InputError
        If the record has no approved plan and none is named.
    """
    if not has_record(folder):
        if code is not None:
            found, do = "no record in the job folder", "leave --plan out"
            raise InputError([Problem("--plan", found, "a job with a record", do)])
        return WorkedBy(folder, open_job(folder, report=progress))
    record = stack.enter_context(Record(folder))
    events = record.whole()
    entry = approved_entry(record, events)
    if code is not None:
        entry = plan_of(record, events, read_code(code, "--plan"))
    if entry is None:
        found, do = "no approved plan in the record", "name one by the code on its sheets"
        raise InputError([Problem("--plan", found, "the plan that is worked by", do)])
    return _of_entry(folder, record, entry, stack)


def _of_entry(folder: Path, record: Record, entry: Event, stack: ExitStack) -> WorkedBy:
    opened = of_record(folder, record, entry, stack).opened
    return WorkedBy(folder, opened, record, entry)


def certified_of(by: WorkedBy) -> Certified:
    """Return the certified plan that is worked by, with all it was made from."""
    opened, planned = by.opened, by.opened.planned
    return Certified(
        opened.job,
        opened.survey,
        opened.state,
        planned.influence,
        planned.plan,
        planned.certificate,
    )


def stands_of(by: WorkedBy) -> Standing:
    """Return where the plan that is worked by stands in the record."""
    if by.record is None:
        return OPEN
    events, plan = by.record.whole(), by.opened.plan.id
    return standing(by.record, events.work, by.record.people(events), plan, by.files)


def made_again(
    folder: Path, record: Record, made: Event, stack: ExitStack
) -> tuple[WorkedBy, Answer, Recovery]:
    """Return a recovery of the record, made again from its plan and from what the crew said.

    Raises
    ------
    NotAllowed
        If nothing comes of that: nobody signs that a recovery was made.
    """
    plans = record.whole().of(PLAN_MADE, made.about)
    entry = next((e for e in reversed(plans) if is_genuine(record, e)), None)
    if entry is None:
        raise NotAllowed(f"entry {made.number} names a plan that is not in the record")
    stated, goal = stated_in(made)
    by = _of_entry(folder, record, entry, stack)
    answer = answered(by, stated, (goal,))
    recovery = answer.of(goal).recovery
    if recovery is None:
        raise NotAllowed(f"entry {made.number} holds a recovery that is no longer certified")
    require_same(made, recovery_id(made.about, recovery))
    return by, answer, recovery


def within(by: WorkedBy, code: str) -> str:
    """Return the id of the recovery in which a crew stopped, by the code on its sheet."""
    if by.record is None:
        found, do = "no record in the job folder", "say the line of the move sheet"
        raise InputError([Problem("--recovery", found, "a job with a record", do)])
    made = recovery_of(by.record.whole(), read_code(code, "--recovery"))
    return str(made.says["recovery"])


def answered(by: WorkedBy, stated: Stopped, goals: Sequence[Goal]) -> Answer:
    """Return what can be done from where a crew stopped, in the plan or in a recovery of it.

    Parameters
    ----------
    by : WorkedBy
    stated : Stopped
        What the crew says; ``within`` names the recovery whose line it is.
    goals : sequence of str
        Those that are tried.
    """
    opened = by.opened
    earlier: tuple[Recovery, ...] = ()
    if by.record is not None:
        earlier = earlier_of(by.record, by.record.whole(), opened.plan.id, stated)
    certificate = opened.certificate
    lines = (*certificate.procedures, *certificate.ways_back)
    stopped = stopped_at(opened.job, lines, stated, earlier[-1] if earlier else None)
    return opened.rescuer.answer(stopped, goals, earlier)


def sheet_of(
    by: WorkedBy, answer: Answer, recovery: Recovery, name: str, made: Event | None
) -> RecoverySheet:
    """Return the sheet of a recovery, its numbers confirmed, with where it stands.

    ``made`` is the entry in which it was made, None while there is none.
    """
    from fitup.certify import confirm
    from fitup.certify.facts import recovery_facts
    from fitup.sheets.recovery import recovery_sheet

    stands: Standing = OPEN
    if made is not None and by.record is not None:
        stands = recovery_standing(by.record, by.record.whole(), made, by.files)
    opened = by.opened
    sheet = recovery_sheet(
        opened.job,
        opened.survey,
        opened.plan,
        opened.certificate,
        answer.found,
        recovery,
        name,
        stands,
    )
    confirm(recovery_facts(opened.certificate, answer.found, recovery), sheet.printed())
    return sheet
