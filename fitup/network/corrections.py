"""Corrections to what was read: prism and air on the distance; curvature, refraction and scale.

Prism and air are added to the distance here. Curvature, refraction and scale belong to the
geometry of a sight, so the equations carry them; :func:`shown` says how much they come to.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from fitup.model import NetworkRules
from fitup.network.atmosphere import velocity_correction
from fitup.network.faces import Pointing
from fitup.network.observations import ObservationSet, Setup, Sight


def sights(
    read: ObservationSet, pointings: Sequence[Pointing], rules: NetworkRules
) -> tuple[Sight, ...]:
    """Return every set corrected for prism constant and air.

    Parameters
    ----------
    read : ObservationSet
    pointings : sequence of Pointing
        One a set, faces meant.
    rules : NetworkRules
        Which of the two corrections are on.
    """
    count = Counter((p.shot.setup, p.shot.target) for p in pointings)
    return tuple(
        _sight(read.setups[p.shot.setup], p, rules, count[p.shot.setup, p.shot.target])
        for p in pointings
    )


def _sight(setup: Setup, pointing: Pointing, rules: NetworkRules, sets: int) -> Sight:
    shot, instrument = pointing.shot, setup.instrument
    velocity = 0.0
    if (
        rules.air
        and pointing.sd is not None
        and shot.air is not None
        and instrument.wavelength is not None
        and instrument.reference is not None
    ):
        share = velocity_correction(instrument.wavelength, instrument.reference, shot.air)
        velocity = share * pointing.sd
    prism = shot.prism if rules.prism and pointing.sd is not None else 0.0
    sd = None if pointing.sd is None else pointing.sd + prism + velocity
    return Sight(
        setup=shot.setup,
        target=shot.target,
        set=shot.set,
        sets=sets,
        hz=pointing.hz,
        v=pointing.v,
        sd=sd,
        faces=pointing.faces,
        target_height=shot.target_height,
        velocity=velocity,
        prism=prism,
        row=shot.row,
    )


@dataclass(frozen=True, slots=True)
class CorrectionSizes:
    """What each correction came to over all sights: the greatest amount either way [m]."""

    name: str
    on: bool
    greatest: float
    says: str


def curve(rules: NetworkRules, *, light: bool) -> float:
    """Return what the height of a sight loses, per square of its length [1/m].

    Parameters
    ----------
    rules : NetworkRules
        With the refraction coefficient and the earth radius; 0 is returned with curvature off.
    light : bool
        With the bending of the line of sight taken off; False: the curvature of the earth alone.

    Examples
    --------
    >>> round(curve(NetworkRules(), light=True) * 300.0**2 * 1e3, 2)
    6.15
    """
    if not rules.curvature:
        return 0.0
    bent = rules.refraction if light else 0.0
    return (1.0 - bent) / (2.0 * rules.earth_radius)


def grid_scale(rules: NetworkRules, height: float) -> float:
    """Return grid distance over distance at the height of a set-up.

    Parameters
    ----------
    rules : NetworkRules
        With the projection scale.
    height : float
        Above sea level [m]; counts only where the sea level reduction is on.
    """
    sea = rules.earth_radius / (rules.earth_radius + height) if rules.sea_level else 1.0
    return rules.projection_scale * sea


def shown(seen: Sequence[Sight], rules: NetworkRules, height: float) -> tuple[CorrectionSizes, ...]:
    """Say of every correction whether it is on, and the most it came to.

    Parameters
    ----------
    seen : sequence of Sight
    rules : NetworkRules
    height : float
        Mean height of the set-ups [m].
    """
    flat = [s.sd * math.sin(s.v) for s in seen if s.sd is not None and s.v is not None]
    longest = max(flat, default=0.0)
    both = any(s.faces == 2 for s in seen)
    how = "by the mean of two faces"
    if not rules.collimation and any(s.faces == 1 for s in seen):
        how += "; pointings in one face as they were read"
    ppm = (grid_scale(rules, height) - 1.0) * 1e6
    return (
        CorrectionSizes("collimation and index", both, 0.0, how),
        CorrectionSizes(
            "prism constant",
            any(s.prism for s in seen),
            max((abs(s.prism) for s in seen), default=0.0),
            "added to the distance",
        ),
        CorrectionSizes(
            "air",
            rules.air and any(s.velocity for s in seen),
            max((abs(s.velocity) for s in seen), default=0.0),
            "first velocity correction, IAG 1999",
        ),
        CorrectionSizes(
            "curvature and refraction",
            rules.curvature,
            curve(rules, light=True) * longest**2,
            f"on the height, coefficient {rules.refraction:g}",
        ),
        CorrectionSizes(
            "projection and sea level",
            ppm != 0.0,
            abs(ppm) * 1e-6 * longest,
            f"{ppm:.1f} ppm on horizontal distances",
        ),
    )
