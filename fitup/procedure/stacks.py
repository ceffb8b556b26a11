"""The rows a stage is carried out in, and the temporary plates that follow each of them.

Going up, plates are only added; coming down, they are only taken away. So the load always has
steel within the follow-up distance, also while a plate is being moved.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from fitup.frames import Array
from fitup.model import Job, Stage
from fitup.procedure import follow
from fitup.procedure.heights import Heights

Plates = tuple[str, ...]
#: more than this times the least number of steps is not tried
_FINER = 6
#: seats are let down onto plates by the same, so nearly [m]
_LEVEL = 5e-4


class Stacks:
    """Rows up and down, and temporary plates by row and seat."""

    def __init__(self, job: Job, heights: Heights, stage: Stage, loose: Counter[str]) -> None:
        self.job, self.heights, self.stage = job, heights, stage
        # what the new packs take is not there to follow with
        self._loose = Counter(loose)
        for old, new in zip(stage.before, stage.after, strict=True):
            self._loose.subtract(Counter(new) - Counter(old))
        self._follows = [
            s.held_by == "packs" and not all(j.lock_nut for j in job.jacks_at(s.id))
            for s in heights.seats
        ]
        last = heights.last()
        packed = np.array([s.comes_back and s.held_by == "packs" for s in heights.seats])
        self._top = np.where(packed, (stage.up or stage.down)[-1], last)
        self._thickness = {m: p.measured for m, p in job.plates.items()}
        self.down_by = 0.0
        """By how much the seats are let down onto plates and nuts at the top [m]."""
        self.up_rows, self._up = self._rising()
        self.down_rows, self._down = self._falling(packed)

    def up(self, i: int) -> Sequence[Plates]:
        """Return the plates after row i on the way up, seat by seat; none before the first."""
        return self._up[i] if i >= 0 else ((),) * len(self._follows)

    def top(self) -> Sequence[Plates]:
        """Return the plates at the top."""
        return self.up(len(self.up_rows) - 1)

    def down(self, i: int) -> Sequence[Plates]:
        """Return the plates before step i on the way down, landing being the last step."""
        return self._down[i] if i < len(self._down) else ((),) * len(self._follows)

    def _distance(self) -> float:
        """Return the follow-up distance less what a ram may be off by rounding [m]."""
        steps = [j.resolution for s in self.heights.seats for j in self.job.jacks_at(s.id)]
        return self.job.working.follow_up - max(steps)

    def _rising(self) -> tuple[list[Array], list[tuple[Plates, ...]]]:
        start, way = self.heights.start, self._top - self.heights.start
        far = float(np.abs(way).max(initial=0.0))
        least = max(1, math.ceil(far / self.job.working.lift_step - 1e-9))
        first = max(least, len(self.stage.up)) if any(self._follows) else least
        for count in range(first, _FINER * first + 1):
            rows = [start + way * i / count for i in range(1, count + 1)]
            if not self._in_steps([start, *rows]):
                continue
            columns = self._level_columns(rows)
            if columns is not None:
                return rows, [tuple(c[i] for c in columns) for i in range(count)]
        rows = [start + way * i / first for i in range(1, first + 1)]
        return rows, [((),) * len(way)] * first

    def _in_steps(self, rows: Sequence[Array]) -> bool:
        """Say whether no ram goes further between two readings than a step, half a mark aside."""
        rams = [self.heights.rams(row) for row in rows]
        most = self.job.working.lift_step + 0.5 * float(self.heights.mark.max())
        return all(float(np.abs(b - a).max()) <= most + 1e-9 for a, b in pairwise(rams))

    def _level_columns(self, rows: Sequence[Array]) -> list[Sequence[Plates]] | None:
        """Return plates onto which all seats are let down by nearly the same at the top."""
        if not any(
            f and s.comes_back for f, s in zip(self._follows, self.heights.seats, strict=True)
        ):
            return self._columns_up(rows, None)
        most = self.job.working.follow_up
        for k in range(int((most - self.job.staging.slide) / _LEVEL) + 1):
            down = self.job.staging.slide + k * _LEVEL
            columns = self._columns_up(rows, down)
            if columns is not None:
                self.down_by = down
                return columns
        return None

    def _columns_up(
        self, rows: Sequence[Array], down: float | None
    ) -> list[Sequence[Plates]] | None:
        rooms = [self.heights.loose(r) + r - self.heights.start for r in rows]
        found: list[Sequence[Plates]] = []
        store = Counter(self._loose)
        for k, seat in enumerate(self.heights.seats):
            if not self._follows[k]:
                found.append(((),) * len(rows))
                continue
            gaps = [float(r[k]) for r in rooms]
            if gaps[0] > self._distance() and gaps[0] > 1e-9:
                return None
            bands = follow.rising(gaps, self._distance(), self.job.staging.slide)
            if not seat.comes_back:
                # the new pack follows the last row of a push
                bands = bands[:-1]
            elif self.heights.changed[k]:
                # the deck will stand on these plates while the new pack goes in
                need = self.heights.end[k] - self.heights.start[k] + self.heights.bedding[k]
                bands[-1] = (max(bands[-1][0], need + self.job.staging.slide), bands[-1][1])
            if seat.comes_back and down is not None:
                height = gaps[-1] - down
                near = (height - _LEVEL, height + _LEVEL)
                bands[-1] = (max(bands[-1][0], near[0]), min(bands[-1][1], near[1]))
            own = follow.growing(bands, self._thickness, store)
            if own is None:
                return None
            if not seat.comes_back:
                own = (*own, own[-1] if own else ())
            found.append(own)
            store.subtract(own[-1])
        return found

    def _falling(self, packed: Array) -> tuple[list[Array], list[tuple[Plates, ...]]]:
        """Return the rows down before landing, and the plates before each of them and landing."""
        loose = self.heights.loose(self._top)
        # the last row leaves just room to see under, the same for all: from there the load lands
        left = self.heights.bedding + self.job.staging.slide - loose
        near = self.heights.end + float(left[packed].max(initial=0.0))
        way = np.where(packed, np.minimum(near - self._top, 0.0), 0.0)
        far = float(np.abs(way).max(initial=0.0))
        if far < 1e-9:
            return [], []
        least = max(1, math.ceil(far / self.job.working.lift_step - 1e-9))
        for count in range(least, _FINER * least + 1):
            rows = [self._top + way * i / count for i in range(count + 1)]
            if not self._in_steps(rows):
                continue
            columns = self._columns_down(rows)
            if columns is not None:
                return rows[1:], [tuple(c[i] for c in columns) for i in range(count + 1)]
        rows = [self._top + way * i / least for i in range(1, least + 1)]
        return rows, [((),) * len(way)] * (least + 1)

    def _columns_down(self, rows: Sequence[Array]) -> list[Sequence[Plates]] | None:
        low = self.heights.end + self.heights.bedding
        rooms = [self.heights.loose(r) + r - low for r in rows]
        found: list[Sequence[Plates]] = []
        store = Counter(self._loose)
        for plates in self.top():
            store.subtract(plates)
        for k, seat in enumerate(self.heights.seats):
            if not self._follows[k] or not seat.comes_back:
                found.append(((),) * len(rows))
                continue
            gaps = [*(float(r[k]) for r in rooms), 0.0]
            bands = follow.falling(gaps, self._distance(), self.job.staging.slide)
            # on a pack that stays the plates already there are taken away one by one
            same = not self.heights.changed[k]
            there = Counter(self.top()[k]) if same else store
            grown = follow.growing(bands[::-1], self._thickness, there)
            if grown is None:
                return None
            own = grown[::-1]
            found.append(own)
            store.subtract(own[0])
        return found
