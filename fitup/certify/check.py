"""Certify a plan: recompute every number from the printed whole numbers, and every limit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from fitup.certify.certified import with_paths
from fitup.certify.crossing import crossing_facts
from fitup.certify.envelopes import jack_envelopes, seat_envelopes
from fitup.certify.facts import (
    Certificate,
    CheckFact,
    GapChange,
    GapFact,
    SeatFact,
    SurveyFact,
)
from fitup.certify.frame import FrameStates
from fitup.certify.hung import HungStates
from fitup.certify.jacks import lift_offs
from fitup.certify.learned import CorrectedStates, learned_words
from fitup.certify.limits import (
    LINEAR,
    LINEAR_FORCE,
    LINEAR_SHARE,
    LINEAR_TURN,
    ROUND,
    Work,
    hold_limits,
)
from fitup.certify.recompute import (
    RigidStates,
    States,
    TableStates,
    room_behind,
    setting_from_plates,
)
from fitup.certify.release import released_targets
from fitup.certify.stages import pack_rules, walk
from fitup.certify.summary import stated_otherwise, summarise
from fitup.certify.surveyed import surveyed_again, surveyed_otherwise
from fitup.certify.temperature import second_thermal_path, steel_apart
from fitup.checks.items import place_of
from fitup.errors import CertificateRefused
from fitup.frames import Array
from fitup.model import Check, CheckState, Influence, Job, Plan, Seat, circuits_of
from fitup.survey.points import Survey
from fitup.units import DISPLAY, from_si

_HOW = {
    "rigid": "segments brought to equilibrium again and points moved by true rotations",
    "frame": "the frame solved again from flexibilities with constraints, seats free to lift off, "
    "and points moved by true rotations",
    "hung": "the frame with its cables brought to rest again at every state: cables added up along "
    "themselves, seats free to lift off, and points moved by true rotations",
    "table": "the imported influence table summed row by row (its own truth is not checked here)",
}


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
    work, plain, present = start_work(job, survey, state, influence, plan)
    final = _final_settings(work)
    walked = walk(work, final, present)
    stock = walked.stock
    after = work.states.at(work.settings(final), state.checks)
    hold_limits(work, "in the end", final, after, set())
    _compare(work, influence, final, after.change)
    _left(work, after.change)
    checks = _check_facts(work, influence, after.change)
    seats = tuple(_seat_fact(work, s.seat, final, present, after.reactions) for s in plan.seats)
    inside = all(c.inside is not False for c in checks)
    ride, bores, bolts = crossing_facts(work, survey, final)
    sure: list[str] = []
    if isinstance(plain, FrameStates):
        wrong, sure = released_targets(job, survey, plain, state.checks, work.settings(final))
        work.wrong += wrong
    if plan.inside and not inside:
        outside = ", ".join(c.id for c in checks if c.inside is False)
        work.wrong.append(f"the plan says every check is inside, but {outside} is not")
    summary = summarise(work, checks, seats)
    apart = _linear(influence, final) - after.change
    work.wrong += stated_otherwise(work, summary, checks, apart)
    if work.wrong:
        raise CertificateRefused(work.wrong)
    return with_paths(
        Certificate(
            plan_id=plan.id,
            checks=checks,
            seats=seats,
            stages=walked.stages,
            stock=stock,
            statements=(*_statements(work, influence, final, after.change), *sure),
            inside=inside,
            summary=summary,
            gaps=_gaps(work),
            surveys=_surveys(job),
            ride=ride,
            bores=bores,
            bolts=bolts,
            lift_offs=lift_offs(work, present),
            procedures=walked.procedures,
            seat_envelopes=seat_envelopes(job, walked.procedures),
            jack_envelopes=jack_envelopes(job, walked.procedures),
            ways_back=walked.ways_back,
        )
    )


def start_work(
    job: Job, survey: Survey, state: CheckState, influence: Influence, plan: Plan
) -> tuple[Work, States, dict[str, float]]:
    """Return what certifying needs everywhere.

    Parameters
    ----------
    job, survey, state, influence, plan
        As in :func:`certify`.

    Returns
    -------
    tuple of Work, States and dict
        The work; its states without learned corrections; reactions as surveyed by seat [N].
    """
    present = dict(zip(influence.seats, (float(r) for r in influence.r0), strict=True))
    states = _states(job, survey, influence, present)
    if isinstance(states, FrameStates):
        present = dict(zip(job.seats, states.present.tolist(), strict=True))
    plain = states
    if job.learned:
        states = CorrectedStates(states, job, table=influence.origin == "table")
    heat = second_thermal_path(job, survey, plain)
    warm = heat.change(state.checks, *steel_apart(job, survey.steel))
    one = dict.fromkeys(job.segments, 1.0)
    rate = heat.change(state.checks, one, dict.fromkeys(job.segments, 0.0))
    again = surveyed_again(job, survey, state.checks, state.covariance, warm)
    wrong = surveyed_otherwise(job, survey, state.checks, state.values, again, heat.near)
    # from here on what is true of the coordinates, whatever the plan was made from
    work = Work(job, replace(state, values=again), states, plan, wrong, warm, rate)
    return work, plain, present


def _states(job: Job, survey: Survey, influence: Influence, present: Mapping[str, float]) -> States:
    if influence.origin == "frame":
        hung = job.frame is not None and job.frame.cables
        return HungStates(job, survey) if hung else FrameStates(job, survey)
    if influence.origin == "rigid":
        return RigidStates(job, survey, present)
    may_unload = [s.id for s in job.seats.values() if s.may_unload]
    return TableStates(influence.uncorrected or influence, may_unload)


def _surveys(job: Job) -> tuple[SurveyFact, ...]:
    apart = job.gates.temperature_apart
    return tuple(
        SurveyFact(e.file, e.temperature, e.temperature - apart, e.temperature + apart)
        for e in job.epochs
    )


def _gaps(work: Work) -> tuple[GapFact, ...]:
    """Return what steel at the ends of what is allowed, and half way there, does to the gaps."""
    half = work.job.gates.temperature_apart / 2.0
    rates: dict[str, list[float]] = {name: [] for name in work.job.joints}
    for check, rate in zip(work.state.checks, work.rate, strict=True):
        if check.quantity == "gap":
            rates[check.joint].append(float(rate))
    mean = {name: sum(own) / len(own) for name, own in rates.items() if own}
    return tuple(
        GapFact(name, rate, tuple(GapChange(n, rate * half * n) for n in (-2, -1, 1, 2)))
        for name, rate in mean.items()
    )


def _final_settings(work: Work) -> dict[str, float]:
    """Add up every pack; the plan's own setting must agree, and the pack keep its rules."""
    final = {}
    for plan in work.plan.seats:
        seat = work.job.seats[plan.seat]
        setting = setting_from_plates(work.job, plan, plan.setting)
        final[plan.seat] = setting
        if abs(setting - plan.setting) > ROUND:
            work.wrong.append(
                f"seat {seat.id}: its plates give {setting * 1e3:.3f} mm, the plan says "
                f"{plan.setting * 1e3:.3f} mm"
            )
        if seat.held_by == "packs":
            pack_rules(work, seat, plan.build_up)
            changed = Counter(seat.pack) - Counter(plan.out) + Counter(plan.put_in)
            if changed != Counter(plan.build_up):
                work.wrong.append(f"seat {seat.id}: plates out and in do not make the build-up")
        if seat.hold and setting != 0.0:
            work.wrong.append(f"seat {seat.id} is held, but the plan moves it")
    return final


def _left(work: Work, change: Array) -> None:
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


def _care(check: Check, value: float) -> float:
    """Return how far linear influence and true state may be apart in a check."""
    if check.kind == "force":
        return max(LINEAR_FORCE, LINEAR_SHARE * abs(value))
    return LINEAR if check.is_length else LINEAR_TURN


def _linear(influence: Influence, final: Mapping[str, float]) -> Array:
    """Return the change of every check (m,) by the influence the plan was made with."""
    return influence.change(np.array([final[s] for s in influence.seats]))


def _compare(work: Work, influence: Influence, final: Mapping[str, float], change: Array) -> None:
    """Hold the recomputed checks against the influence the plan was made with."""
    both = zip(work.state.checks, work.state.values, _linear(influence, final), change, strict=True)
    for check, value, linear, true in both:
        if abs(linear - true) > _care(check, float(value)):
            unit, by = ("kN", 1e-3) if check.kind == "force" else ("mm or mm/m", 1e3)
            work.wrong.append(
                f"{check.id}: the influence moves it by {linear * by:.3f}, the recomputation by "
                f"{true * by:.3f} ({unit})"
            )


def _check_facts(work: Work, influence: Influence, change: Array) -> tuple[CheckFact, ...]:
    spread = _setting_variance(work)
    covariance = work.state.covariance + influence.A @ spread @ influence.A.T
    sigma = np.sqrt(np.clip(np.diag(covariance), 0.0, None))
    return tuple(
        _check_fact(work.job, c, float(v), float(v + d), float(s))
        for c, v, d, s in zip(work.state.checks, work.state.values, change, sigma, strict=True)
    )


def _setting_variance(work: Work) -> Array:
    """Covariance of all settings (n, n) [m2]: plates out and in, the marks of nuts and pushes.

    Plates of one mark that were bought to limits and not measured are wrong by the same.
    """
    job = work.job
    variance = np.zeros(len(work.plan.seats))
    gained: dict[str, Array] = {}
    for i, plan in enumerate(work.plan.seats):
        if not plan.disturbed:
            continue
        scale = max((j.resolution for j in job.jacks_at(plan.seat)), default=0.0)
        pushed = job.stays_pushed(job.seats[plan.seat])
        # the pack behind a deck that stays where it is pushed is loose
        for marks, sign in () if pushed else ((plan.out, -1.0), (plan.put_in, 1.0)):
            for mark in marks:
                if job.plates[mark].alike:
                    gained.setdefault(mark, np.zeros(len(variance)))[i] += sign
                else:
                    variance[i] += job.plates[mark].spread ** 2
        if pushed:
            # it may spring back when the ram is let off: one way, evenly spread
            room = room_behind(job, job.seats[plan.seat], plan.build_up, plan.setting)
            variance[i] = min(job.staging.spring_back, room) ** 2 / 3.0 + scale**2 / 12.0
        if job.seats[plan.seat].held_by == "nut":
            # evenly spread over one step of the resolution
            variance[i] = scale**2 / 12.0
    whole = np.diag(variance)
    for mark, count in gained.items():
        whole = whole + job.plates[mark].spread ** 2 * np.outer(count, count)
    return whole


def _check_fact(job: Job, check: Check, before: float, after: float, sigma: float) -> CheckFact:
    inside = None
    if check.tolerance is not None:
        inside = bool(abs(after - check.target) <= check.tolerance * (1.0 + 1e-6))
    return CheckFact(
        id=check.id,
        quantity=check.quantity,
        joint=check.joint,
        place=place_of(job, check),
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
    work: Work,
    name: str,
    final: Mapping[str, float],
    before: Mapping[str, float],
    after: Mapping[str, float],
) -> SeatFact:
    seat = work.job.seats[name]
    index = next(i for i, p in enumerate(work.plan.seats) if p.seat == name)
    plan = work.plan.seats[index]
    plates = work.job.plates
    pushed = work.job.stays_pushed(seat)
    return SeatFact(
        seat=name,
        segment=seat.segment,
        pushes=seat.pushes,
        held_by=seat.held_by,
        pack_now=seat.pack,
        out=plan.out,
        put_in=plan.put_in,
        build_up=plan.build_up,
        height_now=sum((plates[m].measured for m in seat.pack), 0.0),
        height_new=sum((plates[m].measured for m in plan.build_up), 0.0),
        bedding=0.0 if not plan.disturbed or pushed else seat.bedding,
        room_behind=room_behind(work.job, seat, plan.build_up, final[name]),
        setting=final[name],
        ideal=work.plan.ideal[index],
        disturbed=plan.disturbed,
        reaction_before=before[name],
        reaction_after=after[name],
        reaction_least=seat.reaction_least,
        reaction_most=seat.reaction_most,
        contact=_contact(work.job, plan.build_up, after[name]),
    )


def _contact(job: Job, pack: Sequence[str], load: float) -> float | None:
    """Return the pressure on the smallest plate of a pack [Pa]."""
    areas = [job.plates[m].length * job.plates[m].width for m in pack]
    smallest = min(areas, default=0.0)
    return max(load, 0.0) / smallest if smallest else None


def _on_a_mark(job: Job, seat: Seat) -> bool:
    """Say whether a nut or a push decides where a seat stands, and not its plates."""
    return seat.held_by == "nut" or job.stays_pushed(seat)


def _statements(
    work: Work,
    influence: Influence,
    final: Mapping[str, float],
    change: Array,
) -> tuple[str, ...]:
    length = np.array([c.is_length for c in work.state.checks])
    apart = np.abs(_linear(influence, final) - change)[length].max(initial=0.0)
    shown = DISPLAY[work.job.units].move
    apart_words = f"{from_si(float(apart), 'length', shown.suffix):.{shown.decimals + 2}f}"
    how = "hung" if isinstance(work.states, HungStates) else influence.origin
    marks = [n for n in final if _on_a_mark(work.job, work.job.seats[n])]
    return (
        f"settings of {len(final) - len(marks)} seats added up plate by plate from measured "
        f"thickness, of {len(marks)} followed mark by mark of nut or ram",
        f"checks and reactions by a second path: {_HOW[how]}",
        f"second path and optimiser differ by at most {apart_words} {shown.word} in any check",
        f"{work.counted} states over {_numbers(work)} stages, each printed increment one of "
        "them: reactions, differences, warp, clear openings, strokes and jack reserves kept",
        "jacks out of step, friction and gauges at their worst: every load below capacity over "
        f"{work.job.staging.worst_reserve:g}"
        if not work.job.staging.exact
        else "nothing is stated of an imperfect lift: loads are held with the plain band",
        "stock counted moment by moment, temporary plates too: every plate is there when it is "
        "needed",
        *_linked_words(work),
        *learned_words(work.job),
    )


def _linked_words(work: Work) -> tuple[str, ...]:
    """Say how linked jacks were looked at, where some are."""
    names = {s: None for stage in work.plan.stages for s in stage.seats}
    circuits = circuits_of(work.job, names)
    if not circuits:
        return ()
    named = ", ".join(c.id for c in circuits)
    return (
        f"linked jacks ({named}): one pressure a circuit in every raised state, strokes of the "
        "jacks that follow from equilibrium, unlike friction counted as unlike pressure",
    )


def _numbers(work: Work) -> int:
    """Return how many stages a plan has, crews of one stage counted once."""
    return len({stage.number for stage in work.plan.stages})
