"""Ways out of a stage whose jacks are linked: every valve in every move, the rest as equilibrium.

Raised on three circuits a rigid segment carries its loads by statics, wherever it stands: what
went down with a circuit that lost its oil may come up on oil with all the others. So every move
opens all valves, each until its leading ram is at its reading; how far the other rams are out is
found by equilibrium.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from fitup.frames import Array
from fitup.model import Job, Order, Stage, circuits_of
from fitup.model.procedure import Phase, Verb
from fitup.model.recovery import Found, Goal
from fitup.procedure.heights import Heights
from fitup.procedure.recover import Way

_ROUND = 1e-9
#: a nut that is so near to the ram is at it [m]
_AT = 1e-5
#: marks over the nuts that are tried until all are loose
_OVER = 60


class LinkedWay(Way):
    """One crew with linked jacks that stopped.

    Parameters
    ----------
    heights : Heights
        Its seats on their jacks.
    """

    def __init__(self, job: Job, stage: Stage, found: Found, heights: Heights) -> None:
        super().__init__(job, stage, found)
        self.heights = heights
        free = heights.following
        self.leads = [n for k, n in enumerate(stage.seats) if k not in free]
        """Seats whose rams work goes to, one for each valve."""
        self.turned = False
        """Nuts were turned for moves since work stopped."""
        self.mark = dict(zip(stage.seats, heights.mark.tolist(), strict=True))

    def _apart(self, rams: Mapping[str, float]) -> bool:
        return any(abs(rams[n] - self.rams[n]) > _ROUND for n in self._led(self.raised))

    def _all_to(self, rams: Mapping[str, float]) -> Iterator[Order]:
        """Yield the moves of all seats to ram readings; once some are down the rest only land."""
        if len(self.raised) == len(self.seats):
            yield from super()._all_to(rams)

    def obstacle(self, goal: Goal) -> str:
        """Say why a goal is out of reach; also where a nut or pack bears beside a circuit's oil."""
        if not self._sets_down():
            for name, one in self.seats.items():
                nut, room = one.nut is not None and one.nut < -_AT, one.state.opening < -_AT
                if one.state.on == "oil" and (nut or room):
                    what = "lock nut" if nut else "pack"
                    return (
                        f"seat {name} came down on its {what} while its circuit holds oil: run "
                        "all nuts home, let the oil off and ask again with --at-rest"
                    )
            for circuit in circuits_of(self.job, list(self.seats)) if goal != "safe" else ():
                on = {self.seats[s].state.on for s in circuit.seats if self.seats[s].started}
                if "pack" in on and len(on) > 1:
                    return (
                        f"circuit {circuit.id} stands partly on packs and partly on nuts: its one "
                        "valve cannot move one of them alone; the engineer decides"
                    )
        return super().obstacle(goal)

    def safe(self) -> Iterator[Order]:
        """Yield how every load comes onto steel; where some packs bear, on those of all seats."""
        if not self._sets_down():
            yield from super().safe()
            return
        jacks = self._jacks(self.raised)
        yield Order("LAND", "landing", jacks)
        yield Order("JACK OFF", "off", jacks)

    def _sets_down(self) -> bool:
        """Say whether the deck is down on some packs, and close over all others, nuts run back."""
        own = [self.seats[n] for n in self.raised]
        free = all(s.state.on == "oil" and s.nut == math.inf for s in own)
        return bool(own) and free and len(own) < len(self.seats) and self.found.started

    def _settled_back(self) -> Iterator[Order]:
        if self._sets_down():
            yield from self.safe()
        else:
            yield from super()._settled_back()

    def _led(self, seats: Sequence[str]) -> list[str]:
        return [n for n in seats if n in self.leads]

    def _onto_oil(self) -> Iterator[Order]:
        """Yield how all nuts are freed together, where a load is on them."""
        if len(self.on_oil) == len(self.raised):
            return
        if self.on_oil:
            yield from self._rest(self.on_oil)
        yield from self._freed(self.raised)
        self.on_oil = list(self.raised)

    def _loosen(self, seats: Sequence[str]) -> None:
        """Bring leading rams to the marks at which every nut is loose."""
        nuts = np.array([self.rams[n] for n in self.seats])
        least = {n: self._up(n, self.rams[n]) for n in self.leads}
        for over in range(_OVER):
            rams = self._standing({n: v + over * self.mark[n] for n, v in least.items()})
            gaps = rams - nuts
            if float(np.abs(gaps).max()) < _AT or float(gaps.min()) > _AT:
                break
        self.rams = dict(zip(self.seats, rams.tolist(), strict=True))
        # what is loose follows before the next move
        self.open |= {n for n, gap in zip(self.seats, gaps.tolist(), strict=True) if gap > _AT}

    def _up(self, seat: str, ram: float) -> float:
        """Return a reading in whole marks, not below a ram [m]."""
        mark = self.mark[seat]
        return round(float(np.ceil(ram / mark - 1e-3)) * mark, 9)

    def _standing(self, leads: Mapping[str, float]) -> Array:
        """Return where all rams (k,) stand when the leading ones are at readings [m]."""
        aims = np.array([leads.get(n, self.rams[n]) for n in self.seats])
        near = self.heights.on_jacks(self.heights.start) + aims
        return self.heights.followed(aims, near)[1]

    def _driven(self, seats: Sequence[str]) -> tuple[str, ...]:
        """Return the jacks of seats, with all that are on one valve with them."""
        names = set(self._jacks(seats))
        own = circuits_of(self.job, list(self.seats))
        names |= {j for c in own if names & set(c.jacks) for j in c.jacks}
        return tuple(j for j in self._jacks(list(self.seats)) if j in names)

    def _readings(self, seats: Sequence[str]) -> tuple[float, ...]:
        found = []
        for n in seats:
            marks = float(np.floor(self.rams[n] / self.mark[n] + 0.5))
            found += [round(marks * self.mark[n], 9)] * len(self.job.jacks_at(n))
        return tuple(found)

    def _to(self, rams: Mapping[str, float], seats: Sequence[str]) -> Iterator[Order]:
        """Yield moves of all leading rams to readings: out as far as any must go, then in."""
        goal = {n: rams[n] for n in self._led(seats)}
        if any(v > self.rams[n] + _ROUND for n, v in goal.items()):
            # a ram that follows may go in while others go out: its nut would take the load
            there = self._standing(goal)
            down = max(self.rams[n] - t for n, t in zip(self.seats, there.tolist(), strict=True))
            over = self._up(next(iter(goal)), down + _AT) if down > _AT else 0.0
            yield from self._steps("RAISE", "lift", {n: v + over for n, v in goal.items()}, seats)
        if any(v < self.rams[n] - _ROUND for n, v in goal.items()):
            yield from self._steps("LOWER", "lower", goal, seats)
        self.turned = True

    def _nuts_as_planned(self) -> Iterator[Order]:
        """Yield nuts run back for the next step down, where moves since then turned them."""
        self.open -= set(self.raised) if self.turned else set()
        yield from super()._nuts_as_planned()

    def _steps(
        self, verb: Verb, phase: Phase, goal: Mapping[str, float], seats: Sequence[str]
    ) -> Iterator[Order]:
        """Yield a move in steps that nuts can follow."""
        start = {n: self.rams[n] for n in goal}
        far = max(abs(v - start[n]) for n, v in goal.items())
        working = self.job.working
        most = min(working.lift_step, working.follow_up) + 0.5 * max(self.mark.values())
        count = max(1, int(np.ceil(far / most - 1e-9)))
        opened = [n for n in seats if n in self.open]
        if verb == "RAISE":
            yield from self._nuts_home(opened, phase)
        for i in range(1, count + 1):
            part = {n: start[n] + (v - start[n]) * i / count for n, v in goal.items()}
            there = self._standing({n: self._up(n, v) for n, v in part.items()})
            then = dict(zip(self.seats, there.tolist(), strict=True))
            if verb == "LOWER":
                room = self._room(seats, then)
                yield Order("FOLLOW WITH NUT", phase, self._jacks(seats), room)
                self.open |= set(seats)
            self.rams = {**self.rams, **{n: then[n] for n in seats}}
            yield Order(verb, phase, self._jacks(seats), self._readings(seats))
            if verb == "RAISE":
                yield from self._nuts_home(seats, phase)
