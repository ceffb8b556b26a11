"""Laws of linked jacks: one pressure a circuit at every event, equilibrium, strokes, refusals."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.certify import Certificate, certify
from fitup.certify.linked import circuit_note, may_go, may_read
from fitup.certify.springs import respond
from fitup.errors import CertificateRefused, StructureError
from fitup.model import Plan, Staging, circuits_of
from fitup.model.procedure import WorkEvent
from fitup.plan import make_plan
from fitup.procedure.rows import way_rows
from fitup.sheets.crew import crew_sheets

STAGING = Staging(out_of_step=0.0005, friction=0.03, pressure_error=0.01)
ON_OIL = ("LIFT OFF", "RAISE", "FREE", "LOWER")


def linked(small: Any, seed: int = 1, staging: Staging = STAGING) -> Any:
    """Two boxes with their weight off the middle, jacks of unlike areas, 1 and 2 on one valve."""
    case = small(seed=seed, staging=staging)
    rng = np.random.default_rng(seed)
    jacks = {
        n: replace(
            j, circuit=n[1] if n[-1] in "12" else "", ram_area=0.018 if n[-1] == "2" else 0.02
        )
        for n, j in case.job.jacks.items()
    }
    segments = {
        n: replace(s, centre=s.centre + np.array([*rng.uniform(-0.8, 0.8, 2), 0.0]))
        for n, s in case.job.segments.items()
    }
    return small(seed=seed, staging=staging, jacks=jacks, segments=segments)


def certified(case: Any, plan: Plan) -> Certificate:
    return certify(case.job, case.survey, case.state, case.influence, plan)


@pytest.fixture(scope="module", params=[1, 7, 12])
def lift(small: Any, request: pytest.FixtureRequest) -> tuple[Any, Plan, Certificate]:
    case = linked(small, request.param)
    plan = make_plan(case.job, case.state, case.influence)
    return case, plan, certified(case, plan)


def events(certificate: Certificate, *verbs: str) -> Iterator[WorkEvent]:
    for procedure in (*certificate.procedures, *certificate.ways_back):
        yield from (e for e in procedure.events if not verbs or e.verb in verbs)


def test_one_pressure_at_every_event_on_oil(lift: Any):
    case, _, certificate = lift
    seen = 0
    for event in events(certificate, *ON_OIL):
        loads = {s.seat: s.load for s in event.after}
        for circuit in circuits_of(case.job, loads):
            pressures = [loads[s] / a for s, a in zip(circuit.seats, circuit.areas, strict=True)]
            assert pressures == pytest.approx(pressures[:1] * 2, rel=1e-6)
            seen += 1
    assert seen >= 16


def test_gauges_of_a_circuit_read_alike(lift: Any):
    case, _, certificate = lift
    for event in events(certificate):
        gauges = {r.at: r for r in event.readings if r.instrument == "gauge"}
        for circuit in circuits_of(case.job, case.job.seats) if gauges else ():
            own = [gauges[j] for j in circuit.jacks if j in gauges]
            assert len({(r.value, r.bands) for r in own}) <= 1
            for reading in own:
                assert reading.load == pytest.approx(
                    own[0].load * case.job.jacks[reading.at].ram_area / 0.02
                )


def test_forces_and_moments_balance_at_every_event(lift: Any):
    """Heave, roll and pitch of each rigid box about its weight."""
    case, _, certificate = lift
    for event in events(certificate):
        segment = case.job.segments[case.job.seats[event.after[0].seat].segment]
        loads = np.array([s.load for s in event.after])
        at = np.array([case.job.seats[s.seat].position for s in event.after]) - segment.centre
        assert loads.sum() == pytest.approx(segment.weight, rel=1e-6)
        assert np.abs(at[:, :2].T @ loads).max() < 2.0e3


def test_a_raised_box_stays_flat_and_rams_follow_it(lift: Any):
    """From START a rigid deck goes by a plane: the ram that follows is brought by the others."""
    _, _, certificate = lift
    for event in events(certificate, "RAISE", "LOWER", "FREE"):
        rams = {r.at[-1]: r for r in event.readings if r.instrument == "ram"}
        flat = rams["1"].value - rams["2"].value + rams["3"].value - rams["4"].value
        # four readings in marks of 0.5 mm
        assert abs(flat) <= 0.5 * 4 * 0.0005 + 1e-9
        assert [rams[k].aim for k in "1234"] == [True, False, True, True]


def test_strokes_stay_within_limits(lift: Any):
    case, _, certificate = lift
    for stage in certificate.stages:
        for fact in stage.jacks:
            jack = case.job.jacks[fact.jack]
            for reading in (*fact.up, *fact.down):
                assert -1e-6 <= fact.stroke_out + reading <= jack.stroke + 1e-6


def test_limits_hold_between_the_shares_of_take_up_and_landing(lift: Any):
    """No load leaves by much the span of what it is at rest and at one pressure."""
    _, _, certificate = lift
    for procedure in certificate.procedures:
        rest = {s.seat: s.load for s in procedure.events[0].after}
        lifted = next(e for e in procedure.events if e.verb == "LIFT OFF")
        for event in procedure.events:
            if event.verb != "TAKE UP":
                continue
            for state, top in zip(event.after, lifted.after, strict=True):
                ends = sorted((rest[state.seat], top.load))
                assert ends[0] - 2e4 <= state.load <= ends[1] + 2e4


def test_bands_contain_what_rams_friction_and_gauges_do(lift: Any):
    """10,000 draws of statics alone: no false stop while nothing is worse than stated."""
    case, _, certificate = lift
    rng, draws = np.random.default_rng(11), 10_000
    job = case.job
    for event in events(certificate, "RAISE", "LOWER"):
        if event.after[0].seat[0] != "B":
            continue
        ram = {r.at[-1]: r for r in event.readings if r.instrument == "ram"}
        off = {k: rng.uniform(-0.0005, 0.0005, draws) for k in "134"}
        # the deck is a plane through what is set at 1, 3 and 4
        follows = ram["2"].value + off["1"] + off["3"] - off["4"]
        band = ram["2"].band("STOP")
        assert band.low - 1e-9 <= follows.min() <= follows.max() <= band.high + 1e-9
        segment = job.segments["B"]
        at = np.array([job.seats[f"B{k}"].position for k in (1, 2, 3, 4)]) - segment.centre
        area = np.array([0.02, 0.018])
        up = 1.0 if event.verb == "RAISE" else -1.0
        friction = 1.0 + up * rng.uniform(0.0, 0.03, (draws, 4))
        ends = {r.at[-1]: r.band("STOP") for r in event.readings if r.instrument == "gauge"}
        for own in friction[:500]:
            # p A = F (1 + f) at both jacks of the valve; heave, roll and pitch
            matrix = np.zeros((4, 4))
            matrix[0], matrix[1:3] = 1.0, at[:, :2].T
            matrix[3, :2] = own[0] / area[0], -own[1] / area[1]
            loads = np.linalg.solve(matrix, [segment.weight, 0.0, 0.0, 0.0])
            for k, jack in enumerate("1234"):
                ram_area = 0.018 if jack == "2" else 0.02
                wrong = rng.uniform(-0.01, 0.01) * 1.2e6
                read = (loads[k] * own[k] + wrong) / ram_area
                assert ends[jack].low - 1.0 <= read <= ends[jack].high + 1.0


def test_a_gauge_a_tenth_off_and_a_corner_that_sinks_are_stopped(lift: Any):
    """A jack of the circuit that takes no load lets its corner sink."""
    _, _, certificate = lift
    for event in events(certificate, "RAISE"):
        for reading in event.readings:
            band = reading.band("STOP")
            assert band is not None
            if reading.instrument == "gauge":
                assert not band.holds(1.1 * reading.value)
                assert not band.holds(0.85 * reading.value)
            if reading.instrument == "ram" and reading.at[-1] == "2":
                assert not band.holds(reading.value - 0.0025)
                assert not band.holds(reading.value + 0.0025)


def test_another_reading_of_a_jack_that_follows_is_refused(lift: Any):
    case, plan, _ = lift
    stage = plan.stages[0]
    orders = list(stage.orders)
    i = next(i for i, o in enumerate(orders) if o.verb == "RAISE")
    aims = list(orders[i].aims)
    aims[1] += 0.003
    orders[i] = replace(orders[i], aims=tuple(aims))
    stages = (replace(stage, orders=tuple(orders)), *plan.stages[1:])
    with pytest.raises(CertificateRefused, match="one pressure brings its ram to"):
        certified(case, replace(plan, stages=stages))


def test_half_a_circuit_off_the_oil_is_refused(lift: Any):
    case, plan, _ = lift
    stage = plan.stages[0]
    orders = list(stage.orders)
    i = next(i for i, o in enumerate(orders) if o.verb == "OIL OFF")
    orders[i] = replace(orders[i], objects=orders[i].objects[1:])
    stages = (replace(stage, orders=tuple(orders)), *plan.stages[1:])
    with pytest.raises(CertificateRefused, match="do not all stand on oil together"):
        certified(case, replace(plan, stages=stages))


def test_what_is_off_at_one_ram_moves_no_load(lift: Any):
    """Three circuits under a rigid box are statically determinate: only friction parts loads."""
    case, plan, _ = lift
    from fitup.certify.check import start_work

    work, _, _ = start_work(case.job, case.survey, case.state, case.influence, plan)
    response = respond(work, {}, ["B1", "B2", "B3", "B4"])
    off = dict.fromkeys(response.seats, 0.0005)
    gone = may_go(case.job, response, off, 1.0)
    loads = response.own(case.job) @ gone
    assert np.abs(loads[:, [0, 2, 3]]).max() < 1.0
    assert np.abs(loads[:, 1]).max() > 1.0e3
    # it is at most as far off as the three others are together, and what friction makes of it
    far = may_read(case.job, response, off)
    assert far["B1"] == 0.0005
    assert 0.0015 <= far["B2"] <= 0.002


def test_the_measured_lift_off_is_at_one_pressure(lift: Any):
    """By statics: what the stage itself lifts off, with friction; one stop for one valve."""
    case, _, certificate = lift
    facts = {f.jack: f for f in certificate.lift_offs}
    assert len(facts) == 8
    for procedure in certificate.procedures:
        opened = next(e for e in procedure.events if e.verb == "LIFT OFF")
        for state in opened.after:
            fact = facts[f"J{state.seat}"]
            assert fact.load == pytest.approx(1.03 * state.load, rel=1e-4)
            # until the last pack is open the deck rises by what packs spring back
            read = next(r for r in opened.readings if (r.instrument, r.at) == ("dial", state.seat))
            assert fact.rise + case.job.staging.creep == pytest.approx(read.value, abs=1e-4)
            assert fact.rise + case.job.staging.creep < fact.rise_stop
        name = procedure.jacks[0][:-1]
        one, two = facts[f"{name}1"], facts[f"{name}2"]
        assert one.pressures == pytest.approx(two.pressures, rel=1e-6)
        assert one.pressure_stop == pytest.approx(two.pressure_stop)


def test_a_segment_that_could_tilt_is_no_plan(small: Any):
    """Where a job that was read changes later: a jack that breaks holds its seat."""
    case = linked(small)
    jacks = {n: replace(j, circuit=f"{n[1]}{n[2] in '12'}") for n, j in case.job.jacks.items()}
    case = small(jacks=jacks)
    with pytest.raises(StructureError) as refused:
        way_rows(case.job, case.state, case.influence)
    assert str(refused.value) == (
        "group B-lift: on its circuits, as seats are held now, the segment could tilt while it is "
        "raised; link fewer jacks in jacks.csv, column circuit"
    )


@pytest.mark.parametrize(
    ("verb", "note"),
    [
        (
            "SET",
            "plumb on its base, nut run back, JB1 and JB2 on the one valve B; all others of this "
            "line each on its own valve, valves of other jacks shut",
        ),
        ("RAISE", "JB1 leads, shut valve B at its reading: it takes JB2 along"),
        (
            "LAND",
            "all valves together, slowly: packs land one after the other, gauges fall to nought",
        ),
        ("JACK OFF", ""),
    ],
)
def test_notes_say_which_jack_leads(lift: Any, verb: str, note: str):
    _, _, certificate = lift
    found = next(e for e in events(certificate, verb) if e.objects[0][1] == "B")
    assert found.note == note
    assert circuit_note((), verb, "as it was") == "as it was"


def test_search_and_certificate_agree(small: Callable[..., Any]):
    """What the search holds to be safe, with limits near, the second path holds to be safe too."""
    for seed in range(20, 26):
        case = linked(small, seed)
        limits = {n: replace(v, most_moving=0.0035) for n, v in case.job.limits.items()}
        case = replace(case, job=replace(case.job, limits=limits))
        plan = make_plan(case.job, case.state, case.influence)
        assert certified(case, plan).inside


def test_sheets_say_which_valve_and_which_ram(lift: Any):
    """A crew reads the valve beside the pump, and works to the rams that lead alone."""
    case, _, certificate = lift
    for sheet in crew_sheets(case.job, certificate):
        name = sheet.jacks[0].jack[1]
        assert [j.pump for j in sheet.jacks] == [name, name, "", ""]
        raised = [line for part in sheet.parts for line in part.lines if line.asks[:5] == "RAISE"]
        assert raised
        for line in raised:
            assert line.note == (
                f"J{name}1 leads, shut valve {name} at its reading: it takes J{name}2 along"
            )
            rams = next(row for row in line.rows if any(r and r.aim for r in row.reads))
            assert [r is not None and r.aim for r in rams.reads] == [True, False, True, True]


def test_a_warped_box_leaves_light_packs_early_and_gauges_allow_for_it(small: Any):
    """At rest one diagonal carries 650 kN, the other 350: one pressure makes it 500 each.

    While jacks push with a share of 500 kN no seat carries less than that (a pack cannot pull), and
    a gauge that comes down from one pressure is not stopped by what lands on lighter packs.
    """
    case = small(staging=STAGING)
    jacks = {
        n: replace(j, circuit=n[1] if n[-1] in "12" else "") for n, j in case.job.jacks.items()
    }
    seats = {
        n: replace(s, reaction_now=6.5e5 if n[-1] in "13" else 3.5e5)
        for n, s in case.job.seats.items()
    }
    case = small(staging=STAGING, jacks=jacks, seats=seats)
    plan = make_plan(case.job, case.state, case.influence)
    certificate = certified(case, plan)
    early = 0
    for procedure in certificate.procedures:
        shares = iter((0.25, 0.5, 0.75, 0.9))
        top = next(e for e in procedure.events if e.verb == "RAISE")
        pressure = {r.at: r.value for r in top.readings if r.instrument == "gauge"}
        for event in procedure.events:
            loads = [s.load for s in event.after]
            if event.verb == "TAKE UP":
                share = next(shares)
                assert min(loads) >= share * 5.0e5 - 10.0
                early += min(loads) == pytest.approx(share * 5.0e5, abs=10.0)
            if event.verb in ("OIL OFF", "LAND"):
                for reading in event.readings:
                    if reading.instrument == "gauge":
                        # friction and its own error still to come
                        band = reading.band("STOP")
                        assert band is not None
                        assert band.high >= pressure[reading.at] + 0.01 * 1.2e6 / 0.02
    assert early >= 2
