"""What goes on into the next job: every value with its source, plates neither lost nor found."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from fitup.errors import InputError
from fitup.loop.carry import carry
from fitup.model import Done, Hold, Limit, Plan, SeatPlan, Stage

ENDS = {"who": "R. Quay", "time": "2031-04-02T05:40"}


def plan_of(job, packs: dict[str, tuple[str, ...]], stages=(("B1", "B2"),)) -> Plan:
    seats = []
    for name, seat in job.seats.items():
        new = packs.get(name, seat.pack)
        setting = 0.0
        if new != seat.pack:
            setting = job.pack_height(new) - job.pack_height(seat.pack) - seat.bedding
        out, put = Counter(seat.pack) - Counter(new), Counter(new) - Counter(seat.pack)
        seats.append(
            SeatPlan(name, tuple(out.elements()), tuple(put.elements()), new, setting,
                     new != seat.pack)
        )  # fmt: skip
    stated = tuple(Stage(i, "B-lift", own, (), (), (), (), ()) for i, own in enumerate(stages, 1))
    return Plan(tuple(seats), stated, (), "made", (0.0,) * len(seats), True, id="made")


def stage_of(number: int, seat: str) -> Stage:
    return Stage(number, "g", (seat,), (), (), (), (), ())


def end(seat, stage=1, moment="end", **read) -> Done:
    whole = {"jack": None, "movement": None, "load": None, "pack": None, "stroke_out": None}
    return Done(stage=stage, moment=moment, seat=seat, row=2, **{**whole, **read, **ENDS})


@pytest.fixture
def case(small):
    return small(1)


@pytest.fixture
def raised(case):
    """B1 and B2 each get a plate of 5 mm more."""
    return plan_of(case.job, dict.fromkeys(("B1", "B2"), ("P20", "P5", "P5")))


def refusals(call) -> list[str]:
    with pytest.raises(InputError) as refused:
        call()
    return [str(p) for p in refused.value.problems]


def test_plates_of_one_mark_may_be_wrong_by_the_same(case):
    """Two of a mark that was bought to limits: twice its uncertainty, not the root of two."""
    plan = plan_of(case.job, {"B1": ("P20", "P5", "P5", "P5")})
    alike = {m: replace(p, spread=4e-4, alike=m == "P5") for m, p in case.job.plates.items()}
    stated = carry(replace(case.job, plates=alike), case.influence, plan)
    assert next(m for m in stated.moved if m.seat == "B1").uncertainty == pytest.approx(8e-4)
    apart = {m: replace(p, spread=4e-4) for m, p in case.job.plates.items()}
    stated = carry(replace(case.job, plates=apart), case.influence, plan)
    assert next(m for m in stated.moved if m.seat == "B1").uncertainty == pytest.approx(
        4e-4 * np.sqrt(2.0)
    )


def test_as_planned_by_hand(case, raised):
    stated = carry(case.job, case.influence, raised)
    moved = {m.seat: m for m in stated.moved}
    # a plate of 5.00 mm in, 0.2 mm of bedding
    assert moved["B1"].setting == pytest.approx(0.0048)
    assert moved["B1"].uncertainty == pytest.approx(2e-5)
    assert moved["B3"].setting == 0.0
    assert stated.changes["seats.csv"]["B1", "pack"] == "P20+P5+P5"
    assert stated.changes["plates.csv"] == {("P5", "count"): 4}
    assert stated.changes["jacks.csv"]["JB1", "stroke_used"] == pytest.approx(0.0448)
    # two near seats of one end raised together do not warp
    assert "limits.csv" not in stated.changes
    loads = case.influence.r0 + case.influence.R @ np.array([m.setting for m in stated.moved])
    assert stated.changes["seats.csv"]["B1", "reaction_now"] == pytest.approx(loads[0], abs=0.6)
    assert {c.source for c in stated.carried if c.column == "pack"} == {"as planned, not read"}
    assert stated.warnings == []


def test_every_changed_cell_is_told_and_no_other(case, raised):
    stated = carry(case.job, case.influence, raised)
    cells = {(file, *place) for file, own in stated.changes.items() for place in own}
    assert cells == {(c.file, c.row, c.column) for c in stated.carried}
    assert all(c.source for c in stated.carried)


def test_packs_as_built_count_not_as_planned(case, raised):
    done = [
        end("B1", pack=("P20", "P5", "P2"), movement=0.002, load=520e3, stroke_out=0.043),
        end("B2"), end("B2", jack="JB2", load=480e3),
    ]  # fmt: skip
    stated = carry(case.job, case.influence, raised, done[:1] + done[2:])
    moved = {m.seat: m for m in stated.moved}
    assert moved["B1"].setting == pytest.approx(0.00203 - 0.0002)
    assert moved["B2"].setting == pytest.approx(0.0048)
    assert stated.changes["plates.csv"] == {("P5", "count"): 5, ("P2", "count"): 7}
    assert stated.changes["seats.csv"]["B1", "reaction_now"] == 520e3
    assert stated.changes["jacks.csv"]["JB1", "stroke_used"] == pytest.approx(0.043)
    assert (moved["B1"].load_before, moved["B1"].load_after) == (None, 520e3)
    sources = {(c.row, c.column): c.source for c in stated.carried}
    assert sources["B1", "pack"] == "read by R. Quay, 2031-04-02 05:40"
    assert sources["B2", "pack"] == "as planned; not stated in the readings"


def test_lift_off_counts_before_the_moves_of_its_stage(case, raised):
    plan = replace(
        raised,
        stages=(
            stage_of(1, "B1"),
            stage_of(2, "B2"),
        ),
    )
    x = {p.seat: p.setting for p in plan.seats}
    column = case.influence.seats.index
    true = {"B1": 540e3, "B2": 530e3}
    second = true["B2"] + case.influence.R[column("B2"), column("B1")] * x["B1"]
    done = [
        end("B1", moment="lift-off", load=true["B1"], movement=0.0),
        end("B2", stage=2, moment="lift-off", load=second, movement=0.0),
        end("B1", pack=("P20", "P5", "P5")),
        end("B2", stage=2, pack=("P20", "P5", "P5")),
    ]
    stated = carry(case.job, case.influence, plan, done)
    moved = {m.seat: m for m in stated.moved}
    assert moved["B1"].load_before == pytest.approx(540e3)
    assert moved["B2"].load_before == pytest.approx(530e3)
    sources = {(c.row, c.column): c.source for c in stated.carried}
    assert sources["B1", "reaction_now"] == "computed: measured at lift-off, and what the moves add"
    assert sources["B3", "reaction_now"] == (
        "computed: not read; scaled as the seats read of segment B, and what the moves add"
    )


def test_a_segment_heavier_than_written_down(case, raised):
    done = [end(n, stage=0, load=700e3) for n in ("B1", "B2", "B3", "B4")]
    stated = carry(case.job, case.influence, raised, done)
    assert stated.changes["segments.csv"]["B", "weight"] == 2800000
    assert stated.warnings[-1] == (
        "segment B: its seats carry 2800 kN, its weight was written down as 2000 kN; find out what "
        "the segment really weighs"
    )


def test_windows_limits_and_holds(case):
    seats = {**case.job.seats}
    seats["B1"] = replace(seats["B1"], raise_most=0.006, lower_most=0.002)
    limits = {"d": Limit("d", "difference", ("B1", "B2"), 0.006),
              "w": Limit("w", "warp", ("B1", "B2", "B3", "B4"), 0.001)}  # fmt: skip
    holds = (Hold("H1", "bolts", "M. Tarn, 2 April"), Hold("H2", "wind", ""))
    job = replace(case.job, seats=seats, limits=limits, holds=holds)
    plan = plan_of(job, {"B1": ("P20", "P5", "P5")}, stages=(("B1",),))
    stated = carry(job, case.influence, plan)
    assert stated.changes["seats.csv"]["B1", "raise_most"] == pytest.approx(0.0012)
    assert stated.changes["seats.csv"]["B1", "lower_most"] == pytest.approx(0.0068)
    assert stated.changes["limits.csv"]["d", "most"] == pytest.approx(0.0012)
    # 4.8 mm at one corner: more than the whole limit of the warp
    assert stated.changes["limits.csv"]["w", "most"] == pytest.approx(1e-6)
    assert stated.warnings == ["limit w is used up; the engineer decides what may still be moved"]
    assert stated.changes["holds.csv"] == {("H1", "signed"): ""}


def test_a_dial_that_does_not_agree_with_the_plates(case, raised):
    """Of a push; a ram that landed goes with the springs of jack and pack as well."""
    done = [end("B1", movement=0.008, pack=("P20", "P5", "P5")), end("B2")]
    read = [done[0], replace(done[1], load=5e5)]
    pushed = {
        **case.job.seats,
        "B1": replace(case.job.seats["B1"], pushes="ahead", direction=np.array([1.0, 0.0, 0.0])),
    }
    stated = carry(replace(case.job, seats=pushed), case.influence, raised, read)
    differs = (
        "seat B1: the movement read and its plates differ by 3.2 mm; the plates count, look at the "
        "pack again"
    )
    assert differs in stated.warnings
    assert differs not in carry(case.job, case.influence, raised, read).warnings


def test_a_nut_goes_where_its_jack_was_read(case):
    seats = {**case.job.seats}
    seats["B1"] = replace(seats["B1"], held_by="nut", pack=(), raise_most=0.02, lower_most=0.02)
    job = replace(case.job, seats=seats)
    plan = plan_of(job, {}, stages=(("B1",),))
    own = replace(plan.seats[0], setting=0.005, disturbed=True)
    plan = replace(plan, seats=(own, *plan.seats[1:]))
    stated = carry(job, case.influence, plan, [end("B1", movement=0.0045)])
    assert stated.moved[0].setting == pytest.approx(0.0045)
    # half a millimetre of resolution, evenly spread
    assert stated.moved[0].uncertainty == pytest.approx(0.0005 / np.sqrt(12.0))
    assert stated.changes["seats.csv"]["B1", "raise_most"] == pytest.approx(0.0155)


def test_readings_that_do_not_fit(case, raised):
    assert refusals(
        lambda: carry(case.job, case.influence, raised, [end("B3", load=1.0)], shown="night.csv")
    ) == [
        "night.csv, row 2, stage: found seat B3 in stage 1; allowed: the seats of that stage on "
        "the sheets (B1, B2), or stage 0 for what was done beside them; correct the stage, or use "
        "the sheets' own plan",
        "night.csv: found no end reading of B1, B2, which the plan moves; allowed: a row with "
        "moment end for each; add them, or say what counts: --rest planned or --rest still",
    ]
    still = carry(case.job, case.influence, raised, [end("B1", load=5e5)], rest="still")
    assert {m.seat: m.setting for m in still.moved}["B2"] == 0.0
    planned = carry(case.job, case.influence, raised, [end("B1", load=5e5)], rest="planned")
    assert {m.seat: m.setting for m in planned.moved}["B2"] == pytest.approx(0.0048)


def test_plates_nobody_had(case, raised):
    done = [end("B1", pack=("P20",) * 7), end("B2", load=5e5)]
    assert refusals(lambda: carry(case.job, case.influence, raised, done)) == [
        "plates.csv: found packs as done that need plates nobody had: 2 of P20; allowed: plates of "
        "the store and of packs that were taken apart; look at the packs again, or count the store "
        "and correct plates.csv"
    ]


def test_friction_of_the_gauges_is_taken_out_and_stage_0_is_before_its_first_stage(case, raised):
    job = replace(case.job, staging=replace(case.job.staging, friction=0.05))
    plan = replace(raised, stages=(stage_of(1, "B1"), stage_of(2, "B2")))
    x = {p.seat: p.setting for p in plan.seats}["B1"]
    added = case.influence.R[1, 0] * x
    done = [
        end("B2", stage=0, moment="lift-off", load=(520e3 + added) * 1.05),
        end("B1", pack=("P20", "P5", "P5")),
        end("B2", stage=2, pack=("P20", "P5", "P5")),
    ]
    stated = carry(job, case.influence, plan, done)
    assert {m.seat: m for m in stated.moved}["B2"].load_before == pytest.approx(520e3)
