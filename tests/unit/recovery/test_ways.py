"""Ways out of a stage that stopped: onto steel, back, on; by jacks that work, or the help named."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any

import pytest

from fitup.certify import certify
from fitup.errors import InputError
from fitup.model import Objectives
from fitup.model.procedure import Procedure
from fitup.model.recovery import Answer, Recovery, Stopped
from fitup.openjob import OpenJob
from fitup.plan import make_plan
from fitup.recovery import Rescuer, stopped_at

#: what a jack that holds no oil cannot be asked for
NEEDS = {"SET", "TOUCH", "TAKE UP", "LIFT OFF", "RAISE", "PUSH", "FREE", "LOWER", "LAND"}


def answer(closure: OpenJob, line: int, *goals: Any, **stated: Any) -> Answer:
    stopped = stopped_at(closure.job, closure.certificate.procedures, Stopped(line, **stated))
    return closure.rescuer.answer(stopped, goals or ("safe", "back", "end"))


def crew(closure: OpenJob, group: str) -> Procedure:
    return next(p for p in closure.certificate.procedures if p.group == group)


def hold_laws(closure: OpenJob, recovery: Recovery, total: float | None) -> None:
    """Forces in balance, nothing further over steel than it may be, dead jacks left alone."""
    job, stopped = closure.job, recovery.stopped
    for event in recovery.procedure.events:
        if total is not None:
            assert sum(s.load for s in event.after) == pytest.approx(total, abs=2.0)
        for state in event.after:
            assert state.drop <= job.working.follow_up + 3.1e-4, (stopped, event.line)
        if event.verb in NEEDS:
            assert not set(event.objects) & (set(stopped.broken) - set(stopped.replaced))
    if recovery.procedure.events:
        assert all(s.on != "oil" for s in recovery.procedure.events[-1].after)


@pytest.mark.parametrize("group", ["W7-lift", "W7-across", "W7-along"])
def test_with_all_jacks_every_line_has_a_certified_way_on_and_onto_steel(
    closure: OpenJob, group: str
):
    procedure = crew(closure, group)
    begun = procedure.events[0].after
    lifts = closure.job.seats[procedure.seats[0]].comes_back
    total = sum(s.load for s in begun) if lifts else None
    for event in procedure.events:
        if event.verb in ("READ", "HOLD POINT"):
            continue
        found = answer(closure, event.line)
        assert [s.state.on for s in found.found.seats] == [s.on for s in event.after]
        for tried in found.tried:
            if tried.recovery is not None:
                hold_laws(closure, tried.recovery, total)
        assert found.of("safe").recovery is not None
        assert found.of("end").recovery is not None
        landed = event.line >= next(
            (e.line for e in procedure.events if e.verb in ("LAND", "BREAK LOOSE")), 0
        )
        assert (found.of("back").recovery is None) == landed
        if not landed and found.of("back").recovery.procedure.events:
            home = found.of("back").recovery.procedure.events[-1].after
            for then, now in zip(begun, home, strict=True):
                assert (now.on, sorted(now.pack)) == (then.on, sorted(then.pack))
                assert now.deck == pytest.approx(then.deck, abs=1e-9)
                assert now.load == pytest.approx(then.load, abs=1.0)


def test_the_oil_of_a_broken_jack_is_lost_and_its_nut_carries(closure: OpenJob):
    """RAISE by 4 mm, nut not yet up: the seat goes down by that, and its load with it."""
    events = crew(closure, "W7-lift").events
    line = next(e.line for e in events if e.verb == "RAISE")
    nuts = {s.state.seat: s.nut for s in answer(closure, line, "safe").found.seats}
    broken = answer(closure, line, "safe", broken=("J-W7-S2",)).found
    seat = next(s for s in broken.seats if s.state.seat == "W7-S2")
    sound = next(s for s in answer(closure, line, "safe").found.seats if s.state.seat == "W7-S2")
    assert (seat.state.on, seat.nut, seat.dead) == ("nut", 0.0, True)
    assert seat.ram == pytest.approx(sound.ram - nuts["W7-S2"])
    assert seat.state.load < sound.state.load
    assert any("reserve" in words for words in broken.outside)


def test_make_safe_is_nuts_home_and_oil_off_even_where_a_limit_is_passed(closure: OpenJob):
    events = crew(closure, "W7-lift").events
    line = [e.line for e in events if e.verb == "RAISE"][2]
    recovery = answer(closure, line, "safe", broken=("J-W7-S2",)).of("safe").recovery
    assert recovery is not None
    assert [o.verb for o in recovery.orders] == ["NUT HOME", "OIL OFF"]
    assert all("J-W7-S2" not in o.objects for o in recovery.orders)
    assert recovery.outside


def test_a_jack_lost_in_the_raised_state_asks_for_one_by_name(closure: OpenJob):
    events = crew(closure, "W7-lift").events
    line = next(e.line for e in events if e.verb == "OIL OFF")
    found = answer(closure, line, "back", broken=("J-W7-S2",)).of("back")
    assert found.recovery is None
    assert found.helped
    (need,) = found.jacks
    jack = closure.job.jacks["J-W7-S2"]
    assert (need.jack, need.seat) == ("J-W7-S2", "W7-S2")
    # by hand: 1004 kN on the way up with friction, over the reserve of 1.5
    assert need.capacity >= 1004e3 * 1.03 * closure.job.working.jack_reserve
    assert need.capacity <= jack.capacity
    # it was 20 mm up, and gives the load back over its spring
    assert 0.020 < need.stroke < 0.035


def test_with_the_help_that_was_named_there_is_a_way(closure: OpenJob):
    """What went down alone comes up alone, the others on their nuts; then all together."""
    events = crew(closure, "W7-lift").events
    line = [e.line for e in events if e.verb == "RAISE"][3]
    stated = {"broken": ("J-W7-S2",), "replaced": ("J-W7-S2",)}
    for goal in ("back", "end"):
        recovery = answer(closure, line, goal, **stated).of(goal).recovery
        assert recovery is not None
        verbs = [o.verb for o in recovery.orders]
        assert verbs[:5] == ["NUT HOME", "OIL OFF", "SET", "TOUCH", "FREE"]
        assert recovery.orders[4].objects == ("J-W7-S2",)
        hold_laws(closure, recovery, None)


def test_a_ram_between_two_readings_goes_back_to_the_last_one(closure: OpenJob):
    events = crew(closure, "W7-lift").events
    raised = [e for e in events if e.verb == "RAISE"]
    line = next(e.line for e in events if e.line > raised[1].line)
    aims = {r.at: r.value for r in raised[1].readings if r.instrument == "ram"}
    found = answer(closure, line, "back", rams=tuple((j, v + 1e-3) for j, v in aims.items()))
    recovery = found.of("back").recovery
    assert recovery is not None
    lower = next(o for o in recovery.orders if o.verb == "LOWER")
    assert dict(zip(lower.objects, lower.aims, strict=True)) == pytest.approx(aims)


def test_at_rest_after_make_safe_the_way_back_frees_first(closure: OpenJob):
    events = crew(closure, "W7-lift").events
    line = [e.line for e in events if e.verb == "RAISE"][2]
    found = answer(closure, line, at_rest=True)
    assert {s.state.on for s in found.found.seats} == {"nut"}
    assert found.of("safe").recovery.orders == ()
    assert found.of("back").recovery.orders[0].verb == "FREE"
    assert found.of("end").recovery.orders[0].verb == "FREE"


def test_a_lost_plate_stops_the_way_on_and_is_named(closure: OpenJob):
    job = closure.job
    events = crew(closure, "W7-lift").events
    line = next(e.line for e in events if e.verb == "OIL OFF")
    changed = [e for e in events if e.verb == "CHANGE PACK"]
    mark = next(m.mark for e in changed for m in e.moved if m.source == "store")
    lost = (mark,) * job.plates[mark].count
    found = answer(closure, line, "back", "end", lost=lost)
    assert found.of("back").recovery is not None
    assert found.of("end").recovery is None
    assert mark in [p.mark for p in found.of("end").plates]
    assert found.of("end").helped


def test_orders_for_a_dead_jack_are_refused_by_the_certificate(closure: OpenJob):
    """What a hand-made order says is not believed: the certificate looks at each."""
    events = crew(closure, "W7-lift").events
    line = next(e.line for e in events if e.verb == "OIL OFF")
    stopped = stopped_at(closure.job, closure.certificate.procedures, Stopped(line))
    follower = closure.rescuer.follower
    way = closure.rescuer.answer(stopped, ("back",)).of("back").recovery
    dead = follower.found(replace(stopped, broken=("J-W7-S2",)))
    recovery, refused = follower.follow(dead, "back", way.orders)
    assert recovery is None
    assert any("asks for jack J-W7-S2, which is broken" in line for line in refused)
    _, refused = follower.follow(follower.found(stopped), "back", way.orders[:-1])
    assert refused == ()
    _, refused = follower.follow(follower.found(stopped), "back", way.orders[:2])
    assert any("is left on oil" in line for line in refused)


@pytest.mark.parametrize(
    ("stated", "words"),
    [
        ({"line": 9999}, "found line 9999; allowed: a line of the move sheets"),
        ({"line": 9, "broken": ("J-E1-S1",)}, "--broken: found J-E1-S1; allowed: one of J-W7-S1"),
        ({"line": 9, "replaced": ("J-W7-S1",)}, "--replaced: found J-W7-S1; allowed: one of none"),
        ({"line": 9, "lost": ("P99",)}, "--lost: found P99; allowed: one of P40"),
        ({"line": 9, "on": (("E1-S1", "nut"),)}, "--on: found E1-S1; allowed: one of W7-S1"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(closure: OpenJob, stated: Any, words: str):
    with pytest.raises(InputError) as refused:
        stopped_at(closure.job, closure.certificate.procedures, Stopped(**stated))
    assert words in str(refused.value)


GROUPS = ["W7-lift", "E1-lift", "W7-across", "E1-across", "W7-along", "E1-along"]


@pytest.mark.parametrize("group", GROUPS)
def test_with_each_jack_broken_at_every_line_all_comes_onto_steel_or_help_is_named(
    closure: OpenJob, group: str
):
    procedure = crew(closure, group)
    lifts = closure.job.seats[procedure.seats[0]].comes_back
    total = sum(s.load for s in procedure.events[0].after) if lifts else None
    for event in procedure.events:
        if event.verb in ("READ", "HOLD POINT"):
            continue
        for jack in procedure.jacks:
            found = answer(closure, event.line, "safe", "back", broken=(jack,))
            safe, back = found.of("safe"), found.of("back")
            assert safe.recovery is not None, (event.line, jack)
            if not safe.recovery.orders:
                assert all(s.state.on != "oil" for s in found.found.seats)
            assert back.recovery is not None or back.why_not
            for tried in (safe, back):
                if tried.recovery is not None:
                    hold_laws(closure, tried.recovery, total)
            for need in back.jacks:
                assert need.jack == jack
                assert need.capacity <= closure.job.jacks[jack].capacity


def without_nuts(case: Any, kept: tuple[str, ...] = ()) -> Any:
    """The small job with temporary seats and plates for them in place of lock nuts."""
    jacks = {n: replace(j, lock_nut=j.seat in kept) for n, j in case.job.jacks.items()}
    seats = {n: replace(s, temporary_seat=True) for n, s in case.job.seats.items()}
    plates = {m: replace(p, count=p.count + 12) for m, p in case.job.plates.items()}
    return replace(case, job=replace(case.job, jacks=jacks, seats=seats, plates=plates))


@pytest.mark.parametrize("nuts", [(), ("B1", "B2")], ids=["plates", "nuts and plates"])
def test_loads_without_nuts_come_onto_plates_or_packs_from_every_line(small: Any, nuts: Any):
    case = without_nuts(small(), nuts)
    plan = make_plan(case.job, case.state, case.influence)
    made = (case.job, case.survey, case.state, case.influence, plan)
    certificate = certify(*made)
    rescuer = Rescuer(*made, certificate)
    procedure = certificate.procedures[0]
    landed = next(e.line for e in procedure.events if e.verb == "LAND")
    for event in procedure.events:
        if event.verb in ("READ", "HOLD POINT"):
            continue
        for broken in ((), (procedure.jacks[0],)):
            stated = Stopped(event.line, broken=broken)
            found = rescuer.answer(stopped_at(case.job, certificate.procedures, stated))
            safe = found.of("safe").recovery
            assert safe is not None, (event.line, broken)
            rests = safe.procedure.events[-1].after if safe.orders else event.after
            assert all(s.on != "oil" for s in rests)
            lying = Counter(m for s in rests for m in (*s.pack, *s.beside, *s.on_pack))
            assert lying == Counter(
                m
                for s in found.found.seats
                for m in (*s.state.pack, *s.state.beside, *s.state.on_pack)
            )
            if not broken:
                assert found.of("end").recovery is not None, event.line
                assert (found.of("back").recovery is not None) == (event.line < landed)


def test_seats_that_stay_on_their_nuts_go_on_and_back(small: Any):
    """B1 and B3 stay on nuts, B2 and B4 on packs; with the jack of B1 lost once its nut is set."""
    job = small().job
    seats = {
        n: replace(s, held_by="nut", pack=(), raise_most=0.03, lower_most=0.03)
        if n[1] in "13"
        else s
        for n, s in job.seats.items()
    }
    case = small(
        seed=1,
        size=0.008,
        seats={n: replace(s, reaction_least=-3e6, reaction_most=6e6) for n, s in seats.items()},
        jacks={n: replace(j, capacity=9e6) for n, j in job.jacks.items()},
        plates={m: replace(p, count=p.count + 12) for m, p in job.plates.items()},
        limits={n: replace(w, most=0.008, most_moving=0.04) for n, w in job.limits.items()},
        objectives=Objectives(search_effort=2.0),
    )
    plan = make_plan(case.job, case.state, case.influence, explain=False)
    made = (case.job, case.survey, case.state, case.influence, plan)
    certificate = certify(*made)
    rescuer = Rescuer(*made, certificate)
    procedure = certificate.procedures[0]
    landed = next(e.line for e in procedure.events if e.verb == "LAND")
    freed = next(e.line for e in procedure.events if e.verb == "FREE")
    for event in procedure.events:
        if event.verb in ("READ", "HOLD POINT"):
            continue
        stated = Stopped(event.line)
        found = rescuer.answer(stopped_at(case.job, certificate.procedures, stated))
        assert found.of("safe").recovery is not None, event.line
        assert found.of("end").recovery is not None, event.line
        assert (found.of("back").recovery is not None) == (event.line < landed), event.line
    lost = Stopped(freed, broken=("JB1",))
    found = rescuer.answer(stopped_at(case.job, certificate.procedures, lost))
    on = found.of("end").recovery
    assert on is not None
    assert all("JB1" not in o.objects for o in on.orders)
    assert found.of("back").helped


def test_a_nut_that_was_run_back_is_run_back_once_more_after_resting(closure: OpenJob):
    events = crew(closure, "W7-lift").events
    back = [e.line for e in events if e.who == "nut" and e.phase in ("lower", "landing")]
    assert len(back) == 2
    for line in back:
        recovery = answer(closure, line, "end", at_rest=True).of("end").recovery
        assert recovery is not None, line
        assert recovery.orders[0].verb == "FREE"
        down = next(k for k, o in enumerate(recovery.orders) if o.verb in ("LOWER", "LAND"))
        last = recovery.orders[down - 1]
        assert last.verb == "RUN NUT BACK" or (last.verb == "FOLLOW WITH NUT" and min(last.aims))


def test_lines_of_a_recovery_have_numbers_of_their_own(closure: OpenJob):
    """A line that is said on the radio means one thing, of the plan or of the recovery."""
    last = max(e.line for p in closure.certificate.procedures for e in p.events)
    line = next(e.line for e in crew(closure, "W7-lift").events if e.verb == "RAISE")
    recovery = answer(closure, line, "back").of("back").recovery
    assert recovery is not None
    lines = [e.line for e in recovery.procedure.events]
    assert lines == list(range(last + 1, last + 1 + len(lines)))


def test_a_seat_stands_on_what_the_crew_says(closure: OpenJob):
    """One nut is home already where the line leaves all on oil; the others are as the line says."""
    events = crew(closure, "W7-lift").events
    line = next(e.line for e in events if e.verb == "RAISE")
    as_left = answer(closure, line, "safe").found.seats
    assert {s.state.on for s in as_left} == {"oil"}
    seat = as_left[0].state.seat
    stated = answer(closure, line, "safe", on=((seat, "nut"),)).found.seats
    assert [s.state.on for s in stated] == ["nut", *["oil"] * (len(stated) - 1)]
    # the nut stood clear: the seat went down by its gap
    assert stated[0].nut == 0.0
    assert as_left[0].ram - stated[0].ram == pytest.approx(as_left[0].nut)
    # said to stand on oil, as the line says: nothing is otherwise
    same = answer(closure, line, "safe", on=((seat, "oil"),)).found.seats
    assert [(s.state, s.ram, s.nut) for s in same] == [(s.state, s.ram, s.nut) for s in as_left]
