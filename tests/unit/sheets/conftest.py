"""An invented closure joint, built by hand: two segments, twelve seats, three stages."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pytest

from fitup.certify.certified import with_paths
from fitup.certify.facts import (
    Certificate,
    CheckFact,
    ExpectedFact,
    JackFact,
    LiftOffFact,
    PackFact,
    SeatFact,
    StageFact,
    StockFact,
    SummaryFact,
    SurveyFact,
    reading_band,
)
from fitup.frames import heading, joint_axes, left_of
from fitup.model import (
    Aim,
    CheckPoint,
    Epoch,
    Jack,
    Job,
    Joint,
    ObjectiveResult,
    Obstacle,
    Pair,
    Plan,
    Plate,
    Seat,
    SeatPlan,
    Segment,
    Tolerance,
)
from fitup.model.procedure import (
    Band,
    ExpectedReading,
    Hand,
    Phase,
    PlateMove,
    Procedure,
    Verb,
    WorkEvent,
)
from fitup.survey.points import Survey
from fitup.survey.steel import Steel

AZIMUTH = np.radians(62.0)
AHEAD, LEFT, UP = heading(AZIMUTH), left_of(AZIMUTH), np.array([0.0, 0.0, 1.0])
ORIGIN = np.array([1500.0, 8200.0, 42.0])
PLACES = (("L", "LEFT", 6.5), ("C", "CENTRE", 0.0), ("R", "RIGHT", -6.5))
#: seat name ending -> ahead of the segment's centre [m], left [m], pushes
VERTICAL = {"BL": (-16.0, 5.5), "BR": (-16.0, -5.5), "AL": (16.0, 5.5), "AR": (16.0, -5.5)}
LONGITUDINAL = {"XL": (-16.5, 4.0), "XR": (-16.5, -4.0)}


@dataclass(frozen=True)
class Made:
    job: Job
    survey: Survey
    plan: Plan
    certificate: Certificate


def spot(along: float, left: float, height: float = 0.0) -> np.ndarray:
    return ORIGIN + along * AHEAD + left * LEFT + height * UP


def make_seat(
    name: str, segment: str, centre: float, along: float, left: float, pushes: str
) -> Seat:
    vertical = pushes == "up"
    return Seat(
        id=name,
        segment=segment,
        position=spot(centre + along, left, -3.0),
        direction=UP if vertical else AHEAD,
        pushes=pushes,
        stiffness=4.0e8,
        held_by="packs" if vertical else "nut",
        pack=("P20", "P10", "P5") if vertical else (),
        pack_least=0.01,
        pack_most=0.08,
        most_plates=5,
        bedding=0.0005,
        reaction_least=50e3,
        reaction_most=1800e3,
    )


def make_job(units: Literal["metric", "US"] = "metric") -> Job:
    segments, points, seats, jacks, pairs = {}, {}, {}, {}, {}
    for name, centre, face in (("KD7", -20.4, -0.3), ("KD8", 20.4, 0.3)):
        segments[name] = Segment(name, AZIMUTH, 4.6e6, spot(centre, 0.0))
        for short, _, left in PLACES:
            points[f"{name}-{short}"] = CheckPoint(f"{name}-{short}", name, spot(face, left))
        for ending, (along, left) in VERTICAL.items():
            seat = f"{name}-{ending}"
            seats[seat] = make_seat(seat, name, centre, along, left, "up")
            for i in (1, 2):
                jacks[f"{seat}{i}"] = Jack(
                    f"{seat}{i}", seat, 1.0e6, 0.0143, 0.1, 0.02, 0.0001, True
                )
        for ending, (along, left) in LONGITUDINAL.items():
            seat = f"{name}-{ending}"
            seats[seat] = make_seat(seat, name, centre, along, left, "ahead")
            jacks[f"{seat}1"] = Jack(f"{seat}1", seat, 1.0e6, 0.0143, 0.15, 0.0, 0.0001, True)
    for short, place, _ in PLACES:
        pairs[short] = Pair(short, "E3", f"KD7-{short}", f"KD8-{short}", 0.6, place)
    plates = {
        p.mark: p
        for p in (
            Plate("P20", 0.020, 0.02004, 6, 0.3, 0.25),
            Plate("P10", 0.010, 0.01002, 8, 0.3, 0.25),
            Plate("P5", 0.005, 0.00497, 8, 0.3, 0.25),
            Plate("P3", 0.003, 0.00305, 4, 0.3, 0.25),
            Plate("P2", 0.002, 0.00201, 4, 0.3, 0.25),
            Plate("P1", 0.001, 0.00099, 6, 0.3, 0.25),
        )
    }
    spec = "invented contract, clause 12.4"
    return Job(
        name="Tarrow Reach viaduct, closure E3",
        units=units,
        grid="site grid",
        reference_temperature=283.15,
        segments=segments,
        points=points,
        joints={"E3": Joint("E3", "KD7", "KD8", joint_axes(AZIMUTH, 0.0, 0.0))},
        pairs=pairs,
        seats=seats,
        jacks=jacks,
        plates=plates,
        limits={},
        tolerances={
            "gap": Tolerance(0.005, spec),
            "step": Tolerance(0.003, spec),
            "offset": Tolerance(0.005, spec),
            "kink_grade": Tolerance(0.001, spec),
            "kink_plan": Tolerance(0.001, spec),
        },
        aims=(Aim("E3", None, "twist", "leave", 0.002, "taken up in the overlay, note EE-117"),),
        epochs=(
            Epoch("survey-0410.csv", "2031-04-02T04:10", 282.35, 120e3, 0.0015, None, None, None),
        ),
        digest=hashlib.sha256(b"inputs").hexdigest(),
    )


def facts(job: Job) -> tuple[CheckFact, ...]:
    out = []
    before = {
        "step": (0.0183, 0.0142, 0.0101),
        "gap": (0.0123, 0.0131, 0.0140),
        "offset": (0.0042, 0.0041, 0.0043),
    }
    after = {
        "step": (0.0004, -0.00002, -0.0006),
        "gap": (0.0011, 0.0009, 0.0008),
        "offset": (0.0042, 0.0041, 0.0043),
    }
    for quantity, values in before.items():
        for i, (short, place, _) in enumerate(PLACES):
            tolerance = job.tolerances[quantity].value
            out.append(
                CheckFact(
                    id=f"E3/{short}/{quantity}",
                    quantity=quantity,
                    joint="E3",
                    place=f"{short} {place}",
                    before=values[i],
                    after=after[quantity][i],
                    uncertainty=0.0011,
                    target=0.0,
                    tolerance=tolerance,
                    inside=True,
                    leave_within=None,
                    reason="",
                    is_length=True,
                )
            )
    slopes = {"kink_grade": (0.0021, 0.0003), "kink_plan": (-0.00013, -0.00013)}
    for quantity, (was, is_now) in slopes.items():
        out.append(
            CheckFact(
                f"E3/{quantity}",
                quantity,
                "E3",
                "",
                was,
                is_now,
                0.0001,
                0.0,
                0.001,
                True,
                None,
                "",
                False,
            )
        )
    out.append(
        CheckFact(
            "E3/twist",
            "twist",
            "E3",
            "",
            0.0006,
            0.0001,
            0.0002,
            0.0,
            None,
            None,
            0.002,
            "taken up in the overlay, note EE-117",
            False,
        )
    )
    return tuple(out)


MOVES = {
    "KD8-BL": -0.0178,
    "KD8-BR": -0.0098,
    "KD8-AL": 0.0,
    "KD8-AR": 0.0042,
    "KD7-AL": 0.0036,
    "KD7-AR": 0.0021,
    "KD8-XL": -0.0118,
    "KD8-XR": -0.0122,
}
PACKS = {
    "KD8-BL": ("P10", "P5", "P2", "P1"),
    "KD8-BR": ("P20", "P5", "P1"),
    "KD8-AR": ("P20", "P10", "P5", "P3", "P2"),
    "KD7-AL": ("P20", "P10", "P5", "P3", "P1"),
    "KD7-AR": ("P20", "P10", "P5", "P3"),
}


def seat_facts(job: Job) -> tuple[SeatFact, ...]:
    out = []
    for seat in job.seats.values():
        setting = MOVES.get(seat.id, 0.0)
        build_up = PACKS.get(seat.id, seat.pack)
        taken_out = tuple(m for m in seat.pack if m not in build_up)
        put_in = tuple(m for m in build_up if m not in seat.pack)
        out.append(
            SeatFact(
                seat=seat.id,
                segment=seat.segment,
                pushes=seat.pushes,
                held_by=seat.held_by,
                pack_now=seat.pack,
                out=taken_out,
                put_in=put_in,
                build_up=build_up,
                height_now=job.pack_height(seat.pack),
                height_new=job.pack_height(build_up),
                bedding=seat.bedding if seat.id in PACKS else 0.0,
                room_behind=0.0,
                setting=setting,
                ideal=setting + 0.0003,
                disturbed=setting != 0.0,
                reaction_before=1150e3 if seat.pushes == "up" else 90e3,
                reaction_after=1174e3 if seat.pushes == "up" else 90e3,
                reaction_least=seat.reaction_least,
                reaction_most=seat.reaction_most,
                contact=1174e3 / 0.075 if build_up else None,
            )
        )
    return tuple(out)


def jack_fact(jack: Jack, job: Job, clearance: float = 0.005) -> JackFact:
    seat = job.seats[jack.seat]
    setting = MOVES.get(seat.id, 0.0)
    share = 1150e3 / len(job.jacks_at(seat.id)) if seat.pushes == "up" else 250e3
    if seat.pushes == "up":
        top = max(0.0, setting) + clearance
        up = tuple(float(v) for v in np.linspace(0.0, top, 3)[1:])
        steps = max(2, int(np.ceil((top - setting) / 0.005)) + 1)
        down = tuple(float(v) for v in np.linspace(top, setting, steps)[1:])
    else:
        up = tuple(float(v) for v in np.linspace(0.0, setting, 4)[1:])
        down = ()
    return JackFact(
        jack.id,
        seat.id,
        seat.pushes,
        up,
        down,
        share,
        share * 1.06,
        share * 1.06,
        share * 1.06 * 1.25,
        jack.capacity,
        jack.ram_area,
        jack.stroke - jack.stroke_used,
        jack.stroke_used,
        jack.lock_nut,
        share * 0.8,
        job.working.move_band,
        (share * 1.06,) * len(up),
        (share,) * len(down),
        share,
    )


def pack_facts(facts: tuple[SeatFact, ...], seats: tuple[str, ...]) -> tuple[PackFact, ...]:
    return tuple(
        PackFact(f.seat, f.pack_now, f.out, f.put_in, f.build_up, f.height_new, f.setting)
        for f in facts
        if f.seat in seats
    )


def lift_off(jack: Jack, job: Job) -> LiftOffFact:
    share = 1150e3 / len(job.jacks_at(jack.seat))
    return LiftOffFact(
        jack.id,
        jack.seat,
        job.seats[jack.seat].segment,
        "KD8",
        share,
        False,
        ((0.5, 0.5 * share), (1.0, share)),
        jack.capacity / 1.25,
        jack.capacity,
        jack.ram_area,
        0.001,
        0.0025,
        0.0045,
    )


def expected_of(job: Job, fact: CheckFact, value: float) -> ExpectedFact:
    band = reading_band(job, fact.quantity, value)
    return ExpectedFact(fact.id, value, value - band, value + band)


def stage_facts(job: Job, checks: tuple[CheckFact, ...]) -> tuple[StageFact, ...]:
    groups = (
        ("KD8", ("KD8-BL", "KD8-BR", "KD8-AL", "KD8-AR")),
        ("KD7", ("KD7-AL", "KD7-AR")),
        ("KD8", ("KD8-XL", "KD8-XR")),
    )
    shares = (0.2, 0.05, 0.0)
    out = []
    for i, (segment, seats) in enumerate(groups):
        expected = tuple(
            expected_of(job, c, shares[i] * c.before + (1.0 - shares[i]) * c.after) for c in checks
        )
        jacks = tuple(jack_fact(j, job) for s in seats for j in job.jacks_at(s))
        packs = pack_facts(seat_facts(job), seats)
        out.append(StageFact(i + 1, segment, segment, seats, jacks, expected, packs=packs))
    return tuple(out)


def procedures_of(job: Job, stages: tuple[StageFact, ...]) -> tuple[Procedure, ...]:
    """Orders of a night for hand-made stages: readings and bands made up from the stage's own."""
    found, line = [], 0
    for stage in stages:
        events = tuple(
            replace(event, line=line + i) for i, event in enumerate(events_of(job, stage), 1)
        )
        line = events[-1].line
        found.append(
            Procedure(
                stage.number,
                stage.crew,
                stage.group,
                stage.segment,
                stage.seats,
                tuple(j.jack for j in stage.jacks),
                stage.pumps,
                stage.window,
                events,
            )
        )
    return tuple(found)


def ram(jack: JackFact, value: float) -> ExpectedReading:
    stop = Band("STOP", round(value - 0.001, 6), round(value + 0.001, 6))
    return ExpectedReading("ram", jack.jack, value, 0.0005, (stop,), "START", aim=True)


def gauge(jack: JackFact, load: float, *, aim: bool = False) -> ExpectedReading:
    area = jack.ram_area
    stop = Band("STOP", 0.7 * jack.load_start / area, jack.load_stop / area)
    return ExpectedReading("gauge", jack.jack, load / area, 5e5, (stop,), "", load, aim)


def events_of(job: Job, stage: StageFact) -> Iterator[WorkEvent]:
    jacks = tuple(j.jack for j in stage.jacks)
    up = all(j.pushes == "up" for j in stage.jacks)
    rows = [("up", i) for i in range(max(len(j.up) for j in stage.jacks))]
    rows += [("down", i) for i in range(max(len(j.down) for j in stage.jacks))]

    def event(verb: Verb, phase: Phase, who: Hand, objects: tuple[str, ...], *reads, moved=()):
        return WorkEvent(
            0, stage.number, stage.crew, who, phase, verb, objects, tuple(reads), moved
        )

    yield event("SET", "set", "pump", jacks)
    if up:
        start = [gauge(j, 0.5 * j.load_start, aim=True) for j in stage.jacks]
        yield event("TAKE UP", "take-up", "pump", jacks, *start)
        yield event("LIFT OFF", "lift-off", "pump", jacks)
    for part, i in rows:
        reads = []
        for jack in stage.jacks:
            listed = jack.up if part == "up" else jack.down
            value = listed[min(i, len(listed) - 1)] if listed else 0.0
            reads += [ram(jack, value), gauge(jack, jack.load_raised)]
        verb: Verb = "RAISE" if part == "up" else "LOWER"
        phase: Phase = "lift" if part == "up" else "lower"
        yield event(verb if up else "PUSH", phase if up else "push", "pump", jacks, *reads)
        if up and part == "up":
            follow = (
                ExpectedReading("feeler", j, 0.0, 1e-4, (Band("STOP", high=0.006),)) for j in jacks
            )
            yield event("FOLLOW WITH NUT", "lift", "nut", jacks, *follow)
    for pack in stage.packs:
        moved = (
            *(PlateMove(m, pack.seat, "pack", "store") for m in pack.out),
            *(PlateMove(m, pack.seat, "store", "pack") for m in pack.put_in),
        )
        height = ExpectedReading("calliper", pack.seat, pack.height_new, 1e-5, aim=True)
        yield event("CHANGE PACK", "plates", "plates", (pack.seat,), height, moved=moved)
    yield event("JACK OFF", "off", "pump", jacks)
    joints = tuple(job.joints)
    yield event("READ", "read", "survey", joints, *expected_reads(job, stage))
    yield event("HOLD POINT", "hold", "engineer", joints)


def expected_reads(job: Job, stage: StageFact) -> Iterator[ExpectedReading]:
    for name, value in ((r.check, r.expect) for r in stage.expected):
        kind = name.rsplit("/", 1)[-1]
        if kind not in ("gap", "step", "offset"):
            continue
        whole = value + (job.pairs[name.split("/")[1]].opening if kind == "gap" else 0.0)
        band = Band("HOLD", whole - 0.002, whole + 0.002)
        yield ExpectedReading(
            "tape" if kind == "gap" else "straightedge", name, whole, 1e-4, (band,)
        )


def with_stages(made: Made, stages: tuple[StageFact, ...]) -> Certificate:
    """The certificate of a plan with other stages, and the procedures of these."""
    found = procedures_of(made.job, stages)
    return replace(made.certificate, stages=stages, procedures=found)


def make(units: Literal["metric", "US"] = "metric") -> Made:
    job = make_job(units)
    checks = facts(job)
    seats = seat_facts(job)
    plan = Plan(
        seats=tuple(
            SeatPlan(s.seat, s.out, s.put_in, s.build_up, s.setting, s.disturbed) for s in seats
        ),
        stages=(),
        objectives=(
            ObjectiveResult("worst ratio", 0.86, 0.86, True, "no choice of plates is better"),
            ObjectiveResult("least squares", 2.2041, 2.2041, True, "searched to the end"),
            ObjectiveResult("seats disturbed", 8.0, 6.0, False, "stopped by the time limit"),
        ),
        method="exact search along the chain of segments",
        ideal=tuple(s.ideal for s in seats),
        inside=True,
        obstacles=(
            Obstacle(
                "offset at E3: no seat works across the bridge",
                "one jack across at KD8-BL, stroke 5 mm",
                False,
            ),
        ),
        id=hashlib.sha256(b"plan").hexdigest(),
    )
    stock = tuple(
        StockFact(p.mark, p.nominal, p.measured, p.count, 2, 1, p.count - 1)
        for p in job.plates.values()
    )
    certificate = with_paths(
        Certificate(
            plan.id,
            checks,
            seats,
            stage_facts(job, checks),
            stock,
            ("every setting recomputed from its plates", "every limit holds at every stage"),
            True,
            SummaryFact(0.86, 2.2041, 8, 16, 24, 3),
            procedures=procedures_of(job, stage_facts(job, checks)),
            lift_offs=tuple(
                lift_off(j, job) for j in job.jacks.values() if j.seat.startswith("KD8-A")
            ),
            surveys=tuple(
                SurveyFact(e.file, e.temperature, e.temperature - 3.0, e.temperature + 3.0)
                for e in job.epochs
            ),
        )
    )
    survey = Survey(
        {},
        {},
        dict.fromkeys(job.segments, job.epochs[0]),
        dict.fromkeys(job.segments, Steel(job.epochs[0].temperature)),
        (
            "survey-0410.csv: 14 points, order id E N H, metres, 0 rows not used",
            "KD7: 7 points, largest residual 1.3 standard uncertainties",
            "KD8: 7 points, largest residual 0.9 standard uncertainties",
        ),
    )
    return Made(job, survey, plan, certificate)


def make_large(count: int = 16) -> Made:
    """One stage with many seats under long ids, two jacks each."""
    made = make()
    job = made.job
    seats, jacks, seat_list, jack_list = {}, {}, [], []
    template = made.certificate.seats[0]
    for i in range(count):
        left = 5.5 if i % 2 else -5.5
        name = f"PIER-12-BEARING-{i + 1:02d}"
        along = -16.0 + 32.0 * (i // 2) / (count / 2 - 1)
        seats[name] = make_seat(name, "KD8", 20.4, along, left, "up")
        jack = Jack(f"JACK-{i + 1:02d}-500T", name, 2.0e6, 0.0285, 0.1, 0.02, 0.0001, True)
        jacks[jack.id] = jack
        seat_list.append(
            replace(
                template,
                seat=name,
                segment="KD8",
                setting=0.016,
                disturbed=True,
                out=("P10", "P5"),
                put_in=("P20", "P10", "P3", "P2"),
                build_up=("P20", "P20", "P10", "P3", "P2"),
            )
        )
        up = (0.005, 0.010, 0.015, 0.021)
        jack_list.append(
            JackFact(
                jack.id,
                name,
                "up",
                up,
                (0.0165, 0.016),
                1.1e6,
                1.2e6,
                1.2e6,
                1.5e6,
                2.0e6,
                0.0285,
                0.08,
                0.04,
                True,
            )
        )
    job = replace(job, seats=seats, jacks=jacks)
    expected = tuple(expected_of(made.job, c, c.after) for c in made.certificate.checks)
    packs = pack_facts(tuple(seat_list), tuple(seats))
    stage = StageFact(1, "KD8", "KD8", tuple(seats), tuple(jack_list), expected, packs=packs)
    made = replace(made, job=job)
    certificate = with_paths(
        replace(with_stages(made, (stage,)), seats=tuple(seat_list), lift_offs=())
    )
    return replace(made, certificate=certificate)


@pytest.fixture(scope="session")
def made() -> Made:
    return make()


@pytest.fixture(scope="session")
def made_us() -> Made:
    return make("US")


@pytest.fixture(scope="session")
def made_large() -> Made:
    return make_large()
