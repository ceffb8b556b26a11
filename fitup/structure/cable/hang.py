"""Hang a cable: find its tension from where its ends are, or its length from its tension.

The complementary energy U(t) of :mod:`fitup.structure.cable.catenary` less t.d is convex in the
tension t, and least where the ends are d apart: Newton with a line search goes down and cannot
cycle, however taut or slack the cable.
"""

from __future__ import annotations

from math import exp, hypot, isfinite, log, log1p, sqrt, tanh

import numpy as np

from fitup.errors import StructureError
from fitup.structure.cable.catenary import LEAST_SPAN, Cable, Catenary, Integrals

_MOST_STEPS = 80


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
    (40.0, 26.544)
    """
    _sensible(cable, span, rise)
    length, weight = cable.warm_length, cable.warm_weight
    span = max(span, LEAST_SPAN * length)
    if weight == 0.0 and hypot(span, rise) <= length:
        raise StructureError(
            f"cable {cable.id}: has no weight and is {length - hypot(span, rise):.4f} m longer "
            "than its ends are apart, so nothing says how it hangs; give its weight or shorten it"
        )
    h, z = first_tension(cable, span, rise)
    parts = Integrals.of(h, z, length, weight)
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
        parts = Integrals.of(h, z, length, weight)
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
        parts = Integrals.of(h, z, cable.warm_length, cable.warm_weight)
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


def first_tension(cable: Cable, span: float, rise: float) -> tuple[float, float]:
    """Return a first tension at end i: of the stretched parabola, or of the slack catenary.

    Parameters
    ----------
    cable : Cable
    span, rise : float
        Level distance of the ends (above zero), and how far end j is above end i [m].

    Returns
    -------
    tuple of two float
        Level and upward part at end i, towards end j [N].
    """
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


def compressed(name: str, force: float) -> StructureError:
    """Return the error for a cable that would have to push.

    Parameters
    ----------
    name : str
        Id of the cable.
    force : float
        [N]; stated without its sign.
    """
    return StructureError(
        f"cable {name}: in compression at the start ({abs(force) / 1e3:.1f} kN); a cable only "
        "pulls: check its tension, or its unstressed length against where its ends are"
    )


def length_for_tension(cable: Cable, span: float, rise: float, tension: float) -> float:
    """Return the unstressed length [m] with which a cable pulls at end j with a given tension.

    Of two such lengths, taut and slack, the taut one.

    Parameters
    ----------
    cable : Cable
        Its ``length`` is not looked at.
    span, rise : float
        Level distance of the ends, and how far end j is above end i [m].
    tension : float
        At end j [N].

    Raises
    ------
    StructureError
        If the tension is not above zero, or the cable's own weight pulls more however it is hung.
    """
    from scipy.optimize import brentq

    chord = hypot(span, rise)
    if not tension > 0.0:
        raise compressed(cable.id, tension)

    def excess(length: float) -> float:
        trial = Cable(cable.id, length, cable.EA, cable.weight, cable.strain)
        return hang(trial, span, rise).tensions[1] - tension

    if cable.weight == 0.0:
        return chord / (1.0 + tension / cable.EA) / (1.0 + cable.strain)
    # so short that even its lower end pulls more
    low = chord / (1.0 + (tension + cable.weight * chord) / cable.EA) / (1.0 + cable.strain)
    step, last = 1e-6 * chord, excess(low)
    while True:
        now = excess(low + step)
        if now <= 0.0:
            return float(brentq(excess, low, low + step, xtol=1e-13 * chord, rtol=1e-15))
        if now >= last and step > 1e-3 * chord:
            raise StructureError(
                f"cable {cable.id}: a tension of {tension / 1e3:.1f} kN is less than its own "
                f"weight asks for (about {(last + tension) / 1e3:.1f} kN); check tension and weight"
            )
        low, last, step = low + step, now, step * 2.0
