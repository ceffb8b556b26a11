"""The entries of a record that was found whole, and what follows from them.

All entries need not be read for it: a :class:`History` that goes on from a checkpoint knows the
state of the work, the last entry and how many there are; old entries are read, and then all of
them checked, only when somebody asks for them one by one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import overload

from fitup.record.events import Event
from fitup.record.work_state import WorkState, work_of

#: kind, id of a plan or None for any -> entries, oldest first
Find = Callable[[str, str | None], tuple[Event, ...]]


@dataclass(frozen=True, eq=False)
class History(Sequence[Event]):
    """The entries of a whole record, as a sequence.

    Parameters
    ----------
    size : int
        How many there are.
    first : str
        Hash of the first one, by which witnesses know a record; empty without entries.
    work : WorkState
        The state of the work after all of them.
    last : Event, optional
        The last one.
    load : callable
        Reads and checks all but those of ``added``.
    find : callable
        Returns those of a kind among them, without checking their place in the chain.
    added : tuple of Event
        The last ones, written since.
    """

    size: int
    first: str
    work: WorkState
    last: Event | None
    load: Callable[[], tuple[Event, ...]]
    find: Find
    added: tuple[Event, ...] = field(default=())

    def of(self, kind: str, about: str | None = None) -> tuple[Event, ...]:
        """Return the entries of a kind, oldest first.

        What they say is only to be believed where it is signed for in the state of the work, or
        can be computed anew.

        Parameters
        ----------
        kind : str
            One of ``KINDS``.
        about : str, optional
            Id of a plan; None: about any or none.
        """
        own = (e for e in self.added if e.kind == kind and about in (None, e.about))
        return (*self.find(kind, about), *own)

    def plus(self, event: Event) -> History:
        """Return the history with one more entry at its end."""
        return replace(
            self,
            size=self.size + 1,
            first=self.first or event.hash,
            work=work_of((event,), self.work),
            last=event,
            added=(*self.added, event),
        )

    def __len__(self) -> int:
        return self.size

    @overload
    def __getitem__(self, at: int) -> Event: ...

    @overload
    def __getitem__(self, at: slice) -> tuple[Event, ...]: ...

    def __getitem__(self, at: int | slice) -> Event | tuple[Event, ...]:
        if at == -1 and self.last is not None:
            return self.last
        return self._all()[at]

    def __iter__(self) -> Iterator[Event]:
        return iter(self._all())

    def _all(self) -> tuple[Event, ...]:
        return (*self.load(), *self.added)


def history_of(events: Sequence[Event]) -> History:
    """Return entries that were all read and checked."""
    every = tuple(events)

    def find(kind: str, about: str | None) -> tuple[Event, ...]:
        return tuple(e for e in every if e.kind == kind and about in (None, e.about))

    return History(
        size=len(every),
        first=every[0].hash if every else "",
        work=work_of(every),
        last=every[-1] if every else None,
        load=lambda: every,
        find=find,
    )
