"""What a gauge may show by the work itself, against the most that it may show at all.

Up the ram, friction adds to the load; rams off their readings, other crews and the gauge's own
error add more. All this must stay below what jack, seat and whatever else carries may take, or the
crew would be stopped by its own work.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from fitup.model import Jack, Job, Order
from fitup.problem.jacks import shares
from fitup.problem.problem import LimitRow
from fitup.units import GAUGE_STEP


@dataclass(frozen=True, eq=False)
class Gauges:
    """The gauges of one crew in one stage.

    Parameters
    ----------
    job : Job
    swing : mapping of str to float
        What other crews may add to the load of each seat of the crew [N].
    shake : mapping of str to float
        What rams off their readings may add to it [N].
    caps : mapping of str to sequence of (float, LimitRow)
        Loads of each seat at which something else than its jacks is at its limit [N].
    """

    job: Job
    swing: Mapping[str, float]
    shake: Mapping[str, float]
    caps: Mapping[str, Sequence[tuple[float, LimitRow]]]

    def over(self, order: Order, loads: Mapping[str, float]) -> Iterator[tuple[LimitRow, float]]:
        """Yield what leaves the gauges of an order too little, and by what load of the seat [N].

        Parameters
        ----------
        order : Order
            Its jacks work with their gauges.
        loads : mapping of str to float
            Of the seats of the crew when it is done [N].
        """
        jacks = [self.job.jacks[name] for name in order.objects]
        for jack in jacks:
            share = shares(self.job, jack.seat)[jack.id]
            reads = self._reads(order, jack, loads[jack.seat], share)
            most, label = self._most(jack, share)
            over = reads - most - GAUGE_STEP[self.job.units] * jack.ram_area
            if over > 0.0:
                yield label, over / share

    def _reads(self, order: Order, jack: Jack, load: float, share: float) -> float:
        """Return the most that the work itself may show at a jack [N]."""
        staging, own = self.job.staging, self.job.seats[jack.seat]
        more = 1.0 + staging.friction
        if staging.exact:
            return (max(0.0, load) + own.breakaway * (order.verb != "LOWER")) * share
        worst = max(0.0, load + self.swing[own.id] + self.shake[own.id]) * more
        # a breakaway is a guess: it may be more by the plain band
        loose = own.breakaway * (1.0 + self.job.working.load_band)
        return (worst + loose) * share + staging.pressure_error * jack.capacity

    def _most(self, jack: Jack, share: float) -> tuple[float, LimitRow]:
        """Return the most that a gauge may show at all [N], and what says so."""
        staging, seat = self.job.staging, self.job.seats[jack.seat]
        wrong = staging.pressure_error * jack.capacity
        loose = seat.breakaway * (1.0 - self.job.working.load_band)
        text = f"jack capacity at the worst load of seat {seat.id}"
        found = [(jack.capacity / staging.worst_reserve, LimitRow("jack_worst", seat.id, text))]
        found += [((load + loose) * share - wrong, label) for load, label in self.caps[seat.id]]
        return min(found, key=lambda item: item[0])
