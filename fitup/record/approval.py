"""Where a plan stands: approved, stopped, rejected, void because something changed, or open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

from fitup.record.check_code import check_code
from fitup.record.contents import Files
from fitup.record.differences import changes
from fitup.record.events import REJECTED, Event
from fitup.record.people import People
from fitup.record.plans import FILE as PLAN
from fitup.record.store import Record
from fitup.record.work_state import PlanWork, WorkState

State = Literal["open", "approved", "stopped", "rejected", "void"]
NOT_APPROVED: Final = "NOT APPROVED - for review"
#: how a state stands on every page, beside what else is said of it
WORDS: Mapping[State, str] = {
    "open": NOT_APPROVED,
    "approved": "APPROVED",
    "stopped": "STOPPED - do not go on",
    "rejected": "REJECTED - do not use",
    "void": "APPROVAL VOID - do not use",
}


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a plan stands.

    Parameters
    ----------
    state : {'open', 'approved', 'stopped', 'rejected', 'void'}
        ``stopped`` is approved, while a STOP stands.
    by, when : str
        Name of the person who decided and the time, empty while nobody has.
    entry : int
        The entry of the decision, 0 while there is none.
    why : tuple of str
        Every STOP that stands, what changed since, or the reason of the rejection, a line each.
    key : str
        Fingerprint of the key that signed the decision.
    head : str
        The record when this was asked: number and code of its last entry; empty without a record.
    contingencies : str
        Check code of the answers to failures that were approved with it; empty without any.
    """

    state: State = "open"
    by: str = ""
    when: str = ""
    entry: int = 0
    why: tuple[str, ...] = ()
    key: str = ""
    head: str = ""
    contingencies: str = ""

    @property
    def status(self) -> str:
        """Return the words that stand on every page."""
        return WORDS[self.state]

    @property
    def note(self) -> str:
        """Return who decided, by which key and when; empty while nobody has."""
        if not self.entry:
            return ""
        key = f" (key {self.key})" if self.key else ""
        said = f"by {self.by}{key}, {when_words(self.when)}, entry {self.entry} of the record"
        return f"{said}, with contingencies {self.contingencies}" if self.contingencies else said

    @property
    def good(self) -> bool:
        """True while work may be done by this plan."""
        return self.state == "approved"

    def void(self, why: str) -> Standing:
        """Return it as void for one more reason."""
        return replace(self, state="void", why=(*self.why, why))


#: of a plan nobody has decided on, and of every plan of a job without a record
OPEN: Final = Standing()


def when_words(when: str) -> str:
    """Return a time of the record for people: ``2031-04-02 04:10 UTC``."""
    return f"{when[:16].replace('T', ' ')} UTC"


def standing(record: Record, work: WorkState, people: People, plan: str, now: Files) -> Standing:
    """Return where a plan stands, by the state of the work and the files as they are now.

    Parameters
    ----------
    record : Record
        Where contents are looked up.
    work, people
        Of the record.
    plan : str
        Id of the plan.
    now : mapping of str to bytes
        The job's input files as they lie in the folder.
    """
    own, stops = work.plan(plan), work.stop_words
    head = f"entry {work.entry}, {work.code}"
    last = own.decision
    if last is None:
        return Standing(why=stops, head=head)
    person = people.get(last.who)
    made = Standing(
        by=last.who if person is None else person.name,
        when=last.when,
        entry=last.number,
        key="" if person is None else person.fingerprint,
        head=head,
        contingencies=check_code(own.contingencies) if own.contingencies else "",
    )
    if last.kind == REJECTED:
        return replace(made, state="rejected", why=(*stops, str(last.says["why"])))
    changed = (*_superseded(work, own), *since(record, last, now))
    state: State = "void" if changed else "stopped" if stops else "approved"
    return replace(made, state=state, why=(*stops, *changed))


def _superseded(work: WorkState, own: PlanWork) -> tuple[str, ...]:
    """Say which other plan is in the place of an approved one."""
    last = work.approval
    if last is not None and last.about != own.id:
        return (f"plan {check_code(last.about)} was approved in its place, entry {last.number}",)
    if own.rebased:
        return (
            f"the lift-off was measured and planned again, entry {own.rebased}: work by that plan "
            "once it is approved",
        )
    return ()


def since(record: Record, event: Event, now: Files) -> tuple[str, ...]:
    """Say what changed in the job's files since an entry was made from them.

    Parameters
    ----------
    record
    event : Event
        Its inputs are what was there then.
    now : mapping of str to bytes
        The job's input files as they lie in the folder.

    Returns
    -------
    tuple of str
        A line a change, as from :func:`fitup.record.differences.changes`; empty where none is.
    """
    then = record.files({p: h for p, h in event.inputs.items() if p != PLAN})
    return changes(then, now)
