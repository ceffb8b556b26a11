"""From the order of moves to stages: readings in increments, plates, jacks set anew, crews."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitup.frames import Array
from fitup.model import Job, Reset, Stage
from fitup.procedure.course import Move
from fitup.procedure.layout import Group, Laid
from fitup.procedure.lifts import Carry, Plates, bases


def carried_out(job: Job, laid: Laid, order: Sequence[Sequence[Move]]) -> tuple[Stage, ...]:
    """Return the stages of an order of moves, crew by crew in the order of the files."""
    base = {j.id: j.base for j in job.jacks.values()}
    stages = []
    for number, moves in enumerate(order, 1):
        pumps = _pumps(job, laid, moves)
        for crew, move in enumerate(moves, 1):
            group = laid.groups[move.group]
            resets = _resets(job, laid, move, base)
            base.update({r.jack: r.base_new for r in resets})
            rests = laid.levels[move.group]
            way = laid.carries[move.group][move.start, move.end]
            start, end = rests[move.start], rests[move.end]
            stages.append(
                Stage(
                    number=number,
                    group=group.name,
                    seats=tuple(s.id for s in group.seats),
                    up=_rows(start.settings, way.raised, way.rises),
                    down=_rows(way.raised, end.settings, way.falls),
                    start=_row(start.settings),
                    before=start.packs,
                    after=end.packs,
                    follow_up=_said(way.follow_up),
                    follow_down=_said(way.follow_down),
                    resets=resets,
                    crew=crew,
                    pumps=pumps[move.group],
                    window=laid.course.windows[move.group],
                )
            )
    return tuple(stages)


def _rows(start: Array, end: Array, steps: int) -> tuple[tuple[float, ...], ...]:
    return tuple(_row(start + (end - start) * k / steps) for k in range(1, steps + 1))


def _row(readings: Array) -> tuple[float, ...]:
    """Round readings to a nanometre, so that the same reading is the same number everywhere."""
    return tuple((np.round(readings, 9) + 0.0).tolist())


def _said(plates: Plates) -> Plates:
    """Return temporary plates, or nothing where none stand at any reading."""
    return plates if any(marks for row in plates for marks in row) else ()


def _pumps(job: Job, laid: Laid, moves: Sequence[Move]) -> dict[int, tuple[str, ...]]:
    """Give every group of a stage its own pumps, the fewest and first that go together."""
    names = list(job.pumps)
    given: dict[int, int] = {}

    def give(k: int, used: int) -> bool:
        if k == len(moves):
            return True
        for own in laid.course.pumps[moves[k].group]:
            if not own & used and give(k + 1, used | own):
                given[moves[k].group] = own
                return True
        return False

    give(0, 0)
    return {g: tuple(n for i, n in enumerate(names) if bits >> i & 1) for g, bits in given.items()}


def _resets(job: Job, laid: Laid, move: Move, base: dict[str, float]) -> tuple[Reset, ...]:
    """Set jacks anew whose stroke does not reach through a move with the packing they stand on."""
    group: Group = laid.groups[move.group]
    rests = laid.levels[move.group]
    way: Carry = laid.carries[move.group][move.start, move.end]
    values = np.array([rests[move.start].settings, way.raised, rests[move.end].settings])
    result = []
    for seat, low, high, to_go in zip(
        group.seats,
        values.min(axis=0),
        values.max(axis=0),
        rests[-1].settings - values[0],
        strict=True,
    ):
        for jack in job.jacks_at(seat.id):
            fitting = bases(job, jack, float(low), float(high))
            if any(abs(b - base[jack.id]) < 1e-9 for b in fitting):
                continue
            # the ram as far in as it may be where it goes on up, as far out where it goes down
            new = max(fitting) if to_go > 0.0 else min(fitting)
            result.append(Reset(jack.id, seat.id, base[jack.id], round(new, 9)))
    return tuple(result)
