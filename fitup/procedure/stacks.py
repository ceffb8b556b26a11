"""The rows a stage is carried out in, and the temporary plates that follow each of them.

Going up, plates are only added; coming down, they are only taken away. So the load always has
steel within the follow-up distance, also while a plate is being moved. Which plates stand at which
seat is chosen for all seats together where the store is short.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice, pairwise

import numpy as np

from fitup.frames import Array
from fitup.model import Job, Stage
from fitup.procedure import follow
from fitup.procedure.allot import Offer, StageMoment, allotted
from fitup.procedure.follow import Plates
from fitup.procedure.heights import Heights

#: more than this times the least number of steps is not tried
_FINER = 3
#: seats are let down onto plates by the same, so nearly [m]
_LEVEL = 5e-4
#: pairs of ways up and down whose plates are chosen for all seats together
_PAIRS = 6
Columns = tuple[tuple[Plates, ...], ...]


@dataclass(frozen=True, eq=False)
class _Way:
    """Rows of a stage with the heights that plates may have at each, seat by seat.

    Parameters
    ----------
    rows : tuple of Array (k,)
    bands : tuple
        By seat, the least and greatest height for each row; none where nothing need follow.
    down_by : float
        By how much the seats are let down onto plates at the top [m].
    """

    rows: tuple[Array, ...]
    bands: tuple[tuple[tuple[float, float], ...], ...]
    down_by: float = 0.0
    falls: bool = False


class Stacks:
    """Rows up and down, and temporary plates by row and seat.

    Parameters
    ----------
    turns : sequence of tuple of int
        Seats whose packs are changed, those of one turn at one time.
    loose : Counter
        Plates in the store.
    lend : int
        So many more of each mark may be taken where nothing else will do.
    """

    def __init__(
        self,
        job: Job,
        heights: Heights,
        stage: Stage,
        turns: Sequence[tuple[int, ...]],
        loose: Mapping[str, int],
        lend: int = 0,
    ) -> None:
        self.job, self.heights, self.stage = job, heights, stage
        self._turns, self._loose = turns, Counter({m: loose[m] for m in job.plates})
        self._lend = lend
        self._follows = [
            s.held_by == "packs" and not all(j.lock_nut for j in job.jacks_at(s.id))
            for s in heights.seats
        ]
        packed = np.array([s.comes_back and s.held_by == "packs" for s in heights.seats])
        self._top = heights.last(np.array((stage.up or stage.down)[-1]))
        loads = np.maximum(heights.loads(heights.on_jacks(self._top)), 0.0)
        self._sprung = loads / heights.spring
        self._thickness = {m: p.measured for m, p in job.plates.items()}
        self.lent: Counter[str] = Counter()
        """Plates that the store lacks, where some were lent."""
        self.missing = self.scarce = False
        """No whole plates follow the load; each seat alone would have them from the store."""
        self._choose(packed)

    def up(self, i: int) -> Sequence[Plates]:
        """Return the plates after row i on the way up, seat by seat; none before the first."""
        return tuple(c[i] for c in self._up) if i >= 0 else ((),) * len(self._follows)

    def top(self) -> Sequence[Plates]:
        """Return the plates at the top."""
        return self.up(len(self.up_rows) - 1)

    def down(self, i: int) -> Sequence[Plates]:
        """Return the plates before step i on the way down, landing being the last step."""
        return tuple(c[i] if i < len(c) else () for c in self._down)

    def beside(self, k: int) -> bool:
        """Say whether the temporary plates of a seat stand beside its pack."""
        seat = self.heights.seats[k]
        return self.heights.changed[k] and seat.comes_back and seat.temporary_seat

    def _choose(self, packed: Array) -> None:
        """Choose rows and plates: each seat its own where the store has enough, else together."""
        backs = [w for w in self._falling(packed) if self._may(w)]
        left = _PAIRS if backs else 0
        for up in self._rising() if backs else ():
            found = self._first_up(up)
            for back in backs if found is not None else ():
                lower = self._let_down(up, back)
                down = self._first_down(lower, [c[-1] for c in found or ()])
                if found is not None and down is not None:
                    self._take(up, found, lower, down)
                    return
            for back in islice(backs, min(2, left)) if left and self._may(up) else ():
                lower = self._let_down(up, back)
                if not self._may(lower):
                    continue
                left -= 1
                self.scarce = True
                if self._together(up, lower):
                    return
        self.missing = True
        up, back = next(self._rising(plain=True)), next(self._falling(packed, plain=True))
        self._take(up, self._none(len(up.rows)), back, self._none(len(back.rows) + 1))

    def _take(self, up: _Way, found: Columns, back: _Way, down: Columns) -> None:
        self.up_rows, self.down_rows = list(up.rows), list(back.rows)
        self._up, self._down, self.down_by = found, down, up.down_by

    def _none(self, count: int) -> Columns:
        return (((),) * count,) * len(self._follows)

    def _distance(self) -> float:
        """Return the follow-up distance less what a ram may be off by rounding [m]."""
        steps = [j.resolution for s in self.heights.seats for j in self.job.jacks_at(s.id)]
        return self.job.working.follow_up - max(steps)

    # -- rows and bands ----------------------------------------------------------------------

    def _rising(self, *, plain: bool = False) -> Iterator[_Way]:
        """Yield ways up, few steps first; the first of the ``plain`` ones is what is left."""
        start, way = self.heights.start, self._top - self.heights.start
        far = float(np.abs(way).max(initial=0.0))
        least = max(1, math.ceil(far / self.job.working.lift_step - 1e-9))
        first = max(least, len(self.stage.up)) if any(self._follows) else least
        lifted = any(
            f and s.comes_back for f, s in zip(self._follows, self.heights.seats, strict=True)
        )
        most = (self.job.working.follow_up - self.job.staging.slide) / _LEVEL
        for count in range(first, first + 1 if plain else _FINER * first + 1):
            rows = tuple(start + way * i / count for i in range(1, count + 1))
            if plain:
                yield _Way(rows, ((),) * len(way))
            elif self._in_steps([start, *rows]) and self._may(_Way(rows, self._bands_up(rows))):
                for k in range(int(most) + 1 if lifted else 1):
                    down = self.job.staging.slide + k * _LEVEL if lifted else 0.0
                    yield _Way(rows, self._bands_up(rows, down), down)

    def _in_steps(self, rows: Sequence[Array]) -> bool:
        """Say whether no ram goes further between two readings than a step, half a mark aside."""
        rams = [self.heights.rams(row) for row in rows]
        most = self.job.working.lift_step + 0.5 * float(self.heights.mark.max())
        return all(float(np.abs(b - a).max()) <= most + 1e-9 for a, b in pairwise(rams))

    def _bands_up(
        self, rows: Sequence[Array], down: float | None = None
    ) -> tuple[tuple[tuple[float, float], ...], ...]:
        rooms = [self.heights.loose(r) + r - self.heights.old_top for r in rows]
        return tuple(
            tuple(self._seat_up(k, [float(r[k]) for r in rooms], down)) if self._follows[k] else ()
            for k in range(len(self._follows))
        )

    def _seat_up(
        self, k: int, gaps: Sequence[float], down: float | None
    ) -> list[tuple[float, float]]:
        """Return the bands of one seat; a first step that is too far has a band nothing is in."""
        seat, slide = self.heights.seats[k], self.job.staging.slide
        if gaps[0] > self._distance() and gaps[0] > 1e-9:
            return [(math.inf, -math.inf)]
        bands = follow.rising(gaps, self._distance(), slide)
        if not seat.comes_back:
            # the new pack follows the last row of a push
            return bands[:-1]
        if self.heights.changed[k]:
            # the deck will stand on these plates while the new pack goes in
            bands[-1] = (max(bands[-1][0], self._pack_room(k) + slide), bands[-1][1])
        if down is not None:
            height = gaps[-1] - down
            low, high = max(bands[-1][0], height - _LEVEL), min(bands[-1][1], height + _LEVEL)
            bands[-1] = (low, high)
        return bands

    def _pack_room(self, k: int) -> float:
        """Return the least height of plates beside a pack that leaves room for new and old [m]."""
        seat, before = self.heights.seats[k], self.stage.before[k]
        new = self.heights.end[k] - self.heights.start[k] + self.heights.bedding[k]
        old = 0.0 if sorted(before) == sorted(seat.pack) else seat.bedding
        return float(max(new, old) + self._sprung[k])

    def _falling(self, packed: Array, *, plain: bool = False) -> Iterator[_Way]:
        """Yield ways down before landing, with bands before each of their rows and landing."""
        loose = self.heights.loose(self._top)
        # the last row leaves just room to see under, the same for all: from there the load lands
        left = self.heights.bedding + self.job.staging.slide - loose
        near = self.heights.end + float(left[packed].max(initial=0.0))
        way = np.where(packed, np.minimum(near - self._top, 0.0), 0.0)
        far = float(np.abs(way).max(initial=0.0))
        if far < 1e-9:
            yield _Way((), ((),) * len(way), falls=True)
            return
        least = max(1, math.ceil(far / self.job.working.lift_step - 1e-9))
        for count in range(least, least + 1 if plain else _FINER * least + 1):
            rows = tuple(self._top + way * i / count for i in range(count + 1))
            if plain:
                yield _Way(rows[1:], ((),) * len(way), falls=True)
            elif self._in_steps(rows):
                yield _Way(rows[1:], self._bands_down(rows), falls=True)

    def _bands_down(self, rows: Sequence[Array]) -> tuple[tuple[tuple[float, float], ...], ...]:
        low = self.heights.end + self.heights.bedding
        rooms = [self.heights.loose(r) + r - low for r in rows]
        distance, slide = self._distance(), self.job.staging.slide
        return tuple(
            tuple(follow.falling([*(float(r[k]) for r in rooms), 0.0], distance, slide))
            if self._follows[k] and seat.comes_back
            else ()
            for k, seat in enumerate(self.heights.seats)
        )

    def _let_down(self, up: _Way, back: _Way) -> _Way:
        """Return a way down whose first plates fit under the deck as it rests at the top."""
        tops = self.heights.loose(self._top) + self._top - self.heights.end - self.heights.bedding
        bands = list(back.bands)
        for k, own in enumerate(back.bands):
            if own and self.heights.changed[k]:
                room = float(tops[k] - self._sprung[k]) - up.down_by - _LEVEL
                bands[k] = ((own[0][0], min(own[0][1], room)), *own[1:])
        return replace(back, bands=tuple(bands))

    # -- plates ------------------------------------------------------------------------------

    def _may(self, way: _Way) -> bool:
        """Say whether each seat alone has plates for a way."""
        store, turned = self._most(), -1 if way.falls else 1
        return all(
            follow.growing(b[::turned], self._thickness, store) is not None for b in way.bands
        )

    def _most(self) -> Counter[str]:
        """Return what could be in hand at most: the store, old packs, and what is lent."""
        store = Counter({m: max(0, n) + self._lend for m, n in self._loose.items()})
        for old in self.stage.before:
            store.update(old)
        return store

    def _without_new(self) -> Counter[str]:
        """Return the store without what the new packs take."""
        store = Counter(self._loose)
        for old, new in zip(self.stage.before, self.stage.after, strict=True):
            store.subtract(Counter(new) - Counter(old))
        return store

    def _first_up(self, way: _Way) -> Columns | None:
        """Return plates seat by seat from what the seats before leave, or None."""
        found: list[tuple[Plates, ...]] = []
        store = self._without_new()
        for k, bands in enumerate(way.bands):
            own = follow.growing(bands, self._thickness, store)
            if own is None:
                return None
            found.append(self._whole_up(k, own, len(way.rows)))
            store.subtract(own[-1] if own else ())
        return tuple(found)

    def _whole_up(self, k: int, own: tuple[Plates, ...], count: int) -> tuple[Plates, ...]:
        """Return plates for every row: the last of a push are those before it."""
        if not self._follows[k]:
            return ((),) * count
        return own if len(own) == count else (*own, own[-1] if own else ())

    def _first_down(self, way: _Way, top: Sequence[Plates]) -> Columns | None:
        found: list[tuple[Plates, ...]] = []
        store = self._without_new()
        for plates in top:
            store.subtract(plates)
        for k, bands in enumerate(way.bands):
            # on a pack that stays the plates already there are taken away one by one
            there = store if self.heights.changed[k] else Counter(top[k])
            own = follow.growing(bands[::-1], self._thickness, there)
            if own is None:
                return None
            found.append(own[::-1])
            if self.heights.changed[k]:
                store.subtract(own[-1] if own else ())
        return tuple(found)

    def _together(self, up: _Way, back: _Way) -> bool:
        """Choose the plates of all seats together, by what is out of the store at any moment."""
        store, offers = self._most(), []
        for k, (rise, fall) in enumerate(zip(up.bands, back.bands, strict=True)):
            tops = follow.ways(rise, self._thickness, store)
            if self.heights.changed[k]:
                downs = [w[::-1] for w in follow.ways(fall[::-1], self._thickness, store)]
                offers.append(Offer(tops, downs))
                continue
            pairs = [(t, self._within(fall, t[-1] if t else ())) for t in tops]
            fitting = [(t, d) for t, d in pairs if d is not None]
            offers.append(Offer([t for t, _ in fitting], [d for _, d in fitting], paired=True))
        chosen = allotted(offers, list(self._moments()), self._loose, self._lend)
        if chosen is None:
            return False
        found = tuple(self._whole_up(k, t, len(up.rows)) for k, (t, _) in enumerate(chosen.columns))
        self._take(up, found, back, tuple(d for _, d in chosen.columns))
        self.lent = chosen.lent
        return True

    def _within(
        self, bands: Sequence[tuple[float, float]], top: Plates
    ) -> tuple[Plates, ...] | None:
        own = follow.growing(bands[::-1], self._thickness, Counter(top))
        return None if own is None else own[::-1]

    def _moments(self) -> Iterator[StageMoment]:
        """Yield the moments at which most plates may be out: at the top, and after each turn."""
        held = {k for k, f in enumerate(self._follows) if f}
        yield StageMoment(frozenset(held), frozenset(), Counter())
        use, gone, done = Counter[str](), set[int](), set[int]()
        for turn in self._turns:
            for k in turn:
                use.update(self.stage.after[k])
                use.subtract(self.stage.before[k])
                done.add(k)
                if not self.beside(k):
                    gone.add(k)
            yield StageMoment(frozenset(held - gone), frozenset(done), Counter(use))
