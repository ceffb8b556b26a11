"""Whether what a stage takes is there: its procedure made, its plates and strokes counted."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from fitup.model import Influence, Job
from fitup.procedure.course import Course, Move, State
from fitup.procedure.layout import Laid
from fitup.procedure.readings import crews_of, row
from fitup.procedure.tell import Lack, Site, lent, loads_of, tell

#: stages whose procedures are made in one search; after that none is permitted
_TESTS = 60
#: steps of one procedure, and of one whose load plates follow
_MADE, _FOLLOWED = 1e4, 3e5
Spend = Callable[[float], bool]
_Key = tuple[State, tuple[tuple[int, int], ...]]


def endless(steps: float) -> bool:
    """Let any number of procedures be made."""
    return True


@dataclass(eq=False)
class Needs:
    """What the stages of a course lack of plates and stroke.

    Parameters
    ----------
    job, influence
        As the plan is made from.
    laid : Laid
    spend : callable
        Told the steps of every procedure that is made; false: no more are made.
    """

    job: Job
    influence: Influence
    laid: Laid
    spend: Spend = endless
    left: int = _TESTS
    stopped: bool = False
    """Whether the search asked for more procedures than are made."""
    _known: dict[_Key, tuple[Lack, ...]] = field(default_factory=dict)

    def course(self) -> Course:
        """Return the course with stages that lack something left out."""
        other = self.laid.course.extra

        def keeps(state: State, moves: Sequence[Move]) -> bool:
            if other is not None and not other(state, moves):
                return False
            return self._permits(state, moves)

        return replace(self.laid.course, extra=keeps)

    def met(self, order: Sequence[Sequence[Move]]) -> bool:
        """Say whether no stage of an order lacks anything."""
        state = self.laid.course.start
        for moves in order:
            if self.lacks(state, moves):
                return False
            state = self.laid.course.after_move(state, moves)
        return True

    def _permits(self, state: State, moves: Sequence[Move]) -> bool:
        # a crew that lacks something alone lacks it beside others
        sets = [[m] for m in moves] if len(moves) > 1 else []
        for own in (*sets, moves):
            if _key(state, own) not in self._known:
                if self.left == 0 or not self.spend(self._cost(own)):
                    self.stopped = True
                    return False
                self.left -= 1
            if self.lacks(state, own):
                return False
        return True

    def _cost(self, moves: Sequence[Move]) -> float:
        seats = [s for m in moves for s in self.laid.groups[m.group].seats]
        nuts = all(j.lock_nut for s in seats for j in self.job.jacks_at(s.id))
        return _MADE if nuts else _FOLLOWED

    def lacks(self, state: State, moves: Sequence[Move]) -> tuple[Lack, ...]:
        """Return what a stage lacks.

        Parameters
        ----------
        state : State
            Before the stage.
        moves : sequence of Move
            All moves of the stage.
        """
        key = _key(state, moves)
        if key not in self._known:
            crews = crews_of(self.job, self.laid, 1, moves)
            loads = loads_of(self.job, self.influence)
            self._known[key] = tell(self.job, loads, crews, self._site(state))[1]
        return self._known[key]

    def lent(self, state: State, move: Move) -> Mapping[str, int]:
        """Return the fewest plates with which, besides the store, a move could be followed.

        Parameters
        ----------
        state : State
            Before the move.
        move : Move
            Alone in its stage.

        Returns
        -------
        mapping of str to int
            Plates of each mark; empty where none are needed or no extra plates would do.
        """
        (crew,) = crews_of(self.job, self.laid, 1, [move])
        return lent(self.job, loads_of(self.job, self.influence), crew, self._site(state))

    def _site(self, state: State) -> Site:
        settings = dict.fromkeys(self.job.seats, 0.0)
        for group, rests, level in zip(self.laid.groups, self.laid.levels, state, strict=True):
            names = [s.id for s in group.seats]
            settings.update(zip(names, row(rests[level].settings), strict=True))
        loose = self.laid.course.store(state)
        return Site(
            settings,
            {m: int(n) for m, n in zip(self.laid.marks, loose, strict=True)},
            {j.id: j.base for j in self.job.jacks.values()},
        )


def _key(state: State, moves: Sequence[Move]) -> _Key:
    return state, tuple((m.group, m.end) for m in moves)
