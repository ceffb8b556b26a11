"""Factorise once, then one right-hand side for each load and each seat.

A deck is long and thin: put in order along its length, its stiffness is a narrow band, and the
band's own factor takes many right-hand sides several times faster than a general sparse one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from scipy.linalg import cho_solve_banded, cholesky_banded
from scipy.sparse import coo_array, csc_array, csr_array, diags_array
from scipy.sparse.csgraph import reverse_cuthill_mckee
from scipy.sparse.linalg import splu

from fitup.frames import Array


@dataclass(frozen=True, eq=False)
class Factor:
    """A symmetric stiffness (f, f), scaled to a unit diagonal and factorised.

    ``least`` is the eigenvalue of the scaled stiffness nearest to zero and ``softest`` (f,) its
    motion; ``definite`` says whether all of them are above zero.
    """

    scale: Array
    lu: _Solver
    least: float
    softest: Array
    definite: bool

    def solve(self, right: Array) -> Array:
        """Return the motions for one right-hand side (f,) or several (f, k)."""
        scale = self.scale if right.ndim == 1 else self.scale[:, None]
        return scale * self.lu.solve(scale * right)


class Singular(Exception):
    """The stiffness cannot be factorised; ``vector`` (f,) is a motion that meets no resistance.

    ``pushed`` where the motion is pushed on rather than not resisted.
    """

    def __init__(self, vector: Array, pushed: bool = False) -> None:
        self.vector, self.pushed = vector, pushed
        super().__init__("nothing resists this motion")


#: least share of a motion's own stiffness below which it counts as unresisted
LOOSE = 1e-13
#: an eigenvalue of the scaled stiffness further below zero than rounding
_FALLS: Final = 1e-9
#: wider bands go to the general sparse factor
_BAND: Final = 80


def factorise(stiffness: csc_array) -> Factor:
    """Factorise a symmetric stiffness (f, f).

    Raises
    ------
    Singular
        If a motion meets no resistance, with that motion.
    """
    diagonal = stiffness.diagonal()
    if (diagonal <= 0.0).any():
        raise Singular(np.where(diagonal <= 0.0, 1.0, 0.0), bool((diagonal < 0.0).any()))
    scale = 1.0 / np.sqrt(diagonal)
    scaled = csc_array(diags_array(scale) @ stiffness @ diags_array(scale))
    try:
        lu, definite = _factor(scaled)
    except RuntimeError:
        # an exact zero pivot: look for its motion a little beside
        beside, _ = _factor(csc_array(scaled + 1e-11 * diags_array(np.ones(len(scale)))))
        raise Singular(scale * _softest(scaled, beside)[1]) from None
    least, vector = _softest(scaled, lu)
    if least < LOOSE:
        raise Singular(scale * vector, least < -_FALLS)
    return Factor(scale, lu, least, scale * vector, definite)


class _Solver(Protocol):
    def solve(self, rhs: Array) -> Array: ...


@dataclass(frozen=True, eq=False)
class _Band:
    """The Cholesky factor of a narrow band: motions in the order along the structure."""

    order: Array
    factor: Array

    def solve(self, rhs: Array) -> Array:
        """Return the solution for one right-hand side (f,) or several (f, k)."""
        out = np.empty_like(rhs)
        out[self.order] = cho_solve_banded((self.factor, True), rhs[self.order], check_finite=False)
        return out


def _factor(matrix: csc_array) -> tuple[_Solver, bool]:
    """Return a factor, and whether the matrix is positive definite."""
    order = reverse_cuthill_mckee(csr_array(matrix), symmetric_mode=True)
    ordered = coo_array(matrix[order][:, order])
    row, column = ordered.coords
    width = int((row - column).max(initial=0))
    if width <= _BAND:
        band = np.zeros((width + 1, matrix.shape[0]))
        below = row >= column
        band[(row - column)[below], column[below]] = ordered.data[below]
        try:
            return _Band(order, cholesky_banded(band, lower=True, check_finite=False)), True
        except np.linalg.LinAlgError:
            # not definite: the general factor says more
            pass
    lu = splu(
        matrix,
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    # pivots taken from the diagonal have the signs of the eigenvalues
    straight = bool((lu.perm_r == lu.perm_c).all())
    return lu, straight and bool((lu.U.diagonal() > 0.0).all())


def _softest(scaled: csc_array, lu: _Solver) -> tuple[float, Array]:
    """Return the least eigenvalue of a scaled stiffness and its motion (f,), by inverse steps."""
    vector = np.cos(np.arange(scaled.shape[0]) * 1.7) + 1.5
    for _ in range(6):
        vector = lu.solve(vector)
        vector /= np.linalg.norm(vector)
    return float(vector @ (scaled @ vector)), vector
