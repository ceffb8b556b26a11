"""Where a plan stands: approved, rejected, void because something changed, or never decided."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from fitup.record.check_code import check_code
from fitup.record.contents import Files
from fitup.record.differences import changes
from fitup.record.events import APPROVED, REJECTED, Event
from fitup.record.people import People
from fitup.record.plans import FILE as PLAN
from fitup.record.store import Record

State = Literal["open", "approved", "rejected", "void"]
NOT_APPROVED: Final = "NOT APPROVED - for review"
#: how a state stands on every page, beside what else is said of it
WORDS: Mapping[State, str] = {
    "open": NOT_APPROVED,
    "approved": "APPROVED",
    "rejected": "REJECTED - do not use",
    "void": "APPROVAL VOID - do not use",
}


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a plan stands.

    Parameters
    ----------
    state : {'open', 'approved', 'rejected', 'void'}
    by, when : str
        Name of the person who decided and the time, empty while nobody has.
    entry : int
        The entry of the decision, 0 while there is none.
    why : tuple of str
        What changed since, or the reason of the rejection, a line each.
    """

    state: State = "open"
    by: str = ""
    when: str = ""
    entry: int = 0
    why: tuple[str, ...] = ()

    @property
    def status(self) -> str:
        """Return the words that stand on every page."""
        return WORDS[self.state]

    @property
    def note(self) -> str:
        """Return who decided and when, empty while nobody has."""
        if not self.entry:
            return ""
        return f"by {self.by}, {when_words(self.when)}, entry {self.entry} of the record"

    @property
    def good(self) -> bool:
        """True while work may be done by this plan."""
        return self.state == "approved"


#: of a plan nobody has decided on, and of every plan of a job without a record
OPEN: Final = Standing()


def when_words(when: str) -> str:
    """Return a time of the record for people: ``2031-04-02 04:10 UTC``."""
    return f"{when[:16].replace('T', ' ')} UTC"


def standing(
    record: Record, events: Sequence[Event], people: People, plan: str, now: Files
) -> Standing:
    """Return where a plan stands, against the files as they are now.

    Parameters
    ----------
    record : Record
        Where contents are looked up.
    events, people
        Of the record.
    plan : str
        Id of the plan.
    now : mapping of str to bytes
        The job's input files as they lie in the folder.
    """
    decided = [e for e in events if e.about == plan and e.kind in (APPROVED, REJECTED)]
    if not decided:
        return OPEN
    last = decided[-1]
    by = people[last.who].name if last.who in people else last.who
    if last.kind == REJECTED:
        return Standing("rejected", by, last.when, last.number, (str(last.says["why"]),))
    later = [e for e in events if e.kind == APPROVED and e.number > last.number]
    why: tuple[str, ...] = ()
    if later:
        code = check_code(later[-1].about)
        why = (f"plan {code} was approved in its place, entry {later[-1].number}",)
    why += since(record, last, now)
    return Standing("void" if why else "approved", by, last.when, last.number, why)


def since(record: Record, event: Event, now: Files) -> tuple[str, ...]:
    """Say what changed in the job's files since an entry was made from them."""
    then = record.files({p: h for p, h in event.inputs.items() if p != PLAN})
    return changes(then, now)
