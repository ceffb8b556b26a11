"""What a move does: the change of every check and reaction for a unit move of each seat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol

from fitup.frames import Array


@dataclass(frozen=True, eq=False)
class ForceRow:
    """A tension, moment or stress that is watched or limited: ``f(x) = now + row x``.

    Parameters
    ----------
    id : str
    kind : {'force', 'moment', 'stress'}
        In N, N m or Pa.
    words : tuple of two str
        What a positive and a negative value is called, e.g. tension and compression.
    now : float
        In the surveyed state.
    row : Array (n,)
        Change for a unit move of every seat.
    least, most : float
        What it may be in every state; infinite: only shown.
    """

    id: str
    kind: Literal["force", "moment", "stress"]
    words: tuple[str, str]
    now: float
    row: Array
    least: float
    most: float


@dataclass(frozen=True, eq=False)
class Stay:
    """What must not fall below zero for the same seats to carry: ``now + row x``.

    The force of a seat that carries [N], or the opening of one that does not [m].
    """

    seat: str
    carries: bool
    now: float
    row: Array


class Exact(Protocol):
    """A structure whose answer to moves is not a straight line."""

    @property
    def may_lift(self) -> frozenset[str]:
        """Seats that can only push: the structure may leave them."""

    def state(self, x: Array) -> tuple[Array, Array]:
        """Return the change of every check (m,) from the survey, and reactions (n,) [N]."""

    def about(self, x: Array) -> Influence:
        """Return the influence about moves x (n,): exact while the same seats carry as there."""

    def stays(self, x: Array) -> tuple[Stay, ...]:
        """Return what keeps the same seats carrying as at moves x (n,)."""


@dataclass(frozen=True, eq=False)
class Influence:
    """``y(x) = y0 + shift + A x`` and ``r(x) = r0 + R x``.

    About the surveyed state there is no shift and ``r0`` are its reactions; about other moves,
    where other seats carry, the two are what their slope gives where nothing has moved.

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
        ``rigid``, ``table`` or ``frame``.
    forces : tuple of ForceRow
        Tensions, moments and stresses that are watched or limited.
    shift : Array (m,), optional
        None: zero.
    uncorrected : Influence, optional
        As computed or read, where corrections learned from earlier rounds were put in after.
    stays : tuple of Stay
        Limits within which the matrices hold; empty where they are not to be kept.
    exact : Exact, optional
        The same structure where seats may lift off; None: it is as straight as the matrices say.
    """

    checks: tuple[str, ...]
    seats: tuple[str, ...]
    A: Array
    R: Array
    r0: Array
    origin: str
    forces: tuple[ForceRow, ...] = ()
    shift: Array | None = None
    uncorrected: Influence | None = None
    exact: Exact | None = None
    stays: tuple[Stay, ...] = ()

    def straight(self, x: Array) -> tuple[Array, Array]:
        """Return the change of checks (m,) and reactions (n,) for moves x (n,) by the matrices."""
        moved: Array = self.A @ x
        return moved if self.shift is None else moved + self.shift, self.r0 + self.R @ x

    def state(self, x: Array) -> tuple[Array, Array]:
        """Return the change of checks (m,) and reactions (n,) for moves x (n,), lift-off counted.

        Raises
        ------
        StructureError
            If the seats could not carry the structure then.
        """
        return self.straight(x) if self.exact is None else self.exact.state(x)

    def change(self, x: Array) -> Array:
        """Return the change of every check (m,) for moves x (n,), lift-off counted."""
        return self.state(x)[0]
