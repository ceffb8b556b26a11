"""The rules of who may do what and when, against the record as it stands."""

from __future__ import annotations

from dataclasses import replace
from hashlib import sha256

import pytest

from fitup.jobfolder.inputs import digest_of
from fitup.model import Plan, SeatPlan, Stage
from fitup.model.identity import plan_hash, with_readings
from fitup.record import acts, lookup
from fitup.record.approval import standing
from fitup.record.asdone import Asked, Read, judge
from fitup.record.check_code import check_code
from fitup.record.log import says_words
from fitup.record.plans import plan_bytes
from fitup.record.printed import Signed
from fitup.record.store import NotAllowed, Record
from fitup.record.work_state import work_of

WHEN = "2031-04-02T05:00:00Z"
SEAT = SeatPlan("B-S1", ("P10",), ("P5",), ("P20", "P5"), -0.005, True)
STAGES = tuple(
    Stage(n, "B", ("B-S1",), ((0.005,),), ((-0.005,),), (0.0,), ((),), ((),)) for n in (1, 2)
)
#: what an approval of two stages signs
SIGNED = Signed("c" * 64, 2, {})
BARE = Plan((SEAT,), STAGES, (), "by hand", (-0.005,), True, (), "")


def of_files(plan, files):
    """The plan with the id that it has when it is made from files."""
    return replace(plan, id=plan_hash(digest_of(files), plan))


@pytest.fixture
def files(small_files):
    return {name: text.encode() for name, text in small_files.items()}


@pytest.fixture
def plan(files):
    return of_files(BARE, files)


@pytest.fixture
def code(plan):
    return check_code(plan.id)


@pytest.fixture
def record(opened):
    with Record(opened) as record:
        yield record


@pytest.fixture
def printed(record, keys, files, code, plan):
    """A plan approved and printed."""
    acts.accept_survey(record, keys["bram"], WHEN, files, ())
    made = acts.note_plan(record, WHEN, "ines", files, plan)
    acts.approve(record, keys["ines"], WHEN, code, files, SIGNED)
    with record.writing() as pen:
        stands = standing(record, pen.work, record.people(pen.events), plan.id, files)
        return acts.note_sheets(record, pen, WHEN, "ines", made, stands, {"sheets.json": b"{}"})


def stands(record, files):
    events = record.whole()
    first = next(e for e in events if e.kind == "plan made")
    work = work_of(events)
    return standing(record, work, record.people(events), first.about, files)


def lent(files):
    return {**files, "plates.csv": files["plates.csv"].replace(b"P5,5,5,3", b"P5,5,5,2")}


def done(record, keys, sheets, files, stage=1, value=0.0):
    asked = (Asked("J1/P1/step", "check", least=-0.002, most=0.002, sides=("a", "b")),)
    job = type("Units", (), {"units": "metric"})()
    judged = judge(asked, {"J1/P1/step": Read(value)}, job, stage)
    return acts.report_stage(record, keys["ola"], WHEN, sheets, judged, {}, files)


def test_plan_is_approved_once_survey_and_plan_are_there(record, keys, files, code, plan):
    def approve():
        return acts.approve(record, keys["ines"], WHEN, code, files, SIGNED)

    with pytest.raises(NotAllowed) as refused:
        approve()
    assert str(refused.value) == (f"no plan {code} in the record; none was made: fitup sheets JOB")
    acts.note_plan(record, WHEN, "x", files, plan)
    with pytest.raises(NotAllowed, match="the survey is not accepted: fitup accept JOB"):
        approve()
    acts.accept_survey(record, keys["bram"], WHEN, files, ())
    assert stands(record, files).state == "open"
    approve()
    assert stands(record, files).good
    with pytest.raises(NotAllowed, match=f"plan {code} is approved already: by Ines Calder"):
        approve()


def test_sheets_that_say_something_else_are_approved_anew(printed, record, keys, files, code):
    """Another version of the program words or rounds them otherwise."""
    other = replace(SIGNED, content="d" * 64)
    assert acts.approve(record, keys["ines"], WHEN, code, files, other).says["content"] == "d" * 64
    with pytest.raises(NotAllowed, match="is approved already"):
        acts.approve(record, keys["ines"], WHEN, code, files, other)


def test_plan_outside_tolerance_is_not_approved(record, keys, files, code, plan):
    acts.accept_survey(record, keys["bram"], WHEN, files, ())
    acts.note_plan(record, WHEN, "x", files, replace(plan, inside=False))
    with pytest.raises(NotAllowed, match=f"plan {code} leaves a check outside its tolerance"):
        acts.approve(record, keys["ines"], WHEN, code, files, SIGNED)


def test_the_same_plan_is_written_down_once(record, files, plan):
    first = acts.note_plan(record, WHEN, "x", files, plan)
    assert acts.note_plan(record, WHEN, "y", files, plan) == first


def test_any_change_voids_and_is_told(printed, record, files, keys):
    assert stands(record, files).status == "APPROVED"
    key = check_code(sha256(bytes.fromhex(keys["ines"].public)).hexdigest())
    assert stands(record, files).note == (
        f"by Ines Calder (key {key}), 2031-04-02 05:00 UTC, entry 4 of the record"
    )
    assert stands(record, files).head == f"entry 5, {check_code(printed.hash)}"
    now = stands(record, lent(files))
    assert (now.state, now.good, now.why) == (
        "void",
        False,
        ("plate P5: count was 3, is 2",),
    )
    assert now.status == "APPROVAL VOID - do not use"


def test_putting_the_file_back_makes_it_stand_again(printed, record, files):
    assert not stands(record, lent(files)).good
    assert stands(record, dict(files)).good


def test_an_approval_ends_with_that_of_another_plan(printed, record, keys, files, plan):
    other = of_files(replace(BARE, stages=STAGES[:1]), files)
    acts.note_plan(record, WHEN, "x", files, other)
    acts.approve(record, keys["ines"], WHEN, check_code(other.id), files, SIGNED)
    now = stands(record, files)
    assert now.state == "void"
    assert now.why == (f"plan {check_code(other.id)} was approved in its place, entry 7",)


def test_rejection_takes_an_approval_back_and_may_be_taken_back(printed, record, keys, files, code):
    acts.reject(record, keys["ines"], WHEN, code, "pack at B-S1 leans")
    now = stands(record, files)
    assert (now.status, now.why) == ("REJECTED - do not use", ("pack at B-S1 leans",))
    line = f"plan {code}: REJECTED - do not use; pack at B-S1 leans; approve it with the reason"
    with pytest.raises(NotAllowed, match=line):
        acts.approve(record, keys["ines"], WHEN, code, files, SIGNED)
    acts.approve(record, keys["ines"], WHEN, code, files, SIGNED, "built again, plumb")
    assert stands(record, files).good


def test_sheets_do_not_say_what_no_longer_holds(printed, record, keys, files, code):
    """Another rejects the plan while the sheets are made."""
    plan = lookup.plan_of(record, record.whole(), code)
    before = stands(record, files)
    acts.reject(record, keys["ines"], WHEN, code, "no")
    line = f"plan {code} is now: REJECTED - do not use; print again"
    with pytest.raises(NotAllowed, match=line), record.writing() as pen:
        acts.note_sheets(record, pen, WHEN, "x", plan, before, {"sheets.json": b"{}"})


def test_stage_is_reported_and_released(printed, record, keys, files, code):
    event = done(record, keys, printed, files)
    assert (event.says["verdict"], event.says["reasons"]) == ("go on", [])

    def release(stage, why="", now=files):
        return acts.release(record, keys["ines"], WHEN, code, stage, why, now)

    with pytest.raises(NotAllowed, match=f"stage 2 of plan {code} is not reported as done"):
        release(2)
    with pytest.raises(NotAllowed) as refused:
        release(1, now=lent(files))
    assert str(refused.value) == (
        f"plan {code}: APPROVAL VOID - do not use; plate P5: count was 3, is 2; release it with "
        "the reason: --why"
    )
    release(1)
    with pytest.raises(NotAllowed, match="the hold point after stage 1 is released already"):
        release(1)
    done(record, keys, printed, files, stage=2, value=0.009)
    with pytest.raises(NotAllowed, match=r"stage 2 was reported STOP \(entry 8\); release it"):
        release(2)
    release(2, "read again by hand, the rod was short")


def test_stage_out_of_turn_is_written_down_as_stop(printed, record, keys, files, code):
    event = done(record, keys, printed, files, stage=2)
    assert event.says["verdict"] == "stop"
    assert event.says["reasons"] == ["stage 1 is not reported as done"]
    # a STOP at one stage is a STOP for every other
    stop = f"stage 2 of plan {code} was reported STOP (entry {event.number})"
    assert done(record, keys, printed, files, stage=1).says["reasons"] == [stop]
    event = done(record, keys, printed, files, stage=2)
    assert event.says["reasons"] == [
        f"stage 1 of plan {code} was reported STOP (entry 7)",
        "the hold point after stage 1 is not released",
    ]
    event = done(record, keys, printed, lent(files), stage=1)
    assert event.says["reasons"][1:] == [
        f"plan {code} is not approved: APPROVAL VOID - do not use; plate P5: count was 3, is 2"
    ]


def test_stop_stands_until_it_is_lifted_by_itself_with_a_reason(printed, record, keys, files, code):
    """Nothing else ends it: no report, no release, no approval, no rejection."""
    acts.call_stop(record, keys["bram"], WHEN, "crane moved")
    line = "STOP was called (entry 6): crane moved"
    event = done(record, keys, printed, files)
    assert (event.says["verdict"], event.says["reasons"]) == ("stop", [line])
    now = stands(record, files)
    said = f"{line}; it is lifted first, by itself: fitup release JOB --stop 6 --why REASON"
    assert (now.status, now.good) == ("STOPPED - do not go on", False)
    assert now.why[0] == line
    with pytest.raises(NotAllowed) as refused:
        acts.release(record, keys["ines"], WHEN, code, 1, "a reason, but for the stage", files)
    assert str(refused.value) == said
    acts.reject(record, keys["ines"], WHEN, code, "pack at B-S1 leans")
    event = acts.approve(record, keys["ines"], WHEN, code, files, SIGNED, "looked at")
    assert says_words(event) == "looked at"
    assert stands(record, files).state == "stopped"
    assert work_of(record.whole()).open_holds[0] == line
    with pytest.raises(NotAllowed, match="Ola Finch may not release hold points"):
        acts.lift_stop(record, keys["ola"], WHEN, 6, "nicer now")
    with pytest.raises(NotAllowed, match="a STOP is lifted with the reason"):
        acts.lift_stop(record, keys["ines"], WHEN, 6, " ")
    with pytest.raises(NotAllowed, match="entry 5 is no STOP that stands; 6"):
        acts.lift_stop(record, keys["ines"], WHEN, 5, "why")
    acts.lift_stop(record, keys["ines"], WHEN, 6, "crane back, survey checked")
    # the stage that was done meanwhile is another matter
    assert work_of(record.whole()).stop_words == (
        f"stage 1 of plan {code} was reported STOP (entry 7)",
    )
    acts.release(record, keys["ines"], WHEN, code, 1, "done before the crane moved", files)
    assert stands(record, files).good
    with pytest.raises(NotAllowed, match="entry 6 is no STOP that stands; none stands"):
        acts.lift_stop(record, keys["ines"], WHEN, 6, "again")


def test_nothing_is_locked_while_a_stop_stands_or_a_hold_point_is_open(
    printed, record, keys, files, code
):
    def lock():
        return acts.lock_off(record, keys["ines"], WHEN, files, {}, {"J1": "LOCK"})

    done(record, keys, printed, files)
    with pytest.raises(NotAllowed, match=f"not released: hold point after stage 1 of plan {code}"):
        lock()
    acts.release(record, keys["ines"], WHEN, code, 1, "", files)
    acts.call_stop(record, keys["ola"], WHEN, "crack heard")
    with pytest.raises(NotAllowed, match=r"not released: STOP was called \(entry 8\): crack heard"):
        lock()
    acts.lift_stop(record, keys["ines"], WHEN, 8, "a nut seated, looked at")
    assert lock().kind == "locked off"


def test_nicer_readings_do_not_release_a_stage(printed, record, keys, files, code):
    done(record, keys, printed, files, value=0.009)
    event = done(record, keys, printed, files, value=0.0)
    assert event.says["verdict"] == "go on"
    stage = work_of(record.whole()).plan(printed.about).stage(1)
    assert (stage.verdict, stage.reports) == ("stop", (6, 7))
    assert stage.reasons == ("J1/P1/step: 9.0 mm a, outside 2.0 mm b to 2.0 mm a (entry 6)",)
    line = r"stage 1 was reported STOP \(entry 6, 7\); release it with the reason: --why"
    with pytest.raises(NotAllowed, match=line):
        acts.release(record, keys["ines"], WHEN, code, 1, "", files)
    acts.release(record, keys["ines"], WHEN, code, 1, "the rod was read upside down", files)
    # what comes after the release is a new report
    done(record, keys, printed, files, value=0.0)
    assert work_of(record.whole()).plan(printed.about).stage(1).verdict == "go on"


def test_lift_off_is_measured_before_the_stage_that_needs_it(record, keys, files, plan, code):
    acts.accept_survey(record, keys["bram"], WHEN, files, ())
    made = acts.note_plan(record, WHEN, "ines", files, plan)
    asks = Signed("c" * 64, 2, {"1": ["J-B1"], "2": ["J-B2"]})
    acts.approve(record, keys["ines"], WHEN, code, files, asks)
    with record.writing() as pen:
        now = standing(record, pen.work, record.people(pen.events), plan.id, files)
        sheets = acts.note_sheets(record, pen, WHEN, "x", made, now, {"sheets.json": b"{}"})
    event = done(record, keys, sheets, files)
    assert event.says["reasons"] == ["the lift-off of J-B1 is not measured"]
    acts.release(record, keys["ines"], WHEN, code, 1, "only tried out", files)

    def lifted(jack):
        asked = (Asked(f"lift-off {jack}", "load", "force", most=7e5),)
        units = type("Units", (), {"units": "metric"})()
        judged = judge(asked, {f"lift-off {jack}": Read(6.4e5)}, units, 0)
        return acts.report_stage(record, keys["ola"], WHEN, sheets, judged, {}, files)

    assert lifted("J-B1").says["verdict"] == "go on"
    said = (
        "the lift-off is measured and hold point 0 not released: plan again with it (fitup sheets "
        "--readings) and approve"
    )
    assert done(record, keys, sheets, files).says["reasons"] == [said]
    with pytest.raises(NotAllowed, match="or go on by this code; release it with the reason"):
        acts.release(record, keys["ines"], WHEN, code, 0, "", files)
    acts.release(record, keys["ines"], WHEN, code, 0, "within 2 % of the calculation", files)
    acts.release(record, keys["ines"], WHEN, code, 1, "nothing was moved", files)
    assert done(record, keys, sheets, files).says["reasons"] == []
    acts.release(record, keys["ines"], WHEN, code, 1, "", files)
    event = done(record, keys, sheets, files, stage=2)
    assert event.says["reasons"] == ["the lift-off of J-B2 is not measured"]


def test_plan_made_from_the_lift_off_ends_the_code_before_it(printed, record, keys, files, code):
    """It is signed by nobody: whoever may write the file can stop the work, but never start it."""
    read = b"moment\nlift-off\n"
    with_lift_off = with_readings(digest_of(files), read)
    again = replace(BARE, id=plan_hash(with_lift_off, BARE))
    now = {**files, "lift-off.csv": read}
    acts.note_plan(record, WHEN, "x", now, again, "lift-off.csv")
    said = "the lift-off was measured and planned again, entry 6: work by that plan once it is "
    assert stands(record, files).why == (f"{said}approved",)
    event = done(record, keys, printed, files)
    assert event.says["reasons"] == [
        f"plan {code} is not approved: APPROVAL VOID - do not use; {said}approved"
    ]
    # the plan made from it is approved though the survey knows nothing of its table
    acts.approve(record, keys["ines"], WHEN, check_code(again.id), now, SIGNED)
    assert stands(record, files).state == "void"
    work = work_of(record.whole())
    other = standing(record, work, record.people(record.whole()), again.id, now)
    assert other.state == "stopped"
    acts.release(record, keys["ines"], WHEN, code, 1, "by the old code, nothing moved", files)
    work = work_of(record.whole())
    assert standing(record, work, record.people(record.whole()), again.id, now).good
    changed = {**now, "lift-off.csv": read + b"lift-off\n"}
    now_void = standing(record, work, record.people(record.whole()), again.id, changed)
    assert now_void.why == ("lift-off.csv was changed",)


def test_survey_that_changed_is_not_the_accepted_one(record, keys, files, code, plan):
    acts.accept_survey(record, keys["bram"], WHEN, files, ("8 points",))
    with pytest.raises(NotAllowed, match="this survey is accepted already, entry 2"):
        acts.accept_survey(record, keys["bram"], WHEN, lent(files), ())
    new = {**files, "survey.csv": files["survey.csv"].replace(b"10.0060", b"10.0070")}
    plan = of_files(BARE, new)
    code = check_code(plan.id)
    acts.note_plan(record, WHEN, "x", new, plan)
    with pytest.raises(NotAllowed) as refused:
        acts.approve(record, keys["ines"], WHEN, code, new, SIGNED)
    assert str(refused.value).splitlines()[0] == (
        "the survey is not the one that was accepted; accept this one, or put that one back. Since "
        "entry 2:"
    )
    acts.accept_survey(record, keys["bram"], WHEN, new, ())
    acts.approve(record, keys["ines"], WHEN, code, new, SIGNED)


def plant(record, files, plan, **says):
    """Put an unsigned entry into the record, as whoever may write the folder can."""
    with record.writing() as pen:
        return pen.append(
            "plan made",
            WHEN,
            who="x",
            about=plan.id,
            inputs=files,
            outputs={"plan.json": plan_bytes(plan)},
            says={"code": check_code(plan.id), "inside": True, "method": "by hand", **says},
        )


def forged(files):
    """A plan with other packs, under its own true id."""
    return of_files(replace(BARE, seats=(replace(SEAT, build_up=("P20", "P10")),)), files)


def test_plan_under_the_code_of_another_is_not_the_one_approved(record, keys, files, plan, code):
    """The forger's entry says the code that the engineer read; what it holds is another plan."""
    acts.accept_survey(record, keys["bram"], WHEN, files, ())
    acts.note_plan(record, WHEN, "ines", files, plan)
    plant(record, files, forged(files), code=code)
    event = acts.approve(record, keys["ines"], WHEN, code, files, SIGNED)
    assert event.about == plan.id
    assert record.files(event.inputs)["plan.json"] == plan_bytes(plan)


@pytest.mark.parametrize("signed", [False, True])
def test_plan_whose_content_gives_another_id_is_refused(record, keys, files, plan, code, signed):
    acts.accept_survey(record, keys["bram"], WHEN, files, ())
    if signed:
        acts.note_plan(record, WHEN, "ines", files, plan)
        acts.approve(record, keys["ines"], WHEN, code, files, SIGNED)
    entry = plant(record, files, replace(forged(files), id=plan.id))
    line = (
        f"entry {entry.number} says plan {code}, but its content is plan "
        f"{check_code(forged(files).id)}: it was put there by somebody, or by another version of "
        "fitup, and counts for nothing"
    )
    events = record.whole()
    assert lookup.not_believed(record, events) == (line,)
    if signed:
        made = lookup.plan_of(record, events, code)
        assert made.number < entry.number
        assert lookup.plan_files(record, events, made)["plan.json"] == plan_bytes(plan)
    else:
        with pytest.raises(NotAllowed) as refused:
            acts.approve(record, keys["ines"], WHEN, code, files, SIGNED)
        assert str(refused.value) == f"{line}; plan again"


def test_plan_is_written_down_again_beside_a_planted_one(record, files, plan, code):
    plant(record, files, replace(forged(files), id=plan.id))
    made = acts.note_plan(record, WHEN, "ines", files, plan)
    assert lookup.plan_of(record, record.whole(), code) == made


def test_content_that_is_no_plan_is_not_believed(record, files, plan):
    with record.writing() as pen:
        pen.append("plan made", WHEN, about=plan.id, outputs={"plan.json": b"[]"}, says={})
    (line,) = lookup.not_believed(record, record.whole())
    assert "but its content is no plan" in line


def test_entries_are_found_by_number_and_by_code(printed, record, code):
    events = record.whole()
    assert lookup.look_up(record, events, "3").kind == "plan made"
    assert lookup.look_up(record, events, code.lower()).number == 3
    with pytest.raises(NotAllowed, match="no entry 12 in the record; the last is 5"):
        lookup.look_up(record, events, "12")


def test_a_code_that_two_plans_bear_is_refused(record, files, plan, code, monkeypatch):
    """48 bits can be met with much computing: then neither of the two is taken."""
    acts.note_plan(record, WHEN, "ines", files, plan)
    other = of_files(replace(BARE, stages=STAGES[:1]), files)
    assert other.id != plan.id
    acts.note_plan(record, WHEN, "ines", files, other)
    assert lookup.plan_of(record, record.whole(), code).about == plan.id
    monkeypatch.setattr(lookup, "check_code", lambda _: code)
    with pytest.raises(NotAllowed) as refused:
        lookup.plan_of(record, record.whole(), code)
    assert str(refused.value) == (
        f"two plans of code {code} in the record, entries 2, 3: one was made to bear the code of "
        "the other. Stop, and take the job to another folder"
    )


def test_contingencies_are_signed_with_the_plan_and_stay(printed, record, keys, files, code, plan):
    """Approved later they are signed with all that was; a new signature does not drop them."""
    named = replace(SIGNED, contingencies="5" * 64)
    acts.approve(record, keys["ines"], WHEN, code, files, named)
    with pytest.raises(NotAllowed, match="is approved already"):
        acts.approve(record, keys["ines"], WHEN, code, files, named)
    with pytest.raises(NotAllowed, match="is approved already"):
        acts.approve(record, keys["ines"], WHEN, code, files, SIGNED)
    stood = standing(record, work_of(record.whole()), {}, plan.id, files)
    assert stood.note.endswith(f"with contingencies {check_code('5' * 64)}")
    acts.approve(record, keys["ines"], WHEN, code, files, replace(SIGNED, content="d" * 64))
    assert record.whole().work.plan(plan.id).contingencies == "5" * 64
    acts.reject(record, keys["ines"], WHEN, code, "wrong survey")
    assert record.whole().work.plan(plan.id).contingencies == ""
