"""What the survey hangs on: control points, instruments, and how a network is to be adjusted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Final, Literal

import numpy as np

from fitup.frames import Array
from fitup.model.column import column, grid

#: air that anyone surveys in [K, Pa], up to 5500 m; beyond, the unit of the column is wrong
#: (common practice, no source)
COLDEST: Final = 273.15 - 60.0
HOTTEST: Final = 273.15 + 60.0
THINNEST: Final = 50_000.0
DENSEST: Final = 110_000.0
#: no instrument for deck segments is coarser: 0.5 gon [rad]
_COARSE: Final = math.pi / 400.0


_SPREAD: Final = tuple(
    column(
        "length",
        f"the standard uncertainty of its {word}",
        "; needed where weighted",
        name=f"u_{axis}",
        default=None,
        above=0.0,
        most=10.0,
    )
    for axis, word in (("E", "easting"), ("N", "northing"), ("H", "height"))
)
_CORRELATION: Final = tuple(
    column(
        "number",
        f"the correlation of {words}",
        name=f"r_{axes}",
        default=0.0,
        least=-0.999,
        most=0.999,
    )
    for axes, words in (
        ("EN", "easting and northing"),
        ("EH", "easting and height"),
        ("NH", "northing and height"),
    )
)


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

    id: Annotated[
        str,
        column(
            "id", "the name of the point, as the observations use it", "; not a point of the deck"
        ),
    ]
    use: Annotated[
        Literal["weighted", "held", "tie"],
        column(
            "word",
            "weighted (by its uncertainty), held (exact), or tie (only joins set-ups)",
            words=("weighted", "held", "tie"),
        ),
    ]
    position: Annotated[Array, grid("", " of the point", needed=False)]
    covariance: Annotated[
        Array,
        _SPREAD,
        _CORRELATION,
    ]

    @property
    def given(self) -> Array:
        """Which of the three coordinates are given (3,)."""
        return ~np.isnan(self.position)


@dataclass(frozen=True, slots=True)
class Instrument:
    """How well an instrument measures, as ISO 17123-3 and -4 state it, and how it sees the air."""

    id: Annotated[str, column("id", "the name of the instrument")]
    u_hz: Annotated[
        float,
        column(
            "small_angle",
            "the standard uncertainty of a direction in both faces (ISO 17123-3)",
            above=0.0,
            most=_COARSE,
        ),
    ]
    """[rad]"""
    u_v: Annotated[
        float,
        column(
            "small_angle",
            "the standard uncertainty of a zenith angle in both faces (ISO 17123-3)",
            above=0.0,
            most=_COARSE,
        ),
    ]
    """[rad]"""
    u_sd: Annotated[
        float,
        column("length", "the constant part of the distance's (ISO 17123-4)", above=0.0, most=0.1),
    ]
    """[m]"""
    u_sd_share: Annotated[
        float,
        column(
            "number",
            "the part of it that grows with the distance, in millionths",
            name="u_sd_ppm",
            least=0.0,
            most=1000.0,
        ),
    ] = 0.0
    """[m/m]"""
    centring: Annotated[
        float,
        column(
            "length",
            "the standard uncertainty of the instrument over a mark",
            least=0.0,
            most=0.1,
        ),
    ] = 0.0
    """[m]"""
    target_centring: Annotated[
        float,
        column("length", "the standard uncertainty of a prism over its mark", least=0.0, most=0.1),
    ] = 0.0
    """[m]"""
    u_height: Annotated[
        float,
        column(
            "length",
            "the standard uncertainty of a measured height of instrument or target",
            least=0.0,
            most=0.1,
        ),
    ] = 0.0
    """[m]"""
    wavelength: Annotated[
        float | None,
        column(
            "number",
            "the carrier wavelength in nanometres, where distances come uncorrected for the air",
            name="wavelength_nm",
            least=400.0,
            most=1600.0,
        ),
    ] = None
    """[um]; None: distances come corrected for the air."""
    reference: Annotated[
        tuple[float, float, float] | None,
        column(
            "temperature",
            "the air temperature at which it shows true distances",
            "; needed with a wavelength",
            default=None,
            least=COLDEST,
            most=HOTTEST,
        ),
        column(
            "air_pressure",
            "the air pressure at which it shows true distances",
            "; needed with a wavelength",
            name="reference_pressure",
            default=None,
            least=THINNEST,
            most=DENSEST,
        ),
        column(
            "number",
            "the relative humidity at which it shows true distances, in percent",
            name="reference_humidity_pct",
            default=60.0,
            least=0.0,
            most=100.0,
        ),
    ] = None
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
