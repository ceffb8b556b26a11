"""The elastic catenary: a cable under its own weight between two ends, taut or slack.

The tension along the cable, as a vector from end i towards end j, is t(s) = (h, z1 + w s), with s
the unstressed length from end i, h its level and z its upward part. By Hooke's law its ends are
apart by

    d = integral over s of t (1/EA + 1/|t|)

which is the gradient of the complementary energy U(t1) = integral of (|t|^2 / 2EA + |t|) [1]; the
flexibility is its second derivative, symmetric and positive. The integrals are written so that
nothing cancels as the weight goes to zero, the cable comes taut or hangs doubled.

Heat makes the cable longer by its strain; weight and EA stay those of the same piece.

References
----------
.. [1] H. M. Irvine, Cable Structures, MIT Press 1981, section 1.3.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atanh, hypot, log

import numpy as np

from fitup.frames import Array

#: a cable whose ends lie on one plumb line is given this much span, as a share of its length
LEAST_SPAN = 1e-9


@dataclass(frozen=True, slots=True)
class Cable:
    """What a cable is, wherever its ends are.

    Parameters
    ----------
    id : str
    length : float
        Unstressed, at the reference temperature [m].
    EA : float
        Axial stiffness [N].
    weight : float
        Weight per unstressed length [N/m].
    strain : float
        Thermal strain; longer when warmer [m/m].
    """

    id: str
    length: float
    EA: float
    weight: float
    strain: float = 0.0

    @property
    def warm_length(self) -> float:
        """Unstressed length at its temperature [m]."""
        return self.length * (1.0 + self.strain)

    @property
    def warm_weight(self) -> float:
        """Weight per warm unstressed length [N/m]."""
        return self.weight / (1.0 + self.strain)


@dataclass(frozen=True, slots=True)
class Catenary:
    """A cable hung between two ends.

    Parameters
    ----------
    cable : Cable
    span, rise : float
        Level distance of the ends, and how far end j is above end i [m].
    level, start : float
        Level part of the tension, and its upward part at end i, towards end j [N].
    """

    cable: Cable
    span: float
    rise: float
    level: float
    start: float

    @property
    def end(self) -> float:
        """Upward part of the tension at end j [N]."""
        return self.start + self.cable.weight * self.cable.length

    @property
    def tensions(self) -> tuple[float, float]:
        """Tension at end i and at end j [N]."""
        return hypot(self.level, self.start), hypot(self.level, self.end)

    def tension(self, s: float) -> float:
        """Tension at warm unstressed length s from end i [N]."""
        return hypot(self.level, self.start + self.cable.warm_weight * s)

    def place(self, s: float) -> tuple[float, float]:
        """Level distance and rise from end i to the point at warm unstressed length s [m]."""
        parts = Integrals.of(self.level, self.start, s, self.cable.warm_weight)
        return parts.apart(s, self.cable.EA)

    @property
    def mean_tension(self) -> float:
        """Mean tension along the cable [N]."""
        length = self.cable.warm_length
        return Integrals.of(self.level, self.start, length, self.cable.warm_weight).work / length

    @property
    def stretched(self) -> float:
        """Length under load [m]."""
        length = self.cable.warm_length
        return length * (1.0 + self.mean_tension / self.cable.EA)

    @property
    def sag(self) -> float:
        """Greatest depth below the straight line between the ends, plumb [m]."""
        if self.cable.weight == 0.0 or self.span <= LEAST_SPAN * self.cable.length:
            return 0.0
        slope = self.rise / self.span
        s = (self.level * slope - self.start) / self.cable.warm_weight
        x, y = self.place(min(max(s, 0.0), self.cable.warm_length))
        return slope * x - y

    def flexibility(self) -> tuple[float, float, float, float]:
        """Movement of end j for a change of tension: level, upward, mixed, and sideways [m/N]."""
        length = self.cable.warm_length
        parts = Integrals.of(self.level, self.start, length, self.cable.warm_weight)
        return parts.flexibility(length, self.cable.EA)


@dataclass(frozen=True, slots=True)
class Integrals:
    """The integrals over a cable, each in a form that does not cancel.

    ``inverse`` is the integral of 1/T, ``squares`` that of h^2/T^3, ``mixed`` that of h z/T^3 and
    ``work`` that of T. With T1, T2 the end tensions, w L their difference as vectors and
    u = w L / (T1 + T2), the first is 2 artanh(u) / w = L / mean(T1, T2) * artanh(u) / u.
    """

    level: float
    ends: float
    """z1 + z2."""
    around: float
    """T1 + T2."""
    inverse: float
    squares: float
    mixed: float
    work: float

    @classmethod
    def of(cls, h: float, z1: float, length: float, weight: float) -> Integrals:
        """Return the integrals over a cable, or over a part of it from end i.

        Parameters
        ----------
        h, z1 : float
            Level and upward part of the tension at end i, towards end j [N].
        length : float
            Unstressed, warm [m].
        weight : float
            Per unstressed, warm length [N/m].
        """
        gain = weight * length
        z2 = z1 + gain
        T1, T2 = hypot(h, z1), hypot(h, z2)
        around, product = T1 + T2, T1 * T2
        # T1 + T2 - w L, where a cable hangs doubled the difference of nearly equal numbers
        rest = _sum(h, T1, z1) + _sum(h, T2, -z2)
        inverse = 2.0 * length / around * _artanhc(gain / around, rest / around)
        across = product - z1 * z2
        if z1 * z2 > 0.0:
            across = h * h * (h * h + z1 * z1 + z2 * z2) / (product + z1 * z2)
        squares = length * (h * h + across) / (around * product)
        mixed = length * h * (z1 + z2) / (around * product)
        work = 0.5 * (length * (z1 * (z1 + z2) / around + T2) + h * h * inverse)
        return cls(h, z1 + z2, around, inverse, squares, mixed, work)

    def apart(self, length: float, EA: float) -> tuple[float, float]:
        """Return the level distance and the rise between the ends [m].

        Parameters
        ----------
        length : float
            That of the integrals [m].
        EA : float
            Axial stiffness [N].
        """
        across = self.level * (length / EA + self.inverse)
        up = length * self.ends * (0.5 / EA + 1.0 / self.around)
        return across, up

    def flexibility(self, length: float, EA: float) -> tuple[float, float, float, float]:
        """Return level, upward, mixed and sideways flexibility [m/N].

        Parameters
        ----------
        length : float
            That of the integrals [m].
        EA : float
            Axial stiffness [N].

        Returns
        -------
        tuple of four float
            Movement of end j against end i for a unit more of tension; mixed is the level movement
            for an upward unit, and the other way about.
        """
        stretch = length / EA
        return (
            stretch + self.inverse - self.squares,
            stretch + self.squares,
            -self.mixed,
            stretch + self.inverse,
        )


def _artanhc(u: float, rest: float) -> float:
    """Return artanh(u) / u from u and 1 - u, also at zero."""
    if u > 0.5:
        return 0.5 * log((1.0 + u) / rest) / u
    return atanh(u) / u if u > 1e-4 else 1.0 + u * u / 3.0


def _sum(h: float, T: float, z: float) -> float:
    """Return T + z for T^2 = h^2 + z^2, also where z is near -T."""
    return T + z if z >= 0.0 else h * h / (T - z)


def tangent_stiffness(line: Catenary, towards: Array) -> Array:
    """Return the stiffness (3, 3) [N/m] of one end against the other.

    Parameters
    ----------
    line : Catenary
    towards : Array (3,)
        Level unit vector from end i to end j, height last.
    """
    fxx, fyy, fxy, sideways = line.flexibility()
    det = fxx * fyy - fxy * fxy
    up = np.array([0.0, 0.0, 1.0])
    aside = np.cross(up, towards)
    mixed = np.outer(towards, up)
    return (
        fyy / det * np.outer(towards, towards)
        + fxx / det * np.outer(up, up)
        - fxy / det * (mixed + mixed.T)
        + np.outer(aside, aside) / sideways
    )
