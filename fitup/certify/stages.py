"""Walk through every printed increment of every stage, crew by crew, and hold every limit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby, product

import numpy as np

from fitup.certify.facts import (
    ExpectedFact,
    JackFact,
    PackFact,
    ResetFact,
    StageFact,
    StockFact,
    reading_band,
)
from fitup.certify.jacks import jack_facts, off_readings
from fitup.certify.limits import ROUND, STILL, Shake, Work, hold_limits, shaken
from fitup.certify.linked import at_one_pressure, linked_shake, links_of, may_read
from fitup.certify.order import check_order
from fitup.certify.procedure import Before, procedures, with_end
from fitup.certify.recompute import Outcome, pack_setting, room_behind
from fitup.certify.springs import respond
from fitup.certify.store import count_store, one_by_one
from fitup.model import Check, Job, Procedure, Seat, Stage
from fitup.units import DISPLAY

Rows = tuple[list[list[float]], list[list[float]]]


@dataclass(frozen=True, slots=True)
class Walked:
    """What the walk found: the stages' facts, and the store from first to last."""

    stages: tuple[StageFact, ...]
    stock: tuple[StockFact, ...]
    procedures: tuple[Procedure, ...]
    ways_back: tuple[Procedure, ...]


@dataclass(slots=True)
class _Site:
    """What stands now: settings [m], packs, packing under the jacks [m]."""

    settings: dict[str, float]
    packs: dict[str, tuple[str, ...]]
    base: dict[str, float]
    procedures: list[Procedure] = field(default_factory=list)
    ways_back: list[Procedure] = field(default_factory=list)

    @property
    def line(self) -> int:
        """Last line number that is used."""
        return max(
            (e.line for p in (*self.procedures, *self.ways_back) for e in p.events), default=0
        )


def walk(work: Work, final: Mapping[str, float], present: Mapping[str, float]) -> Walked:
    """Return the facts of every stage; what is wrong on the way is noted.

    Parameters
    ----------
    final : mapping of str to float
        Settings in the end [m].
    present : mapping of str to float
        Reactions as surveyed [N].
    """
    job = work.job
    site = _Site(
        {},
        {s.id: s.pack for s in job.seats.values()},
        {j.id: j.base for j in job.jacks.values()},
    )
    facts: list[StageFact] = []
    check_order(work)
    for number, stages in groupby(work.plan.stages, key=lambda s: s.number):
        facts += _number(work, site, number, list(stages), present)
    for plan in work.plan.seats:
        left = site.settings.get(plan.seat, 0.0)
        if abs(left - final[plan.seat]) > ROUND or site.packs[plan.seat] != plan.build_up:
            if plan.seat in site.settings:
                work.wrong.append(f"seat {plan.seat}: its last stage does not leave it as planned")
            else:
                work.wrong.append(f"seat {plan.seat} changes but stands in no stage")
    return Walked(tuple(facts), count_store(work), tuple(site.procedures), tuple(site.ways_back))


def pack_rules(work: Work, seat: Seat, pack: Sequence[str]) -> None:
    """Note where a pack breaks the rules of its seat.

    Parameters
    ----------
    work, seat
    pack : sequence of str
        Marks of its plates; one made up as surveyed may hold plates of any thickness.
    """
    height = sum(work.job.plates[m].measured for m in pack)
    if len(pack) > seat.most_plates:
        work.wrong.append(f"seat {seat.id}: {len(pack)} plates, at most {seat.most_plates}")
    built = () if Counter(pack) == Counter(seat.pack) else set(pack)
    for mark in sorted(built):
        nominal = work.job.plates[mark].nominal
        if not seat.thinnest - ROUND <= nominal <= seat.thickest + ROUND:
            work.wrong.append(f"seat {seat.id}: plate {mark} is not of a thickness it may hold")
    if not seat.pack_least - ROUND <= height <= seat.pack_most + ROUND:
        work.wrong.append(f"seat {seat.id}: a pack of {height * 1e3:.2f} mm is outside its limits")


def _number(
    work: Work, site: _Site, number: int, crews: list[Stage], present: Mapping[str, float]
) -> Iterator[StageFact]:
    """Walk through one stage with all its crews."""
    job = work.job
    before = Before(dict(site.settings), present, _loose(job, site), dict(site.base), site.line)
    start = work.states.at(work.settings(site.settings), work.state.checks)
    exact = [_printed(job, stage) for stage in crews]
    printed = [_linked(work, site, s, rows) for s, rows in zip(crews, exact, strict=True)]
    # readings count from START, where one pressure has made its own differences already
    starts = [_linked(work, site, s, ([list(s.start)], []))[0][0] for s in crews]
    starts = [
        [v - begin for v, begin in zip(row, s.start, strict=True)]
        for row, s in zip(starts, crews, strict=True)
    ]
    moving = {s for stage in crews for s in stage.seats}
    for stage in crews:
        _starts_as_it_stands(work, site, stage)
    off = {s: off_readings(job, s) for s in moving}
    top = dict(site.settings)
    for stage, rows in zip(crews, printed, strict=True):
        top.update(zip(stage.seats, (rows[0] or rows[1])[-1], strict=True))
    linked = links_of(job, [s for stage in crews for s in stage.seats])
    if linked:
        response = respond(work, top, [s for stage in crews for s in stage.seats])
        shake, off = linked_shake(work, response, off, False), may_read(job, response, off)
    else:
        shake = shaken(work, top, off)
    loads, swing = _increments(work, site, number, crews, printed, moving, shake)
    resets = [_resets(work, site, stage) for stage in crews]
    for stage, rows in zip(crews, exact, strict=True):
        _lands(work, site, stage, rows)
    done = work.states.at(work.settings(site.settings), work.state.checks)
    hold_limits(work, f"after stage {number}", site.settings, done, set(), STILL)
    # what a tape will read: at the steel temperature of the survey
    after = work.state.values + done.change + work.warm
    forward, back = procedures(work, crews, before)
    site.ways_back += back
    play = _come_back(work, site, done)
    expected = tuple(
        _expected(job, check, float(value), *span)
        for check, value, span in zip(work.state.checks, after, play, strict=True)
    )
    line = max((e.line for p in (*forward, *back) for e in p.events), default=before.line)
    site.procedures += with_end(work, crews, forward, line, expected)
    for k, (stage, rows) in enumerate(zip(crews, printed, strict=True)):
        jacks: list[JackFact] = []
        zero = starts[k]
        for i, seat in enumerate(stage.seats):
            rest = (start.reactions[seat], done.reactions[seat])
            own = ([r[i] - zero[i] for r in rows[0]], [r[i] - zero[i] for r in rows[1]])
            begin = stage.start[i]
            made = jack_facts(
                work, seat, begin, own, loads[k][seat], rest, swing[seat], shake, site.base
            )
            jacks += [replace(f, move_band=off[seat]) for f in made] if linked else made
        yield StageFact(
            number=number,
            group=stage.group,
            segment=job.seats[stage.seats[0]].segment,
            seats=stage.seats,
            jacks=tuple(jacks),
            expected=expected,
            crew=stage.crew,
            packs=tuple(_pack(work, stage, i) for i in range(len(stage.seats))),
            resets=resets[k],
            pumps=stage.pumps,
            window=stage.window,
            one_by_one=one_by_one(job, stage),
        )


def _loose(job: Job, site: _Site) -> Counter[str]:
    """Return the plates in store: all there are less those in packs."""
    loose = Counter({m: p.count for m, p in job.plates.items()})
    for name, pack in site.packs.items():
        loose.update(job.seats[name].pack)
        loose.subtract(pack)
    return loose


def _come_back(work: Work, site: _Site, done: Outcome) -> list[tuple[float, float]]:
    """Return how far every check may lie below and above its value as pushed decks spring back."""
    below, above = np.zeros(len(done.change)), np.zeros(len(done.change))
    for name, setting in site.settings.items():
        room = room_behind(work.job, work.job.seats[name], site.packs[name], setting)
        back = min(work.job.staging.spring_back, room)
        if back > 0.0:
            values = {**site.settings, name: setting - back}
            shift = work.states.at(work.settings(values), work.state.checks).change - done.change
            below, above = below + np.minimum(shift, 0.0), above + np.maximum(shift, 0.0)
    return list(zip(below.tolist(), above.tolist(), strict=True))


def _expected(job: Job, check: Check, value: float, below: float, above: float) -> ExpectedFact:
    band = reading_band(job, check.quantity, value)
    return ExpectedFact(check.id, value, value - band + below, value + band + above)


def _printed(job: Job, stage: Stage) -> Rows:
    """Return the settings of a stage by its readings as they will stand on paper.

    Readings count from the mark START, which is made anew in every stage.
    """
    shown = DISPLAY[job.units].move

    def read(row: Sequence[float]) -> list[float]:
        return [
            begin + shown.back(shown.number(v - begin))
            for v, begin in zip(row, stage.start, strict=True)
        ]

    return [read(row) for row in stage.up], [read(row) for row in stage.down]


def _linked(work: Work, site: _Site, stage: Stage, rows: Rows) -> Rows:
    """Return the settings of a stage as equilibrium makes them where its jacks are linked."""
    if not links_of(work.job, stage.seats):
        return rows

    def even(row: Sequence[float]) -> list[float]:
        return at_one_pressure(work, site.settings, stage.seats, row)

    up, down = ([even(row) for row in part] for part in rows)
    return up, down


def _starts_as_it_stands(work: Work, site: _Site, stage: Stage) -> None:
    for seat, begin, pack in zip(stage.seats, stage.start, stage.before, strict=True):
        if abs(begin - site.settings.get(seat, 0.0)) > ROUND or pack != site.packs[seat]:
            work.wrong.append(
                f"stage {stage.number}: seat {seat} does not stand as the stage before left it"
            )


def _increments(
    work: Work,
    site: _Site,
    number: int,
    crews: list[Stage],
    printed: list[Rows],
    moving: set[str],
    shake: Shake,
) -> tuple[list[dict[str, tuple[list[float], list[float]]]], dict[str, tuple[float, float]]]:
    """Hold every increment of every crew against the limits, wherever the other crews are.

    Returns
    -------
    loads : by crew, seat -> reactions after each increment up and down, the others at rest
    swing : seat -> least and greatest reaction met at any moment
    """
    loads: list[dict[str, tuple[list[float], list[float]]]] = []
    low: dict[str, float] = {}
    high: dict[str, float] = {}
    for k, (stage, rows) in enumerate(zip(crews, printed, strict=True)):
        own: dict[str, tuple[list[float], list[float]]] = {s: ([], []) for s in stage.seats}
        others = [
            _corners(c, r) for i, (c, r) in enumerate(zip(crews, printed, strict=True)) if i != k
        ]
        for i, row in enumerate([*rows[0], *rows[1]]):
            for first, corner in enumerate(product(*others)):
                values = {**site.settings, **dict(zip(stage.seats, row, strict=True))}
                for other in corner:
                    values.update(other)
                outcome = work.states.at(work.settings(values), work.state.checks)
                where = f"stage {number}, increment {i + 1}"
                where += f" of {stage.group}" if len(crews) > 1 else ""
                hold_limits(work, where, values, outcome, moving, shake)
                for seat in moving:
                    load = outcome.reactions[seat]
                    low[seat] = min(load, low.get(seat, load))
                    high[seat] = max(load, high.get(seat, load))
                for seat in stage.seats if first == 0 else ():
                    own[seat][0 if i < len(rows[0]) else 1].append(outcome.reactions[seat])
        loads.append(own)
    return loads, {s: (low[s], high[s]) for s in moving}


def _corners(stage: Stage, rows: Rows) -> list[dict[str, float]]:
    """Return where another crew may be: not begun, at the top, done."""
    states = [list(stage.start), *(part[-1] for part in rows if part)]
    return [dict(zip(stage.seats, row, strict=True)) for row in states]


def _resets(work: Work, site: _Site, stage: Stage) -> tuple[ResetFact, ...]:
    """Set jacks anew: packing within what may stand there, the ram within its stroke."""
    facts = []
    for reset in stage.resets:
        jack = work.job.jacks[reset.jack]
        seat = site.settings.get(reset.seat, 0.0)
        now = site.base[reset.jack]
        if abs(now - reset.base_now) > ROUND or jack.seat != reset.seat:
            work.wrong.append(f"stage {stage.number}: jack {jack.id} does not stand as it is reset")
        if not -ROUND <= reset.base_new <= jack.base_most + ROUND:
            work.wrong.append(
                f"stage {stage.number}: jack {jack.id} would stand on "
                f"{reset.base_new * 1e3:.0f} mm of packing, at most {jack.base_most * 1e3:.0f} mm"
            )
        if work.job.seats[reset.seat].held_by == "nut":
            work.wrong.append(f"stage {stage.number}: jack {jack.id} holds its seat, no reset")
        site.base[reset.jack] = reset.base_new
        out = jack.stroke_used + seat + jack.base
        facts.append(
            ResetFact(
                jack.id,
                reset.seat,
                now,
                reset.base_new,
                out - now,
                out - reset.base_new,
            )
        )
    return tuple(facts)


def _lands(work: Work, site: _Site, stage: Stage, rows: Rows) -> None:
    """Put the packs of a stage in place: from here on they decide, not the jack's reading."""
    half = DISPLAY[work.job.units].move.half_step
    ends = (rows[1] or rows[0])[-1]
    exact = (stage.down or stage.up)[-1]
    for k, name in enumerate(stage.seats):
        seat = work.job.seats[name]
        if seat.held_by == "packs":
            stays = work.job.stays_pushed(seat)
            setting = exact[k] if stays else pack_setting(work.job, seat, stage.after[k])
            if Counter(stage.after[k]) != Counter(seat.pack):
                pack_rules(work, seat, stage.after[k])
        else:
            setting = exact[k]
        if abs(ends[k] - setting) > half + ROUND:
            work.wrong.append(
                f"stage {stage.number}: seat {name} ends at {ends[k] * 1e3:.1f} mm, its pack "
                f"gives {setting * 1e3:.1f} mm"
            )
        site.settings[name] = setting
        site.packs[name] = stage.after[k]


def _pack(work: Work, stage: Stage, k: int) -> PackFact:
    old, new = stage.before[k], stage.after[k]
    exact = (stage.down or stage.up)[-1][k]
    return PackFact(
        seat=stage.seats[k],
        before=old,
        out=_listed(old, Counter(old) - Counter(new)),
        put_in=_listed(new, Counter(new) - Counter(old)),
        after=new,
        height_new=sum((work.job.plates[m].measured for m in new), 0.0),
        move=exact - stage.start[k],
    )


def _listed(pack: Sequence[str], wanted: Counter[str]) -> tuple[str, ...]:
    """List plates in the order in which they stand in a pack."""
    left, result = Counter(wanted), []
    for mark in pack:
        if left[mark] > 0:
            left[mark] -= 1
            result.append(mark)
    return tuple(result)
