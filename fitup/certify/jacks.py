"""Jacks once more: loads at every increment, at worst, stop bands, stroke, and the lift-off."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from fitup.certify.bands import PACK_SPREAD, load_cap
from fitup.certify.facts import JackFact, LiftOffFact
from fitup.certify.limits import ROUND, ROUND_N, Shake, Work, hold_limits
from fitup.certify.linked import at_one_pressure
from fitup.certify.springs import Response, load_shares, respond
from fitup.model import Circuit, Jack, Job, circuits_of

#: load is taken in these shares of what is expected, then creeps to lift-off (common practice,
#: no source)
SHARES: Final = (0.10, 0.25, 0.50, 0.75, 0.90, 1.00)


def off_readings(job: Job, seat: str) -> float:
    """Return how far the jacks of a seat may be off their readings [m], by its worst pump.

    A scale tells no less than one mark; zero where nothing is stated.

    Parameters
    ----------
    job, seat
    """
    worst = job.staging.out_of_step
    found = []
    for jack in job.jacks_at(seat):
        for pump in job.pumps.values():
            if jack.id in pump.jacks:
                own = worst if pump.out_of_step is None else pump.out_of_step
                found.append(own if pump.synchronised else own + job.working.lift_step)
    stated = max(found) if found else worst
    mark = max((j.resolution for j in job.jacks_at(seat)), default=0.0)
    return stated if stated == 0.0 else max(stated, mark)


def jack_facts(
    work: Work,
    seat: str,
    start: float,
    rows: tuple[Sequence[float], Sequence[float]],
    loads: tuple[Sequence[float], Sequence[float]],
    rest: tuple[float, float],
    swing: tuple[float, float],
    shake: Shake,
    base: Mapping[str, float],
) -> Iterator[JackFact]:
    """Yield the facts of every jack of a seat in one stage, and note what it cannot do.

    Parameters
    ----------
    start : float
        Setting of the seat before the stage [m].
    rows : (up, down)
        Settings after each increment, as they will be printed [m].
    loads : (up, down)
        Reactions of the seat after each increment [N].
    rest : (before, after)
        Reactions on the packs before and after the stage [N].
    swing : (least, greatest)
        Reactions at the worst moment of the other crews [N].
    shake : Shake
        What jacks out of step may add.
    base : mapping of jack to float
        Packing under each jack in this stage [m].
    """
    job, staging = work.job, work.job.staging
    jacks = job.jacks_at(seat)
    shares, breakaway = load_shares(job, seat), job.seats[seat].breakaway
    more, less = 1.0 + staging.friction, 1.0 - staging.friction
    off = shake.reactions.get(seat, 0.0)

    def pushed(reaction: float, share: float) -> float:
        return (max(0.0, reaction * more) + breakaway) * share if reaction + breakaway > 0 else 0.0

    def eased(reaction: float, share: float) -> float:
        return max(0.0, reaction * less) * share

    raised = loads[0][-1] if loads[0] else rest[0]
    for jack in jacks:
        share = shares[jack.id]
        planned = max(0.0, max(swing[1], *rest) * more + breakaway) * share
        gauge = staging.pressure_error * jack.capacity
        # a breakaway is a guess: it may be more by the plain band
        loose = breakaway * (1.0 + job.working.load_band)
        worst = max(0.0, (max(swing[1], *rest) + off) * more + loose) * share + gauge
        low = max(0.0, (min(swing[0], *rest) - off) * less) * share - gauge
        if off == 0.0 and staging.friction == 0.0 and staging.pressure_error == 0.0:
            # nothing is stated of an imperfect lift: a plain band on the calculated load
            stop = min(jack.capacity, planned * (1.0 + job.working.load_band))
            low *= 1.0 - job.working.load_band
        else:
            stop = worst
        _sized(work, jack, planned, worst)
        out = jack.stroke_used + start - (base[jack.id] - jack.base)
        _reaches(work, jack, seat, start, rows, out)
        yield JackFact(
            jack=jack.id,
            seat=seat,
            pushes=job.seats[seat].pushes,
            up=tuple(v - start for v in rows[0]),
            down=tuple(v - start for v in rows[1]),
            load_start=max(0.0, rest[0]) * share,
            load_raised=pushed(raised, share),
            load_most=planned,
            load_stop=stop,
            capacity=jack.capacity,
            ram_area=jack.ram_area,
            stroke_free=jack.stroke - out,
            stroke_out=out,
            lock_nut=jack.lock_nut,
            load_low=max(0.0, low),
            move_band=off_readings(job, seat) or job.working.move_band,
            loads_up=tuple(pushed(r, share) for r in loads[0]),
            loads_down=tuple(eased(r, share) for r in loads[1]),
            load_end=max(0.0, rest[1]) * share,
        )


def _sized(work: Work, jack: Jack, planned: float, worst: float) -> None:
    reserve, at_worst = work.job.working.jack_reserve, work.job.staging.worst_reserve
    if planned * reserve > jack.capacity + ROUND_N:
        work.wrong.append(
            f"jack {jack.id}: {planned / 1e3:.0f} kN leaves less than the reserve of "
            f"{reserve:g} on {jack.capacity / 1e3:.0f} kN"
        )
    if not work.job.staging.exact and worst * at_worst > jack.capacity + ROUND_N:
        work.wrong.append(
            f"jack {jack.id}: {worst / 1e3:.0f} kN at worst leaves less than {at_worst:g} on "
            f"{jack.capacity / 1e3:.0f} kN"
        )


def _reaches(
    work: Work,
    jack: Jack,
    seat: str,
    start: float,
    rows: tuple[Sequence[float], Sequence[float]],
    out: float,
) -> None:
    """Hold readings against the stroke, and a push in plan against going back."""
    reach = [v - start for part in rows for v in part] or [0.0]
    if max(reach) > jack.stroke - out + ROUND or min(reach) < -out - ROUND:
        work.wrong.append(
            f"jack {jack.id}: readings from {min(reach) * 1e3:.1f} to {max(reach) * 1e3:.1f} mm "
            f"do not fit its stroke ({out * 1e3:.0f} of {jack.stroke * 1e3:.0f} mm out at the "
            "start)"
        )
    travel = np.diff([0.0, *reach])
    if not work.job.seats[seat].comes_back and travel.min() < -ROUND:
        work.wrong.append(f"jack {jack.id}: a push in plan may not go back, the ram cannot pull")


def lift_offs(work: Work, present: Mapping[str, float]) -> tuple[LiftOffFact, ...]:
    """Return the measured lift-off of every lifting group that moves, one group at a time.

    Linked jacks weigh a segment that they lift off all its seats; else they have none.

    Parameters
    ----------
    work : Work
    present : mapping of str to float
        Reactions as surveyed by seat [N]; the greater of these and the computed ones counts.
    """
    job, found = work.job, []
    groups: dict[str, tuple[str, ...]] = {}
    for stage in work.plan.stages:
        groups.setdefault(stage.group, tuple(s for s in stage.seats if job.seats[s].lifts))
    for group, seats in groups.items():
        linked = circuits_of(job, seats)
        whole = {s.id for n in seats for s in job.seats_of(job.seats[n].segment) if s.lifts}
        if not seats or (linked and whole != set(seats)):
            continue
        # all rise together until the last pack opens
        sprung = max(max(0.0, present[s]) / job.seats[s].stiffness for s in seats)
        raised = dict.fromkeys(seats, job.staging.creep)
        if linked:
            raised = _all_open(work, seats, job.staging.creep + sprung)
        outcome = work.states.at(work.settings(raised), work.state.checks)
        hold_limits(work, f"lift-off of {group}", raised, outcome, set(seats))
        response = respond(work, raised, seats)
        facts = []
        for s in seats:
            load = outcome.reactions[s]
            # linked jacks come to one pressure, and the deck at each by more or less
            rise = sprung
            if linked:
                rise = raised[s] + (present[s] - load) / job.seats[s].stiffness - job.staging.creep
            stop = rise + PACK_SPREAD * sprung + job.staging.creep
            load = load if linked else max(present[s], load)
            facts += [
                replace(_lift_off(job, group, jack, load, response), rise=rise, rise_stop=stop)
                for jack in job.jacks_at(s)
            ]
        found += [_at_one_stop(fact, linked, facts) for fact in facts]
    return tuple(found)


def _all_open(work: Work, seats: Sequence[str], first: float) -> dict[str, float]:
    """Return settings of linked seats at one pressure whose last pack is open by the creep [m]."""
    job, top = work.job, first
    raised: dict[str, float] = {}
    for _ in range(4):
        raised = dict(zip(seats, at_one_pressure(work, {}, seats, [top] * len(seats)), strict=True))
        loads = work.states.at(work.settings(raised), work.state.checks).reactions
        opened = min(raised[s] - loads[s] / job.seats[s].stiffness for s in seats)
        top += job.staging.creep - opened
    return raised


def _at_one_stop(
    fact: LiftOffFact, circuits: Sequence[Circuit], facts: Sequence[LiftOffFact]
) -> LiftOffFact:
    """Return a fact that stops where the first of the jacks on its valve has to."""
    for circuit in circuits:
        if fact.jack in circuit.jacks:
            stop = min(f.load_stop / f.ram_area for f in facts if f.jack in circuit.jacks)
            return replace(fact, load_stop=stop * fact.ram_area)
    return fact


def _lift_off(job: Job, group: str, jack: Jack, reaction: float, response: Response) -> LiftOffFact:
    seat = job.seats[jack.seat]
    more = 1.0 + job.staging.friction
    share = load_shares(job, seat.id)[jack.id]
    load = (max(0.0, reaction * more) + seat.breakaway) * share
    return LiftOffFact(
        jack=jack.id,
        seat=seat.id,
        segment=seat.segment,
        group=group,
        load=load,
        measured=seat.reaction_now is not None,
        steps=tuple((share, share * load) for share in SHARES),
        load_stop=load_cap(job, response, jack, seat.id)[0],
        capacity=jack.capacity,
        ram_area=jack.ram_area,
        creep=job.staging.creep,
        rise=0.0,
        rise_stop=0.0,
    )
