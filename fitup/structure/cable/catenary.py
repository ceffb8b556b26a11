"""The elastic catenary: a cable under its own weight between two ends, taut or slack.

The tension along the cable, as a vector from end i towards end j, is t(s) = (h, z1 + w s) with s the
unstressed length from end i, h its level part and z its upward part. By Hooke's law the ends are
apart by

    d = integral over s of t (1/EA + 1/|t|)

which is the gradient of the complementary energy U(t1) = integral of (|t|^2 / 2EA + |t|) [1, 2].
U is convex, so finding t1 for given ends is a convex problem: Newton with a line search cannot
cycle, and the flexibility, its second derivative, is symmetric and positive. The integrals are
written so that nothing cancels as the weight goes to zero or the cable comes taut.

Heat makes the cable longer by its strain; weight and EA stay those of the same piece.

References
----------
.. [1] H. M. Irvine, Cable Structures, MIT Press 1981, section 1.3.
.. [2] H. B. Jayaraman and W. C. Knudson, A curved element for the analysis of cable structures,
   Computers & Structures 14 (1981) 325-333. Start values of the slack cable. From memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atanh, exp, hypot, isfinite, log, log1p, sqrt, tanh

import numpy as np

from fitup.errors import StructureError
from fitup.frames import Array

_MOST_STEPS = 80
#: a cable that hangs from one plumb line is given this much span, as a share of its length
_LEAST_SPAN = 1e-9


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
        parts = _Parts.of(self.level, self.start, s, self.cable.warm_weight)
        return parts.apart(s, self.cable.EA)

    @property
    def mean_tension(self) -> float:
        """Mean tension along the cable [N]."""
        length = self.cable.warm_length
        return _Parts.of(self.level, self.start, length, self.cable.warm_weight).work / length

    @property
    def stretched(self) -> float:
        """Length under load [m]."""
        length = self.cable.warm_length
        return length * (1.0 + self.mean_tension / self.cable.EA)

    @property
    def sag(self) -> float:
        """Greatest depth below the straight line between the ends, plumb [m]."""
        if self.cable.weight == 0.0 or self.span <= _LEAST_SPAN * self.cable.length:
            return 0.0
        slope = self.rise / self.span
        s = (self.level * slope - self.start) / self.cable.warm_weight
        x, y = self.place(min(max(s, 0.0), self.cable.warm_length))
        return slope * x - y

    def flexibility(self) -> tuple[float, float, float, float]:
        """Movement of end j for a change of tension: level, upward, mixed, and sideways [m/N]."""
        length = self.cable.warm_length
        parts = _Parts.of(self.level, self.start, length, self.cable.warm_weight)
        return parts.flexibility(length, self.cable.EA)

    def lengthened(self) -> tuple[float, float]:
        """Level and upward movement of end j for a unit more of unstressed length at end j."""
        tension = self.tensions[1]
        stretch = (1.0 / self.cable.EA + 1.0 / tension) * (1.0 + self.cable.strain)
        return self.level * stretch, self.end * stretch


@dataclass(frozen=True, slots=True)
class _Parts:
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
    def of(cls, h: float, z1: float, length: float, weight: float) -> _Parts:
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
        across = self.level * (length / EA + self.inverse)
        up = length * self.ends * (0.5 / EA + 1.0 / self.around)
        return across, up

    def flexibility(self, length: float, EA: float) -> tuple[float, float, float, float]:
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


def hang(cable: Cable, span: float, rise: float) -> Catenary:
    """Hang a cable between two ends.

    Parameters
    ----------
    cable : Cable
    span, rise : float
        Level distance of the ends (not below zero), and how far end j is above end i [m].

    Raises
    ------
    StructureError
        If the cable has no length, stiffness or weight to speak of, or the search for its tension
        does not come to an end.

    Examples
    --------
    >>> line = hang(Cable("C", 100.0, 1e12, 10.0), 80.0, 0.0)
    >>> round(line.place(50.0)[0], 6), round(line.sag, 3)
    (40.0, 26.619)
    """
    _sensible(cable, span, rise)
    length, weight = cable.warm_length, cable.warm_weight
    span = max(span, _LEAST_SPAN * length)
    h, z = _start(cable, span, rise)
    if weight == 0.0 and hypot(span, rise) <= length:
        raise StructureError(
            f"cable {cable.id}: has no weight and is {length - hypot(span, rise):.4f} m longer than "
            "its ends are apart, so nothing says how it hangs; give its weight or shorten it"
        )
    parts = _Parts.of(h, z, length, weight)
    scale = max(length, hypot(span, rise))
    for _ in range(_MOST_STEPS):
        x, y = parts.apart(length, cable.EA)
        gx, gy = x - span, y - rise
        fxx, fyy, fxy, _ = parts.flexibility(length, cable.EA)
        det = fxx * fyy - fxy * fxy
        dh, dz = -(fyy * gx - fxy * gy) / det, -(fxx * gy - fxy * gx) / det
        tension = 0.5 * parts.around
        off, change = hypot(gx, gy), hypot(dh, dz)
        if off <= 2e-14 * scale or (off <= 1e-13 * scale and change <= 1e-9 * tension):
            # as near as numbers of this size can come
            return Catenary(cable, span, rise, h + dh, z + dz)
        step = _line_search(cable, (span, rise), (h, z), (dh, dz), gx * dh + gy * dz)
        h, z = h + step * dh, z + step * dz
        parts = _Parts.of(h, z, length, weight)
    raise StructureError(
        f"cable {cable.id}: no tension found for {length:.4f} m of cable between ends "
        f"{hypot(span, rise):.4f} m apart after {_MOST_STEPS} steps; check its unstressed length, "
        "EA and weight, units first"
    )


def _line_search(
    cable: Cable,
    apart: tuple[float, float],
    at: tuple[float, float],
    way: tuple[float, float],
    slope: float,
) -> float:
    """Return a share of a Newton step that lowers U - t.d, or nearly ends its slope."""

    def energy(h: float, z: float) -> tuple[float, float]:
        parts = _Parts.of(h, z, cable.warm_length, cable.warm_weight)
        x, y = parts.apart(cable.warm_length, cable.EA)
        gain = cable.warm_weight * cable.warm_length
        middle = (h * h + (z + 0.5 * gain) ** 2 + gain * gain / 12.0) / (2.0 * cable.EA)
        value = cable.warm_length * middle + parts.work - h * apart[0] - z * apart[1]
        return value, (x - apart[0]) * way[0] + (y - apart[1]) * way[1]

    first, share = energy(*at)[0], 1.0
    if -slope <= 1e-13 * cable.warm_length * hypot(*at):
        # less than the energy can be told apart by
        return share
    while share > 1e-12:
        value, now = energy(at[0] + share * way[0], at[1] + share * way[1])
        if value <= first + 1e-4 * share * slope or abs(now) <= 0.1 * abs(slope):
            break
        share *= 0.5
    return share


def _start(cable: Cable, span: float, rise: float) -> tuple[float, float]:
    """Return a first tension at end i: of the stretched parabola, or of the slack catenary."""
    length, weight = cable.warm_length, cable.warm_weight
    chord = hypot(span, rise)
    reach = length * length - rise * rise
    if weight > 0.0 and reach > 2.0 * span * span:
        bend = _bend(sqrt(reach) / span)
        h, mean = 0.5 * weight * span / bend, 0.5 * weight * rise / tanh(bend)
    else:
        pull = _parabola(cable.EA, length / chord - 1.0, (weight * span) ** 2 / 24.0)
        h, mean = pull * span / chord, pull * rise / chord
    return h, mean - 0.5 * weight * length


def _parabola(EA: float, slack: float, load: float) -> float:
    """Return T with T^2 (T/EA + slack) = load: the chord tension of a shallow parabola.

    Newton from above on a rising convex function: it only comes down.
    """
    pull = max(-slack * EA, 0.0) + float(np.cbrt(load * EA))
    for _ in range(30):
        step = (pull * pull * (pull / EA + slack) - load) / (pull * (3.0 * pull / EA + 2.0 * slack))
        pull -= step
        if step <= 1e-6 * pull:
            break
    return pull


def _bend(ratio: float) -> float:
    """Return b with sinh(b)/b = ratio, above 1.4: the catenary that does not stretch."""
    b = log(2.0 * ratio) + log(max(log(2.0 * ratio), 1.0))
    for _ in range(6):
        # the logarithm of sinh(b)/b, which does not overflow
        value = b + log1p(-exp(-2.0 * b)) - log(2.0 * b)
        b -= (value - log(ratio)) / (1.0 / tanh(b) - 1.0 / b)
    return b


def _sensible(cable: Cable, span: float, rise: float) -> None:
    name = f"cable {cable.id}"
    if not all(isfinite(v) for v in (span, rise, cable.length, cable.EA, cable.weight)):
        raise StructureError(f"{name}: its ends, length, EA or weight are not numbers")
    if cable.warm_length <= 0.0 or cable.EA <= 0.0 or cable.weight < 0.0:
        raise StructureError(
            f"{name}: unstressed length {cable.length:g} m, EA {cable.EA / 1e3:g} kN, weight "
            f"{cable.weight:g} N/m; length and EA must be above zero, the weight not below it"
        )


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


def compressed(name: str, force: float) -> StructureError:
    """Return the error for a cable that would have to push."""
    return StructureError(
        f"cable {name}: in compression at the start ({abs(force) / 1e3:.1f} kN); a cable only "
        "pulls: check its tension, or its unstressed length against where its ends are"
    )


def length_for_tension(cable: Cable, span: float, rise: float, tension: float) -> float:
    """Return the unstressed length [m] with which a cable pulls at end j with a given tension.

    Of two such lengths, taut and slack, the taut one. ``cable.length`` is not looked at.

    Raises
    ------
    StructureError
        If the cable's own weight pulls more than that however it is hung.
    """
    from scipy.optimize import brentq

    chord = hypot(span, rise)
    if not tension > 0.0:
        raise compressed(cable.id, tension)

    def excess(length: float) -> float:
        trial = Cable(cable.id, length, cable.EA, cable.weight, cable.strain)
        return hang(trial, span, rise).tensions[1] - tension

    short = chord / (1.0 + tension / cable.EA) / (1.0 + cable.strain)
    if excess(short) <= 0.0:
        # without weight the straight cable is the answer already
        return short
    step = 1e-6 * chord
    low, last = short, excess(short)
    while True:
        now = excess(low + step)
        if now <= 0.0:
            return float(brentq(excess, low, low + step, xtol=1e-13 * chord, rtol=1e-15))
        if now >= last and step > 1e-3 * chord:
            raise StructureError(
                f"cable {cable.id}: a tension of {tension / 1e3:.1f} kN is less than its own weight "
                f"asks for (about {(last + tension) / 1e3:.1f} kN); check tension and weight"
            )
        low, last, step = low + step, now, step * 2.0
