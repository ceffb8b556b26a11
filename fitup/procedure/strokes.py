"""Strokes of a stage: from touch through START to the highest reading, and jacks set anew.

``stroke_used`` counts at START. A ram goes out to START by the take-up, so it is never out by less
than that there; a jack set anew is set so that it is not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fitup.model import Jack, Job, Order, Stage
from fitup.procedure.heights import Heights
from fitup.procedure.lifts import packings

_CARE = 1e-9
_MOVES = ("RAISE", "PUSH", "LOWER", "FREE")


@dataclass(frozen=True, slots=True)
class Reach:
    """What one jack is asked in a stage [m].

    Parameters
    ----------
    start : float
        Setting of its seat before the stage.
    least, most : float
        Readings from START that are ordered.
    low, high : float
        The same by the settings of the stage, without what jack and pack give differently.
    take_up : float
        From touch to START.
    """

    jack: Jack
    seat: str
    start: float
    least: float
    most: float
    low: float
    high: float
    take_up: float

    def missing(self, out: float) -> float:
        """Return by how much its stroke is too short with so much ``out`` at START [m].

        A mark of its scale is no stroke that is missing for what is ordered.
        """
        high, stroke = max(out, self.take_up) + self.most, self.jack.stroke
        ordered = max(high - stroke, -(out + self.least)) - self.jack.resolution
        return max(ordered, out + self.high - stroke, -(out + self.low))

    def out(self, base: float) -> float:
        """Return how far the ram is out at START on a packing [m]."""
        return self.jack.stroke_used + self.start - (base - self.jack.base)


def reaches(job: Job, stage: Stage, heights: Heights, orders: Sequence[Order]) -> Iterator[Reach]:
    """Yield what the orders of a stage ask of each of its jacks.

    Parameters
    ----------
    job : Job
    stage : Stage
    heights : Heights
        The seats of this stage.
    orders : sequence of Order
        What its crew is to do; only moves of rams count.

    Yields
    ------
    Reach
    """
    aims: dict[str, list[float]] = {}
    for order in orders:
        if order.verb in _MOVES:
            for name, aim in zip(order.objects, order.aims, strict=True):
                aims.setdefault(name, []).append(aim)
    rows = (*stage.up, *stage.down)
    for k, (seat, take_up) in enumerate(zip(stage.seats, heights.take_up(), strict=True)):
        start = stage.start[k]
        way = [row[k] - start for row in rows]
        for jack in job.jacks_at(seat):
            own = [0.0, *aims.get(jack.id, ())]
            yield Reach(
                *(jack, seat, start, min(own), max(own)),
                *(min(way), max(way), float(take_up)),
            )


def packing(job: Job, reach: Reach, base: float, *, outwards: bool) -> float | None:
    """Return the packing a jack stands on for its stage [m], or None where none will do.

    Parameters
    ----------
    base : float
        Packing under it [m]; it stays where it will do.
    outwards : bool
        The ram goes on out after the stage: it is then set as far in as it may be.
    """
    if reach.missing(reach.out(base)) <= _CARE:
        return base
    fitting = [
        b
        for b in packings(job, reach.jack)
        if reach.missing(reach.out(b)) <= _CARE and reach.out(b) >= reach.take_up - _CARE
    ]
    if not fitting:
        return None
    return round(max(fitting) if outwards else min(fitting), 9)


def short_by(job: Job, reach: Reach, base: float) -> float:
    """Return how much more stroke would do, at the best packing there may be [m].

    Parameters
    ----------
    job : Job
    reach : Reach
    base : float
        Packing under the jack now [m].
    """
    tried = [base, *packings(job, reach.jack)]
    return min(reach.missing(reach.out(b)) for b in tried)
