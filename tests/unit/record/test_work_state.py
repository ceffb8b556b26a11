"""The state of the work is a pure function of the entries; its table is that of the docs."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.record.events import KINDS, Event
from fitup.record.stage_work import GO_ON, HOLD, STOPPED
from fitup.record.transitions import TRANSITIONS
from fitup.record.work_state import WorkState, work_of

DOC = Path(__file__).parents[3] / "docs" / "record.md"
WHEN = "2031-04-02T05:00:00Z"
PLANS = ("a" * 64, "b" * 64)


def reading(name, verdict=GO_ON, value=0.0):
    return {"read": name, "value_si": value, "pack": None, "verdict": verdict, "words": "said"}


def stage_done(number, plan, stage, *readings, against=()):
    said = {r["verdict"] for r in readings} | ({STOPPED} if against else set())
    verdict = next(v for v in (STOPPED, HOLD, GO_ON) if v in said)
    says = {
        "stage": stage,
        "verdict": verdict,
        "against": list(against),
        "reasons": [],
        "readings": list(readings),
    }
    return Event(number, "stage done", WHEN, "ola", plan, says=says)


def released(number, plan, stage):
    return Event(
        number, "hold point released", WHEN, "ines", plan, says={"stage": stage, "why": ""}
    )


def approved(number, plan, **says):
    return Event(number, "plan approved", WHEN, "ines", plan, says={"why": "", **says})


def test_table_of_the_docs_is_the_table_of_the_program():
    rows = [line.strip("| \n").split(" | ") for line in DOC.read_text("utf-8").splitlines()]
    table = [tuple(row) for row in rows if len(row) == 3]
    assert [row for row in TRANSITIONS if row not in table] == []


#: entries that say nothing of how far the work is
BESIDE = {"people named", "sheets printed", "learned", "record taken up again"}


def test_every_kind_of_entry_that_changes_the_state_is_in_the_table():
    stated = {row[0].split(",")[0] for row in TRANSITIONS}
    assert stated == set(KINDS) - BESIDE


def test_two_crews_report_halves_of_a_stage():
    plan = PLANS[0]
    none = {"value_si": None, "verdict": HOLD}
    west = stage_done(1, plan, 1, reading("ram J1"), {**reading("ram J2"), **none})
    east = stage_done(2, plan, 1, {**reading("ram J1"), **none}, reading("ram J2"))
    half = work_of([west]).plan(plan).stage(1)
    assert (half.verdict, half.missing) == (HOLD, ("ram J2",))
    assert half.reasons == ("not read: ram J2",)
    both = work_of([west, east]).plan(plan).stage(1)
    assert (both.verdict, both.reports) == (GO_ON, (1, 2))


@pytest.mark.parametrize("first", [GO_ON, HOLD, STOPPED])
@pytest.mark.parametrize("second", [GO_ON, HOLD, STOPPED])
def test_worse_report_counts_whatever_comes_first(first, second):
    plan = PLANS[0]
    events = [
        stage_done(1, plan, 1, reading("x", first)),
        stage_done(2, plan, 1, reading("x", second)),
    ]
    worst = max(first, second, key=(GO_ON, HOLD, STOPPED).index)
    assert work_of(events).plan(plan).stage(1).verdict == worst
    stage = work_of([*events, released(3, plan, 1)]).plan(plan).stage(1)
    assert (stage.verdict, stage.released, stage.open) == ("", 3, False)


def test_why_a_stage_should_not_have_been_done_is_not_erased_either():
    plan = PLANS[0]
    events = [
        stage_done(1, plan, 1, reading("x"), against=("not approved",)),
        stage_done(2, plan, 1, reading("x")),
    ]
    stage = work_of(events).plan(plan).stage(1)
    assert (stage.verdict, stage.reasons) == (STOPPED, ("not approved",))


def test_where_the_work_stands_in_words():
    plan = PLANS[0]
    code = work_of([]).plan(plan).code
    entries = [
        Event(1, "people named", WHEN, "ines"),
        Event(2, "survey accepted", WHEN, "bram"),
        Event(3, "plan made", WHEN, "x", plan, says={}),
        approved(4, plan, stages=2, lift_off={"1": ["J1"]}),
        stage_done(5, plan, 0, reading("lift-off J1")),
        released(6, plan, 0),
        stage_done(7, plan, 1, reading("x")),
        released(8, plan, 1),
        Event(9, "stop", WHEN, "ola", says={"why": "fog"}),
        Event(10, "stop lifted", WHEN, "ines", says={"stop": 9, "why": "clear"}),
        stage_done(11, plan, 2, reading("x")),
        released(12, plan, 2),
        Event(13, "locked off", WHEN, "ines"),
    ]
    assert [work_of(entries[:n]).words for n in range(1, 14)] == [
        "survey not accepted",
        "survey accepted, not planned",
        f"planned: {code}, not approved",
        f"plan {code} approved; the lift-off is next",
        f"plan {code} approved; the lift-off reported: go on",
        f"plan {code} approved; stage 1 is next",
        f"plan {code} approved; stage 1 reported: go on",
        f"plan {code} approved; stage 1 released, stage 2 is next",
        f"plan {code} approved; stage 1 released, stage 2 is next. STOPPED: STOP was called "
        "(entry 9): fog",
        f"plan {code} approved; stage 1 released, stage 2 is next",
        f"plan {code} approved; stage 2 reported: go on",
        f"plan {code} done: every stage released; survey again",
        "locked off (entry 13)",
    ]


def test_report_of_an_earlier_version_names_its_reasons_only():
    says = {"stage": 1, "verdict": STOPPED, "reasons": ["not approved"], "readings": [reading("x")]}
    stage = (
        work_of([Event(1, "stage done", WHEN, "ola", PLANS[0], says=says)]).plan(PLANS[0]).stage(1)
    )
    assert (stage.verdict, stage.against) == (STOPPED, ("not approved",))


ENTRIES = st.one_of(
    st.builds(stage_done, st.just(0), st.sampled_from(PLANS), st.integers(0, 2),
              st.builds(reading, st.sampled_from("xy"), st.sampled_from([GO_ON, HOLD, STOPPED]))),
    st.builds(released, st.just(0), st.sampled_from(PLANS), st.integers(0, 2)),
    st.builds(approved, st.just(0), st.sampled_from(PLANS)),
    st.just(Event(0, "stop", WHEN, "ola", says={"why": "fog"})),
    st.builds(lambda n: Event(0, "stop lifted", WHEN, "ines", says={"stop": n, "why": "x"}),
              st.integers(1, 12)),
)  # fmt: skip


def numbered(entries):
    return [Event(i, e.kind, e.when, e.who, e.about, says=e.says) for i, e in enumerate(entries, 1)]


@settings(deadline=None)
@given(st.lists(ENTRIES, max_size=12), st.integers(0, 12))
def test_state_is_that_of_the_entries_however_they_are_taken(entries, cut):
    events = numbered(entries)
    assert work_of(events[cut:], work_of(events[:cut])) == work_of(events)


@settings(deadline=None)
@given(st.lists(ENTRIES, max_size=12))
def test_only_the_act_that_names_it_ends_a_stop(entries):
    events = numbered(entries)
    called = {e.number for e in events if e.kind == "stop"}
    for event in events:
        if event.kind == "stop lifted" and event.says["stop"] < event.number:
            called.discard(event.says["stop"])
    assert {s.entry for s in work_of(events).stops} == called


@settings(deadline=None)
@given(st.lists(ENTRIES, max_size=12), ENTRIES)
def test_no_report_makes_a_stage_better(entries, more):
    events = numbered([*entries, more])
    if more.kind != "stage done":
        return
    number = int(more.says["stage"])
    before: WorkState = work_of(events[:-1])
    after = work_of(events)
    grades = ("", GO_ON, HOLD, STOPPED)
    was, now = (w.plan(more.about).stage(number).verdict for w in (before, after))
    # only what was not read yet can turn a hold into go on
    missing = before.plan(more.about).stage(number).missing
    assert grades.index(now) >= grades.index(was) or (was == HOLD and missing)


def recovery_done(number, *readings, goal="safe", of=("J1", "S1")):
    says = {
        **{"recovery": "c" * 64, "code": "", "stage": 1, "crew": 1, "goal": goal},
        **{"verdict": GO_ON, "against": [], "reasons": [], "of": list(of)},
        "readings": list(readings),
    }
    return Event(number, "recovery done", WHEN, "ola", PLANS[0], says=says)


def test_a_recovery_half_way_holds_its_own_crew_and_no_other():
    half = recovery_done(1, reading("dial S1"), {**reading("stands S1"), "value_si": None})
    rest = recovery_done(2, {**reading("stands S1"), "value_si": None, "stands": "nut"})
    for entries in ([half], [half, rest]):
        work = work_of(entries)
        for own in ("ram J1", "pack S1", "load J1"):
            assert len(work.unfinished(PLANS[0], 1, [own])) == 1
        assert work.unfinished(PLANS[0], 1, ["ram J2", "pack S2", "J1/P1/step"]) == ()
        assert work.unfinished(PLANS[0], 2, ["ram J1"]) == ()
    back = recovery_done(1, reading("dial S1"), goal="back")
    assert work_of([back]).unfinished(PLANS[0], 1, ["ram J1"]) == ()


def test_every_reading_outside_its_band_is_a_stop_of_its_own():
    """Lifting one does not lift the other, and nicer readings lift none."""
    off = {**reading("dial S1", STOPPED, 0.05), "words": "50 mm"}
    other = {**reading("stands S1", HOLD), "stands": "pack"}
    work = work_of([recovery_done(1, off), recovery_done(2, other), recovery_done(3, reading("x"))])
    assert [s.entry for s in work.stops] == [1, 2]
    assert work.recoveries["c" * 64].report.verdict == STOPPED
    lifted = Event(4, "stop lifted", WHEN, "ines", says={"stop": 1, "why": "y"})
    assert [s.entry for s in work_of([lifted], work).stops] == [2]
