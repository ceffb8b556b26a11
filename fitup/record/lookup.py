"""Find entries: the plan of a code, its files and sheets. What nobody signed is not believed."""

from __future__ import annotations

from collections.abc import Sequence

from fitup.record.check_code import check_code, read_code
from fitup.record.connect import RecordBroken
from fitup.record.events import PLAN_MADE, SHEETS_PRINTED, Event
from fitup.record.history import History
from fitup.record.plans import content_id
from fitup.record.store import NotAllowed, Record


def plan_of(record: Record, events: History, code: str) -> Event:
    """Return the entry in which the plan of a check code was made.

    Nobody signs such an entry, so nothing that it says is believed: the code is that of the id,
    and the id is computed from the content.

    Parameters
    ----------
    record, events
    code : str
        As from :func:`fitup.record.check_code.read_code`.

    Returns
    -------
    Event
        The last one where there are several.

    Raises
    ------
    NotAllowed
        If there is none, or two plans bear that code.
    """
    made = events.of(PLAN_MADE)
    named = [e for e in made if check_code(e.about) == code]
    found = [e for e in named if is_genuine(record, e)]
    if named and not found:
        raise NotAllowed(f"{_planted(record, named[-1])}; plan again")
    if not found:
        genuine = next((e for e in reversed(made) if is_genuine(record, e)), None)
        latest = "none was made: fitup sheets JOB"
        if genuine is not None:
            latest = f"the latest is {check_code(genuine.about)}"
        raise NotAllowed(f"no plan {code} in the record; {latest}")
    require_one(found, [e.about for e in found], f"plans of code {code}")
    return found[-1]


def require_one(entries: Sequence[Event], ids: Sequence[str], what: str) -> None:
    """Refuse a code that stands for more than one thing: with much computing one can be made.

    Parameters
    ----------
    entries : sequence of Event
    ids : sequence of str
        What each is about: the whole hash.
    what : str
        What there is more than one of, with the code.

    Raises
    ------
    NotAllowed
        If the ids differ.
    """
    if len(set(ids)) > 1:
        numbers = ", ".join(str(e.number) for e in entries)
        raise NotAllowed(
            f"two {what} in the record, entries {numbers}: one was made to bear the code of the "
            "other. Stop, and take the job to another folder"
        )


def is_genuine(record: Record, made: Event) -> bool:
    """Say whether the content of an entry "plan made" is that of the plan it says.

    Parameters
    ----------
    record
    made : Event
        An entry "plan made"; ``about`` is the id that it says.
    """
    return _content_id(record, made) == made.about


def not_believed(record: Record, events: Sequence[Event]) -> tuple[str, ...]:
    """Name every entry "plan made" whose content is of another plan: somebody put it there.

    Parameters
    ----------
    record
    events : sequence of Event
        Of any kind.

    Returns
    -------
    tuple of str
        A line an entry, to be shown.
    """
    made = [e for e in events if e.kind == PLAN_MADE]
    return tuple(_planted(record, e) for e in made if not is_genuine(record, e))


def _content_id(record: Record, made: Event) -> str:
    try:
        files = files_of(record, made)
    except RecordBroken:
        return ""
    return content_id(files, str(made.says.get("readings", "")))


def _planted(record: Record, made: Event) -> str:
    own = _content_id(record, made)
    holds = f"plan {check_code(own)}" if own else "no plan"
    return (
        f"entry {made.number} says plan {check_code(made.about)}, but its content is {holds}: it "
        "was put there by somebody, or by another version of fitup, and counts for nothing"
    )


def plan_files(record: Record, events: History, plan: Event) -> dict[str, bytes]:
    """Return the files of a plan and ``plan.json``: where it was approved, those signed for.

    Parameters
    ----------
    record, events
    plan : Event
        In which it was made.
    """
    own = events.work.plan(plan.about)
    signed = own.decision if own.approved else None
    return files_of(record, plan) if signed is None else record.files(signed.inputs)


def sheets_of(events: History, plan: str) -> Event:
    """Return the entry in which the sheets of a plan were last printed.

    Parameters
    ----------
    events
    plan : str
        Its id.

    Raises
    ------
    NotAllowed
        If none were printed.
    """
    found = events.of(SHEETS_PRINTED, plan)
    if not found:
        raise NotAllowed(f"no sheets of plan {check_code(plan)} were printed: fitup sheets JOB")
    return found[-1]


def look_up(record: Record, events: History, name: str) -> Event:
    """Return the entry of a number, or the one in which the plan of a code was made.

    Parameters
    ----------
    record, events
    name : str
        Number of an entry, or check code of a plan, however it was typed.

    Raises
    ------
    NotAllowed
        If there is none.
    InputError
        If it is neither a number nor a check code.
    """
    if name.isdecimal():
        found = [e for e in events if e.number == int(name)]
        if not found:
            raise NotAllowed(f"no entry {name} in the record; the last is {len(events)}")
        return found[0]
    return plan_of(record, events, read_code(name, "ENTRY"))


def files_of(record: Record, plan: Event) -> dict[str, bytes]:
    """Return the files of an entry "plan made", the plan among them.

    Parameters
    ----------
    record
    plan : Event
        In which it was made.
    """
    return {**record.files(plan.inputs), **record.files(plan.outputs)}
