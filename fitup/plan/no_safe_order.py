"""Why no order is safe: the limits that forbid it, and the smallest change of each that frees it.

Every change is tried alone by making the order again, and is named only where an order is found.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitup.model import CheckState, Influence, Job, Seat, SeatPlan, circuits_of
from fitup.problem.jacks import stronger
from fitup.procedure import Move, OrderFound
from fitup.procedure.course import State
from fitup.procedure.layout import Laid
from fitup.procedure.lifts import unsupported
from fitup.procedure.meetings import Meetings
from fitup.procedure.needs import Needs
from fitup.procedure.plan_stages import best_order
from fitup.procedure.tell import Lack
from fitup.units import DISPLAY, Shown

#: amounts tried are these times what the nearest move lacks
_TIMES = (1.0, 1.5, 2.0, 4.0)
#: most limits that are named, most changes that are tried
_MOST_LIMITS, _MOST_TRIES = 3, 24
_JACKS = ("jack", "jack_worst")


@dataclass(frozen=True, slots=True)
class Block:
    """One limit in the way of one group, and by how much [SI of the limit]."""

    group: str
    kind: str
    subject: str
    text: str
    by: float
    more: tuple[tuple[str, int], ...] = ()
    """Plates that would do, by mark."""


def explain(
    job: Job,
    state: CheckState,
    influence: Influence,
    seats: Sequence[SeatPlan],
    laid: Laid,
    outcome: OrderFound,
) -> str:
    """Return why no order was found and which single changes give one, a line each.

    Parameters
    ----------
    laid, outcome
        The course of the job as it is, and how far the search came.
    """
    blocks = blocks_of(job, state, influence, laid, outcome)
    done = sum(k > 0 for k in outcome.furthest)
    first = "no order of stages keeps every limit on the way"
    if not outcome.closed:
        first = "no order of stages that keeps every limit on the way was found"
    stated = "; ".join(f"group {b.group}: {_said(job, b)}" for b in blocks[:_MOST_LIMITS])
    stated = stated or "a limit of a state in which other seats carry"
    lines = [f"{first}: stage {done + 1}, {stated}"]
    found = []
    for text, other in _tries(job, blocks):
        trial = best_order(other, state, influence, seats, in_parts=False)[1]
        if trial.stages is not None and text not in found:
            found.append(text)
    if found:
        lines.append("any one of these changes alone gives a safe order (each was tried):")
        lines += [f"  {text}" for text in found]
    else:
        lines.append(
            "no single change that was tried frees it; name smaller groups in seats.csv, or free "
            "more than one of these limits"
        )
    return "\n".join(lines)


def blocks_of(
    job: Job, state: CheckState, influence: Influence, laid: Laid, outcome: OrderFound
) -> list[Block]:
    """Return the limits that the next moves would break from the furthest state, nearest first.

    Parameters
    ----------
    job, state, influence
    laid, outcome
        The course of the job as it is, and how far the search came.
    """
    course, at = laid.course, outcome.furthest
    needs = Needs(job, influence, laid, Meetings.of(job, state, influence, laid.rows))
    found: list[tuple[tuple[float, float], list[Block]]] = []
    for g, level in enumerate(at):
        if not course.ready(at, g):
            continue
        own = [m for m in course.moves[g] if m.start == level]
        cases = [_of_move(laid, outcome, m) for m in own] or [_no_move(job, laid, g)]
        # the procedures of the longest and the shortest that keep all limits say what they lack
        kept = [m for m, c in zip(own, cases, strict=True) if not c] if own else []
        cases += [_lacking(needs, at, m) for m in dict.fromkeys(kept[-1:] + kept[:1])]
        stated = [c for c in cases if c]
        if stated:
            nearest = min(stated, key=_size)
            found.append((_size(nearest), nearest))
    found.sort(key=lambda item: item[0])
    return list(dict.fromkeys(b for _, blocks in found for b in blocks))


def _size(blocks: list[Block]) -> tuple[float, float]:
    return (float(len(blocks)), sum(b.by for b in blocks))


def _of_move(laid: Laid, outcome: OrderFound, move: Move) -> list[Block]:
    course, name = laid.course, laid.groups[move.group].name
    value = course.value(outcome.furthest)
    moved = value + course.rows[move.group][move.end] - course.rows[move.group][move.start]
    held = course.owner < 0
    over = np.where(held | (course.owner == move.group), value + move.way - course.on_way, -1.0)
    rest = np.where(held, moved - course.at_rest, -1.0)
    blocks = [
        Block(name, label.kind, label.subject, label.text, float(by))
        for label, by in zip(laid.rows.labels, np.maximum(over, rest), strict=True)
        if by > 0.0
    ]
    short = move.peak - course.store(outcome.furthest)
    for mark, lack in zip(laid.marks, short, strict=True):
        if lack > 0:
            blocks.append(_too_few(name, mark, int(lack)))
    return blocks


def _too_few(group: str, mark: str, lack: int) -> Block:
    text = f"{lack} plate {mark} too few in the store at that moment"
    return Block(group, "plate", mark, text, float(lack), ((mark, lack),))


def _lacking(needs: Needs, state: State, move: Move) -> list[Block]:
    lacks = needs.begins(state, move.group) or needs.lacks(state, [move])
    return [_lack(needs, state, move, lack) for lack in lacks]


def _lack(needs: Needs, state: State, move: Move, lack: Lack) -> Block:
    """Say what the procedure of a move lacks or breaks, and which plates would do."""
    if lack.text:
        return Block(lack.group, lack.kind, lack.subject, lack.text, lack.by)
    if lack.kind == "plate":
        return _too_few(lack.group, lack.subject, int(lack.by))
    if lack.kind == "stroke":
        by = _up(lack.by, DISPLAY[needs.job.units].move, 1)
        text = f"stroke of jack {lack.subject} with its take-up, {by} too short"
        return Block(lack.group, "stroke", lack.subject, text, lack.by)
    if lack.kind == "flat":
        by = _up(lack.by, DISPLAY[needs.job.units].move, 1)
        text = (
            f"follow_up, {by} too little: on linked jacks the deck comes down flat, and leaves so "
            f"much room over the pack of seat {lack.subject} when the nuts are run back"
        )
        return Block(lack.group, "flat", lack.subject, text, lack.by)
    more = tuple(sorted(needs.lent(state, move).items()))
    text = "no whole plates left in the store that follow the load"
    if more:
        text += f" and hold it: {_plates(more)} more would do"
    return Block(lack.group, "follow", lack.subject, text, 1.0, more)


def _plates(more: Sequence[tuple[str, int]]) -> str:
    return " and ".join(f"{n} plate{'s' if n > 1 else ''} {mark}" for mark, n in more)


def _no_move(job: Job, laid: Laid, group: int) -> list[Block]:
    """Say why a group cannot be moved at all from where it is: travel, stroke, plates to follow."""
    own = laid.groups[group]
    if math.isfinite(own.travel):
        text = "its greatest travel in one go"
        return [Block(own.name, "travel", own.name, text, job.working.insertion)]
    rests = laid.levels[group]
    bare = [s for end in rests[1:] for s in unsupported(job, own.seats, rests[0], end)]
    if bare:
        return [Block(own.name, "support", bare[0].id, _bare(job, bare[0]), 1.0)]
    return [Block(own.name, "stroke", own.name, "stroke of its jacks", 1.0)]


def _bare(job: Job, seat: Seat) -> str:
    jacks = " and ".join(j.id for j in job.jacks_at(seat.id))
    return (
        f"seat {seat.id} cannot be re-packed: jack {jacks} has no lock nut and the seat no "
        "temporary seat, so the load would stand on oil alone"
    )


def _said(job: Job, block: Block) -> str:
    force, move = DISPLAY[job.units].force, DISPLAY[job.units].move
    if block.kind in ("jack", "jack_worst", "reaction_most", "reaction_least", "friction"):
        return f"{block.text}, {_up(block.by, force, 1)} too much"
    if block.kind in ("difference", "warp", "opening", "locked", "drop"):
        return f"{block.text}, {_up(block.by, move, 1)} too much"
    return block.text


def _up(si: float, shown: Shown, step: int) -> str:
    """Print an amount rounded up, to ``step`` of its last digit."""
    return shown.text(_rounded(si, shown, step))


def _rounded(si: float, shown: Shown, step: int) -> float:
    size = 2.0 * shown.half_step * step
    return math.ceil(si / size - 1e-9) * size


def _tries(job: Job, blocks: Sequence[Block]) -> Iterator[tuple[str, Job]]:
    """Yield single changes with their words, small amounts of each before large ones."""
    move = DISPLAY[job.units].move
    half = (
        math.floor(job.staging.out_of_step / (4.0 * move.half_step) + 1e-9) * 2.0 * move.half_step
    )
    if half > 0.0:
        closer = replace(job, staging=replace(job.staging, out_of_step=half))
        yield f"jacks kept in step within {move.text(half)}", closer
    yield from _larger_jacks(job, blocks)
    count = 0
    for block in blocks:
        for text, other in _changes(job, block):
            count += 1
            if count > _MOST_TRIES:
                return
            yield text, other


def _larger_jacks(job: Job, blocks: Sequence[Block]) -> Iterator[tuple[str, Job]]:
    """Yield more capacity at every seat of a group at once, where several lack it."""
    force = DISPLAY[job.units].force
    for group in dict.fromkeys(b.group for b in blocks if b.kind in _JACKS):
        own = [b for b in blocks if b.group == group and b.kind in _JACKS]
        if len({b.subject for b in own}) < 2:
            continue
        more = _rounded(max(b.by * _scale(job, b) for b in own), force, 10)
        jacks = dict(job.jacks)
        for seat in job.seats.values():
            if seat.group == group:
                jacks.update(stronger(job, seat.id, more))
        text = f"{force.text(more)} more jack capacity at every seat of {group}"
        yield text, replace(job, jacks=jacks)


def _scale(job: Job, block: Block) -> float:
    """Return how much capacity a seat needs for each newton its reaction is too great."""
    more = 1.0 + job.staging.friction
    if block.kind == "jack":
        return more * job.working.jack_reserve
    return more / (1.0 / job.staging.worst_reserve - job.staging.pressure_error)


def _changes(job: Job, block: Block) -> Iterator[tuple[str, Job]]:
    kind = block.kind
    if kind in _JACKS:
        yield from _more_capacity(job, block)
    elif kind in ("reaction_most", "reaction_least"):
        yield from _more_reaction(job, block)
    elif kind in ("difference", "warp"):
        yield from _wider(job, block)
    elif kind in ("plate", "follow"):
        yield from _more_plates(job, block.more)
    elif kind == "flat":
        yield _by_stroke(job, block.group)
    elif kind == "support":
        yield from _supported(job, block.subject)
    elif kind == "friction":
        yield _with_nuts(job, block.subject)
    elif kind == "drop":
        yield from _followed(job, block)
    elif kind == "travel":
        yield from _more_travel(job, block)


def _by_stroke(job: Job, group: str) -> tuple[str, Job]:
    own = {s.id for s in job.seats.values() if s.group == group}
    jacks = {n: replace(j, circuit="") if j.seat in own else j for n, j in job.jacks.items()}
    return f"jacks of {group} raised each by itself (circuit empty)", replace(job, jacks=jacks)


def _more_capacity(job: Job, block: Block) -> Iterator[tuple[str, Job]]:
    force, scale = DISPLAY[job.units].force, _scale(job, block)
    for times in _TIMES:
        more = _rounded(block.by * scale * times, force, 10)
        larger = stronger(job, block.subject, more)
        text = f"{force.text(more)} more jack capacity at seat {block.subject}"
        yield text, replace(job, jacks={**job.jacks, **larger})
        if times == 1.0:
            yield _extra_jack(job, block.subject)


def _extra_jack(job: Job, seat: str) -> tuple[str, Job]:
    first = job.jacks_at(seat)[0]
    twin = replace(first, id=f"{first.id}'")
    pumps = {
        n: replace(p, jacks=(*p.jacks, twin.id)) if first.id in p.jacks else p
        for n, p in job.pumps.items()
    }
    jacks = {**job.jacks, twin.id: twin}
    return f"an extra jack like {first.id} at seat {seat}", replace(job, jacks=jacks, pumps=pumps)


def _more_reaction(job: Job, block: Block) -> Iterator[tuple[str, Job]]:
    seat, force = job.seats[block.subject], DISPLAY[job.units].force
    linked = circuits_of(job, [s.id for s in job.seats_of(seat.segment)])
    if block.kind == "reaction_least" and not linked:
        free = replace(seat, may_unload=True)
        text = f"the deck allowed to leave seat {seat.id} on the way (may_unload = yes)"
        yield text, replace(job, seats={**job.seats, seat.id: free})
    for times in _TIMES:
        more = _rounded(block.by * times, force, 10)
        if block.kind == "reaction_most":
            other = replace(seat, reaction_most=seat.reaction_most + more)
            text = f"a reaction of up to {force.text(other.reaction_most)} at seat {seat.id}"
        else:
            other = replace(seat, reaction_least=seat.reaction_least - more)
            text = f"{force.text(more)} less bearing at seat {seat.id}"
        yield text, replace(job, seats={**job.seats, seat.id: other})


def _wider(job: Job, block: Block) -> Iterator[tuple[str, Job]]:
    limit, move = job.limits[block.subject], DISPLAY[job.units].move
    word = "difference in lift" if limit.kind == "difference" else "warp"
    for times in _TIMES:
        most = _rounded(limit.moving + block.by * times, move, 1)
        wider = replace(limit, most=max(limit.most, most), most_moving=most)
        text = f"{word} {limit.id} up to {move.text(most)} (now {move.text(limit.moving)})"
        yield text, replace(job, limits={**job.limits, limit.id: wider})


def _more_plates(job: Job, more: Sequence[tuple[str, int]]) -> Iterator[tuple[str, Job]]:
    """Yield so many more plates, and one more of each."""
    for extra in (0, 1) if more else ():
        counts = [(mark, count + extra) for mark, count in more]
        stock = {m: replace(job.plates[m], count=job.plates[m].count + n) for m, n in counts}
        words = [f"{n} more plate{'s' if n > 1 else ''} {mark}" for mark, n in counts]
        yield f"{' and '.join(words)} in the store", replace(job, plates={**job.plates, **stock})


def _with_nuts(job: Job, seat: str) -> tuple[str, Job]:
    nuts = {j.id: replace(j, lock_nut=True) for j in job.jacks_at(seat)}
    return f"a jack with a lock nut at seat {seat}", replace(job, jacks={**job.jacks, **nuts})


def _followed(job: Job, block: Block) -> Iterator[tuple[str, Job]]:
    move, now = DISPLAY[job.units].move, job.working.follow_up
    for times in _TIMES:
        most = _rounded(now + block.by * times, move, 1)
        text = f"steel within {move.text(most)} of the load (follow_up, now {move.text(now)})"
        yield text, replace(job, working=replace(job.working, follow_up=most))


def _supported(job: Job, seat: str) -> Iterator[tuple[str, Job]]:
    yield _with_nuts(job, seat)
    own = replace(job.seats[seat], temporary_seat=True)
    text = f"a temporary seat beside the pack of seat {seat} (temporary_seat = yes)"
    yield text, replace(job, seats={**job.seats, seat: own})


def _more_travel(job: Job, block: Block) -> Iterator[tuple[str, Job]]:
    move, rule = DISPLAY[job.units].move, job.groups.get(block.group)
    now = job.staging.stage_lift if rule is None or rule.stage_lift is None else rule.stage_lift
    for times in _TIMES:
        most = _rounded(now + block.by * times, move, 1)
        text = f"a travel of up to {move.text(most)} in one go (now {move.text(now)})"
        own = {n: replace(r, stage_lift=None) for n, r in job.groups.items() if n == block.group}
        staging = replace(job.staging, stage_lift=most)
        yield text, replace(job, staging=staging, groups={**job.groups, **own})
