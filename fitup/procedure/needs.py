"""Whether a stage can be worked: its procedure made, plates and strokes counted, limits held."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from fitup.model import Influence, Job, Stage
from fitup.procedure.course import Course, Move, State
from fitup.procedure.held import Broken, Held, Limits, taken_up
from fitup.procedure.layout import Laid
from fitup.procedure.meetings import Meetings
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
    """What the stages of a course lack of plates and stroke, and which limits they break.

    Parameters
    ----------
    job, influence
        As the plan is made from.
    laid : Laid
    meetings : Meetings, optional
        Where contact bends the limits.
    spend : callable
        Told the steps of every procedure that is made; false: no more are made.
    """

    job: Job
    influence: Influence
    laid: Laid
    meetings: Meetings | None = None
    spend: Spend = endless
    left: int = _TESTS
    stopped: bool = False
    """Whether the search asked for more procedures than are made."""
    _known: dict[_Key, tuple[Lack, ...]] = field(default_factory=dict)
    _begun: dict[tuple[State, int], tuple[Lack, ...]] = field(default_factory=dict)

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
        if any(self.begins(state, m.group) for m in moves):
            return False
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

    def begins(self, state: State, group: int) -> tuple[Lack, ...]:
        """Return the limits a group breaks by taking up its load, wherever it then goes.

        Parameters
        ----------
        state : State
            Before the stage.
        group : int
        """
        key = (state, group)
        if key not in self._begun:
            own, site = self.laid.groups[group], self._site(state)
            broken = taken_up(self._limits, own.seats, site.settings)
            self._begun[key] = _worst(own.name, broken)
        return self._begun[key]

    def lacks(self, state: State, moves: Sequence[Move]) -> tuple[Lack, ...]:
        """Return what a stage lacks, or where nothing is lacking the limits it breaks.

        Parameters
        ----------
        state : State
            Before the stage.
        moves : sequence of Move
            All moves of the stage.
        """
        key = _key(state, moves)
        if key not in self._known:
            site = self._site(state)
            crews = crews_of(self.job, self.laid, 1, moves)
            stated, short = tell(self.job, self._limits.loads, crews, site)
            self._known[key] = short or self._breaks(stated, site)
        return self._known[key]

    def _breaks(self, crews: Sequence[Stage], site: Site) -> tuple[Lack, ...]:
        held = Held(self._limits, crews, site.settings)
        return tuple(x for c in crews for x in _worst(c.group, held.broken(c)))

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
        return lent(self.job, self._limits.loads, crew, self._site(state))

    @cached_property
    def _limits(self) -> Limits:
        loads = loads_of(self.job, self.influence)
        return Limits(self.job, self.influence.seats, self.laid.rows, loads, self.meetings)

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


def _worst(group: str, broken: Iterable[Broken]) -> tuple[Lack, ...]:
    """Return each limit once, where it is broken most."""
    found: dict[tuple[str, str], Lack] = {}
    for one in broken:
        key = (one.label.kind, one.label.subject)
        if key not in found or one.by > found[key].by:
            found[key] = Lack(group, *key, one.by, f"{one.label.text} {one.when}")
    return tuple(found.values())


def _key(state: State, moves: Sequence[Move]) -> _Key:
    return state, tuple((m.group, m.end) for m in moves)
