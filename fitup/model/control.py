"""What the survey hangs on: control points, instruments, and how a network is to be adjusted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from fitup.frames import Array


@dataclass(frozen=True, eq=False)
class ControlPoint:
    """A point beside the deck whose place is known, or that only ties set-ups together.

    Parameters
    ----------
    id : str
    use : {'weighted', 'held', 'tie'}
        Counted with its covariance, taken as exact, or without coordinates.
    position : Array (3,)
        Easting, northing, height [m]; nan where nothing is given.
    covariance : Array (3, 3)
        Of the coordinates that are given [m2]; zero where held.
    """

    id: str
    use: Literal["weighted", "held", "tie"]
    position: Array
    covariance: Array

    @property
    def given(self) -> Array:
        """Which of the three coordinates are given (3,)."""
        return ~np.isnan(self.position)


@dataclass(frozen=True, slots=True)
class Instrument:
    """How well an instrument measures, as ISO 17123-3 and -4 state it, and how it sees the air."""

    id: str
    u_hz: float
    """Standard uncertainty of a direction observed once in both faces [rad]."""
    u_v: float
    """The same of a zenith angle [rad]."""
    u_sd: float
    """Constant part of the standard uncertainty of a slope distance [m]."""
    u_sd_share: float = 0.0
    """Part that grows with the distance [m/m]."""
    centring: float = 0.0
    """Standard uncertainty of the instrument over a mark [m]."""
    target_centring: float = 0.0
    """Standard uncertainty of a prism over its mark [m]."""
    u_height: float = 0.0
    """Standard uncertainty of a measured height of instrument or target [m]."""
    wavelength: float | None = None
    """Carrier wavelength [um]; None: distances come corrected for the air."""
    reference: tuple[float, float, float] | None = None
    """Temperature [K], pressure [Pa], humidity [1] at which it displays true distances."""


@dataclass(frozen=True, slots=True)
class NetworkRules:
    """Which corrections are made to the observations, and what fixes the network."""

    datum: Literal["control", "free"] = "control"
    """Control as given, or a free network laid onto the control without being bent by it."""
    collimation: bool = True
    """Pointings in one face corrected by what the two-face sets of their set-up show."""
    prism: bool = True
    """Prism constants added to the distances."""
    air: bool = True
    """First velocity correction, where the instrument shows uncorrected distances."""
    curvature: bool = True
    """Curvature of the earth and of the line of sight."""
    refraction: float = 0.13
    """Coefficient of refraction."""
    projection_scale: float = 1.0
    """Grid distance over distance at sea level."""
    sea_level: bool = False
    """Reduce distances from the height of the set-up to sea level."""
    earth_radius: float = 6371e3
    """[m]"""
