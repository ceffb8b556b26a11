"""What a crew does, held against every limit after every order, there and back.

The course of the work knows packs and readings. Between them a load is taken up in shares, lifted
off, rested on nuts or plates and landed, and seats then stand otherwise: a stage of which one such
state breaks a limit, or leaves a gauge no room for its own work, is no stage.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from fitup.frames import Array
from fitup.model import Job, Order, Seat, Stage, circuits_of
from fitup.problem.problem import LimitRow
from fitup.procedure.gauges import Gauges
from fitup.procedure.heights import Heights, Loads
from fitup.procedure.meetings import Meetings
from fitup.procedure.orders import SHARES
from fitup.procedure.rows import WayRows, out_of_step
from fitup.procedure.standing import Standing
from fitup.structure.contact import NoContact
from fitup.units import DISPLAY

#: where the load is on oil, and rams may be off their readings
_ON_OIL = ("lift-off", "lift", "push", "lower", "free", "breakaway")
#: gauges whose band must hold the work itself
_GAUGED = ("RAISE", "PUSH", "LOWER", "FREE")
#: the last of these leaves the load on steel at the top
_RAISED = ("OIL OFF", "CHANGE PACK")
#: limits of lengths by how many half digits of a printed reading they may be passed by
_LENGTHS = {"difference": 2.0, "warp": 4.0, "opening": 2.0, "locked": 2.0}
#: limits of what a seat bears
_REACTIONS = ("reaction_most", "reaction_least")
_ROUND_N = 1.0
#: a limit that changes by less for a unit of load is not met by it
_RATE = 1e-9
_WHEN = {
    "take-up": "while the load is taken up",
    "lift-off": "at lift-off",
    "breakaway": "as the deck breaks loose",
    "rest": "with the load on nuts or plates",
    "plates": "while packs are changed",
    "landing": "at landing",
    "off": "with the jacks off",
}
_ON_JACKS = "on jacks"


@dataclass(frozen=True, slots=True)
class Broken:
    """One limit that one state of a crew breaks.

    Parameters
    ----------
    label : LimitRow
    when : str
        The state, in words.
    by : float
        In the unit of the limit.
    """

    label: LimitRow
    when: str
    by: float


@dataclass(frozen=True, eq=False)
class Limits:
    """The limits of a job on the way, about any settings.

    Parameters
    ----------
    job : Job
    seats : tuple of str
        In the order of the columns of ``rows``.
    rows : WayRows
    loads : callable
        Settings (n,) [m] to reactions (n,) [N], both in the order of ``job.seats``.
    meetings : Meetings, optional
        Where contact bends the limits.
    """

    job: Job
    seats: tuple[str, ...]
    rows: WayRows
    loads: Loads
    meetings: Meetings | None = None

    def about(self, settings: Mapping[str, float]) -> tuple[WayRows, Array]:
        """Return the limits that hold about some settings, and these in their order.

        Parameters
        ----------
        settings : mapping of str to float
            Of every seat [m].

        Raises
        ------
        NoContact
            If nothing holds the deck there.
        """
        x = np.array([settings[n] for n in self.seats])
        return (self.rows, x) if self.meetings is None else self.meetings.about(x)

    def over(
        self, settings: Mapping[str, float], off: Mapping[str, float], *, moving: bool
    ) -> Iterator[tuple[LimitRow, float]]:
        """Yield every limit that a state breaks, and by how much.

        Parameters
        ----------
        settings : mapping of str to float
            Of every seat [m].
        off : mapping of str to float
            How far rams may be off their readings [m]; empty: the load is on steel.
        moving : bool
            Whether the limits of seats that move hold.
        """
        try:
            rows, x = self.about(settings)
        except NoContact:
            yield LimitRow("contact", "", "seats that carry the deck"), 1.0
            return
        value, bound = rows.L @ x, rows.on_way if moving else rows.at_rest
        if off:
            value = value + self.shaken(rows, off)
        over = value - bound - self._care(rows, moving)
        for p in np.flatnonzero(over > 0.0):
            if rows.seat[p] is None:
                yield rows.labels[p], float(over[p])

    def shaken(self, rows: WayRows, off: Mapping[str, float]) -> Array:
        """Return what rams off their readings add to every row (p,)."""
        columns = [self.seats.index(n) for n in off]
        moving = [self.job.seats[n] for n in off]
        return rows.added(self.job, moving, columns, np.array([*off.values()]))

    def shaken_loads(self, rows: WayRows, off: Mapping[str, float]) -> dict[str, float]:
        """Return what rams off their readings add to every reaction [N]."""
        if not off:
            return dict.fromkeys(self.seats, 0.0)
        shaken = np.ones(len(self.seats), dtype=bool)
        labels = tuple(LimitRow("reaction_most", n, "") for n in self.seats)
        loads = replace(rows, L=rows.R, plain=rows.R, labels=labels, shaken=shaken)
        found = self.shaken(loads, off)
        return dict(zip(self.seats, found.tolist(), strict=True))

    def _care(self, rows: WayRows, moving: bool) -> Array:
        half = DISPLAY[self.job.units].move.half_step if moving else 0.0
        return np.array(
            [
                _ROUND_N if r.kind in _REACTIONS else _LENGTHS.get(r.kind, 0.0) * half
                for r in rows.labels
            ]
        )


class Held:
    """All crews of one stage, each held against the limits wherever it has come to.

    Parameters
    ----------
    limits : Limits
    crews : sequence of Stage
        All of one number, with what each crew does.
    site : mapping of str to float
        Settings of every seat before the stage [m].
    """

    def __init__(self, limits: Limits, crews: Sequence[Stage], site: Mapping[str, float]) -> None:
        self.limits, self.job, self.crews, self.site = limits, limits.job, crews, dict(site)
        names = [n for stage in crews for n in stage.seats]
        off = {n: out_of_step(self.job, n) for n in names}
        self.off = off if any(off.values()) else {}
        self._columns = {n: i for i, n in enumerate(self.job.seats)}
        top = {n: v for s in crews for n, v in zip(s.seats, (s.up or s.down)[-1], strict=True)}
        self._top = {**self.site, **top}

    def broken(self, stage: Stage) -> Iterator[Broken]:
        """Yield every limit that the orders of one crew break, each state of it.

        Parameters
        ----------
        stage : Stage
            One of the crews.
        """
        heights = Heights(self.job, self.limits.loads, stage, self.site)
        gauges = self._gauges(stage)
        raised = max((i for i, o in enumerate(stage.orders) if o.verb in _RAISED), default=-1) + 1
        for before, orders in (((), stage.orders), (stage.orders[:raised], stage.back)):
            standing = Standing(self.job, heights, stage)
            for _ in standing.follow(before):
                pass
            for order, settings in standing.follow(orders):
                when = _WHEN.get(order.phase, _ON_JACKS)
                when = f"{when} on the way back" if before else when
                where = {**self.site, **dict(zip(stage.seats, settings.tolist(), strict=True))}
                off = self.off if order.phase in _ON_OIL else {}
                moving = order.phase == "take-up" or not standing.rests
                for label, by in self.limits.over(where, off, moving=moving):
                    yield Broken(label, when, by)
                for label, by in self._landing(stage, heights, standing, order):
                    yield Broken(label, when, by)
                for label, by in self._unheld(stage, order, standing, heights):
                    yield Broken(label, when, by)
                if order.verb in _GAUGED:
                    loads = dict(zip(stage.seats, heights.loads(settings).tolist(), strict=True))
                    for label, by in gauges.over(order, loads):
                        yield Broken(label, f"by what its gauge may read {when}", by)

    def _landing(
        self, stage: Stage, heights: Heights, standing: Standing, order: Order
    ) -> Iterator[tuple[LimitRow, float]]:
        """Yield limits that are broken while linked jacks let the deck down, their gauges falling.

        Packs take their load one after the other.
        """
        if order.verb != "LAND" or not heights.linked:
            return
        for share in (*SHARES[::-1],):
            settings = heights.shared(share, standing.settings)
            where = {**self.site, **dict(zip(stage.seats, settings.tolist(), strict=True))}
            yield from self.limits.over(where, {}, moving=True)

    def _unheld(
        self, stage: Stage, order: Order, standing: Standing, heights: Heights
    ) -> Iterator[tuple[LimitRow, float]]:
        """Yield loads that steel does not follow near enough, and pushes friction does not hold."""
        loads = heights.loads(standing.settings)
        care = DISPLAY[self.job.units].move.half_step + float(heights.mark.max()) / 2.0
        most = self.job.working.follow_up
        drops = standing.drops(loads) if order.phase != "breakaway" else np.zeros(len(loads))
        for name, drop, load in zip(stage.seats, drops, loads, strict=True):
            seat = self.job.seats[name]
            if drop > most + care:
                text = f"fall of seat {name} before steel carries it (follow_up)"
                yield LimitRow("drop", name, text), float(drop - most)
            nuts = _nuts(self.job, seat)
            freed = nuts and self.job.stays_pushed(seat) and order.phase == "off"
            if freed or (order.phase == "let off" and not nuts):
                over = abs(float(load)) - seat.breakaway
                if over > _ROUND_N:
                    yield LimitRow("friction", name, f"friction at seat {name}, let off"), over

    def _gauges(self, stage: Stage) -> Gauges:
        """Return the gauges of a crew, with what others and its own rams may add."""
        rest, swing = self._loads(self.site), dict.fromkeys(stage.seats, 0.0)
        for corner in self._corners(stage):
            loads = self._loads({**self.site, **corner})
            swing = {n: max(v, loads[n] - rest[n]) for n, v in swing.items()}
        try:
            rows, x = self.limits.about(self._top)
        except NoContact:
            rows, x = self.limits.rows, np.array([self._top[n] for n in self.limits.seats])
        added = self.limits.shaken_loads(rows, self.off)
        caps = {n: list(self._caps(n, rows, x)) for n in stage.seats}
        return Gauges(self.job, swing, added, caps)

    def _loads(self, settings: Mapping[str, float]) -> dict[str, float]:
        """Return the reactions of all seats at their settings [N]."""
        found = self.limits.loads(np.array([settings[n] for n in self.job.seats]))
        return dict(zip(self.job.seats, found.tolist(), strict=True))

    def _corners(self, stage: Stage) -> Iterator[dict[str, float]]:
        """Yield where other crews may be, each at its start, at the top or done."""
        ways = [
            [
                dict(zip(c.seats, row, strict=True))
                for row in (c.start, *(part[-1] for part in (c.up, c.down) if part))
            ]
            for c in self.crews
            if c is not stage
        ]
        for corner in product(*ways):
            yield {n: v for part in corner for n, v in part.items()}

    def _caps(self, name: str, rows: WayRows, x: Array) -> Iterator[tuple[float, LimitRow]]:
        """Yield the loads of a seat at which a limit is met as the seat rises from the top [N]."""
        seat, column = self.job.seats[name], self.limits.seats.index(name)
        text = f"greatest reaction at seat {name}"
        yield seat.reaction_most, LimitRow("reaction_most", name, text)
        slope, load = float(rows.R[column, column]), self._loads(self._top)[name]
        left = rows.on_way - rows.L @ x
        for p, label in enumerate(rows.labels):
            if label.kind in (*_REACTIONS, *_LENGTHS) or rows.seat[p] is not None:
                continue
            rate = float(rows.L[p, column]) / slope if slope > 0.0 else 0.0
            if rate > _RATE:
                yield load + max(0.0, float(left[p])) / rate, label


def _nuts(job: Job, seat: Seat) -> bool:
    return all(j.lock_nut for j in job.jacks_at(seat.id))


def taken_up(limits: Limits, seats: Sequence[Seat], site: Mapping[str, float]) -> Iterator[Broken]:
    """Yield every limit that is broken while a group takes up its load, whatever it goes on to do.

    Each jack is brought to a share of what its seat bears: the deck rises by what that share
    sprang its pack back, more where more is borne.

    Parameters
    ----------
    limits : Limits
    seats : sequence of Seat
        Those of the group that move.
    site : mapping of str to float
        Settings of every seat before [m].
    """
    if circuits_of(limits.job, [s.id for s in seats]):
        # linked jacks push with one pressure: what that does is followed line by line
        return
    names = list(limits.job.seats)
    loads = limits.loads(np.array([site[n] for n in names]))
    back = {
        s.id: max(0.0, float(loads[names.index(s.id)])) / s.stiffness for s in seats if s.comes_back
    }
    for share in SHARES if back else ():
        there = {n: v + share * back.get(n, 0.0) for n, v in site.items()}
        for label, by in limits.over(there, {}, moving=True):
            yield Broken(label, _WHEN["take-up"], by)
