"""When a search has to end: at its time limit, or as soon as somebody asks it to."""

from __future__ import annotations

import time
from collections.abc import Callable

Stop = Callable[[], bool]


def never() -> bool:
    """Say that nobody asks to stop."""
    return False


class Deadline(float):
    """A time of ``time.monotonic()`` [s] that is over early when a stop is asked for.

    Searches ask ``time.monotonic() > deadline``; Python lets the deadline answer.

    Examples
    --------
    >>> asked = []
    >>> deadline = Deadline.after(60.0, lambda: bool(asked))
    >>> time.monotonic() > deadline
    False
    >>> asked.append("now")
    >>> time.monotonic() > deadline
    True
    """

    stop: Stop

    @classmethod
    def after(cls, seconds: float, stop: Stop = never) -> Deadline:
        """Return the deadline so many seconds from now."""
        deadline = cls(time.monotonic() + seconds)
        deadline.stop = stop
        return deadline

    def __lt__(self, now: float) -> bool:
        return self.stop() or float(self) < now

    def within(self, seconds: float) -> Deadline:
        """Return the earlier of this deadline and so many seconds from now."""
        return Deadline.after(min(seconds, float(self) - time.monotonic()), self.stop)
