"""Where every load of a crew stands after each order: the planner's own account of the steel.

A setting is the height of a pack that would carry the same load at the same level, whatever the
load stands on: pack, oil, nut or temporary plates. All limits are held to settings.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from fitup.frames import Array
from fitup.model import SPRINGS, Job, Order, Stage
from fitup.model.procedure import Support
from fitup.procedure.heights import Heights

_MOVES = ("RAISE", "PUSH", "LOWER", "FREE")
_NUTS = ("FOLLOW WITH NUT", "NUT HOME")


@dataclass(slots=True)
class _Seat:
    on: Support
    ram: float = 0.0
    """From START [m]."""
    nut: float = math.inf
    """Gap at the lock nut [m]."""
    settled: bool = False
    """Its nut has taken the load from the oil."""
    new: bool = False
    """The new pack lies there."""
    beside: Counter[str] = field(default_factory=Counter)
    on_pack: Counter[str] = field(default_factory=Counter)


class Standing:
    """The seats of one crew, from before its first order on.

    Parameters
    ----------
    job : Job
    heights : Heights
        Its seats on their jacks.
    stage : Stage
    """

    def __init__(self, job: Job, heights: Heights, stage: Stage) -> None:
        self.job, self.heights, self.stage = job, heights, stage
        self._number = {j.id: k for k, n in enumerate(stage.seats) for j in job.jacks_at(n)}
        self._number |= {n: k for k, n in enumerate(stage.seats)}
        self.seats = [_Seat(self._rest_on(k)) for k in range(len(stage.seats))]
        self.settings = heights.start.copy()
        self._rest_loads = np.maximum(heights.loads(heights.start), 0.0)

    def follow(self, orders: Sequence[Order]) -> Iterator[tuple[Order, Array]]:
        """Yield every order with the settings (k,) [m] after it.

        Parameters
        ----------
        orders : sequence of Order
            In the order of time.
        """
        for order in orders:
            own = sorted({self._number[n] for n in order.objects if n in self._number})
            aims = order.aims or (0.0,) * len(order.objects)
            jacks = zip(order.objects, aims, strict=True)
            self._act(order, own, {self._number[n]: a for n, a in jacks if n in self._number})
            yield order, self.settings.copy()

    @property
    def rests(self) -> bool:
        """True where every seat stands on what carries it between two stages."""
        return all(seat.on == self._rest_on(k) for k, seat in enumerate(self.seats))

    def _rest_on(self, k: int) -> Support:
        """Return what carries a seat between two stages."""
        if self._stays(k):
            return "nut"
        return "friction" if self.heights.stays[k] else "pack"

    def drops(self, loads: Array) -> Array:
        """Return how far loads (k,) [N] on oil could go before steel carries them (k,) [m].

        Zero where a load stands on steel.
        """
        thick = {m: p.measured for m, p in self.job.plates.items()}
        found = np.zeros(len(self.seats))
        for k, seat in enumerate(self.seats):
            if seat.on != "oil":
                continue
            found[k] = seat.nut
            level = float(self.settings[k] - loads[k] / self.heights.spring[k])
            if not self._stays(k):
                top = float((self.heights.new_top if seat.new else self.heights.old_top)[k])
                over = sum(thick[m] * n for m, n in seat.on_pack.items())
                found[k] = min(found[k], level - top - over)
            beside = sum(thick[m] * n for m, n in seat.beside.items())
            if beside > 0.0:
                found[k] = min(found[k], level - float(self.heights.start[k]) - beside)
        return found

    def _act(self, order: Order, own: Sequence[int], aims: Mapping[int, float]) -> None:
        verb = order.verb
        if verb == "TAKE UP" and self.heights.linked:
            self.settings = self.heights.shared(order.aims[0], self.heights.start)
            return
        if verb == "TAKE UP":
            for k in own:
                give = self._rest_loads[k] / self.heights.spring[k]
                self.settings[k] = self.heights.start[k] + aims[k] * give
            return
        self._moved(order)
        for k in own:
            self._done(verb, k, aims.get(k, 0.0))
        if verb not in ("SET", "SET ANEW", "TOUCH", "READ", "HOLD POINT"):
            self.settings = self._stand()

    def _moved(self, order: Order) -> None:
        for move in order.moved:
            seat = self.seats[self._number[move.seat]]
            places = {"beside": seat.beside, "on pack": seat.on_pack}
            if move.source in places:
                places[move.source][move.mark] -= 1
            if move.target in places:
                places[move.target][move.mark] += 1

    def _done(self, verb: str, k: int, aim: float) -> None:
        seat = self.seats[k]
        if verb in ("LIFT OFF", "BREAK LOOSE"):
            seat.on = "oil"
            seat.nut = 0.0 if self._stays(k) else math.inf
        elif verb in _MOVES:
            seat.nut += aim - seat.ram
            seat.ram, seat.on, seat.settled = aim, "oil", False
        elif verb in _NUTS:
            seat.nut = aim
        elif verb == "RUN NUT BACK":
            seat.nut = math.inf
        elif verb == "CHANGE PACK":
            seat.new = not seat.new
        elif verb in ("LET DOWN", "OIL OFF"):
            self._eased(verb, k)
        elif verb == "LAND" or (verb == "JACK OFF" and not self._stays(k)):
            seat.on = self._rest_on(k)

    def _eased(self, verb: str, k: int) -> None:
        """Take the oil from under a load: nut, temporary plates or friction hold it."""
        seat, pushes = self.seats[k], not self.heights.lifts[k]
        nutted = math.isfinite(seat.nut) and self._all_nuts(k)
        if verb == "LET DOWN":
            if nutted:
                seat.ram, seat.nut = seat.ram - seat.nut, 0.0
            else:
                seat.on = "temporary"
        elif seat.on == "oil":
            seat.on = "nut" if nutted else "friction" if pushes else seat.on
            seat.settled = nutted

    def _all_nuts(self, k: int) -> bool:
        return all(j.lock_nut for j in self.job.jacks_at(self.stage.seats[k]))

    def _stand(self) -> Array:
        """Return the settings (k,) by what carries each seat now [m]."""
        heights = self.heights
        rams = np.array([s.ram for s in self.seats])
        if heights.linked and all(s.on == "oil" for s in self.seats):
            settings, rams = heights.followed(rams, self.settings)
            for seat, ram in zip(self.seats, rams.tolist(), strict=True):
                seat.nut, seat.ram = seat.nut + ram - seat.ram, ram
            return settings
        on_oil = heights.on_oil(rams)
        fixed, gives = np.zeros(len(self.seats)), np.zeros(len(self.seats))
        for k, seat in enumerate(self.seats):
            fixed[k] = self._rest(k)
            if seat.on == "oil" or (seat.on == "nut" and heights.lifts[k] and seat.settled):
                nut = heights.spring[k] if self._stays(k) else SPRINGS.nut
                fixed[k] = on_oil[k]
                gives[k] = heights.more[k] - (1.0 / nut if seat.on == "nut" else 0.0)
            elif seat.on == "friction" or (seat.on == "nut" and not heights.lifts[k]):
                fixed[k] = heights.start[k] + seat.ram
            elif seat.on == "temporary":
                fixed[k] = self._stack(k)
        return heights.settled(fixed, gives)

    def _stays(self, k: int) -> bool:
        return self.job.seats[self.stage.seats[k]].held_by == "nut"

    def _rest(self, k: int) -> float:
        """Return the setting that what lies at a seat gives when it carries [m]."""
        if self._stays(k) or not self.seats[k].new:
            return float(self.heights.start[k])
        return float(self.heights.end[k])

    def _stack(self, k: int) -> float:
        """Return the setting that temporary plates give a seat, on the old or the new pack [m]."""
        seat = self.seats[k]
        thick = {m: p.measured for m, p in self.job.plates.items()}
        beside = sum(thick[m] * n for m, n in seat.beside.items())
        if beside > 0.0:
            return float(self.heights.start[k] + beside)
        top = float((self.heights.new_top if seat.new else self.heights.old_top)[k])
        return top + sum(thick[m] * n for m, n in seat.on_pack.items())
