"""Seats that push but cannot pull: forces >= 0, openings >= 0, and one of the two is zero.

With every seat taken as two-way, reactions are ``r = q + R x``. A seat that opens by ``o`` acts as
if its foot had been raised by ``o`` until it carried nothing, so that with lift-off

    r = q + R (x + o),    r >= 0,    o >= 0,    r o = 0    at every one-way seat:

a linear complementarity problem whose matrix is symmetric and never negative. Lemke's pivots end
at an answer, or prove that there is none [1]; ties are broken by order so that no pivot comes
back. The reactions are unique whatever the stiffness [1, theorem 3.1.7].

[1] R. W. Cottle, J.-S. Pang and R. E. Stone, The Linear Complementarity Problem, Academic Press
1992, sections 3.1 and 4.4. Cited from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from fitup.errors import StructureError
from fitup.frames import Array

#: of a matrix with unit diagonal: a pivot below this is zero; an eigenvalue below this is loose
_PIVOT, _LOOSE = 1e-11, 1e-9
#: ratios nearer than this are equal
_TIE = 1e-13
#: a seat whose reaction answers to its own opening by less than this share of the greatest such
#: answer carries the same whatever opens; a load of this share is nothing
_DETERMINATE, _NOTHING = 1e-12, 1e-9


class NoContact(StructureError):
    """No openings let the one-way seats carry the load: the structure would fall or tip."""


def complementary(M: Array, q: Array) -> Array:
    """Return openings z (n,) with z >= 0, q + M z >= 0 and z (q + M z) = 0.

    Parameters
    ----------
    M : Array (n, n)
        Symmetric, no eigenvalue below zero.
    q : Array (n,)

    Raises
    ------
    NoContact
        If there are none.
    """
    z = np.zeros(len(q))
    if len(q) == 0 or q.min() >= 0.0:
        return z
    answers = np.diag(M)
    # rows of the others are nil too, for M is never negative
    moved = answers > _DETERMINATE * answers.max()
    if q[~moved].min(initial=0.0) < -_NOTHING * np.abs(q).max():
        raise NoContact("no openings let the seats that can only push carry the load")
    if q[moved].min(initial=0.0) >= 0.0:
        return z
    scale = 1.0 / np.sqrt(answers[moved])
    scaled, right = M[np.ix_(moved, moved)] * scale * scale[:, None], q[moved] * scale
    open_ = _lemke(scaled, right / np.abs(right).max())
    own = np.zeros(len(scale))
    if open_:
        own[open_] = np.linalg.solve(scaled[np.ix_(open_, open_)], -right[open_])
    z[moved] = np.maximum(own, 0.0) * scale
    return z


def _lemke(M: Array, q: Array) -> list[int]:
    """Return the numbers of the seats that open, by Lemke's pivots with lexicographic ties."""
    n = len(q)
    # columns: w (n), z (n), the artificial one, right-hand side
    table = np.hstack([np.eye(n), -M, -np.ones((n, 1)), q[:, None]])
    basis = list(range(n))
    leaving = _first(table, np.arange(n), np.ones(n))
    entering = 2 * n
    for _ in range(50 * n + 1000):
        _pivot(table, leaving, entering)
        basis[leaving], left = entering, basis[leaving]
        if left == 2 * n:
            return sorted(b - n for b in basis if n <= b < 2 * n)
        entering = left + n if left < n else left - n
        column = table[:, entering]
        rows = np.flatnonzero(column > _PIVOT)
        if len(rows) == 0:
            raise NoContact("no openings let the seats that can only push carry the load")
        leaving = _first(table, rows, column)
        artificial = basis.index(2 * n)
        ratio = table[leaving, -1] / column[leaving]
        # where the artificial column may leave as well, it leaves: that is the end
        if artificial in rows and table[artificial, -1] <= (ratio + _TIE) * column[artificial]:
            leaving = artificial
    raise NoContact("the contact of the seats was not found in the pivots allowed")


def _first(table: Array, rows: Array, column: Array) -> int:
    """Return the row with the least right-hand side over the column, ties by its inverse."""
    n = len(table)
    keys = np.hstack([table[rows, -1:], table[rows, :n]]) / column[rows, None]
    best = np.arange(len(rows))
    for key in keys.T:
        best = best[key[best] <= key[best].min() + _TIE]
        if len(best) == 1:
            break
    return int(rows[best[0]])


def _pivot(table: Array, row: int, column: int) -> None:
    table[row] /= table[row, column]
    factors = table[:, column].copy()
    factors[row] = 0.0
    table -= np.outer(factors, table[row])


@dataclass(frozen=True, eq=False)
class Touch:
    """Which seats carry, in one state.

    Parameters
    ----------
    reactions : Array (n,)
        [N]; zero where a seat has opened.
    openings : Array (n,)
        How far each seat has opened [m].
    effective : Array (n,)
        Moves with which two-way seats would bring the same state: move plus opening [m].
    carries : Array (n,) of bool
    loose : tuple of str
        Seats without force whose openings the stiffness does not settle; empty: unique.
    """

    reactions: Array
    openings: Array
    effective: Array
    carries: Array
    loose: tuple[str, ...]


class EquilibriumCheck(Protocol):
    """What knows whether a state is in balance."""

    def require(self, reactions: Array, effective: Array) -> None:
        """Refuse a state that does not balance.

        Parameters
        ----------
        reactions : Array (n,)
            [N]; zero where a seat has opened.
        effective : Array (n,)
            Move plus opening of every seat [m].

        Raises
        ------
        StructureError
            With what does not balance, and where.
        """


@dataclass(frozen=True, eq=False)
class Contact:
    """A structure on seats of which some only push; two-way matrices and how it stands.

    Parameters
    ----------
    seats : tuple of str
    one_way : Array (n,) of bool
    q : Array (n,)
        Reactions with no seat moved or opened, were all of them two-way [N].
    R : Array (n, n)
        Change of reactions for a unit move of each seat, all two-way [N/m].
    balance : EquilibriumCheck, optional
        What every state is held against.
    """

    seats: tuple[str, ...]
    one_way: Array
    q: Array
    R: Array
    balance: EquilibriumCheck | None = None

    def at(self, x: Array) -> Touch:
        """Return the state for moves x (n,) [m].

        Raises
        ------
        NoContact
            If the seats that can only push cannot carry the structure.
        StructureError
            If forces and moments do not balance, with where.
        """
        r = self.q + self.R @ x
        own = np.flatnonzero(self.one_way)
        z = np.zeros(len(x))
        try:
            z[own] = complementary(self.R[np.ix_(own, own)], r[own])
        except NoContact as error:
            down = ", ".join(self.seats[i] for i in own if r[i] < 0.0)
            raise NoContact(
                f"{error}: without pull at {down} the structure tips or falls; check weight and "
                "seats, or say one_way = no in frame_seats.csv where a seat is tied down"
            ) from None
        reactions = r + self.R @ z
        opened = z > 0.0
        reactions[opened] = 0.0
        reactions[own] = np.maximum(reactions[own], 0.0)
        size = max(1.0, float(np.abs(reactions).max(initial=0.0)))
        if self.balance is not None:
            self.balance.require(reactions, x + z)
        idle = self.one_way & (reactions <= 1e-9 * size)
        return Touch(reactions, z, x + z, ~idle, self._loose(idle))

    def _loose(self, idle: Array) -> tuple[str, ...]:
        """Seats whose openings could be others: those a motion without resistance would open."""
        own = np.flatnonzero(idle)
        if len(own) == 0:
            return ()
        block = self.R[np.ix_(own, own)]
        scale = 1.0 / np.sqrt(np.maximum(np.diag(block), 1e-300))
        values, vectors = np.linalg.eigh(block * scale * scale[:, None])
        free = np.abs(vectors[:, values < _LOOSE]).max(axis=1, initial=0.0)
        return tuple(self.seats[i] for i, f in zip(own, free, strict=True) if f > 1e-6)

    def tangent(self, carries: Array) -> Array:
        """Return how effective moves answer to moves (n, n) while the same seats carry.

        Matrices of the structure as it stands are those of two-way seats times this one.
        """
        n = len(self.seats)
        E = np.zeros((n, n))
        on, off = np.flatnonzero(carries), np.flatnonzero(~carries)
        E[on, on] = 1.0
        if len(off):
            block, side = self.R[np.ix_(off, off)], self.R[np.ix_(off, on)]
            E[np.ix_(off, on)] = -np.linalg.lstsq(block, side, rcond=_LOOSE)[0]
        return E
