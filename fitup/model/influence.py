"""What a move does: the change of every check and reaction for a unit move of each seat."""

from __future__ import annotations

from dataclasses import dataclass

from fitup.frames import Array


@dataclass(frozen=True, eq=False)
class Influence:
    """``y(x) = y0 + A x`` and ``r(x) = r0 + R x`` about the surveyed state.

    Parameters
    ----------
    checks, seats : tuple of str
        Row and column names of ``A``; ``seats`` also names the rows of ``R``.
    A : Array (m, n)
        Change of every check for a unit move of every seat [m/m or 1/m].
    R : Array (n, n)
        Change of every reaction for a unit move of every seat [N/m].
    r0 : Array (n,)
        Reactions in the surveyed state [N].
    origin : str
        ``rigid`` or ``table``, for the report only.
    """

    checks: tuple[str, ...]
    seats: tuple[str, ...]
    A: Array
    R: Array
    r0: Array
    origin: str
