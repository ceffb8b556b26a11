"""Certified procedures: the orders of every crew followed on the steel, numbered and read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Final

from fitup.certify.acts import follow, follow_back
from fitup.certify.bands import Reader, Swing, length_step, ram_band, to_step
from fitup.certify.facts import ExpectedFact
from fitup.certify.jacks import off_readings
from fitup.certify.limits import STILL, Work
from fitup.certify.linked import circuit_note, linked_shake, links_of, may_read
from fitup.certify.night import Moment, Night
from fitup.certify.springs import jack_shake, respond
from fitup.model import LENGTHS, Band, Check, ExpectedReading, Job, Procedure, Stage, WorkEvent
from fitup.model.procedure import Hand, Instrument
from fitup.units import DISPLAY

_HANDS: Final[dict[str, Hand]] = {
    "FOLLOW WITH NUT": "nut",
    "NUT HOME": "nut",
    "RUN NUT BACK": "nut",
    "FOLLOW WITH PLATES": "plates",
    "CHANGE PACK": "plates",
    "TAKE OUT PLATES": "plates",
    "READ": "survey",
    "HOLD POINT": "engineer",
}
_TOOLS: Final[dict[str, Instrument]] = {
    "gap": "tape",
    "step": "straightedge",
    "offset": "straightedge",
}
_NOTES: Final[dict[str, str]] = {
    "SET": "plumb on its base, nut run back, valves of all other jacks shut",
    "TOUCH": "ram marked TOUCH, dial on the deck to zero",
    "LIFT OFF": "every pack loose, the gauge stands while the dial goes on: mark START, dials to "
    "zero",
    "BREAK LOOSE": "the deck starts to move: mark START, dials to zero",
    "PUSH": "creep up to the mark: the deck stops where friction holds it",
    "FOLLOW WITH PLATES": "by tool from outside, no hand in the gap",
    "TAKE OUT PLATES": "what was made up beside the pack goes too: the deck may come lower",
    "CHANGE PACK": "the load stands on steel, the oil is off",
    "LAND": "the gauge falls to nought while the deck settles; stop if one corner lands alone",
    "HOLD POINT": "one for all crews of the stage",
}
_BEHIND_A_PUSH: Final = "the deck stays where it was pushed, the oil is off; slide it in loose"


@dataclass(frozen=True, eq=False)
class Before:
    """What stands when a stage begins: settings [m], reactions as surveyed [N], loose plates."""

    site: Mapping[str, float]
    present: Mapping[str, float]
    loose: Mapping[str, int]
    base: Mapping[str, float]
    """Packing under every jack [m]."""
    line: int


def procedures(
    work: Work,
    crews: Sequence[Stage],
    before: Before,
) -> tuple[tuple[Procedure, ...], tuple[Procedure, ...]]:
    """Return what every crew of one stage does, and its way back; what cannot be is noted.

    What is read when the stage is done follows in :func:`with_end`.

    Parameters
    ----------
    crews : sequence of Stage
        All with one number.
    """
    if not any(stage.orders for stage in crews):
        return (), ()
    ends = [o for s in crews for o in s.orders if o.verb == "HOLD POINT"]
    if len(ends) != 1:
        work.wrong.append(f"stage {crews[0].number}: {len(ends)} hold points, there must be one")
    seats = [name for stage in crews for name in stage.seats]
    top = dict(before.site)
    for stage in crews:
        top.update(zip(stage.seats, (stage.up or stage.down)[-1], strict=True))
    response = respond(work, top, seats)
    off = {name: off_of(work.job, name) for name in seats}
    linked = links_of(work.job, seats)
    if linked:
        shake, off = linked_shake(work, response, off, True), may_read(work.job, response, off)
    else:
        shake = jack_shake(work, response, off) if any(off.values()) else STILL
    line = before.line
    most: dict[str, Counter[str]] = {}
    found: list[Procedure] = []
    backs: list[Procedure] = []
    for stage in crews:
        start = (work, stage, before.site, before.present, response, shake, before.base)
        swing: dict[str, Swing] = {}
        most[stage.group] = Counter()
        for told, steps, there in ((found, follow, True), (backs, follow_back, False)):
            night = Night(*start)
            swing = swing or swing_of(work, night, crews, stage, before.site)
            reader = Reader(night, response, shake, off, swing)
            events = []
            for moment in steps(night):
                if moment.order.verb in ("READ", "HOLD POINT"):
                    continue
                line += 1
                event = event_of(stage, line, moment, reader.read(moment))
                note = circuit_note(night.links.circuits, event.verb, event.note)
                events.append(replace(event, note=note))
            most[stage.group] |= night.most
            if events or there:
                told.append(procedure_of(work.job, stage, tuple(events)))
    _store(work, crews[0].number, most, before.loose)
    return tuple(found), tuple(backs)


def off_of(job: Job, seat: str) -> float:
    """Return how far the rams of a seat may be off before work stops [m]; zero: nothing stated.

    Parameters
    ----------
    job, seat
    """
    stated = off_readings(job, seat)
    if stated == 0.0:
        return 0.0
    return max(ram_band(job, jack, stated) for jack in job.jacks_at(seat))


def swing_of(
    work: Work, night: Night, crews: Sequence[Stage], own: Stage, site: Mapping[str, float]
) -> dict[str, Swing]:
    """Return what the other crews do to the loads of one, wherever they are.

    Parameters
    ----------
    work : Work
    night : Night
        Of the crew itself: its loads at rest are compared with.
    crews : sequence of Stage
        All of the stage, ``own`` among them.
    own : Stage
        That of the crew itself; the others may be at their start, at the top or done.
    site : mapping of str to float
        Settings before the stage by seat [m].
    """
    others = [c for c in crews if c is not own]
    rest = dict(zip(own.seats, night.rest_loads.tolist(), strict=True))
    less, more = dict.fromkeys(own.seats, 0.0), dict.fromkeys(own.seats, 0.0)
    for corner in elsewhere(others) if others else ():
        loads = work.states.at(work.settings({**site, **corner}), work.state.checks).reactions
        for name in own.seats:
            less[name] = min(less[name], loads[name] - rest[name])
            more[name] = max(more[name], loads[name] - rest[name])
    return {name: Swing(less[name], more[name]) for name in own.seats}


def elsewhere(crews: Sequence[Stage]) -> Iterator[dict[str, float]]:
    """Yield where other crews may be: each not begun, at the top, or done.

    Parameters
    ----------
    crews : sequence of Stage
        All of one stage, the crew that is looked at left out.

    Yields
    ------
    dict of str to float
        Settings of their seats [m]; one empty dict where there is no other crew.
    """
    parts = [
        [
            dict(zip(c.seats, row, strict=True))
            for row in (c.start, *(part[-1] for part in (c.up, c.down) if part))
        ]
        for c in crews
    ]
    for corner in product(*parts):
        yield {name: value for part in corner for name, value in part.items()}


def event_of(
    stage: Stage, line: int, moment: Moment, readings: tuple[ExpectedReading, ...]
) -> WorkEvent:
    """Return what was done as an event, with what is read then.

    Parameters
    ----------
    stage : Stage
    line : int
        Number of the event, counted through the whole plan.
    moment : Moment
    readings : tuple of ExpectedReading
    """
    order = moment.order
    return WorkEvent(
        line=line,
        stage=stage.number,
        crew=stage.crew,
        who=_HANDS.get(order.verb, "pump"),
        phase=order.phase,
        verb=order.verb,
        objects=order.objects,
        readings=readings,
        moved=order.moved,
        after=moment.after,
        note=_note(moment),
    )


def _note(moment: Moment) -> str:
    """Say how an order is carried out."""
    order = moment.order
    carried = {s.on for s in moment.after if s.seat in order.objects}
    if order.verb == "CHANGE PACK" and carried == {"friction"}:
        return _BEHIND_A_PUSH
    return _NOTES.get(order.verb, "")


def procedure_of(job: Job, stage: Stage, events: tuple[WorkEvent, ...]) -> Procedure:
    """Return what the crew of a stage does.

    Parameters
    ----------
    job, stage
    events : tuple of WorkEvent
        In the order of time.
    """
    return Procedure(
        stage=stage.number,
        crew=stage.crew,
        group=stage.group,
        segment=job.seats[stage.seats[0]].segment,
        seats=stage.seats,
        jacks=tuple(j.id for s in stage.seats for j in job.jacks_at(s)),
        pumps=stage.pumps,
        window=stage.window,
        events=events,
    )


def with_end(
    work: Work,
    crews: Sequence[Stage],
    found: Sequence[Procedure],
    line: int,
    expected: Sequence[ExpectedFact],
) -> tuple[Procedure, ...]:
    """Put the readings and the hold point of the stage at the end of the crew that has them.

    Parameters
    ----------
    crews : sequence of Stage
        All with one number.
    found : sequence of Procedure
        Of each of them, without its end; none where the stage has no orders.
    line : int
        The last number that is used.
    expected : sequence of ExpectedFact
        What every check reads when the stage is done.
    """
    if not found:
        return ()
    result = []
    for stage, procedure in zip(crews, found, strict=True):
        events = list(procedure.events)
        after = events[-1].after if events else ()
        for order in stage.orders:
            if order.verb in ("READ", "HOLD POINT"):
                line += 1
                moment = Moment(order, {}, {}, {}, after)
                reads = tuple(_reads(work, order.objects, crews, expected))
                events.append(event_of(stage, line, moment, reads if order.verb == "READ" else ()))
        result.append(replace(procedure, events=tuple(events)))
    return tuple(result)


def _reads(
    work: Work,
    joints: Sequence[str],
    crews: Sequence[Stage],
    expected: Sequence[ExpectedFact],
) -> Iterator[ExpectedReading]:
    """Yield what is read at the joints of the moved segments, gaps as whole openings."""
    job = work.job
    segments = {job.seats[s].segment for stage in crews for s in stage.seats}
    facts = {fact.check: fact for fact in expected}
    for check in work.state.checks:
        if not _is_read(job, check, joints, segments):
            continue
        fact, step = facts[check.id], _step(job, check)
        whole = 0.0
        if check.quantity == "gap" and check.pair is not None:
            whole = job.pairs[check.pair].opening
        value, low, high = (to_step(v + whole, step) for v in (fact.expect, fact.low, fact.high))
        yield ExpectedReading(
            _TOOLS.get(check.quantity, "survey"),
            check.id,
            value,
            step,
            (Band("STOP", low, high, "back to the engineer"),),
        )


def _is_read(job: Job, check: Check, joints: Sequence[str], segments: set[str]) -> bool:
    if check.quantity in ("lean", "tension"):
        return True
    if check.quantity not in LENGTHS:
        return False
    if check.point is not None:
        # points of a pair are read as gap, step and offset
        return (
            check.quantity == "level"
            and not check.joint
            and job.points[check.point].segment in segments
        )
    return check.pair is not None and check.joint in joints


def _step(job: Job, check: Check) -> float:
    if check.quantity == "tension":
        return 2.0 * DISPLAY[job.units].force.half_step
    return length_step(job)


def _store(
    work: Work, number: int, most: Mapping[str, Counter[str]], loose: Mapping[str, int]
) -> None:
    """Hold the most plates that the crews have out of the store against what is in it.

    Crews do not wait for each other: each may be at its worst moment, there or back.
    """
    need: Counter[str] = Counter()
    for own in most.values():
        need.update({mark: n for mark, n in own.items() if n > 0})
    for mark, count in sorted(need.items()):
        if count > loose[mark]:
            work.wrong.append(
                f"stage {number}: the procedures need {count} plate {mark} at one time, "
                f"{loose[mark]} in store"
            )
