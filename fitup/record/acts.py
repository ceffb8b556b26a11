"""What people do that is written down, with the rules that hold: nothing else makes an entry.

Every act takes the time from its caller, is checked against the state of the work while nobody
else can write, and is one entry, or none. What must hold before which act stands as a table in
:mod:`fitup.record.transitions`. ``key`` is that of the person who signs, ``when`` a time in UTC,
``code`` the check code of a plan as printed.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from fitup.model import Plan
from fitup.record.approval import Standing, since, standing
from fitup.record.asdone import Judgement
from fitup.record.check_code import check_code
from fitup.record.connect import RecordBroken
from fitup.record.contents import Files, survey_files
from fitup.record.differences import changes
from fitup.record.events import (
    APPROVED,
    LOCKED_OFF,
    PEOPLE_NAMED,
    PLAN_MADE,
    REJECTED,
    RELEASED,
    RESUMED,
    SHEETS_PRINTED,
    STAGE_DONE,
    STOP,
    STOP_LIFTED,
    SURVEY_ACCEPTED,
    Event,
)
from fitup.record.keys import Key
from fitup.record.lookup import files_of, is_genuine, plan_files, plan_of
from fitup.record.people import FILE as PEOPLE
from fitup.record.people import read_people
from fitup.record.plans import FILE as PLAN
from fitup.record.plans import plan_bytes, read_plan
from fitup.record.printed import Signed
from fitup.record.seal import NO_SEAL
from fitup.record.stage_work import GO_ON, LIFT_OFF
from fitup.record.store import NotAllowed, Pen, Record, has_record, signer
from fitup.record.witness import lost_entries, missed, seen_of

#: the list of a set of sheets, from which its readings are judged
LIST: Final = "sheets.json"


def name_people(
    folder: Path, key: Key, when: str, content: bytes, earlier: Event | None = None
) -> Event:
    """Take a list of people into the record; the first one opens it.

    Parameters
    ----------
    earlier : Event, optional
        Last entry of the record that a new one goes on from, where the work goes on in another
        folder: its hash is written into the first entry.
    """
    people = read_people(content)
    if not has_record(folder):
        # refused before there is a file
        signer(people, PEOPLE_NAMED, key)
    elif earlier is not None:
        raise NotAllowed("the record is open already; only a new one goes on from another")
    says: dict[str, str | int] = (
        {} if earlier is None else {"after": earlier.hash, "after_entry": earlier.number}
    )
    with Record(folder, create=True) as record, record.writing() as pen:
        if not pen.events.size:
            # records that the same people open in one second must not begin with the same hash
            says["nonce"] = secrets.token_hex(16)
        return pen.append(PEOPLE_NAMED, when, key=key, inputs={PEOPLE: content}, says=says)


def resume(folder: Path, key: Key, when: str, why: str) -> Event:
    """Take a record up again whose seal is gone, or which witnesses saw to hold more.

    What is known to be lost is written down and signed for. A record that is broken in itself is
    not taken up.

    Parameters
    ----------
    folder, key, when
    why : str
        Why the record may go on without what is lost.

    Raises
    ------
    NotAllowed
        If nothing is missing.
    RecordBroken
        If an entry, a signature or a content is.
    """
    with Record(folder) as record:
        checked = record.check_file()
        broken = tuple(line for line in checked.broken if line != NO_SEAL)
        if broken:
            raise RecordBroken(broken)
        seen = seen_of(checked.events)
        found = (*checked.broken, *missed(seen))
        if not found:
            raise NotAllowed("nothing is missing: the record goes on as it is")
        says = {"why": why, "found": list(found), "lost": list(lost_entries(seen))}
        with record.writing(checked.events) as pen:
            return pen.append(RESUMED, when, key=key, says=says)


def accept_survey(
    record: Record, key: Key, when: str, files: Files, understood: Sequence[str]
) -> Event:
    """Accept the survey of a job's files; it was read and believed before.

    Parameters
    ----------
    record, key, when
    files : mapping of str to bytes
        All input files of the job; those the survey rests on are kept.
    understood : sequence of str
        How its files were read, a line each.

    Raises
    ------
    NotAllowed
        If the same survey is accepted already.
    """
    with record.writing() as pen:
        last, own = pen.work.survey, survey_files(files)
        if last is not None and not changes(record.files(last.inputs), own):
            raise NotAllowed(f"this survey is accepted already, entry {last.number}")
        return pen.append(
            SURVEY_ACCEPTED, when, key=key, inputs=own, says={"understood": list(understood)}
        )


def note_plan(
    record: Record, when: str, who: str, files: Files, plan: Plan, readings: str = ""
) -> Event:
    """Write down a plan and the files it was made from, once.

    Parameters
    ----------
    record, when, who, plan
    files : mapping of str to bytes
        All it was made from.
    readings : str
        Which of them is the lift-off as read; empty where the plan was made from none.
    """
    with record.writing() as pen:
        known = pen.events.of(PLAN_MADE, plan.id)
        genuine = [e for e in known if is_genuine(record, e)]
        if genuine:
            return genuine[-1]
        return pen.append(
            PLAN_MADE,
            when,
            who=who,
            about=plan.id,
            inputs=files,
            outputs={PLAN: plan_bytes(plan)},
            says={
                "code": check_code(plan.id),
                "inside": plan.inside,
                "method": plan.method,
                "readings": readings,
            },
        )


def note_sheets(
    record: Record, pen: Pen, when: str, who: str, plan: Event, stands: Standing, sheets: Files
) -> Event:
    """Write down a set of sheets as printed, with where its plan stood.

    Parameters
    ----------
    record, pen, when, who
    plan : Event
        In which the plan was made.
    stands : Standing
        Where it stood when the sheets were laid out.
    sheets : mapping of str to bytes
        The set, by file name.

    Raises
    ------
    NotAllowed
        If another has decided on a plan meanwhile, so that the sheets would say what no longer
        holds.
    """
    now = standing(
        record, pen.work, record.people(pen.events), plan.about, record.files(plan.inputs)
    )
    if stands.good and not now.good:
        raise NotAllowed(f"plan {check_code(plan.about)} is now: {now.status}; print again")
    return pen.append(
        SHEETS_PRINTED,
        when,
        who=who,
        about=plan.about,
        inputs=plan_files(record, pen.events, plan),
        outputs=sheets,
        says={"code": check_code(plan.about), "status": stands.status, "entry": stands.entry},
    )


def approve(
    record: Record, key: Key, when: str, code: str, now: Files, signed: Signed, why: str = ""
) -> Event:
    """Approve a plan by the code on its sheets, for the files it was made from and no others.

    A STOP that stands goes on standing.

    Parameters
    ----------
    record, key, when, code
    now : mapping of str to bytes
        The job's files as they lie in the folder, and those the plan was made from.
    signed : Signed
    why : str
        Needed for a plan that was rejected, or whose lift-off was planned again.

    Raises
    ------
    NotAllowed
        If files changed, the survey is not accepted, the plan leaves a check outside, a reason
        that is needed is missing, or the same sheets are approved already.
    """
    with record.writing() as pen:
        plan = plan_of(record, pen.events, code)
        require_unchanged(record, plan, now)
        readings = str(plan.says.get("readings", ""))
        _require_survey(record, pen, {n: c for n, c in now.items() if n != readings})
        if not read_plan(record.files(plan.outputs)[PLAN]).inside:
            raise NotAllowed(f"plan {code} leaves a check outside its tolerance")
        stands = standing(record, pen.work, record.people(pen.events), plan.about, now)
        own = pen.work.plan(plan.about)
        signed_now = own.decision is not None and own.decision.says.get("content")
        more = signed.contingencies not in ("", own.contingencies)
        same = signed_now == signed.content and not more
        if stands.state in ("approved", "stopped") and same:
            raise NotAllowed(f"plan {code} is approved already: {stands.note}")
        if (stands.state == "rejected" or own.rebased) and not why:
            said = "; ".join((stands.status, *stands.why))
            raise NotAllowed(f"plan {code}: {said}; approve it with the reason: --why")
        return pen.append(
            APPROVED,
            when,
            key=key,
            about=plan.about,
            inputs=files_of(record, plan),
            says={
                "code": code,
                "why": why,
                "content": signed.content,
                "stages": signed.stages,
                "readings": readings,
                "lift_off": {n: list(jacks) for n, jacks in signed.lift_off.items()},
                "contingencies": signed.contingencies or own.contingencies,
            },
        )


def require_unchanged(record: Record, plan: Event, now: Files) -> None:
    """Refuse a plan that was made from other files than lie in the folder now.

    Parameters
    ----------
    record, plan
    now : mapping of str to bytes
        The job's files as they lie in the folder.
    """
    old = since(record, plan, now)
    if old:
        raise NotAllowed(
            f"plan {check_code(plan.about)} was made from other files than lie in the folder now; "
            "make a new plan. Since then:\n" + _listed(old)
        )


def reject(record: Record, key: Key, when: str, code: str, why: str) -> Event:
    """Reject a plan, with the reason."""
    with record.writing() as pen:
        plan = plan_of(record, pen.events, code)
        return pen.append(
            REJECTED,
            when,
            key=key,
            about=plan.about,
            inputs=files_of(record, plan),
            says={"code": code, "why": why},
        )


def report_stage(
    record: Record,
    key: Key,
    when: str,
    sheets: Event,
    judged: Judgement,
    form: Files,
    now: Files,
    doubts: tuple[str, ...] = (),
) -> Event:
    """Write down a stage as done. What was done is written down even where it should not have been.

    Parameters
    ----------
    sheets : Event
        In which the sheets that were worked by were printed.
    judged : Judgement
        What was read, against their bands.
    form, now : mapping of str to bytes
        The file it was read from, and the job's files as they lie in the folder.
    doubts : tuple of str
        Why the sheets themselves are not to be believed.

    Returns
    -------
    Event
        Its verdict is STOP where the plan was not approved, a stage before it is not done or its
        hold point not released, or a STOP stands, whatever was read. It is that of this report
        alone; that of the stage counts all of them.
    """
    with record.writing() as pen:
        read = [r.name for r in judged.readings if r.read is not None]
        half = pen.work.unfinished(sheets.about, judged.stage, read)
        against = (*doubts, *_against(record, pen, sheets, judged.stage, now), *half)
        judged = judged.stopped(against)
        return pen.append(
            STAGE_DONE,
            when,
            key=key,
            about=sheets.about,
            inputs={LIST: record.content(sheets.outputs[LIST]) or b"", **form},
            says={
                "code": check_code(sheets.about),
                "stage": judged.stage,
                "verdict": judged.verdict,
                "against": list(against),
                "reasons": list(judged.reasons),
                "readings": [r.as_json() for r in judged.readings],
            },
        )


def release(
    record: Record, key: Key, when: str, code: str, stage: int, why: str, now: Files
) -> Event:
    """Release the hold point after a stage.

    While a STOP that was called stands, none is released.

    Parameters
    ----------
    record, key, when, code
    stage : int
        0 for the lift-off.
    why : str
        Needed where the stage does not stand at GO ON, the approval no longer holds, or the
        lift-off was measured and is not planned again.
    now : mapping of str to bytes
        The job's files as they lie in the folder.
    """
    with record.writing() as pen:
        plan = plan_of(record, pen.events, code)
        done = pen.work.plan(plan.about).stage(stage)
        if not done.open and done.released:
            raise NotAllowed(f"the hold point after {done.name} is released already")
        if not done.open:
            raise NotAllowed(f"{done.name} of plan {code} is not reported as done")
        for stop in pen.work.stops:
            lift = f"fitup release JOB --stop {stop.entry} --why REASON"
            raise NotAllowed(f"{stop.words}; it is lifted first, by itself: {lift}")
        reason = _reason_to_hold(record, pen, plan.about, stage, now)
        if reason and not why:
            raise NotAllowed(f"{reason}; release it with the reason: --why")
        return pen.append(
            RELEASED,
            when,
            key=key,
            about=plan.about,
            says={"code": code, "stage": stage, "why": why},
        )


def call_stop(record: Record, key: Key, when: str, why: str) -> Event:
    """Write down that work was stopped; anybody of the job may."""
    with record.writing() as pen:
        return pen.append(STOP, when, key=key, says={"why": why})


def lift_stop(record: Record, key: Key, when: str, entry: int, why: str) -> Event:
    """Lift a STOP that stands, with the reason.

    Parameters
    ----------
    record, key, when, why
    entry : int
        Number of the entry in which it was called.
    """
    with record.writing() as pen:
        standing_now = {s.entry for s in pen.work.stops}
        if entry not in standing_now:
            known = ", ".join(str(n) for n in sorted(standing_now)) or "none stands"
            raise NotAllowed(f"entry {entry} is no STOP that stands; {known}")
        if not why.strip():
            raise NotAllowed("a STOP is lifted with the reason: --why")
        return pen.append(STOP_LIFTED, when, key=key, says={"stop": entry, "why": why})


def lock_off(
    record: Record, key: Key, when: str, files: Files, paper: Files, joints: Mapping[str, str]
) -> Event:
    """Write down that joints are locked off.

    Parameters
    ----------
    files, paper : mapping of str to bytes
        The job's files, and the printed lock-off record.
    joints : mapping of str to str
        Joint -> what was decided for it: LOCK, else it is refused.
    """
    with record.writing() as pen:
        _require_survey(record, pen, files)
        waiting = [f"{name}: {decided}" for name, decided in joints.items() if decided != "LOCK"]
        if waiting:
            raise NotAllowed("not every joint is to be locked: " + ", ".join(waiting))
        if pen.work.open_holds:
            raise NotAllowed("not released: " + "; ".join(pen.work.open_holds))
        return pen.append(
            LOCKED_OFF,
            when,
            key=key,
            inputs=files,
            outputs=paper,
            says={"joints": sorted(joints)},
        )


def _reason_to_hold(record: Record, pen: Pen, plan: str, stage: int, now: Files) -> str:
    """Say why a hold point is not released just so; empty where it is."""
    done = pen.work.plan(plan).stage(stage)
    if done.verdict != GO_ON:
        entries = ", ".join(str(n) for n in done.reports)
        return f"{done.name} was reported {done.verdict.upper()} (entry {entries})"
    if stage == LIFT_OFF:
        return (
            "the lift-off is measured; plan again with it (fitup sheets --readings) and approve "
            "that, or go on by this code"
        )
    stands = standing(record, pen.work, record.people(pen.events), plan, now)
    said = "; ".join((stands.status, *stands.why))
    return "" if stands.good else f"plan {check_code(plan)}: {said}"


def _against(record: Record, pen: Pen, sheets: Event, stage: int, now: Files) -> tuple[str, ...]:
    """Say why a stage should not have been done."""
    work = pen.work
    stands = standing(record, work, record.people(pen.events), sheets.about, now)
    stops = work.stops_beside(sheets.about, stage)
    out: tuple[str, ...] = ()
    if stands.state not in ("approved", "stopped"):
        own = tuple(line for line in stands.why if line not in work.stop_words)
        out = (
            f"plan {check_code(sheets.about)} is not approved: {'; '.join((stands.status, *own))}",
        )
    return (*stops, *out, *work.plan(sheets.about).against(stage))


def _require_survey(record: Record, pen: Pen, now: Files) -> None:
    last = pen.work.survey
    if last is None:
        raise NotAllowed("the survey is not accepted: fitup accept JOB")
    changed = changes(record.files(last.inputs), survey_files(now))
    if changed:
        raise NotAllowed(
            "the survey is not the one that was accepted; accept this one, or put that one back. "
            f"Since entry {last.number}:\n" + _listed(changed)
        )


def _listed(lines: Sequence[str]) -> str:
    return "\n".join(f"  {line}" for line in lines)
