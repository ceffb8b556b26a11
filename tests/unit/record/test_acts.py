"""The rules of who may do what and when, against the record as it stands."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fitup.jobfolder.read import digest_of
from fitup.model import Plan, SeatPlan, Stage
from fitup.model.identity import plan_hash
from fitup.record import acts
from fitup.record.approval import standing
from fitup.record.asdone import Asked, Read, judge
from fitup.record.check_code import check_code
from fitup.record.log import says_words
from fitup.record.open_holds import open_holds
from fitup.record.plans import plan_bytes
from fitup.record.store import NotAllowed, Record

WHEN = "2031-04-02T05:00:00Z"
SEAT = SeatPlan("B-S1", ("P10",), ("P5",), ("P20", "P5"), -0.005, True)
STAGES = tuple(
    Stage(n, "B", ("B-S1",), ((0.005,),), ((-0.005,),), (0.0,), ((),), ((),)) for n in (1, 2)
)
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
    acts.approve(record, keys["ines"], WHEN, code, files)
    with record.writing() as pen:
        stands = standing(record, pen.events, record.people(pen.events), plan.id, files)
        return acts.note_sheets(record, pen, WHEN, "ines", made, stands, {"sheets.json": b"{}"})


def stands(record, files):
    events = record.whole()
    first = next(e for e in events if e.kind == "plan made")
    return standing(record, events, record.people(events), first.about, files)


def lent(files):
    return {**files, "plates.csv": files["plates.csv"].replace(b"P5,5,5,3", b"P5,5,5,2")}


def done(record, keys, sheets, files, stage=1, value=0.0):
    asked = (Asked("J1/P1/step", "check", least=-0.002, most=0.002, sides=("a", "b")),)
    job = type("Units", (), {"units": "metric"})()
    judged = judge(asked, {"J1/P1/step": Read(value)}, job, stage)
    return acts.report_stage(record, keys["ola"], WHEN, sheets, judged, {}, files)


def test_plan_is_approved_once_survey_and_plan_are_there(record, keys, files, code, plan):
    def approve():
        return acts.approve(record, keys["ines"], WHEN, code, files)

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
    with pytest.raises(NotAllowed, match=f"plan {code} is approved already: by Ines Calder, "):
        approve()


def test_plan_outside_tolerance_is_not_approved(record, keys, files, code, plan):
    acts.accept_survey(record, keys["bram"], WHEN, files, ())
    acts.note_plan(record, WHEN, "x", files, replace(plan, inside=False))
    with pytest.raises(NotAllowed, match=f"plan {code} leaves a check outside its tolerance"):
        acts.approve(record, keys["ines"], WHEN, code, files)


def test_the_same_plan_is_written_down_once(record, files, plan):
    first = acts.note_plan(record, WHEN, "x", files, plan)
    assert acts.note_plan(record, WHEN, "y", files, plan) == first


def test_any_change_voids_and_is_told(printed, record, files):
    assert stands(record, files).status == "APPROVED"
    assert (
        stands(record, files).note == "by Ines Calder, 2031-04-02 05:00 UTC, entry 4 of the record"
    )
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
    acts.approve(record, keys["ines"], WHEN, check_code(other.id), files)
    now = stands(record, files)
    assert now.state == "void"
    assert now.why == (f"plan {check_code(other.id)} was approved in its place, entry 7",)


def test_rejection_takes_an_approval_back_and_may_be_taken_back(printed, record, keys, files, code):
    acts.reject(record, keys["ines"], WHEN, code, "pack at B-S1 leans")
    now = stands(record, files)
    assert (now.status, now.why) == ("REJECTED - do not use", ("pack at B-S1 leans",))
    acts.approve(record, keys["ines"], WHEN, code, files)
    assert stands(record, files).good


def test_sheets_do_not_say_what_no_longer_holds(printed, record, keys, files, code):
    """Another rejects the plan while the sheets are made."""
    plan = acts.plan_of(record, record.whole(), code)
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
    done(record, keys, printed, files, stage=1)
    event = done(record, keys, printed, files, stage=2)
    assert event.says["reasons"] == ["the hold point after stage 1 is not released"]
    event = done(record, keys, printed, lent(files), stage=1)
    assert event.says["reasons"] == [
        f"plan {code} is not approved: APPROVAL VOID - do not use; plate P5: count was 3, is 2"
    ]


def test_stop_stays_until_somebody_knows_of_it(printed, record, keys, files, code):
    acts.call_stop(record, keys["bram"], WHEN, "crane moved")
    done(record, keys, printed, files)
    with pytest.raises(NotAllowed) as refused:
        acts.release(record, keys["ines"], WHEN, code, 1, "", files)
    assert str(refused.value) == (
        "STOP was called (entry 6): crane moved; release it with the reason: --why"
    )
    acts.release(record, keys["ines"], WHEN, code, 1, "crane back, survey checked", files)
    done(record, keys, printed, files, stage=2)
    acts.release(record, keys["ines"], WHEN, code, 2, "", files)


def test_stop_is_not_settled_by_an_approval_that_does_not_know_of_it(
    printed, record, keys, files, code
):
    acts.reject(record, keys["ines"], WHEN, code, "pack at B-S1 leans")
    acts.call_stop(record, keys["bram"], WHEN, "crane moved")
    with pytest.raises(NotAllowed) as refused:
        acts.approve(record, keys["ines"], WHEN, code, files)
    assert str(refused.value) == (
        "STOP was called (entry 7): crane moved; approve it with the reason: --why"
    )
    assert open_holds(record.whole()) == ("STOP was called (entry 7): crane moved",)
    event = acts.approve(record, keys["ines"], WHEN, code, files, "crane back, survey checked")
    assert says_words(event) == "crane back, survey checked"
    assert open_holds(record.whole()) == ()


def test_stop_after_the_last_release_is_settled_by_releasing_again(
    printed, record, keys, files, code
):
    done(record, keys, printed, files)
    acts.release(record, keys["ines"], WHEN, code, 1, "", files)
    assert open_holds(record.whole()) == ()
    acts.call_stop(record, keys["ola"], WHEN, "crack heard")
    assert open_holds(record.whole()) == ("STOP was called (entry 8): crack heard",)
    with pytest.raises(NotAllowed, match=r"STOP was called \(entry 8\): crack heard; release it"):
        acts.release(record, keys["ines"], WHEN, code, 1, "", files)
    acts.release(record, keys["ines"], WHEN, code, 1, "a nut seated, looked at", files)
    assert open_holds(record.whole()) == ()


def test_survey_that_changed_is_not_the_accepted_one(record, keys, files, code, plan):
    acts.accept_survey(record, keys["bram"], WHEN, files, ("8 points",))
    with pytest.raises(NotAllowed, match="this survey is accepted already, entry 2"):
        acts.accept_survey(record, keys["bram"], WHEN, lent(files), ())
    new = {**files, "survey.csv": files["survey.csv"].replace(b"10.0060", b"10.0070")}
    plan = of_files(BARE, new)
    code = check_code(plan.id)
    acts.note_plan(record, WHEN, "x", new, plan)
    with pytest.raises(NotAllowed) as refused:
        acts.approve(record, keys["ines"], WHEN, code, new)
    assert str(refused.value).splitlines()[0] == (
        "the survey is not the one that was accepted; accept this one, or put that one back. Since "
        "entry 2:"
    )
    acts.accept_survey(record, keys["bram"], WHEN, new, ())
    acts.approve(record, keys["ines"], WHEN, code, new)


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
    event = acts.approve(record, keys["ines"], WHEN, code, files)
    assert event.about == plan.id
    assert record.files(event.inputs)["plan.json"] == plan_bytes(plan)


@pytest.mark.parametrize("signed", [False, True])
def test_plan_whose_content_gives_another_id_is_refused(record, keys, files, plan, code, signed):
    acts.accept_survey(record, keys["bram"], WHEN, files, ())
    if signed:
        acts.note_plan(record, WHEN, "ines", files, plan)
        acts.approve(record, keys["ines"], WHEN, code, files)
    entry = plant(record, files, replace(forged(files), id=plan.id))
    line = (
        f"entry {entry.number} says plan {code}, but its content is plan "
        f"{check_code(forged(files).id)}: it was put there by somebody, or by another version of "
        "fitup, and counts for nothing"
    )
    events = record.whole()
    assert acts.not_believed(record, events) == (line,)
    if signed:
        made = acts.plan_of(record, events, code)
        assert made.number < entry.number
        assert acts.plan_files(record, events, made)["plan.json"] == plan_bytes(plan)
    else:
        with pytest.raises(NotAllowed) as refused:
            acts.approve(record, keys["ines"], WHEN, code, files)
        assert str(refused.value) == f"{line}; plan again"


def test_plan_is_written_down_again_beside_a_planted_one(record, files, plan, code):
    plant(record, files, replace(forged(files), id=plan.id))
    made = acts.note_plan(record, WHEN, "ines", files, plan)
    assert acts.plan_of(record, record.whole(), code) == made


def test_content_that_is_no_plan_is_not_believed(record, files, plan):
    with record.writing() as pen:
        pen.append("plan made", WHEN, about=plan.id, outputs={"plan.json": b"[]"}, says={})
    (line,) = acts.not_believed(record, record.whole())
    assert "but its content is no plan" in line


def test_entries_are_found_by_number_and_by_code(printed, record, code):
    events = record.whole()
    assert acts.look_up(record, events, "3").kind == "plan made"
    assert acts.look_up(record, events, code.lower()).number == 3
    with pytest.raises(NotAllowed, match="no entry 12 in the record; the last is 5"):
        acts.look_up(record, events, "12")
