"""Sums of squares as quadratic forms: added up, and the least over some of their variables.

``x' H x - 2 c . x + k`` with H positive semi-definite. Eliminating variables leaves the least
that the form can be over them, again such a form: a Schur complement.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.frames import Array

#: curvature below this share of the greatest is taken for none
_FLAT: Final = 1e-11
#: slope in a flat direction, as a share of the greatest, that is more than rounding
_SLOPE: Final = 1e-8


@dataclass(frozen=True, eq=False)
class QuadraticForm:
    """``x' H x - 2 c . x + k`` with H (n, n) positive semi-definite, c (n,)."""

    H: Array
    c: Array
    k: float

    def __add__(self, other: QuadraticForm) -> QuadraticForm:
        return QuadraticForm(self.H + other.H, self.c + other.c, self.k + other.k)

    def wider(self, m: int) -> QuadraticForm:
        """Return the same form with m more variables that it does not see."""
        return QuadraticForm(np.pad(self.H, (0, m)), np.pad(self.c, (0, m)), self.k)

    def root(self) -> tuple[Array, Array, float]:
        """Return R (r, n), z (r,) and base with the form equal to ``base + |R x - z|^2``.

        The base is minus infinity where the form has no least value.
        """
        half, size, fall = _half(self.H, self.c)
        d = half.T @ self.c
        return (half * size).T, d, self.k - float(d @ d) - fall


def squares(M: Array, h: Array) -> QuadraticForm:
    """Return ``|M x - h|^2`` as a form.

    Parameters
    ----------
    M : Array (m, n)
    h : Array (m,)

    Examples
    --------
    >>> squares(np.array([[2.0]]), np.array([6.0])).root()[2]
    0.0
    """
    return QuadraticForm(M.T @ M, M.T @ h, float(h @ h))


def nothing(n: int) -> QuadraticForm:
    """Return the form that is zero everywhere."""
    return QuadraticForm(np.zeros((n, n)), np.zeros(n), 0.0)


def least_over_first(form: QuadraticForm, n: int) -> QuadraticForm:
    """Return the least of a form over its first n variables, as a form in the others.

    Parameters
    ----------
    form : QuadraticForm
    n : int
        Variables to eliminate; the others keep their order.
    """
    first, cross, rest = form.H[:n, :n], form.H[n:, :n], form.H[n:, n:]
    half, _, fall = _half(first, form.c[:n])
    G, d = cross @ half, half.T @ form.c[:n]
    return QuadraticForm(rest - G @ G.T, form.c[n:] - G @ d, form.k - float(d @ d) - fall)


def _half(H: Array, c: Array) -> tuple[Array, Array, float]:
    """Return V with V V' the pseudo-inverse of H, the curvatures of its columns, and the fall.

    The form falls without end where it slopes in a direction in which it is flat.
    """
    size, vectors = np.linalg.eigh(H)
    keep = size > _FLAT * max(float(size.max(initial=0.0)), 1e-300)
    slope = np.abs(vectors[:, ~keep].T @ c).max(initial=0.0)
    falls = slope > _SLOPE * max(float(np.abs(c).max(initial=0.0)), 1e-300)
    return vectors[:, keep] / np.sqrt(size[keep]), size[keep], np.inf if falls else 0.0
