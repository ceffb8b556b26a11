"""The search for the order: a good one by a beam, then deepening until none shorter can exist.

The beam keeps the most promising states after each stage. Its answer is the number to beat. The
exact search then asks: is there an order of as many stages as the lower bound says? of one more?
Depth first, states that failed with as many stages left remembered, cut wherever the bound of a
state needs more stages than are left. It stops after a set number of states, never by the clock,
so that the same job has the same answer everywhere.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from fitup.procedure.bounds import Bounds
from fitup.procedure.course import Course, Move, Open, OrderFound, State

#: states kept after each stage, first moves tried at each, states a search may open
BEAM, FIRST, NODES = 12, 8, 20_000
#: sets of moves, times groups, that the exact search may weigh
WORK = 1_500_000
#: states looked at to say how far the work could go
_FURTHEST = 2_000

Stages = tuple[tuple[Move, ...], ...]


class _Stopped(Exception):
    """The exact search has opened as many states as it may."""


def find_order(
    course: Course,
    *,
    beam: int = BEAM,
    nodes: int = NODES,
    report: Callable[[str], None] = lambda line: None,
) -> OrderFound:
    """Return an order of work with the fewest stages that can be found, and a bound below all.

    Parameters
    ----------
    course : Course
    beam : int
        States kept after each stage in the first search.
    nodes : int
        States the exact search may open.
    """
    bounds = Bounds(course)
    least = bounds.stages(course.start)
    if course.start == course.goal:
        return OrderFound((), 0, True, course.start)
    if math.isinf(least):
        _, _, furthest = _layers(course, bounds, min(nodes, _FURTHEST))
        return OrderFound(None, 0, True, furthest)
    lower = int(least)
    found, furthest = _beam(course, bounds, beam)
    if found is None:
        report("order of stages: every state that can be reached")
        found, closed, furthest = _layers(course, bounds, nodes)
        return OrderFound(found, lower if found is None else len(found), closed, furthest)
    search = _Deepening(course, bounds, nodes)
    try:
        for depth in range(lower, len(found)):
            report(f"order of stages: is there one of {depth}?")
            better = search.within(course.start, depth)
            if better is not None:
                return OrderFound(better, depth, True, course.goal)
            lower = depth + 1
    except _Stopped:
        return OrderFound(found, lower, False, course.goal)
    return OrderFound(found, len(found), True, course.goal)


def _beam(course: Course, bounds: Bounds, width: int) -> tuple[Stages | None, State]:
    """Stage by stage, keep the states that need least; return the first whole order."""
    front: list[tuple[State, Stages, float]] = [(course.start, (), 0.0)]
    furthest, near = course.start, bounds.moves(course.start)
    seen = {course.start}
    while front:
        grown: dict[State, tuple[tuple[float, ...], Stages, float]] = {}
        for state, path, against in front:
            for stage in _likely(course, bounds, state):
                new = course.after_move(state, stage)
                if new in seen:
                    continue
                objective = against + _against_ranks(course, state, stage)
                left = bounds.stages(new)
                if math.isinf(left):
                    continue
                key = (left, bounds.moves(new), objective)
                if new not in grown or key < grown[new][0]:
                    grown[new] = (key, (*path, stage), objective)
        ranked = sorted(grown.items(), key=lambda item: (item[1][0], _ends(item[0])))
        front = [(state, path, objective) for state, (_, path, objective) in ranked[:width]]
        for state, path, _ in front:
            if state == course.goal:
                return path, state
            seen.add(state)
            if bounds.moves(state) < near:
                furthest, near = state, bounds.moves(state)
    return None, furthest


def _ends(state: State) -> tuple[int, ...]:
    """Order states of equal promise: groups that come first in the file are further on."""
    return tuple(-k for k in state)


def _against_ranks(course: Course, state: State, stage: Sequence[Move]) -> float:
    """Count how often a stage moves a group before one that is to come earlier."""
    moved, goal = {m.group for m in stage}, course.goal
    return float(
        sum(
            course.ranks[g] < course.ranks[m.group]
            for m in stage
            for g, k in enumerate(state)
            if k < goal[g] and g not in moved
        )
    )


def _likely(course: Course, bounds: Bounds, state: State) -> list[tuple[Move, ...]]:
    """Return stages worth trying first: each good move, joined by others as they fit."""
    open_ = Open(course, state)
    singles = [m for own in open_.by_group.values() for m in own]

    def promise(move: Move) -> tuple[float, float, int, int]:
        gain = bounds.alone[move.group][move.start] - bounds.alone[move.group][move.end]
        return (-gain, course.ranks[move.group], -move.end, move.group)

    singles.sort(key=promise)
    firsts: list[Move] = []
    for move in singles:
        # two reaches of every group are enough to start a stage from
        if sum(m.group == move.group for m in firsts) < 2:
            firsts.append(move)
    found: dict[tuple[Move, ...], None] = {}
    for first in firsts[: max(FIRST, 2 * course.crews)]:
        stage, used = [first], open_.drives(frozenset([0]), first.group)
        for move in singles:
            if len(stage) == course.crews:
                break
            driven = open_.drives(used, move.group)
            fits = all(m.group != move.group for m in stage) and all(
                course.together(m.group, move.group) for m in stage
            )
            if fits and driven and open_.fits([*stage, move]):
                stage, used = [*stage, move], driven
        whole = tuple(sorted(stage, key=lambda m: m.group))
        if open_.rests(whole):
            found[whole] = None
        elif len(whole) > 1 and open_.rests([first]):
            found[first,] = None
    return list(found)


class _Deepening:
    """Is there an order of so many stages? Depth first, failures remembered."""

    def __init__(self, course: Course, bounds: Bounds, nodes: int) -> None:
        self.course, self.bounds, self.left = course, bounds, nodes
        self.work = WORK
        self.failed: dict[State, int] = {}

    def within(self, state: State, depth: int) -> Stages | None:
        """Return an order from a state in at most ``depth`` stages, or None where none is.

        Raises
        ------
        _Stopped
            When too many states have been opened to say.
        """
        if state == self.course.goal:
            return ()
        if self.failed.get(state, -1) >= depth or self.bounds.stages(state) > depth:
            return None
        self.left -= 1
        if self.left < 0:
            raise _Stopped
        most = self.course.crews * (depth - 1)

        def worth(moves: Sequence[Move], idle: int) -> bool:
            self.work -= len(state)
            if self.work < 0:
                raise _Stopped
            # a crew that is still idle can spare one move at most
            return self.bounds.moves(self.course.after_move(state, moves)) - idle <= most

        for stage in Open(self.course, state).stages(worth):
            rest = self.within(self.course.after_move(state, stage), depth - 1)
            if rest is not None:
                return (stage, *rest)
        self.failed[state] = depth
        return None


def _layers(course: Course, bounds: Bounds, nodes: int) -> tuple[Stages | None, bool, State]:
    """Go through all states that can be reached, layer by layer: the first order is a shortest.

    Returns
    -------
    order or None, whether all was seen, the state from which least is left
    """

    def left(state: State) -> float:
        need = [a[k] for a, k in zip(bounds.alone, state, strict=True)]
        # a group that can never finish must not hide how far the others come
        return sum(
            n if math.isfinite(n) else 1e3 * (1 - k) for n, k in zip(need, state, strict=True)
        )

    came: dict[State, tuple[State, tuple[Move, ...]] | None] = {course.start: None}
    front, best = [course.start], course.start
    while front:
        grown: list[State] = []
        for state in front:
            for stage in Open(course, state).stages():
                new = course.after_move(state, stage)
                if new in came:
                    continue
                came[new] = (state, stage)
                grown.append(new)
                if left(new) < left(best):
                    best = new
                if new == course.goal:
                    return _path(came, new), True, new
            if len(came) > nodes:
                return None, False, best
        front = grown
    return None, True, best


def _path(came: dict[State, tuple[State, tuple[Move, ...]] | None], state: State) -> Stages:
    path: list[tuple[Move, ...]] = []
    step = came[state]
    while step is not None:
        path.append(step[1])
        step = came[step[0]]
    return tuple(reversed(path))
