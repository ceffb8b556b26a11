"""Lower bounds on the number of stages: what cannot be beaten however the work is arranged.

Each bound relaxes something, so none is ever above the truth:

* a group alone, all others wherever they help it most: the fewest moves it needs;
* two groups that share limits, the others wherever they help most: the fewest moves of both;
* a stage holds one move a crew, one a pump, one of groups that never move together;
* groups that wait for others need the sum of the moves along the longest chain.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator, Sequence

import numpy as np

from fitup.frames import Array
from fitup.procedure.course import Course, Move, State

#: more levels than this in both groups of a pair and the pair is not tabled
_PAIR_LEVELS = 40


class Bounds:
    """Fewest moves and stages from any state of a course to its end."""

    def __init__(self, course: Course) -> None:
        self.course = course
        least = np.array([r.min(axis=0) for r in course.rows])
        self._least, self._sum = least, least.sum(axis=0)
        held = np.array([p.min(axis=0) for p in course.plates])
        self._held, self._free = held, course.loose - held.sum(axis=0)
        n = len(course.groups)
        self.alone = [self._alone(g) for g in range(n)]
        self.pairs = self._matching()
        self._shares = Shares(course, [min(float(a[0]), 1e6) for a in self.alone])

    def moves(self, state: State) -> float:
        """Return the fewest moves that all groups together still need."""
        return sum(table[state[g], state[h]] for (g, h), table in self.pairs.items()) + sum(
            self.alone[g][state[g]] for g in self._single
        )

    def stages(self, state: State) -> float:
        """Return the fewest stages that are still needed; infinite where there is no way."""
        total = self.moves(state)
        if math.isinf(total):
            return math.inf
        need = [self.alone[g][k] for g, k in enumerate(state)]
        return self._shares.least(total, need)

    def _alone(self, group: int) -> Array:
        """Fewest moves (k,) from each level of a group to its last, others at their best."""
        course = self.course
        value = course.rows[group] + (self._sum - self._least[group])
        store = self._free + self._held[group] - course.plates[group]
        last = len(value) - 1
        need = np.full(last + 1, math.inf)
        need[last] = 0.0
        for move in sorted(course.moves[group], key=lambda m: -m.start):
            ready = self._fits(value[move.start], store[move.start], [move])
            if ready and self._rests(value[move.end]):
                need[move.start] = min(need[move.start], 1.0 + need[move.end])
        return need

    def _fits(self, value: Array, store: Array, moves: Sequence[Move]) -> bool:
        course = self.course
        held = course.owner < 0
        way, peak = value, np.zeros_like(store)
        for move in moves:
            way, peak = way + move.way, peak + move.peak
            held = held | (course.owner == move.group)
        return bool(np.all((way <= course.on_way)[held]) and np.all(peak <= store))

    def _rests(self, value: Array) -> bool:
        held = self.course.owner < 0
        return bool(np.all((value <= self.course.at_rest)[held]))

    def _matching(self) -> dict[tuple[int, int], Array]:
        """Table disjoint pairs that gain most over their groups alone, greedily."""
        gains = []
        for g, h in self._coupled():
            table = self._pair(g, h)
            gain = table[0, 0] - self.alone[g][0] - self.alone[h][0]
            if gain > 0.0:
                gains.append((-gain, g, h, table))
        chosen: dict[tuple[int, int], Array] = {}
        taken: set[int] = set()
        for _, g, h, table in sorted(gains, key=lambda item: item[:3]):
            if not taken & {g, h}:
                chosen[g, h] = table
                taken |= {g, h}
        self._single = [g for g in range(len(self.course.groups)) if g not in taken]
        return chosen

    def _coupled(self) -> Iterator[tuple[int, int]]:
        """Yield pairs of groups that a limit ties: alone each has more ways than together."""
        if any(math.isinf(a[0]) for a in self.alone):
            return
        rows = self.course.rows
        moved = [np.abs(r).max(axis=0) > 0.0 for r in rows]
        slack = self.course.at_rest - self._sum
        swing = [r.max(axis=0) - r.min(axis=0) for r in rows]
        for g in range(len(rows)):
            for h in range(g + 1, len(rows)):
                if len(rows[g]) > _PAIR_LEVELS or len(rows[h]) > _PAIR_LEVELS:
                    continue
                shared = moved[g] & moved[h] & (self.course.owner < 0)
                if np.any(shared & (swing[g] + swing[h] > slack)):
                    yield g, h

    def _pair(self, g: int, h: int) -> Array:
        """Fewest moves (k_g, k_h) of two groups together, all others at their best."""
        course = self.course
        base = self._sum - self._least[g] - self._least[h]
        free = self._free + self._held[g] + self._held[h]
        ends = (len(course.rows[g]) - 1, len(course.rows[h]) - 1)
        need = np.full((ends[0] + 1, ends[1] + 1), math.inf)
        need[ends] = 0.0
        back: dict[tuple[int, int], list[tuple[tuple[int, int], float]]] = {}
        for a in range(ends[0] + 1):
            for b in range(ends[1] + 1):
                value = base + course.rows[g][a] + course.rows[h][b]
                store = free - course.plates[g][a] - course.plates[h][b]
                for moves in self._both(g, h, a, b, ends):
                    if self._fits(value, store, moves):
                        to = (
                            next((m.end for m in moves if m.group == g), a),
                            next((m.end for m in moves if m.group == h), b),
                        )
                        rest = base + course.rows[g][to[0]] + course.rows[h][to[1]]
                        if self._rests(rest):
                            back.setdefault(to, []).append(((a, b), float(len(moves))))
        queue = [(0.0, ends)]
        while queue:
            cost, at = heapq.heappop(queue)
            if cost > need[at]:
                continue
            for before, more in back.get(at, ()):
                if cost + more < need[before]:
                    need[before] = cost + more
                    heapq.heappush(queue, (cost + more, before))
        return need

    def _both(
        self, g: int, h: int, a: int, b: int, ends: tuple[int, int]
    ) -> Iterator[tuple[Move, ...]]:
        course = self.course
        own = [m for m in course.moves[g] if m.start == a]
        other = [m for m in course.moves[h] if m.start == b]
        if h in course.after[g] and b < ends[1]:
            own = []
        if g in course.after[h] and a < ends[0]:
            other = []
        yield from ((m,) for m in own)
        yield from ((m,) for m in other)
        if course.crews > 1 and course.together(g, h):
            yield from ((m, k) for m in own for k in other)


class Shares:
    """Fewest stages that a number of moves of every group takes, by what a stage can hold."""

    def __init__(self, course: Course, weight: Sequence[float]) -> None:
        self.course = course
        self._cliques = self._exclusive(weight)
        self._spans = sorted({w for w in course.windows if w})

    def least(self, total: float, need: Sequence[float]) -> int:
        """Return the fewest stages for a number of moves of every group.

        Parameters
        ----------
        total : float
            Fewest moves of all groups together, which may be more than the sum of ``need``.
        need : sequence of float
            Fewest moves of each group.
        """
        crews, windows = self.course.crews, self.course.windows
        best = max(math.ceil(total / crews), *map(int, need), self._chain(need), 0)
        for clique in self._cliques:
            best = max(best, int(sum(need[g] for g in clique)))
        if len(self._spans) > 1:
            sums = (sum(need[g] for g, w in enumerate(windows) if w == s) for s in self._spans)
            best = max(best, sum(math.ceil(s / crews) for s in sums))
        return best

    def _chain(self, need: Sequence[float]) -> int:
        """Return the longest sum of moves along groups that wait for each other."""
        done: dict[int, float] = {}

        def through(group: int) -> float:
            if group not in done:
                before = [through(h) for h in self.course.after[group]] if need[group] else []
                done[group] = need[group] + max(before, default=0.0)
            return done[group]

        return int(max((through(g) for g in range(len(need))), default=0.0))

    def _exclusive(self, weight: Sequence[float]) -> tuple[tuple[int, ...], ...]:
        """Return sets of groups of which no two can share a stage, grown greedily."""
        n, together = len(self.course.groups), self.course.together
        found: set[tuple[int, ...]] = set()
        order = sorted(range(n), key=lambda g: (-weight[g], g))
        for seed in range(n):
            clique = [seed]
            for other in order:
                if other not in clique and not any(together(other, g) for g in clique):
                    clique.append(other)
            if len(clique) > 1:
                found.add(tuple(sorted(clique)))
        return tuple(sorted(found))
