"""Heights on jacks: what a ram must read so that the deck stands as a stage asks.

A setting is the height of a pack that would carry the same load at the same level. At lift-off
(START) every pack of a group is open by at least ``opening``: the deck has risen by what the
packs sprang back. From there a ram goes by the change of setting, corrected where the load changes,
because jack and pack give differently.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import product

import numpy as np

from fitup.frames import Array
from fitup.model import SPRINGS, Job, Seat, Stage
from fitup.problem.jacks import softer
from fitup.problem.problem import limit_pattern
from fitup.procedure.linked import Links, opened

#: reactions (n,) [N] of settings (n,) [m], both in the order of the job's seats
Loads = Callable[[Array], Array]
#: the least step of an opening by feeler [m]
FEELER = 1e-4
#: steps to rest, and what is at rest [m]
_SETTLES, _SETTLED = 12, 1e-8
#: so many rams are rounded together, each to one of the marks around it
_TOGETHER = 6
_AROUND = {
    n: np.array(list(product((-1, 0, 1, 2) if n <= 4 else (0, 1), repeat=n)))
    for n in range(1, _TOGETHER + 1)
}


class Heights:
    """The seats of one stage on their jacks."""

    def __init__(self, job: Job, loads: Loads, stage: Stage, now: Mapping[str, float]) -> None:
        self.job, self._loads = job, loads
        self.seats = [job.seats[n] for n in stage.seats]
        self._all = np.array([now[n] for n in job.seats])
        names = list(job.seats)
        self._own = np.array([names.index(n) for n in stage.seats])
        self.start = np.array(stage.start)
        self.end = np.array((stage.down or stage.up)[-1])
        self.lifts = np.array([s.comes_back for s in self.seats])
        self.spring = np.array([s.stiffness for s in self.seats])
        self.more = np.array([softer(job, s) for s in self.seats])
        """How much more packs give than jacks (k,) [m/N]."""
        self.mark = np.array([max(j.resolution for j in job.jacks_at(s.id)) for s in self.seats])
        self.changed = [
            sorted(a) != sorted(b) for a, b in zip(stage.before, stage.after, strict=True)
        ]
        self.bedding = np.where(self.changed, [s.bedding for s in self.seats], 0.0)
        self.stays = np.array([job.stays_pushed(s) for s in self.seats])
        self.old_top, self.new_top = self._tops(stage)
        """Settings at which old and new packs, not bedded in, would just carry (k,) [m]."""
        self._slope = self._slopes()
        self._followed = np.linalg.inv(np.eye(len(self.seats)) - self.more[:, None] * self._slope)
        self._held = np.array([s.held_by == "nut" and s.comes_back for s in self.seats])
        gives = self.more - 1.0 / self.spring
        self._nutted = np.linalg.inv(np.eye(len(self.seats)) - gives[:, None] * self._slope)
        self._lifts = self._lift_rows()
        self._links = Links.of(job, self.seats)
        self._even = None if self._links is None else self._links.even(self._slope)
        self.opening = self._opening()
        self.risen = self._risen()
        """What is added to the settings at START, the same for all that lift [m]."""

    def loads(self, settings: Array) -> Array:
        """Return the reactions (k,) [N] of the stage's seats at their settings (k,) [m]."""
        whole = self._all.copy()
        whole[self._own] = settings
        return self._loads(whole)[self._own]

    def _tops(self, stage: Stage) -> tuple[Array, Array]:
        old, new = self.start.copy(), self.end + self.bedding
        for i in np.flatnonzero(self.stays):
            now = self.job.pack_height(self.seats[i].pack)
            old[i] = self.job.pack_height(stage.before[i]) - now
            new[i] = self.job.pack_height(stage.after[i]) - now
        return old, new

    def _slopes(self) -> Array:
        """Return the change of the stage's loads (k, k) for a unit of each setting [N/m]."""
        base, small = self.loads(self.start), 1e-3
        columns = [self.loads(self.start + small * np.eye(len(base))[i]) for i in range(len(base))]
        return np.array([(c - base) / small for c in columns]).T

    def _opening(self) -> float:
        return opening(self.job, self.seats, self.loads(self.start), self.bedding)

    def _risen(self) -> float:
        """Return by how much the settings of all lifting seats rise until the last pack is open."""
        if not self.lifts.any():
            return 0.0
        risen = 0.0
        for _ in range(3):
            on = self._evened(self.start + np.where(self.lifts, risen, 0.0))
            # linked jacks are out by more or less than the rest
            apart = on - self.start - np.where(self.lifts, risen, 0.0)
            sprung = self.loads(on) / self.spring - apart
            risen = max(0.0, float(sprung[self.lifts].max())) + self.opening
        return risen

    @property
    def linked(self) -> bool:
        """True where one valve opens jacks of several seats."""
        return self._links is not None

    @property
    def following(self) -> frozenset[int]:
        """Seats whose rams go where one pressure brings them, as numbers."""
        return frozenset() if self._links is None else frozenset(self._links.free.tolist())

    def _evened(self, settings: Array) -> Array:
        """Return settings (k,) at which linked jacks have one pressure, those that lead kept."""
        if self._links is None or self._even is None:
            return settings
        even = settings.copy()
        for _ in range(3):
            even[self._links.free] += self._even @ self.loads(even)
        return even

    def on_jacks(self, rows: Array) -> Array:
        """Return the settings (k,) of a stage's row on jacks: counted from START, not from rest.

        With linked jacks all go so much higher that no pack is nearer than at START.
        """
        on = self._evened(rows + np.where(self.lifts, self.risen, 0.0))
        if self._links is not None:
            room = (on - self.loads(on) / self.spring - rows)[self.lifts]
            on = on + np.where(self.lifts, max(0.0, self.opening - float(room.min())), 0.0)
        return on

    def on_oil(self, rams: Array) -> Array:
        """Return what settings (k,) [m] rams (k,) from START would give if jacks gave as packs."""
        at_start = self.on_jacks(self.start)
        held: Array = at_start + rams - self.more * self.loads(at_start)
        return held

    def shared(self, share: float, packs: Array) -> Array:
        """Return settings (k,) [m] while linked jacks push with a share of what they lift.

        Parameters
        ----------
        share : float
        packs : Array (k,)
            Settings of the packs, which carry the rest or are left [m].
        """
        lifted = self.loads(self.on_jacks(self.start))
        pushed = share * np.where(self.lifts, lifted, 0.0)
        settings = packs + pushed / self.spring
        gaps: Array = settings + opened(self._slope, self.loads(settings) - pushed)
        return gaps

    def followed(self, rams: Array, settings: Array) -> tuple[Array, Array]:
        """Return settings (k,) and rams (k,) at one pressure a circuit, rams that lead kept.

        Parameters
        ----------
        rams : Array (k,)
            From START, of all seats on oil [m].
        settings : Array (k,)
            Near those that they give [m].
        """
        assert self._links is not None
        links, fixed, x = self._links, self.on_oil(rams), settings.copy()
        matrix = self._pressed(links)
        for _ in range(_SETTLES):
            loads = self.loads(x)
            miss = fixed + self.more * loads - x
            miss[links.free] = -links.apart(loads) / self.spring[links.free]
            if float(np.abs(miss).max()) < _SETTLED:
                break
            x = x + np.linalg.solve(matrix, miss)
        return x, x - self.on_oil(np.zeros(len(x))) - self.more * self.loads(x)

    def _pressed(self, links: Links) -> Array:
        """Return how rams, and differences from one pressure, go with settings (k, k)."""
        matrix = np.eye(len(self.seats)) - self.more[:, None] * self._slope
        matrix[links.free] = links.apart(self._slope) / self.spring[links.free, None]
        return matrix

    def settled(self, fixed: Array, gives: Array) -> Array:
        """Return the settings x (k,) [m] of which each is ``fixed + gives * loads(x)``.

        Parameters
        ----------
        fixed : Array (k,)
            Of what carries each seat, without its load [m].
        gives : Array (k,)
            How much more a pack gives than what carries the seat [m/N]; zero: a pack.
        """
        settings = fixed.copy()
        if not gives.any():
            return settings
        step = np.linalg.inv(np.eye(len(fixed)) - gives[:, None] * self._slope)
        for _ in range(_SETTLES):
            miss = fixed + gives * self.loads(settings) - settings
            if float(np.abs(miss).max()) < _SETTLED:
                break
            settings = settings + step @ miss
        return settings

    def loose(self, row: Array) -> Array:
        """Return how far the deck at a row (k,) is from a pack that would give that row [m]."""
        loads = self.loads(self.on_jacks(row))
        return np.where(self.lifts, self.on_jacks(row) - row - loads / self.spring, 0.0)

    def rams(self, row: Array) -> Array:
        """Return the ram readings (k,) from START for a row of a stage, in marks of the scale.

        Of the readings around the exact ones those are taken that keep the limits of seats and
        lifts best, and then those whose loads are nearest to the exact ones.
        """
        on, at_start = self.on_jacks(row), self.on_jacks(self.start)
        loads = self.loads(on)
        far = row - self.start if self._links is None else on - at_start
        exact = far - (loads - self.loads(at_start)) * self.more
        marks = np.floor(exact / self.mark + 1e-9)
        if self._links is not None:
            near = self._in_marks(exact)
        elif len(exact) > _TOGETHER:
            near = np.floor(exact / self.mark + 0.5)
        else:
            tried = marks + _AROUND[len(exact)]
            off = tried * self.mark - exact
            settings = off @ self._followed.T
            cost = self._broken(on, loads, settings) * 1e3 + np.abs(off).sum(axis=1)
            cost += np.abs(settings @ self._slope.T).max(axis=1) / self.spring.max()
            # a nut that stays is set to half a mark
            off_nut = np.abs(off @ self._nutted.T) - 0.5 * self.mark
            cost += np.maximum(0.0, off_nut)[:, self._held].sum(axis=1) * 1e3
            near = tried[int(np.argmin(np.round(cost, 9)))]
        whole: Array = np.round(near * self.mark, 9) + 0.0
        return whole

    def _in_marks(self, exact: Array) -> Array:
        """Return the marks (k,) nearest to readings (k,) of linked jacks.

        Those that lead come first: the others go with the deck, wherever these bring it.
        """
        assert self._links is not None
        near = np.floor(exact / self.mark + 0.5)
        free = self._links.free
        off = near * self.mark - exact
        off[free] = 0.0
        settings = np.linalg.solve(self._pressed(self._links), off)
        rams = exact + settings - self.more * (self._slope @ settings)
        near[free] = np.floor(rams[free] / self.mark[free] + 0.5)
        return np.asarray(near)

    def _broken(self, on: Array, loads: Array, settings: Array) -> Array:
        """Return by how much trials (t, k) of settings break limits of seats and lifts [m]."""
        reactions = loads + settings @ self._slope.T
        least = np.array([s.reaction_least for s in self.seats])
        most = np.array([s.reaction_most for s in self.seats])
        over = np.maximum(0.0, np.maximum(least - reactions, reactions - most)) / self.spring
        broken: Array = over.sum(axis=1)
        for rows, bound in self._lifts:
            value = np.abs(rows @ on + settings @ rows)
            broken = broken + np.maximum(0.0, value - bound)
        return broken

    def _lift_rows(self) -> list[tuple[Array, float]]:
        """Return the differences and warps of the stage's own seats, as rows (k,) and bounds."""
        names = [s.id for s in self.seats]
        found = []
        for limit in self.job.limits.values():
            if not set(limit.seats) <= set(names):
                continue
            row, own = np.zeros(len(names)), [names.index(n) for n in limit.seats]
            row[own] = limit_pattern(self.job, limit.kind, limit.seats)
            found.append((row, limit.moving))
        return found

    def take_up(self) -> Array:
        """Return how far the rams (k,) go from touch to START [m]; nothing for a push."""
        rest = np.maximum(self.loads(self.start), 0.0)
        on = self.on_jacks(self.start)
        loads = rest if self._links is None else np.maximum(self.loads(on), 0.0)
        # jack, oil and base shorten while the deck rises until the last pack is open
        gives = rest / self.spring - loads * self.more
        return np.where(self.lifts, on - self.start + gives, 0.0)

    def home(self) -> Array:
        """Return the row (k,) from which the deck settles as the stage found it, the oil off."""
        return self._set_nuts(self.start.copy(), self.start)

    def last(self, raised: Array) -> Array:
        """Return the row (k,) that is gone to at the top: ``raised`` (k,), nuts set, room to push.

        A nut is set where the deck will settle to its setting once the oil is off. A pack that is
        pushed in needs its bedding and room to slide.
        """
        loads = self.loads(self.on_jacks(self.end))
        packed = self.lifts & ~self._held
        row = np.where(packed, raised, self.end)
        for i, seat in enumerate(self.seats):
            if not seat.comes_back and self.changed[i] and not self.stays[i]:
                need = self.end[i] + self.bedding[i] + self.job.staging.slide - self.start[i]
                need += max(0.0, loads[i]) / seat.stiffness
                row[i] = self.start[i] + np.ceil(need / self.mark[i] - 1e-9) * self.mark[i]
        return self._set_nuts(row, self.end)

    def _set_nuts(self, row: Array, goal: Array) -> Array:
        """Return a row (k,) at which nuts that stay are set, so that all settle to a goal (k,)."""
        own = np.flatnonzero(self._held)
        if not own.size:
            return row
        more = self.more[own]
        # on its nut a seat gives by its own stiffness, whatever the others then stand on
        aim = (goal - self.risen + self.loads(goal) * (1.0 / self.spring - self.more))[own]
        slope = np.eye(own.size) - more[:, None] * self._slope[np.ix_(own, own)]
        for _ in range(8):
            miss = aim - (row[own] - more * self.loads(self.on_jacks(row))[own])
            row[own] += np.linalg.solve(slope, miss)
        return row


def opening(job: Job, seats: Sequence[Seat], loads: Array, bedding: Array) -> float:
    """Return the least opening over any pack at START [m]; none where no pack is lifted off.

    The deck settles on its nuts, a new pack beds in, and rams are read in marks: what is left
    must still be the clearance that a pack is slid in with.

    Parameters
    ----------
    job : Job
    seats : sequence of Seat
        Those that are on their jacks together.
    loads : Array (k,)
        Their reactions [N].
    bedding : Array (k,)
        How far the pack of each beds in [m].

    Returns
    -------
    float
        Rounded up to a step of the feeler.
    """
    found = [job.staging.creep]
    packs = [i for i, s in enumerate(seats) if s.comes_back and s.held_by == "packs"]
    for i in packs:
        mark = max((j.resolution for j in job.jacks_at(seats[i].id)), default=0.0)
        found.append(float(bedding[i] + max(0.0, loads[i]) / SPRINGS.nut + 0.5 * mark))
    return float(np.ceil(max(found) / FEELER - 1e-9) * FEELER) if packs else 0.0


def lifted(job: Job, seats: Sequence[Seat], loads: Array) -> Array:
    """Return what is added to the settings of seats while on their jacks.

    Parameters
    ----------
    job : Job
    seats : sequence of Seat
        Those of one group that move.
    loads : Array (k,)
        Their reactions [N].

    Returns
    -------
    Array (k,)
        The same for all seats that come back onto their pack or nut, zero for others [m].
    """
    lifts = np.array([s.comes_back for s in seats])
    if not lifts.any():
        return np.zeros(len(seats))
    sprung = np.maximum(loads, 0.0) / np.array([s.stiffness for s in seats])
    bedding = np.array([s.bedding for s in seats])
    # nuts and plates are freed by one mark over the top
    marks = max((j.resolution for s in seats for j in job.jacks_at(s.id)), default=0.0)
    risen = float(sprung[lifts].max()) + opening(job, seats, loads, bedding) + marks
    return np.where(lifts, risen, 0.0)
