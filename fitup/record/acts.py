"""What people do that is written down, with the rules that hold: nothing else makes an entry.

Every act takes the time from its caller, is checked against the record as it stands while nobody
else can write, and is one entry, or none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from fitup.model import Plan
from fitup.record.approval import Standing, since, standing
from fitup.record.asdone import GO_ON, Judgement
from fitup.record.check_code import check_code, read_code
from fitup.record.contents import Files, survey_files
from fitup.record.differences import changes
from fitup.record.events import (
    APPROVED,
    LOCKED_OFF,
    PEOPLE_NAMED,
    PLAN_MADE,
    REJECTED,
    RELEASED,
    SHEETS_PRINTED,
    STAGE_DONE,
    STOP,
    SURVEY_ACCEPTED,
    Event,
)
from fitup.record.keys import Key
from fitup.record.open_holds import open_stop
from fitup.record.people import FILE as PEOPLE
from fitup.record.people import read_people
from fitup.record.plans import FILE as PLAN
from fitup.record.plans import content_id, plan_bytes, read_plan
from fitup.record.store import NotAllowed, Pen, Record, has_record, signer

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
    says = {} if earlier is None else {"after": earlier.hash, "after_entry": earlier.number}
    with Record(folder, create=True) as record, record.writing() as pen:
        return pen.append(PEOPLE_NAMED, when, key=key, inputs={PEOPLE: content}, says=says)


def accept_survey(
    record: Record, key: Key, when: str, files: Files, understood: Sequence[str]
) -> Event:
    """Accept the survey of a job's files; it was read and believed before."""
    with record.writing() as pen:
        last = _last(pen.events, SURVEY_ACCEPTED)
        own = survey_files(files)
        if last is not None and not changes(record.files(last.inputs), own):
            raise NotAllowed(f"this survey is accepted already, entry {last.number}")
        return pen.append(
            SURVEY_ACCEPTED, when, key=key, inputs=own, says={"understood": list(understood)}
        )


def note_plan(
    record: Record, when: str, who: str, files: Files, plan: Plan, readings: str = ""
) -> Event:
    """Write down a plan and the files it was made from, once.

    ``readings`` names which of them is the lift-off as read, where the plan was made from one.
    """
    with record.writing() as pen:
        known = [e for e in pen.events if e.kind == PLAN_MADE and e.about == plan.id]
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

    Raises
    ------
    NotAllowed
        If another has decided on a plan meanwhile, so that the sheets would say what no longer
        holds.
    """
    now = standing(
        record, pen.events, record.people(pen.events), plan.about, record.files(plan.inputs)
    )
    if not stands.why and now != stands:
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


def approve(record: Record, key: Key, when: str, code: str, now: Files, why: str = "") -> Event:
    """Approve a plan by the code on its sheets, for the files it was made from and no others.

    ``now`` are the job's files as they lie in the folder, and those the plan was made from. A
    reason is needed while a STOP stands.
    """
    with record.writing() as pen:
        plan = plan_of(record, pen.events, code)
        require_unchanged(record, plan, now)
        readings = str(plan.says.get("readings", ""))
        _require_survey(record, pen, {n: c for n, c in now.items() if n != readings})
        if not read_plan(record.files(plan.outputs)[PLAN]).inside:
            raise NotAllowed(f"plan {code} leaves a check outside its tolerance")
        stands = standing(record, pen.events, record.people(pen.events), plan.about, now)
        if stands.good:
            raise NotAllowed(f"plan {code} is approved already: {stands.note}")
        stop = open_stop(pen.events)
        if stop and not why:
            raise NotAllowed(f"{stop}; approve it with the reason: --why")
        return pen.append(
            APPROVED,
            when,
            key=key,
            about=plan.about,
            inputs=_of_plan(record, plan),
            says={"code": code, "why": why},
        )


def require_unchanged(record: Record, plan: Event, now: Files) -> None:
    """Refuse a plan that was made from other files than lie in the folder now."""
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
            inputs=_of_plan(record, plan),
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
        hold point not released, whatever was read.
    """
    with record.writing() as pen:
        against = (*doubts, *_against(record, pen, sheets, judged.stage, now))
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
                "reasons": list(judged.reasons),
                "readings": [r.as_json() for r in judged.readings],
            },
        )


def release(
    record: Record, key: Key, when: str, code: str, stage: int, why: str, now: Files
) -> Event:
    """Release the hold point after a stage.

    A reason is needed where the stage was not reported GO ON, STOP was called after it, or the
    approval no longer stands.
    """
    with record.writing() as pen:
        plan = plan_of(record, pen.events, code)
        done = stage_done(pen.events, plan.about, stage)
        if done is None:
            raise NotAllowed(f"stage {stage} of plan {code} is not reported as done")
        # a STOP called since the release is settled by another one
        if _released(pen.events, plan.about, stage) > done.number and not open_stop(pen.events):
            raise NotAllowed(f"the hold point after stage {stage} is released already")
        doubt = _doubt(record, pen, done, now)
        if doubt and not why:
            raise NotAllowed(f"{doubt}; release it with the reason: --why")
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
        return pen.append(
            LOCKED_OFF,
            when,
            key=key,
            inputs=files,
            outputs=paper,
            says={"joints": sorted(joints)},
        )


def plan_of(record: Record, events: Sequence[Event], code: str) -> Event:
    """Return the entry in which the plan of a check code was made.

    Nobody signs such an entry, so nothing that it says is believed: the code is that of the id,
    and the id is computed from the content.

    Raises
    ------
    NotAllowed
        If there is none.
    """
    made = [e for e in events if e.kind == PLAN_MADE]
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
    return found[-1]


def is_genuine(record: Record, made: Event) -> bool:
    """Say whether the content of an entry "plan made" is that of the plan it says."""
    return _content_id(record, made) == made.about


def not_believed(record: Record, events: Sequence[Event]) -> tuple[str, ...]:
    """Name every entry "plan made" whose content is of another plan: somebody put it there."""
    made = [e for e in events if e.kind == PLAN_MADE]
    return tuple(_planted(record, e) for e in made if not is_genuine(record, e))


def _content_id(record: Record, made: Event) -> str:
    return content_id(_of_plan(record, made), str(made.says.get("readings", "")))


def _planted(record: Record, made: Event) -> str:
    own = _content_id(record, made)
    holds = f"plan {check_code(own)}" if own else "no plan"
    return (
        f"entry {made.number} says plan {check_code(made.about)}, but its content is {holds}: it "
        "was put there by somebody, or by another version of fitup, and counts for nothing"
    )


def plan_files(record: Record, events: Sequence[Event], plan: Event) -> dict[str, bytes]:
    """Return the files of a plan and ``plan.json``: where it was approved, those signed for."""
    signed = [e for e in events if e.kind == APPROVED and e.about == plan.about]
    return record.files(signed[-1].inputs) if signed else _of_plan(record, plan)


def sheets_of(events: Sequence[Event], plan: str) -> Event:
    """Return the entry in which the sheets of a plan were last printed."""
    found = [e for e in events if e.kind == SHEETS_PRINTED and e.about == plan]
    if not found:
        raise NotAllowed(f"no sheets of plan {check_code(plan)} were printed: fitup sheets JOB")
    return found[-1]


def stage_done(events: Sequence[Event], plan: str, stage: int) -> Event | None:
    """Return the last report of a stage, None where there is none."""
    found = [e for e in events if e.kind == STAGE_DONE and _is(e, plan, stage)]
    return found[-1] if found else None


def _doubt(record: Record, pen: Pen, done: Event, now: Files) -> str:
    """Say why a hold point is not released just so; empty where it is."""
    stop = open_stop(pen.events)
    if stop:
        return stop
    if done.says["verdict"] != GO_ON:
        verdict = str(done.says["verdict"]).upper()
        return f"stage {done.says['stage']} was reported {verdict} (entry {done.number})"
    stands = standing(record, pen.events, record.people(pen.events), done.about, now)
    said = (f"plan {check_code(done.about)}: {stands.status}", *stands.why)
    return "" if stands.good else "; ".join(said)


def _against(record: Record, pen: Pen, sheets: Event, stage: int, now: Files) -> tuple[str, ...]:
    """Say why a stage should not have been done."""
    stands = standing(record, pen.events, record.people(pen.events), sheets.about, now)
    code = check_code(sheets.about)
    out = []
    if not stands.good:
        out.append(
            f"plan {code} is not approved: {stands.status}"
            + "".join(f"; {line}" for line in stands.why)
        )
    if stage > 1:
        before = stage_done(pen.events, sheets.about, stage - 1)
        if before is None:
            out.append(f"stage {stage - 1} is not reported as done")
        elif _released(pen.events, sheets.about, stage - 1) < before.number:
            out.append(f"the hold point after stage {stage - 1} is not released")
    return tuple(out)


def _released(events: Sequence[Event], plan: str, stage: int) -> int:
    """Return the entry that last released a hold point, 0 where none did."""
    found = [e.number for e in events if e.kind == RELEASED and _is(e, plan, stage)]
    return found[-1] if found else 0


def _is(event: Event, plan: str, stage: int) -> bool:
    return event.about == plan and event.says["stage"] == stage


def _require_survey(record: Record, pen: Pen, now: Files) -> None:
    last = _last(pen.events, SURVEY_ACCEPTED)
    if last is None:
        raise NotAllowed("the survey is not accepted: fitup accept JOB")
    changed = changes(record.files(last.inputs), survey_files(now))
    if changed:
        raise NotAllowed(
            "the survey is not the one that was accepted; accept this one, or put that one back. "
            f"Since entry {last.number}:\n" + _listed(changed)
        )


def _of_plan(record: Record, plan: Event) -> dict[str, bytes]:
    return {**record.files(plan.inputs), **record.files(plan.outputs)}


def _last(events: Sequence[Event], kind: str) -> Event | None:
    return next((e for e in reversed(events) if e.kind == kind), None)


def _listed(lines: Sequence[str]) -> str:
    return "\n".join(f"  {line}" for line in lines)


def look_up(record: Record, events: Sequence[Event], name: str) -> Event:
    """Return the entry of a number, or the one in which the plan of a code was made.

    Raises
    ------
    NotAllowed
        If there is none.
    """
    if name.isdecimal():
        found = [e for e in events if e.number == int(name)]
        if not found:
            raise NotAllowed(f"no entry {name} in the record; the last is {len(events)}")
        return found[0]
    return plan_of(record, events, read_code(name, "ENTRY"))
