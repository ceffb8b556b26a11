"""Ways out of a stage in the record: made from what the crew says, approved by code, carried out.

A recovery is known by a hash over its plan and everything it says: what is true where work
stopped, every event with its readings and bands. Nobody signs that it was made, so nothing of that
entry is believed: whoever approves makes it again from what the crew said.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from fitup.model.recovery import GOALS, Goal, Recovery, Stopped
from fitup.record.approval import Standing, standing
from fitup.record.asdone import Judgement
from fitup.record.canonical import canonical, read_json
from fitup.record.check_code import check_code
from fitup.record.contents import Files
from fitup.record.events import RECOVERY_APPROVED, RECOVERY_DONE, RECOVERY_MADE, Event
from fitup.record.history import History
from fitup.record.keys import Key
from fitup.record.lookup import require_one
from fitup.record.plans import plain, read_as
from fitup.record.store import NotAllowed, Pen, Record

#: what a recovery says, kept beside its sheet
FILE: Final = "recovery.json"


def recovery_bytes(plan: str, recovery: Recovery) -> bytes:
    """Return all that a recovery of a plan says, as canonical JSON.

    Parameters
    ----------
    plan : str
        Id of the plan that it belongs to.
    recovery
    """
    return canonical({"plan": plan, "recovery": plain(recovery)})


def recovery_id(plan: str, recovery: Recovery) -> str:
    """Return the id of a recovery: a hash over its plan and all it says.

    Parameters
    ----------
    plan : str
        Id of the plan that it belongs to.
    recovery

    Returns
    -------
    str
        SHA-256 in hexadecimal figures.
    """
    return hashlib.sha256(recovery_bytes(plan, recovery)).hexdigest()


def stated_in(made: Event) -> tuple[Stopped, Goal]:
    """Return what the crew said, and the goal, of an entry "recovery made".

    Raises
    ------
    NotAllowed
        If it cannot be read: nobody signs such an entry.
    """
    try:
        stopped: Stopped = read_as(Stopped, made.says["stated"])
        goal = next(g for g in GOALS if g == made.says["goal"])
        if not all(isinstance(n, int) for n in (stopped.line, stopped.stage, stopped.crew)):
            raise TypeError("a line, a stage and a crew are numbers")
        if not isinstance(stopped.within, str):
            raise TypeError("a recovery is named by its id")
    except (ValueError, TypeError, KeyError, AttributeError, StopIteration):
        raise NotAllowed(f"entry {made.number} holds no recovery that can be read") from None
    return stopped, goal


def note_recovery(
    pen: Pen, when: str, who: str, plan: str, recovery: Recovery, outputs: Files
) -> Event:
    """Write down a recovery with its sheet.

    Parameters
    ----------
    pen
    when : str
        UTC, ``2031-04-02T04:10:09Z``.
    who : str
        Who called the program: nobody signs.
    plan : str
        Id of the plan that it belongs to.
    recovery
    outputs : mapping of str to bytes
        Its sheet, by file name.
    """
    name, stopped = recovery_id(plan, recovery), recovery.stopped
    return pen.append(
        RECOVERY_MADE,
        when,
        who=who,
        about=plan,
        outputs={**outputs, FILE: recovery_bytes(plan, recovery)},
        says={
            "recovery": name,
            "code": check_code(name),
            "stage": stopped.stage,
            "crew": stopped.crew,
            "goal": recovery.goal,
            "stated": plain(stopped),
        },
    )


def recovery_of(events: History, code: str) -> Event:
    """Return the entry in which the recovery of a check code was made.

    Parameters
    ----------
    events
    code : str
        As from :func:`fitup.record.check_code.read_code`.

    Returns
    -------
    Event
        The last one where there are several.

    Raises
    ------
    NotAllowed
        If there is none, or two recoveries bear that code.
    """
    made = events.of(RECOVERY_MADE)
    found = [e for e in made if _code_of(e) == code]
    require_one(found, [str(e.says["recovery"]) for e in found], f"recoveries of code {code}")
    if not found:
        raise NotAllowed(f"no recovery {code} in the record; make one: fitup recover JOB --to")
    return found[-1]


def require_same(made: Event, remade: str) -> None:
    """Refuse a recovery that says anything else when it is made again: nobody signs its entry.

    Parameters
    ----------
    made : Event
        In which it was made.
    remade : str
        Its id, computed anew from the plan and what the crew said.

    Raises
    ------
    NotAllowed
        If it is another.
    """
    if remade != made.says["recovery"]:
        said, code = _code_of(made), check_code(remade)
        raise NotAllowed(f"entry {made.number} says recovery {said}; made again it is {code}")


def recovery_standing(record: Record, events: History, made: Event, now: Files) -> Standing:
    """Return where a recovery stands, for its sheet.

    Void with its plan, where a later one of the crew is approved, and when its stage is reported
    whole. A STOP that stood before it was approved does not stop it: it is the way out of that.

    Parameters
    ----------
    record, events
    made : Event
        In which it was made.
    now : mapping of str to bytes
        The job's input files as they lie in the folder.
    """
    work = events.work
    own = work.recoveries.get(str(made.says["recovery"]))
    plan = made.about if own is None else own.plan
    stands = standing(record, work, record.people(events), plan, now)
    if own is None or own.approved is None:
        return Standing(why=stands.why, head=stands.head)
    approved = own.approved
    person = record.people(events).get(approved.who)
    mine = replace(
        stands,
        state="approved",
        by=approved.who if person is None else person.name,
        when=approved.when,
        entry=approved.number,
        key="" if person is None else person.fingerprint,
    )
    if stands.state not in ("approved", "stopped"):
        return mine.void(f"plan {check_code(plan)}: {stands.status}")
    last = work.recovery(own.plan, own.stage, own.crew)
    if last is not None and last.id != own.id:
        return mine.void(f"recovery {last.code} of the same crew came after it")
    if own.done:
        return mine.void(f"it was carried out, entry {own.done}")
    stage = work.plan(plan).stage(own.stage)
    # another crew may report its half while this one is still on its way
    if stage.released or (stage.open and not stage.missing):
        return mine.void(f"{stage.name} is reported as done: there is nothing to recover")
    later = work.stops_since(approved.number)
    return replace(mine, state="stopped", why=later) if later else mine


def approve_recovery(
    record: Record, key: Key, when: str, made: Event, recovery: Recovery, now: Files
) -> Event:
    """Approve a recovery, by what it says when it is made again.

    Parameters
    ----------
    made : Event
        In which it was made.
    recovery
        Made anew from the plan and what the crew said.
    now : mapping of str to bytes
        The files of the job as they lie in the folder.

    Raises
    ------
    NotAllowed
        If it is another, its plan is not approved, or its stage is reported.
    """
    with record.writing() as pen:
        remade = recovery_id(made.about, recovery)
        require_same(made, remade)
        stands = standing(record, pen.work, record.people(pen.events), made.about, now)
        if stands.state not in ("approved", "stopped"):
            raise NotAllowed(f"plan {check_code(made.about)} is not approved: {stands.status}")
        stage = pen.work.plan(made.about).stage(recovery.stopped.stage)
        if stage.open or stage.released:
            raise NotAllowed(f"{stage.name} is reported as done: there is nothing to recover")
        own = pen.work.recoveries.get(remade)
        if own is not None and own.approved is not None and not own.done:
            raise NotAllowed(f"recovery {check_code(remade)} is approved already")
        says = _says(remade, recovery.stopped, recovery.goal)
        return pen.append(RECOVERY_APPROVED, when, key=key, about=made.about, says=says)


def report_recovery(
    record: Record,
    key: Key,
    when: str,
    made: Event,
    now: Files,
    judged: Judgement,
    of: Sequence[str],
    form: Files | None = None,
    doubts: tuple[str, ...] = (),
) -> Event:
    """Write down a recovery as carried out, even where it should not have been.

    Parameters
    ----------
    record, key
    when : str
        UTC, ``2031-04-02T04:10:09Z``.
    made : Event
        In which it was made.
    now : mapping of str to bytes
        The job's input files as they lie in the folder.
    judged : Judgement
        What was read, against the bands of its sheet.
    of : sequence of str
        Jacks and seats of the crew.
    form : mapping of str to bytes, optional
        The file it was read from.
    doubts : tuple of str
        Why the form itself is not to be believed.

    Returns
    -------
    Event
        Its ``against`` says why it should not have been carried out; empty where all was well.
    """
    with record.writing() as pen:
        stands = recovery_standing(record, pen.events, made, now)
        name = str(made.says["recovery"])
        own = pen.work.recoveries.get(name)
        # what was read of it before is a STOP, but no reason against reporting the rest
        before = () if own is None else pen.work.stops_of(own)
        other = tuple(line for line in stands.why if line not in before)
        stopped_by_itself = stands.state == "stopped" and not other
        against = () if stands.good or stopped_by_itself else (stands.status, *other)
        judged = judged.stopped((*doubts, *against))
        signed = None if own is None else own.approved
        # what was approved says whose it is; without that only the crew does
        says = _says(name, *stated_in(made)) if signed is None else dict(signed.says)
        return pen.append(
            RECOVERY_DONE,
            when,
            key=key,
            about=made.about if signed is None else signed.about,
            inputs=form or {},
            says={
                **says,
                "verdict": judged.verdict,
                "against": list(judged.against),
                "reasons": list(judged.reasons),
                "of": sorted(of),
                "readings": [r.as_json() for r in judged.readings],
            },
        )


def recovery_in(record: Record, made: Event) -> tuple[str, Recovery]:
    """Return the plan of a recovery and all it says: its id is a hash over both.

    Parameters
    ----------
    record
    made : Event
        In which it was made; nothing but the id is taken from it.

    Returns
    -------
    str
        Id of the plan.
    Recovery

    Raises
    ------
    NotAllowed
        If the record does not hold what it says.
    """
    return _held(record, str(made.says["recovery"]))


def earlier_of(
    record: Record, events: History, plan: str, stopped: Stopped
) -> tuple[Recovery, ...]:
    """Return the recoveries in which a crew stopped, the first one first.

    Parameters
    ----------
    record, events
    plan : str
        Id of the plan that is worked by.
    stopped : Stopped

    Returns
    -------
    tuple of Recovery
        Empty where it stopped in a line of the plan.

    Raises
    ------
    NotAllowed
        If one of them was never approved: what it says is then signed by nobody.
    """
    legs: list[Recovery] = []
    while stopped.within:
        own = events.work.recoveries.get(stopped.within)
        if own is None or own.approved is None or own.plan != plan:
            raise NotAllowed(
                f"recovery {check_code(stopped.within)} was not approved for this plan: say where "
                "all stands from a line of the move sheets, with --on and --ram"
            )
        legs.insert(0, _held(record, stopped.within)[1])
        stopped = legs[0].stopped
    return tuple(legs)


def _held(record: Record, name: str) -> tuple[str, Recovery]:
    """Return plan and recovery of an id: the hash of what it says, which content is kept by."""
    try:
        said = read_json(record.content(name) or b"")
        plan, recovery = str(said["plan"]), read_as(Recovery, said["recovery"])
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        code = check_code(name)
        raise NotAllowed(f"what recovery {code} says is not in the record") from None
    return plan, recovery


def _code_of(made: Event) -> str:
    return check_code(str(made.says.get("recovery", "")))


def _says(name: str, stopped: Stopped, goal: Goal) -> dict[str, Any]:
    own = {"stage": stopped.stage, "crew": stopped.crew, "goal": goal}
    return {"recovery": name, "code": check_code(name), **own}
