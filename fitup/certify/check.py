"""Certify a plan: recompute every number from the printed whole numbers, and every limit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitup.certify.facts import (
    BoltFact,
    BoreFact,
    Certificate,
    CheckFact,
    JackFact,
    RideFact,
    SeatFact,
    StageFact,
    StockFact,
)
from fitup.certify.frame import FrameStates
from fitup.certify.hung import HungStates
from fitup.certify.learned import CorrectedStates, learned_words
from fitup.certify.passage import passage_facts
from fitup.certify.passage import unlike as passage_unlike
from fitup.certify.recompute import (
    Outcome,
    RigidStates,
    States,
    TableStates,
    bending_of,
    expansion_of,
    off_plane,
    setting_from_plates,
)
from fitup.certify.ride import ride_facts, unlike
from fitup.errors import CertificateRefused
from fitup.frames import Array
from fitup.joints.bolts import bolts_as_surveyed
from fitup.joints.bores import bores_as_surveyed
from fitup.joints.items import place_of_item
from fitup.joints.ride import ride_as_surveyed
from fitup.model import Check, CheckState, Influence, Job, Plan, Seat, Stage
from fitup.survey.points import Survey
from fitup.units import DISPLAY

#: the linear influence and the true motion may differ by this [m] or [rad] before it is refused
LINEAR = 1.0e-4
LINEAR_TURN = 1.0e-5
#: and a tension by this [N], or this share of it
LINEAR_FORCE, LINEAR_SHARE = 1.0e3, 5.0e-3
#: rounding of printed readings and sums of plates [m]; of loads [N]
_ROUND, _ROUND_N = 1e-7, 1.0
#: share by which a force may pass its limit as rounding
_FORCE = 1e-6

_HOW = {
    "rigid": "segments brought to equilibrium again and points moved by true rotations",
    "frame": "the frame solved again from flexibilities with constraints, seats free to lift off, "
    "and points moved by true rotations",
    "hung": "the frame with its cables brought to rest again at every state: cables added up along "
    "themselves, seats free to lift off, and points moved by true rotations",
    "table": "the imported influence table summed row by row (its own truth is not checked here)",
}


@dataclass(slots=True)
class _Work:
    """What is needed everywhere while certifying."""

    job: Job
    state: CheckState
    states: States
    plan: Plan
    wrong: list[str]
    warm: Array
    """What the survey's steel temperature adds to every check (m,)."""
    rate: Array
    """What one kelvin more does to every check (m,)."""
    counted: int = 0

    def settings(self, values: Mapping[str, float]) -> dict[str, float]:
        return {name: values.get(name, 0.0) for name in self.job.seats}


def certify(
    job: Job, survey: Survey, state: CheckState, influence: Influence, plan: Plan
) -> Certificate:
    """Recompute a plan and return what it means, or refuse.

    Parameters
    ----------
    job, survey, state
        As the plan was made from.
    influence : Influence
        Used for a table job, for the uncertainty of the result, and to be compared with.
    plan : Plan

    Returns
    -------
    Certificate
        In SI, from readings rounded as they will be printed.

    Raises
    ------
    CertificateRefused
        With every disagreement and every limit broken, in words.
    """
    present = dict(zip(influence.seats, (float(r) for r in influence.r0), strict=True))
    states = _states(job, survey, influence, present)
    if isinstance(states, FrameStates):
        present = dict(zip(job.seats, states.present.tolist(), strict=True))
    if job.learned:
        states = CorrectedStates(states, job, table=influence.origin == "table")
    warmer = {n: s.mean - job.reference_temperature for n, s in survey.steel.items()}
    bent = {n: s.difference for n, s in survey.steel.items()}
    warm = np.array([expansion_of(job, c, warmer) + bending_of(job, c, bent) for c in state.checks])
    one = dict.fromkeys(job.segments, 1.0)
    rate = np.array([expansion_of(job, c, one) for c in state.checks])
    work = _Work(job, state, states, plan, [], warm, rate)
    final = _final_settings(work)
    stages = tuple(_stages(work, final))
    stock = _stock(work)
    after = states.at(work.settings(final), state.checks)
    _limits(work, "in the end", final, after, set())
    _compare(work, influence, final, after.change)
    _left(work, after.change)
    checks = _check_facts(work, influence, after.change)
    seats = tuple(_seat_fact(work, s.seat, final, present, after.reactions) for s in plan.seats)
    inside = all(c.inside is not False for c in checks)
    ride = _ride(work, survey, final)
    bores, bolts = _passage(work, survey, final)
    if plan.inside and not inside:
        outside = ", ".join(c.id for c in checks if c.inside is False)
        work.wrong.append(f"the plan says every check is inside, but {outside} is not")
    if work.wrong:
        raise CertificateRefused(work.wrong)
    return Certificate(
        plan_id=plan.id,
        checks=checks,
        seats=seats,
        stages=stages,
        stock=stock,
        statements=_statements(work, influence, final, after.change),
        inside=inside,
        gap_rates=_gap_rates(work),
        ride=ride,
        bores=bores,
        bolts=bolts,
    )


def _states(job: Job, survey: Survey, influence: Influence, present: Mapping[str, float]) -> States:
    if influence.origin == "frame":
        hung = job.frame is not None and job.frame.cables
        return HungStates(job, survey) if hung else FrameStates(job, survey)
    if influence.origin == "rigid":
        return RigidStates(job, survey, present)
    return TableStates(influence.uncorrected or influence)


def _ride(work: _Work, survey: Survey, final: Mapping[str, float]) -> tuple[RideFact, ...]:
    """Find what a wheel feels before and after, by a way of its own and by that of the joints."""
    if not isinstance(work.states, RigidStates | FrameStates):
        return ()
    facts = ride_facts(
        work.job, work.states.placed(work.settings({})), work.states.placed(work.settings(final))
    )
    found = ride_as_surveyed(work.job, survey)
    work.wrong += unlike(facts, {r.path: (r.gap, r.roughness) for r in found})
    return facts


def _passage(
    work: _Work, survey: Survey, final: Mapping[str, float]
) -> tuple[tuple[BoreFact, ...], tuple[BoltFact, ...]]:
    """Find what passes through bores and holes before and after, by two ways."""
    if not isinstance(work.states, RigidStates | FrameStates):
        return (), ()
    bores, bolts = passage_facts(
        work.job, work.states.placed(work.settings({})), work.states.placed(work.settings(final))
    )
    rooms = {r.bore: r.room for r in bores_as_surveyed(work.job, survey)}
    worst = {r.group: r.worst for r in bolts_as_surveyed(work.job, survey)}
    work.wrong += passage_unlike(bores, rooms, bolts, worst)
    return bores, bolts


def _gap_rates(work: _Work) -> tuple[tuple[str, float], ...]:
    """Mean change of the gaps of each joint for one kelvin [m/K]."""
    rates: dict[str, list[float]] = {name: [] for name in work.job.joints}
    for check, rate in zip(work.state.checks, work.rate, strict=True):
        if check.quantity == "gap":
            rates[check.joint].append(float(rate))
    return tuple((name, sum(own) / len(own)) for name, own in rates.items() if own)


def _final_settings(work: _Work) -> dict[str, float]:
    """Add up every pack; the plan's own setting must agree, and the pack keep its rules."""
    final = {}
    for plan in work.plan.seats:
        seat = work.job.seats[plan.seat]
        setting = setting_from_plates(work.job, plan, plan.setting)
        final[plan.seat] = setting
        if abs(setting - plan.setting) > _ROUND:
            work.wrong.append(
                f"seat {seat.id}: its plates give {setting * 1e3:.3f} mm, the plan says "
                f"{plan.setting * 1e3:.3f} mm"
            )
        if seat.held_by == "packs":
            _pack_rules(work, seat, plan.build_up, Counter(plan.put_in), Counter(plan.out))
        if seat.hold and setting != 0.0:
            work.wrong.append(f"seat {seat.id} is held, but the plan moves it")
    return final


def _pack_rules(
    work: _Work, seat: Seat, pack: Sequence[str], put_in: Counter[str], out: Counter[str]
) -> None:
    height = sum(work.job.plates[m].measured for m in pack)
    if len(pack) > seat.most_plates:
        work.wrong.append(f"seat {seat.id}: {len(pack)} plates, at most {seat.most_plates}")
    if not seat.pack_least - _ROUND <= height <= seat.pack_most + _ROUND:
        work.wrong.append(f"seat {seat.id}: a pack of {height * 1e3:.2f} mm is outside its limits")
    if Counter(seat.pack) - out + put_in != Counter(pack):
        work.wrong.append(f"seat {seat.id}: plates out and in do not make the build-up")


def _stock(work: _Work) -> tuple[StockFact, ...]:
    """Count the store through the stages: no plate may be used before it is there."""
    plans = {p.seat: p for p in work.plan.seats}
    loose = {m: p.count for m, p in work.job.plates.items()}
    taken: Counter[str] = Counter()
    returned: Counter[str] = Counter()
    staged = {s for stage in work.plan.stages for s in stage.seats}
    for stage in work.plan.stages:
        for seat in stage.seats:
            for mark in plans[seat].out:
                loose[mark] += 1
                returned[mark] += 1
        for seat in stage.seats:
            for mark in plans[seat].put_in:
                loose[mark] -= 1
                taken[mark] += 1
        for mark, count in loose.items():
            if count < 0:
                work.wrong.append(f"stage {stage.number}: {-count} plate {mark} too few in store")
    for plan in work.plan.seats:
        if plan.disturbed and plan.seat not in staged:
            work.wrong.append(f"seat {plan.seat} changes but stands in no stage")
    return tuple(
        StockFact(m, p.nominal, p.measured, p.count, taken[m], returned[m], loose[m])
        for m, p in work.job.plates.items()
    )


def _stages(work: _Work, final: Mapping[str, float]) -> Iterator[StageFact]:
    """Walk through every printed increment of every stage and keep every limit at each."""
    now: dict[str, float] = {}
    for stage in work.plan.stages:
        start = work.states.at(work.settings(now), work.state.checks)
        readings = _printed(work.job, stage)
        loads: dict[str, list[float]] = {s: [start.reactions[s]] for s in stage.seats}
        raised = start.reactions
        for k, row in enumerate([*readings[0], *readings[1]]):
            values = {**now, **dict(zip(stage.seats, row, strict=True))}
            outcome = work.states.at(work.settings(values), work.state.checks)
            where = f"stage {stage.number}, increment {k + 1}"
            _limits(work, where, values, outcome, set(stage.seats))
            for seat in stage.seats:
                loads[seat].append(outcome.reactions[seat])
            if k == len(readings[0]) - 1:
                raised = outcome.reactions
        end = dict(zip(stage.seats, (readings[1] or readings[0])[-1], strict=True))
        half = DISPLAY[work.job.units].move.half_step
        for seat in stage.seats:
            if abs(end[seat] - final[seat]) > half + _ROUND:
                work.wrong.append(
                    f"stage {stage.number}: seat {seat} ends at {end[seat] * 1e3:.1f} mm, its pack "
                    f"gives {final[seat] * 1e3:.1f} mm"
                )
            # from here on the pack decides, not the jack's rounded reading
            now[seat] = final[seat]
        done = work.states.at(work.settings(now), work.state.checks)
        _limits(work, f"after stage {stage.number}", now, done, set())
        jacks = tuple(
            fact
            for i, seat in enumerate(stage.seats)
            for fact in _jacks(
                work,
                seat,
                [[r[i] for r in part] for part in readings],
                start.reactions[seat],
                raised[seat],
                max(loads[seat]),
            )
        )
        # what a tape will read: at the steel temperature of the survey
        values_after = work.state.values + done.change + work.warm
        yield StageFact(
            number=stage.number,
            group=stage.group,
            segment=work.job.seats[stage.seats[0]].segment,
            seats=stage.seats,
            jacks=jacks,
            expected=tuple(
                (c.id, float(v)) for c, v in zip(work.state.checks, values_after, strict=True)
            ),
        )


def _printed(job: Job, stage: Stage) -> tuple[list[list[float]], list[list[float]]]:
    """Return the readings of a stage as they will stand on paper, back in SI."""
    shown = DISPLAY[job.units].move
    up = [[shown.back(shown.number(v)) for v in row] for row in stage.up]
    down = [[shown.back(shown.number(v)) for v in row] for row in stage.down]
    return up, down


def _jacks(
    work: _Work,
    seat: str,
    readings: list[list[float]],
    start: float,
    raised: float,
    most: float,
) -> Iterator[JackFact]:
    job = work.job
    jacks = job.jacks_at(seat)
    share, free_slide = 1.0 / len(jacks), job.seats[seat].breakaway
    for jack in jacks:
        load_most = max(0.0, most + free_slide) * share
        stop = min(jack.capacity, load_most * (1.0 + job.working.load_band))
        free = jack.stroke - jack.stroke_used
        reach = [v for part in readings for v in part]
        if max(reach) > free + _ROUND or min(reach) < -jack.stroke_used - _ROUND:
            work.wrong.append(
                f"jack {jack.id}: readings from {min(reach) * 1e3:.1f} to "
                f"{max(reach) * 1e3:.1f} mm do not fit its stroke ({jack.stroke_used * 1e3:.0f} of "
                f"{jack.stroke * 1e3:.0f} mm out at the start)"
            )
        travel = np.diff([0.0, *reach])
        if not job.seats[seat].comes_back and travel.min() < -_ROUND:
            work.wrong.append(
                f"jack {jack.id}: a push in plan may not go back, the ram cannot pull"
            )
        if load_most * job.working.jack_reserve > jack.capacity + _ROUND_N:
            work.wrong.append(
                f"jack {jack.id}: {load_most / 1e3:.0f} kN leaves less than the reserve of "
                f"{job.working.jack_reserve:g} on {jack.capacity / 1e3:.0f} kN"
            )
        yield JackFact(
            jack=jack.id,
            seat=seat,
            pushes=job.seats[seat].pushes,
            up=tuple(readings[0]),
            down=tuple(readings[1]),
            load_start=max(0.0, start) * share,
            load_raised=max(0.0, raised + free_slide) * share,
            load_most=load_most,
            load_stop=stop,
            capacity=jack.capacity,
            ram_area=jack.ram_area,
            stroke_free=free,
            stroke_out=jack.stroke_used,
            lock_nut=jack.lock_nut,
        )


def _limits(
    work: _Work,
    where: str,
    values: Mapping[str, float],
    outcome: Outcome,
    moving: set[str],
) -> None:
    """Note every limit a state breaks: reactions, forces, differences, warp, clear openings."""
    job, reactions, change = work.job, outcome.reactions, outcome.change
    settings = work.settings(values)
    work.counted += 1
    for name, seat in job.seats.items():
        load = reactions[name]
        if not seat.reaction_least - _ROUND_N <= load <= seat.reaction_most + _ROUND_N:
            work.wrong.append(
                f"{where}: seat {name} carries {load / 1e3:.0f} kN, outside its limits"
            )
    _force_limits(work, where, outcome)
    half = DISPLAY[job.units].move.half_step if moving else 0.0
    for limit in job.limits.values():
        seats = [job.seats[s] for s in limit.seats]
        if limit.kind == "difference":
            size, care = abs(settings[seats[0].id] - settings[seats[1].id]), 2.0 * half
        else:
            size, care = off_plane(seats, settings), 4.0 * half
        if size > limit.most + care + _ROUND:
            work.wrong.append(
                f"{where}: {limit.kind} {limit.id} is {size * 1e3:.1f} mm, at most "
                f"{limit.most * 1e3:.1f} mm"
            )
    for check, value, delta, warm, rate in zip(
        work.state.checks, work.state.values, change, work.warm, work.rate, strict=True
    ):
        if check.quantity != "gap" or check.pair is None:
            continue
        least = job.joints[check.joint].least_opening
        closest = min(0.0, float(warm - abs(rate) * job.gates.temperature_apart))
        opening = job.pairs[check.pair].opening + value + delta + closest
        if least is not None and opening < least - 2.0 * half - LINEAR:
            work.wrong.append(
                f"{where}: pair {check.pair} opens {opening * 1e3:.1f} mm at the least over the "
                f"steel temperatures allowed, at least {least * 1e3:.1f} mm"
            )


def _force_limits(work: _Work, where: str, outcome: Outcome) -> None:
    frame = work.job.frame
    for name, force in outcome.forces.items():
        assert frame is not None
        care = _FORCE * max(abs(force), 1.0)
        if name.startswith("saddle/"):
            if force < -care:
                _, saddle, side = name.split("/")
                work.wrong.append(f"{where}: the cable slips {side} over saddle {saddle}")
            continue
        if name.startswith("cable/"):
            cable = frame.cables[name.removeprefix("cable/")]
            if not cable.least - care <= force <= cable.most + care:
                work.wrong.append(
                    f"{where}: cable {cable.id} pulls {force / 1e3:.0f} kN, outside its limits in "
                    "frame_cables.csv"
                )
            continue
        place = frame.places[name]
        if not place.least - care <= force <= place.most + care:
            work.wrong.append(
                f"{where}: {place.quantity} at {name} in member {place.member} is outside its "
                "limits in frame_places.csv"
            )


def _left(work: _Work, change: Array) -> None:
    """Hold what is better left within what the engineer allows it to be."""
    for check, value, delta in zip(work.state.checks, work.state.values, change, strict=True):
        if check.leave_within is None:
            continue
        care = _care(check, float(value))
        if abs(value + delta) > check.leave_within + care:
            work.wrong.append(
                f"{check.id} is left at {abs(value + delta) * 1e3:.2f}, but it is to be kept "
                f"within {check.leave_within * 1e3:.2f} (mm or mm/m)"
            )


def _compare(work: _Work, influence: Influence, final: Mapping[str, float], change: Array) -> None:
    """Hold the recomputed checks against the influence the plan was made with."""
    x = np.array([final[s] for s in influence.seats])
    both = zip(work.state.checks, work.state.values, influence.change(x), change, strict=True)
    for check, value, linear, true in both:
        if abs(linear - true) > _care(check, float(value)):
            unit, by = ("kN", 1e-3) if check.kind == "force" else ("mm or mm/m", 1e3)
            work.wrong.append(
                f"{check.id}: the influence moves it by {linear * by:.3f}, the recomputation by "
                f"{true * by:.3f} ({unit})"
            )


def _care(check: Check, value: float) -> float:
    """Return how far linear influence and true state may be apart in a check."""
    if check.kind == "force":
        return max(LINEAR_FORCE, LINEAR_SHARE * abs(value))
    return LINEAR if check.is_length else LINEAR_TURN


def _check_facts(work: _Work, influence: Influence, change: Array) -> tuple[CheckFact, ...]:
    spread = _setting_variance(work)
    covariance = work.state.covariance + influence.A @ np.diag(spread) @ influence.A.T
    sigma = np.sqrt(np.clip(np.diag(covariance), 0.0, None))
    return tuple(
        _check_fact(work.job, c, float(v), float(v + d), float(s))
        for c, v, d, s in zip(work.state.checks, work.state.values, change, sigma, strict=True)
    )


def _setting_variance(work: _Work) -> Array:
    """Variance of every setting (n,) [m2]: plates put in and taken out, or a jack's resolution."""
    job = work.job
    variance = np.zeros(len(work.plan.seats))
    for i, plan in enumerate(work.plan.seats):
        if not plan.disturbed:
            continue
        variance[i] = sum(job.plates[m].spread ** 2 for m in (*plan.out, *plan.put_in))
        if job.seats[plan.seat].held_by == "nut":
            # evenly spread over one step of the resolution
            variance[i] = max(j.resolution for j in job.jacks_at(plan.seat)) ** 2 / 12.0
    return variance


def _check_fact(job: Job, check: Check, before: float, after: float, sigma: float) -> CheckFact:
    pair = None if check.pair is None else job.pairs[check.pair]
    place = check.point or check.subject or ("" if pair is None else f"{pair.id} {pair.place}")
    if check.item is not None:
        place = place_of_item(job, check)
    inside = None
    if check.tolerance is not None:
        inside = bool(abs(after - check.target) <= check.tolerance * (1.0 + 1e-6))
    return CheckFact(
        id=check.id,
        quantity=check.quantity,
        joint=check.joint,
        place=place,
        before=before,
        after=after,
        uncertainty=sigma,
        target=check.target,
        tolerance=check.tolerance,
        inside=inside,
        leave_within=check.leave_within,
        reason=check.reason,
        is_length=check.is_length,
    )


def _seat_fact(
    work: _Work,
    name: str,
    final: Mapping[str, float],
    before: Mapping[str, float],
    after: Mapping[str, float],
) -> SeatFact:
    seat = work.job.seats[name]
    index = next(i for i, p in enumerate(work.plan.seats) if p.seat == name)
    plan = work.plan.seats[index]
    plates = work.job.plates
    return SeatFact(
        seat=name,
        segment=seat.segment,
        pushes=seat.pushes,
        held_by=seat.held_by,
        pack_now=seat.pack,
        out=plan.out,
        put_in=plan.put_in,
        build_up=plan.build_up,
        height_now=sum(plates[m].measured for m in seat.pack),
        height_new=sum(plates[m].measured for m in plan.build_up),
        bedding=seat.bedding if plan.disturbed else 0.0,
        setting=final[name],
        ideal=work.plan.ideal[index],
        disturbed=plan.disturbed,
        reaction_before=before[name],
        reaction_after=after[name],
        reaction_least=seat.reaction_least,
        reaction_most=seat.reaction_most,
    )


def _statements(
    work: _Work,
    influence: Influence,
    final: Mapping[str, float],
    change: Array,
) -> tuple[str, ...]:
    x = np.array([final[s] for s in influence.seats])
    length = np.array([c.is_length for c in work.state.checks])
    apart = np.abs(influence.change(x) - change)[length].max(initial=0.0)
    how = "hung" if isinstance(work.states, HungStates) else influence.origin
    return (
        f"settings of {len(work.plan.seats)} seats added up plate by plate from measured thickness",
        f"checks and reactions by a second path: {_HOW[how]}",
        f"second path and optimiser differ by at most {apart * 1e3:.3f} mm in any check",
        f"{work.counted} states over {len(work.plan.stages)} stages, each printed increment one of "
        "them: reactions, differences, warp, clear openings, strokes and jack reserves kept",
        "stock counted through the stages: every plate is there when it is needed",
        *learned_words(work.job),
    )
