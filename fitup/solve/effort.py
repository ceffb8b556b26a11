"""How much a search may do, counted in work done: the same job, the same answer on any machine.

A step is about what an ordinary core does in a microsecond. Searches say what they have done and
ask whether it is enough. A limit of seconds stands behind it as a safety catch for machines that
are slow or busy beyond measure; a search that it caught says so, for another run may differ.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Final

import numpy as np

Stop = Callable[[], bool]
#: steps that an ordinary core does in a second
SECOND: Final = 1_000_000.0


def never() -> bool:
    """Say that nobody asks to stop."""
    return False


class Effort:
    """Work that may still be done, until a stop is asked for or the safety catch falls.

    Parameters
    ----------
    steps : float
        Work allowed.
    catch : float
        Seconds from now after which it is over all the same.
    stop : callable
        Asked now and then whether to end.

    Examples
    --------
    >>> effort = Effort(100.0)
    >>> first = effort.part(60.0)
    >>> first.spend(70.0)
    >>> first.over(), effort.over(), effort.left
    (True, False, 30.0)
    """

    def __init__(self, steps: float, catch: float = np.inf, stop: Stop = never) -> None:
        self.steps, self.done = float(steps), 0.0
        self.stop = stop
        self.caught = False
        self._end = time.monotonic() + catch
        self._whole: Effort | None = None

    @property
    def left(self) -> float:
        """Work that may still be done, never below zero."""
        return max(0.0, self.steps - self.done)

    def spend(self, steps: float) -> None:
        """Note work done, here and in what this is a part of."""
        self.done += steps
        if self._whole is not None:
            self._whole.spend(steps)

    def over(self) -> bool:
        """Say whether to end: the work is done, the catch fell, or somebody asked to."""
        if self.done >= self.steps:
            return True
        if self._whole is not None:
            return self._whole.over()
        if not self.caught and time.monotonic() > self._end:
            self.caught = True
        return self.caught or self.stop()

    def part(self, steps: float) -> Effort:
        """Return so much of this work, or what is left of it; what is spent there is spent here."""
        own = Effort(min(steps, self.left), stop=self.stop)
        own._whole = self
        return own


#: no limit at all; nobody asks it what was spent
ENDLESS: Final = Effort(np.inf)
