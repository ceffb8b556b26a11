"""States tested one by one, where contact bends the limits: no straight line says enough.

Where a seat may lift off, which seats carry depends on the state. Every reading of every crew is
then held against the limits that the structure has there, wherever the other crews are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np

from fitup.frames import Array
from fitup.model import CheckState, Influence, Job
from fitup.problem.contact import based
from fitup.procedure.course import Move, State
from fitup.procedure.layout import Laid
from fitup.procedure.rows import WayRows, way_rows
from fitup.structure.contact import NoContact
from fitup.structure.unload import Unload


@dataclass(frozen=True, eq=False)
class Meetings:
    """What holds in a state where other seats may carry.

    Parameters
    ----------
    rows : WayRows
        Limits about the surveyed state.
    unload : Unload, optional
        Seats that may be unloaded on the way, of a structure that is linear otherwise.
    """

    job: Job
    state: CheckState
    influence: Influence
    rows: WayRows
    unload: Unload | None
    _known: dict[bytes, WayRows] = field(default_factory=dict)

    @classmethod
    def of(
        cls, job: Job, state: CheckState, influence: Influence, rows: WayRows
    ) -> Meetings | None:
        """Return the tests a job needs, or None where a straight line says all.

        Parameters
        ----------
        job, state, influence, rows
        """
        unload = Unload.of(job, influence)
        if unload is None and influence.exact is None:
            return None
        return cls(job, state, influence, rows, unload)

    def keeps(self, x: Array, off: Mapping[int, float], moving: set[str]) -> bool:
        """Say whether a state keeps every limit.

        Parameters
        ----------
        x : Array (n,)
            Settings of all seats [m].
        off : mapping of seat number to float
            How far moving seats may be off their readings [m].
        moving : set of str
            Seats that move; none: the state rests on packs.
        """
        try:
            rows, at = self.about(x)
        except NoContact:
            return False
        value = rows.L @ at
        if off:
            seats = [self.job.seats[self.influence.seats[k]] for k in off]
            value = value + rows.added(self.job, seats, tuple(off), np.array([*off.values()]))
        asked = np.array([s is None or s in moving for s in rows.seat])
        bound = rows.on_way if moving else rows.at_rest
        return bool(np.all((value <= bound)[asked]))

    def about(self, x: Array) -> tuple[WayRows, Array]:
        """Return the limits about a state, and its settings (n,) with what is open [m].

        Parameters
        ----------
        x : Array (n,)
            Settings of all seats [m].

        Raises
        ------
        NoContact
            If no seats that only push carry the deck.
        """
        exact = self.influence.exact
        if exact is None:
            assert self.unload is not None
            return self.rows, x + self.unload.openings(x)
        key = x.tobytes()
        if key not in self._known:
            shift = self.influence.shift
            values = self.state.values - (0.0 if shift is None else shift)
            here = exact.about(x)
            surveyed = replace(self.state, values=values)
            self._known[key] = way_rows(self.job, based(surveyed, here), here, whole=True)
        return self._known[key], x

    def tested(self, laid: Laid) -> Laid:
        """Return a course whose every stage is tested state by state."""

        def keeps(state: State, moves: Sequence[Move]) -> bool:
            return self._stage(laid, state, moves)

        return replace(laid, course=replace(laid.course, extra=keeps))

    def _stage(self, laid: Laid, state: State, moves: Sequence[Move]) -> bool:
        x = np.zeros(len(self.influence.seats))
        for group, rests, level in zip(laid.groups, laid.levels, state, strict=True):
            x[list(group.columns)] = rests[level].settings
        off: dict[int, float] = {}
        for move in moves:
            own = zip(laid.groups[move.group].columns, laid.off[move.group], strict=True)
            off |= {k: float(v) for k, v in own}
        names = {self.influence.seats[k] for k in off}
        ways = [_readings(laid, move) for move in moves]
        for k, way in enumerate(ways):
            corners = [(w[0], w[1], w[-1]) for i, w in enumerate(ways) if i != k]
            others = [m for i, m in enumerate(moves) if i != k]
            for row, corner in product(way[2:], product(*corners)):
                x[list(laid.groups[moves[k].group].columns)] = row
                for move, at in zip(others, corner, strict=True):
                    x[list(laid.groups[move.group].columns)] = at
                if not self.keeps(x, off, names):
                    return False
        for move, way in zip(moves, ways, strict=True):
            x[list(laid.groups[move.group].columns)] = way[-1]
        return self.keeps(x, {}, set())


def _readings(laid: Laid, move: Move) -> list[Array]:
    """Return start and top of a move, then its settings after each increment up and down."""
    rests = laid.levels[move.group]
    start, end = rests[move.start].settings, rests[move.end].settings
    way = laid.carries[move.group][move.start, move.end]
    # on its jacks a group stands higher by what its packs sprang back
    first, top = start + laid.risen[move.group], way.raised + laid.risen[move.group]
    up = [first + (top - first) * k / way.rises for k in range(way.rises + 1)]
    last = end + laid.risen[move.group]
    down = [top + (last - top) * k / way.falls for k in range(1, way.falls + 1)]
    return [start, top, *up, *down, end]
