"""Ways out of stages with linked jacks: what a valve holds, what leaks, and the way from there."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import pytest

from fitup.certify import Certificate, certify
from fitup.errors import InputError
from fitup.model import SPRINGS, Plan, Staging, circuits_of
from fitup.model.procedure import Procedure
from fitup.model.recovery import Answer, Recovery, Stopped
from fitup.plan import make_plan
from fitup.recovery import Rescuer, stopped_at
from fitup.recovery.contingencies import Certified, contingencies

#: areas of the jacks on the valve [m2]
AREAS = (0.02, 0.018)
ON_OIL = ("RAISE", "FREE", "LOWER")


class Lift(NamedTuple):
    case: Any
    plan: Plan
    certificate: Certificate
    rescuer: Rescuer

    @property
    def procedure(self) -> Procedure:
        """That of segment B."""
        return next(p for p in self.certificate.procedures if p.segment == "B")

    def lines(self, *verbs: str) -> list[int]:
        return [e.line for e in self.procedure.events if e.verb in verbs]

    def answer(self, line: int, *goals: Any, **stated: Any) -> Answer:
        certified = (*self.certificate.procedures, *self.certificate.ways_back)
        stopped = stopped_at(self.case.job, certified, Stopped(line, **stated))
        return self.rescuer.answer(stopped, goals or ("safe", "back", "end"))


@pytest.fixture(scope="module")
def lift(small: Any) -> Lift:
    """Two boxes with their weight off the middle; of each, jacks 1 and 2 on one valve."""
    staging = Staging(out_of_step=0.0005, friction=0.03, pressure_error=0.01)
    case = small(staging=staging)
    jacks = {
        n: replace(j, circuit=n[1] if n[-1] in "12" else "", ram_area=AREAS[n[-1] == "2"])
        for n, j in case.job.jacks.items()
    }
    segments = {
        n: replace(s, centre=s.centre + np.array([0.4, -0.6, 0.0]))
        for n, s in case.job.segments.items()
    }
    case = small(staging=staging, jacks=jacks, segments=segments)
    plan = make_plan(case.job, case.state, case.influence)
    made = (case.job, case.survey, case.state, case.influence, plan)
    certificate = certify(*made)
    return Lift(case, plan, certificate, Rescuer(*made, certificate))


def hold_laws(lift: Lift, recovery: Recovery) -> None:
    """Balance, one pressure on oil, nuts not far behind, nothing asked of what leaks."""
    job = lift.case.job
    stopped = recovery.stopped
    for event in recovery.procedure.events:
        assert sum(s.load for s in event.after) == pytest.approx(2.0e6, abs=2.0)
        on_oil = [s.seat for s in event.after if s.on == "oil"]
        loads = {s.seat: s.load for s in event.after}
        # at a nut that bears beside the oil it does not
        for circuit in circuits_of(job, on_oil) if event.verb in ON_OIL else ():
            one, two = (loads[s] / a for s, a in zip(circuit.seats, circuit.areas, strict=True))
            assert one == pytest.approx(two, rel=1e-6)
        for state in event.after:
            assert state.drop <= job.working.follow_up + 6e-4
        if event.verb in ON_OIL:
            assert not set(event.objects) & (set(stopped.broken) - set(stopped.replaced))
            assert set(event.objects) == {"JB1", "JB2", "JB3", "JB4"}
    assert all(a != b for a, b in pairwise(recovery.orders))
    if recovery.procedure.events:
        assert all(s.on != "oil" for s in recovery.procedure.events[-1].after)


def test_with_all_jacks_every_line_has_a_way_onto_steel_back_and_on(lift: Lift):
    begun = lift.procedure.events[0].after
    for event in lift.procedure.events:
        if event.verb in ("READ", "HOLD POINT"):
            continue
        found = lift.answer(event.line)
        assert [s.state.on for s in found.found.seats] == [s.on for s in event.after]
        for tried in found.tried:
            if tried.recovery is not None:
                hold_laws(lift, tried.recovery)
        assert found.of("safe").recovery is not None
        assert found.of("end").recovery is not None
        landed = event.line >= lift.lines("LAND")[0]
        assert (found.of("back").recovery is None) == landed
        if not landed and found.of("back").recovery.procedure.events:
            home = found.of("back").recovery.procedure.events[-1].after
            for then, now in zip(begun, home, strict=True):
                assert (now.on, sorted(now.pack)) == (then.on, sorted(then.pack))
                assert now.load == pytest.approx(then.load, abs=1.0)


def test_a_broken_jack_empties_its_circuit_and_no_other(lift: Lift):
    """RAISE, nuts not yet up: both seats of the valve go down on their nuts, the rest stays."""
    line = lift.lines("RAISE")[1]
    sound = {s.state.seat: s for s in lift.answer(line, "safe").found.seats}
    for broken in ("JB1", "JB2"):
        found = lift.answer(line, "safe", broken=(broken,)).found.seats
        assert [s.state.on for s in found] == ["nut", "nut", "oil", "oil"]
        assert [s.dead for s in found] == [broken == "JB1", broken == "JB2", False, False]
        for seat in found[:2]:
            whole = sound[seat.state.seat]
            assert whole.nut > 0.002
            assert seat.ram == pytest.approx(whole.ram - whole.nut, abs=1e-6)


def test_oil_behind_a_shut_valve_goes_from_ram_to_ram_and_stays_as_much(lift: Lift):
    """By statics: the box turns about seat 4 and the middle of the rams on the valve.

    Seat 3 goes down by G, its nut's gap and what the nut gives. Loads stay, for three places hold
    the box. On a rectangle z1 - z2 = z4 - z3 = G, and A1 z1 + A2 z2 = 0.
    """
    line = lift.lines("RAISE")[1]
    sound = lift.answer(line, "safe").found.seats
    found = lift.answer(line, "safe", broken=("JB3",)).found.seats
    assert [s.state.on for s in found] == ["oil", "oil", "nut", "oil"]
    for before, after in zip(sound, found, strict=True):
        assert after.state.load == pytest.approx(before.state.load, rel=1e-5)
    down = sound[2].nut + sound[2].state.load / SPRINGS.nut
    one, two = AREAS
    gone = [a.state.deck - b.state.deck for b, a in zip(sound, found, strict=True)]
    by_hand = [down * two / (one + two), -down * one / (one + two), -down, 0.0]
    assert gone == pytest.approx(by_hand, abs=2e-5)
    # nobody works to a reading there: the rams go with the deck
    assert found[0].ram - sound[0].ram == pytest.approx(by_hand[0], abs=2e-5)
    assert found[1].ram - sound[1].ram == pytest.approx(by_hand[1], abs=2e-5)


@pytest.mark.parametrize("broken", ["JB1", "JB2", "JB3"])
def test_a_jack_that_leaks_is_helped_by_its_like_at_every_line(lift: Lift, broken: str):
    """Onto steel by what there is; back and on with another jack, in moves that open all valves."""
    asked = 0
    for line in lift.lines("RAISE", "FOLLOW WITH NUT", "OIL OFF", "FREE", "LOWER"):
        found = lift.answer(line, broken=(broken,))
        safe = found.of("safe").recovery
        assert safe is not None
        hold_laws(lift, safe)
        for tried in (found.of("back"), found.of("end")):
            assert tried.recovery is None
            assert [h.jack for h in tried.jacks] == [broken], (line, tried.why_not)
            asked += 1
        again = lift.answer(line, broken=(broken,), replaced=(broken,))
        for goal in ("back", "end"):
            way = again.of(goal).recovery
            assert way is not None
            hold_laws(lift, way)
    assert asked >= 20


def test_a_new_jack_on_a_valve_is_marked_by_the_dial(lift: Lift):
    line = lift.lines("RAISE")[1]
    way = lift.answer(line, "back", broken=("JB2",), replaced=("JB2",)).of("back").recovery
    assert way is not None
    first = {e.verb: e for e in reversed(way.procedure.events)}
    assert first["SET"].objects == ("JB2",)
    assert first["SET"].note.endswith("on valve B in its place")
    # one valve: what presses jack 2 presses jack 1 as well
    assert first["TOUCH"].objects == ("JB1", "JB2")
    free = first["FREE"]
    assert free.note == (
        "JB2: raise the deck to its dial reading, mark the new ram so that it reads this; then "
        "take the broken jack out; JB1 leads, shut valve B at its reading: it takes JB2 along"
    )
    assert {r.at for r in free.readings if r.instrument == "dial"} == {"B1", "B2", "B3", "B4"}


def test_once_a_jack_leaks_at_landing_the_rest_lands(lift: Lift):
    for broken in ("JB1", "JB3"):
        found = lift.answer(lift.lines("RUN NUT BACK")[0], "end", broken=(broken,))
        way = found.of("end").recovery
        assert way is not None
        hold_laws(lift, way)
        assert [o.verb for o in way.orders][-2:] == ["LAND", "JACK OFF"]
        down = {s.state.seat for s in found.found.seats if s.state.on == "pack"}
        assert down == ({"B1", "B2"} if broken == "JB1" else {"B3"})


def test_an_order_for_a_jack_whose_circuit_leaks_is_refused(lift: Lift):
    line = lift.lines("RAISE")[1]
    whole = lift.answer(line, "safe")
    leaks = lift.answer(line, "safe", broken=("JB1",)).found
    lower = next(o for o in lift.plan.stages[0].orders if o.verb == "LOWER")
    names = tuple(j for j in ("JB1", "JB2", "JB3", "JB4"))
    order = replace(lower, objects=names, aims=(0.0,) * 4)
    _, why = lift.rescuer.follower.follow(leaks, "safe", (order,))
    assert any("LOWER asks for jack JB1, which is broken" in w for w in why)
    assert any("LOWER asks for jack JB2, but circuit B leaks" in w for w in why)
    # one valve moves all its jacks
    half = replace(order, objects=("JB1", "JB3"), aims=(0.0, 0.0))
    _, why = lift.rescuer.follower.follow(whole.found, "safe", (half,))
    assert any("valve B moves all its seats, not B1 alone" in w for w in why)


def test_what_no_valve_does_cannot_be_stated(lift: Lift):
    line = lift.lines("RAISE")[1]
    with pytest.raises(InputError) as refused:
        lift.answer(line, "safe", rams=(("JB2", 0.008),))
    assert str(refused.value.problems[0]) == (
        "command line, --ram: found the ram of JB2, which follows JB1 on circuit B; allowed: the "
        "ram of JB1; state where the leading ram stands; if the others do not stand where the "
        "sheet says then, go no further: one pressure does not carry this segment"
    )
    with pytest.raises(InputError) as refused:
        lift.answer(line, "safe", on=(("B2", "nut"),))
    assert str(refused.value.problems[0]) == (
        "command line, --on: found seat B2 on nut and seat B1 on oil, both on circuit B; allowed: "
        "a circuit whose seats all stand on oil, or none; run the nuts home at all its jacks and "
        "let its oil off, then say --on for each"
    )
    both = lift.answer(line, on=(("B1", "nut"), ("B2", "nut")))
    assert [s.state.on for s in both.found.seats] == ["nut", "nut", "oil", "oil"]
    for tried in both.tried:
        assert tried.recovery is not None
        hold_laws(lift, tried.recovery)


def test_a_leading_ram_elsewhere_takes_the_others_along(lift: Lift):
    line = lift.lines("FOLLOW WITH NUT")[1]
    plain = lift.answer(line, "safe").found.seats
    found = lift.answer(line, rams=(("JB1", plain[0].ram + 0.001),))
    gone = [a.ram - b.ram for b, a in zip(plain, found.found.seats, strict=True)]
    # the plane through 1, 3 and 4: z2 = z1 + z3 - z4
    assert gone == pytest.approx([0.001, 0.001, 0.0, 0.0], abs=1e-5)
    for tried in found.tried:
        assert tried.recovery is not None
        hold_laws(lift, tried.recovery)


def test_a_nut_bears_what_the_oil_of_a_shut_valve_does_not(lift: Lift):
    """Nuts home, jack 3 leaks: its nut gives, the box leans, and ram 2 would go in past its nut."""
    line = lift.lines("FOLLOW WITH NUT")[1]
    sound = lift.answer(line, "safe").found.seats
    found = lift.answer(line, "safe", broken=("JB3",)).found.seats
    one, two = AREAS
    assert (found[1].nut, found[1].ram) == pytest.approx((0.0, sound[1].ram), abs=1e-9)
    assert found[1].state.load / two > found[0].state.load / one + 1e5
    # what oil left one ram went to the other: none did, so that one stays as well
    assert found[0].ram == pytest.approx(sound[0].ram, abs=1e-6)
    loads = np.array([s.state.load for s in found])
    assert loads.sum() == pytest.approx(2.0e6, rel=1e-6)
    # no more than what the nut of seat 3 gives leaves a box on four springs unevenly loaded
    assert np.abs(loads - [s.state.load for s in sound]).max() < 2.0e5


def test_before_nuts_are_up_and_after_they_are_back_the_deck_is_set_down(lift: Lift):
    """A millimetre over the packs: where one jack leaks, all land."""
    for line in (lift.lines("LIFT OFF")[0], lift.lines("RUN NUT BACK")[0]):
        for broken in ("JB1", "JB2", "JB3", "JB4"):
            found = lift.answer(line, "safe", broken=(broken,))
            way = found.of("safe").recovery
            assert way is not None
            hold_laws(lift, way)
            assert [o.verb for o in way.orders] == ["LAND", "JACK OFF"]
            assert not {f"J{s.state.seat}" for s in found.found.seats if s.dead} & {
                j for o in way.orders for j in o.objects
            }
            back = lift.answer(line, "back", broken=(broken,)).of("back")
            assert (back.recovery is not None) == (line == lift.lines("LIFT OFF")[0])


def test_contingencies_answer_every_failure(lift: Lift):
    made = (lift.case.job, lift.case.survey, lift.case.state, lift.case.influence)
    own = replace(lift.certificate, procedures=(lift.procedure,), ways_back=())
    found = contingencies(Certified(*made, lift.plan, own))
    assert {c.failure.kind for c in found} == {"jack", "plate", "no lift-off", "reading"}
    assert all(c.answered for c in found)
    assert all(c.of("safe").status == "way" for c in found)
