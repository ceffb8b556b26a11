"""From the order of moves to stages: readings in increments, packs before and after, crews."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitup.frames import Array
from fitup.model import Job, Stage
from fitup.procedure.course import Move
from fitup.procedure.layout import Laid


def carried_out(job: Job, laid: Laid, order: Sequence[Sequence[Move]]) -> tuple[Stage, ...]:
    """Return the stages of an order of moves, crew by crew in the order of the files.

    Parameters
    ----------
    job : Job
    laid : Laid
        The course that the moves belong to.
    order : sequence of sequence of Move
        The moves of every stage.
    """
    return tuple(
        stage
        for number, moves in enumerate(order, 1)
        for stage in crews_of(job, laid, number, moves)
    )


def crews_of(job: Job, laid: Laid, number: int, moves: Sequence[Move]) -> tuple[Stage, ...]:
    """Return one stage, crew by crew; nothing is said yet of what a crew does.

    Parameters
    ----------
    job : Job
    laid : Laid
        The course that the moves belong to.
    number : int
        Number of the stage, counted from 1.
    moves : sequence of Move
        One for each crew.
    """
    pumps = _pumps(job, laid, moves)
    return tuple(
        _stage(laid, number, crew, move, pumps[move.group]) for crew, move in enumerate(moves, 1)
    )


def _stage(laid: Laid, number: int, crew: int, move: Move, pumps: tuple[str, ...]) -> Stage:
    group, rests = laid.groups[move.group], laid.levels[move.group]
    way = laid.carries[move.group][move.start, move.end]
    start, end = rests[move.start], rests[move.end]
    return Stage(
        number=number,
        group=group.name,
        seats=tuple(s.id for s in group.seats),
        up=_rows(start.settings, way.raised, way.rises),
        down=_rows(way.raised, end.settings, way.falls),
        start=row(start.settings),
        before=start.packs,
        after=end.packs,
        crew=crew,
        pumps=pumps,
        window=laid.course.windows[move.group],
    )


def _rows(start: Array, end: Array, steps: int) -> tuple[tuple[float, ...], ...]:
    return tuple(row(start + (end - start) * k / steps) for k in range(1, steps + 1))


def row(readings: Array) -> tuple[float, ...]:
    """Round readings to a nanometre, so that the same reading is the same number everywhere."""
    return tuple((np.round(readings, 9) + 0.0).tolist())


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
