"""The course of the work as labelled arrays: levels groups may rest at, and moves between them.

A state says at which of its levels every group rests. A move takes one group to a higher level;
the moves of one stage are made by crews that do not wait for each other. All limits are linear in
the settings, so a group adds to each limit row at most its own greatest value on the way, and the
sum of those holds for every moment of a stage. What a move takes from the store is counted the
same way: at its worst moment, and plates that another group of the stage sets free do not count.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fitup.frames import Array

#: level of every group
State = tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Move:
    """One group from one of its levels to a higher one.

    Parameters
    ----------
    group, start, end : int
    way : Array (p,)
        The most it adds to every limit row at any moment, not below zero.
    peak : Array (t,)
        Most plates of each mark it needs from the store at one time.
    """

    group: int
    start: int
    end: int
    way: Array
    peak: Array


@dataclass(frozen=True, eq=False)
class Course:
    """Everything the order of work must keep.

    Parameters
    ----------
    groups : tuple of str
    rows : tuple of Array (k_g, p)
        Value of every limit row that each level of a group gives.
    plates : tuple of Array (k_g, t)
        Plates of each mark a level holds beyond those the packs hold at the start.
    moves : tuple of tuple of Move
        By group; one may go from any level to any higher level it lists.
    at_rest, on_way : Array (p,)
        Bounds of the rows on packs and while seats move.
    owner : Array (p,)
        Group whose moving a row is about; -1: the row holds in every state.
    loose : Array (t,)
        Plates in the store at the start.
    crews : int
        Most groups in one stage.
    pumps : tuple of tuple of int
        For every group the sets of pumps that can drive it, as bits; 0 needs none.
    windows : tuple of str
        Hours a group may move in; empty: any.
    apart : frozenset of (int, int)
        Groups, lower number first, that never move in one stage.
    after : tuple of tuple of int
        Groups that must be finished before a group starts.
    ranks : tuple of float
        Objective for the order, lower first.
    extra : callable, optional
        A further test of a stage, from the state before it and its moves.
    """

    groups: tuple[str, ...]
    rows: tuple[Array, ...]
    plates: tuple[Array, ...]
    moves: tuple[tuple[Move, ...], ...]
    at_rest: Array
    on_way: Array
    owner: Array
    loose: Array
    crews: int
    pumps: tuple[tuple[int, ...], ...]
    windows: tuple[str, ...]
    apart: frozenset[tuple[int, int]]
    after: tuple[tuple[int, ...], ...]
    ranks: tuple[float, ...]
    extra: Callable[[State, Sequence[Move]], bool] | None = None

    @property
    def start(self) -> State:
        """All groups as surveyed."""
        return (0,) * len(self.groups)

    @property
    def goal(self) -> State:
        """All groups at their last level."""
        return tuple(len(r) - 1 for r in self.rows)

    def value(self, state: State) -> Array:
        """Return the value (p,) of every limit row at rest."""
        return np.sum([r[k] for r, k in zip(self.rows, state, strict=True)], axis=0)

    def store(self, state: State) -> Array:
        """Return the loose plates (t,) at rest."""
        held = np.sum([p[k] for p, k in zip(self.plates, state, strict=True)], axis=0)
        return np.asarray(self.loose - held)

    def ready(self, state: State, group: int) -> bool:
        """Say whether a group may move now: unfinished, and what it waits for is finished.

        Parameters
        ----------
        state : State
        group : int
        """
        goal = self.goal
        return state[group] < goal[group] and all(state[h] == goal[h] for h in self.after[group])

    def after_move(self, state: State, moves: Sequence[Move]) -> State:
        """Return the state after a stage.

        Parameters
        ----------
        state : State
            Before the stage.
        moves : sequence of Move
            One for each group that moves.
        """
        new = list(state)
        for move in moves:
            new[move.group] = move.end
        return tuple(new)

    def together(self, first: int, second: int) -> bool:
        """Say whether two groups may share a stage at all.

        Only pumps, hours and groups kept ``apart`` count here, not limits or plates.

        Parameters
        ----------
        first, second : int
            Numbers of the groups, in any order.
        """
        a, b = self.windows[first], self.windows[second]
        if (min(first, second), max(first, second)) in self.apart or (a and b and a != b):
            return False
        return any(not p & q for p in self.pumps[first] for q in self.pumps[second])


class Open:
    """The moves that are open in one state, and the stages made of them."""

    def __init__(self, course: Course, state: State) -> None:
        self.course, self.state = course, state
        self.value, self.store = course.value(state), course.store(state)
        self.by_group: dict[int, list[Move]] = {}
        for group, own in enumerate(course.moves):
            if course.ready(state, group):
                fitting = [m for m in own if m.start == state[group] and self.fits([m])]
                if fitting:
                    self.by_group[group] = fitting

    def fits(self, moves: Sequence[Move]) -> bool:
        """Say whether moves can be under way together: limits on the way and store."""
        course = self.course
        held = course.owner < 0
        way, peak = np.zeros_like(self.value), np.zeros_like(self.store)
        for move in moves:
            way, peak = way + move.way, peak + move.peak
            held = held | (course.owner == move.group)
        return bool(
            np.all((self.value + way <= course.on_way)[held]) and np.all(peak <= self.store)
        )

    def rests(self, moves: Sequence[Move]) -> bool:
        """Say whether the state after a stage may rest, and the stage passes the extra test."""
        course = self.course
        value = self.value
        for m in moves:
            value = value + course.rows[m.group][m.end] - course.rows[m.group][m.start]
        held = course.owner < 0
        if not np.all((value <= course.at_rest)[held]):
            return False
        return course.extra is None or course.extra(self.state, moves)

    def drives(self, used: frozenset[int], group: int) -> frozenset[int]:
        """Return the sets of pumps in use with one more group; empty where none is left.

        Parameters
        ----------
        used : frozenset of int
            Sets of pumps, as bits, any one of which could be driving the groups so far.
        group : int
        """
        return frozenset(u | p for u in used for p in self.course.pumps[group] if not u & p)

    def stages(
        self, worth: Callable[[Sequence[Move], int], bool] = lambda moves, left: True
    ) -> Iterator[tuple[Move, ...]]:
        """Yield every stage that keeps all limits, fullest first in each branch.

        ``worth`` is asked of every set of moves with the crews still idle and cuts the branch.
        """
        order = sorted(self.by_group, key=lambda g: (self.course.ranks[g], g))
        yield from self._grow([], order, frozenset([0]), worth)

    def _grow(
        self,
        chosen: list[Move],
        order: Sequence[int],
        used: frozenset[int],
        worth: Callable[[Sequence[Move], int], bool],
    ) -> Iterator[tuple[Move, ...]]:
        idle = self.course.crews - len(chosen)
        if idle:
            for i, group in enumerate(order):
                driven = self.drives(used, group)
                if not driven or not all(self.course.together(m.group, group) for m in chosen):
                    continue
                for move in reversed(self.by_group[group]):
                    more = [*chosen, move]
                    if worth(more, min(idle - 1, len(order) - i - 1)) and self.fits(more):
                        yield from self._grow(more, order[i + 1 :], driven, worth)
        if chosen and worth(chosen, 0) and self.rests(chosen):
            yield tuple(chosen)


@dataclass(frozen=True, eq=False)
class OrderFound:
    """What a search for the order found.

    Parameters
    ----------
    stages : tuple of tuple of Move, optional
        None: none was found.
    lower : int
        No order has fewer stages.
    closed : bool
        Searched to the end: the number of stages is the least for the levels offered, or there
        is no order at all.
    furthest : State
        How far the work could go.
    """

    stages: tuple[tuple[Move, ...], ...] | None
    lower: int
    closed: bool
    furthest: State
