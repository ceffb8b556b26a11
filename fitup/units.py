"""The only place a unit is converted. Inside, everything is SI: m, rad, N, Pa, K.

A unit travels in the column name: ``stroke_mm``, ``capacity_kip``. Exact factors are those of
NIST SP 811 (2008), Appendix B: 1 ft = 0.3048 m, 1 US survey foot = 1200/3937 m,
1 lbf = 4.4482216152605 N, 1 psi = 6894.757293168 Pa (from lbf/in2), 1 inHg = 3386.389 Pa,
1 mmHg = 133.3224 Pa.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

_LBF: Final = 4.4482216152605
_INCH: Final = 0.0254

#: dimension -> suffix -> factor to SI
FACTORS: Final[dict[str, dict[str, float]]] = {
    "length": {
        "m": 1.0,
        "mm": 1e-3,
        "cm": 1e-2,
        "in": _INCH,
        "ft": 0.3048,
        "ftUS": 1200.0 / 3937.0,
    },
    "force": {"N": 1.0, "kN": 1e3, "MN": 1e6, "lbf": _LBF, "kip": 1e3 * _LBF},
    "stiffness": {"N_per_m": 1.0, "kN_per_mm": 1e6, "kip_per_in": 1e3 * _LBF / _INCH},
    "area": {"m2": 1.0, "cm2": 1e-4, "mm2": 1e-6, "in2": _INCH**2},
    "pressure": {"Pa": 1.0, "MPa": 1e6, "bar": 1e5, "psi": _LBF / _INCH**2},
    "modulus": {
        "Pa": 1.0,
        "MPa": 1e6,
        "GPa": 1e9,
        "psi": _LBF / _INCH**2,
        "ksi": 1e3 * _LBF / _INCH**2,
    },
    "second_moment": {"m4": 1.0, "cm4": 1e-8, "mm4": 1e-12, "in4": _INCH**4},
    "moment": {"Nm": 1.0, "kNm": 1e3, "MNm": 1e6, "kip_ft": 1e3 * _LBF * 0.3048},
    "line_load": {"N_per_m": 1.0, "kN_per_m": 1e3, "kip_per_ft": 1e3 * _LBF / 0.3048},
    "unit_weight": {"N_per_m3": 1.0, "kN_per_m3": 1e3, "lbf_per_ft3": _LBF / 0.3048**3},
    "turn_stiffness": {
        "Nm_per_rad": 1.0,
        "kNm_per_rad": 1e3,
        "kip_ft_per_rad": 1e3 * _LBF * 0.3048,
    },
    "air_pressure": {"Pa": 1.0, "hPa": 100.0, "inHg": 3386.389, "mmHg": 133.3224},
    "angle": {"rad": 1.0, "deg": math.pi / 180.0, "gon": math.pi / 200.0},
    "circle": {
        "rad": 1.0,
        "deg": math.pi / 180.0,
        "gon": math.pi / 200.0,
        "dms": math.pi / 180.0,  # written 63-25-48.2, read by dms_to_degrees first
    },
    "small_angle": {"rad": 1.0, "mgon": math.pi / 2e5, "arcsec": math.pi / 648e3},
    "slope": {"ratio": 1.0, "pct": 1e-2, "mm_per_m": 1e-3, "in_per_ft": _INCH / 0.3048},
    "roughness": {"ratio": 1.0, "mm_per_m": 1e-3, "in_per_mi": _INCH / (5280.0 * 0.3048)},
    "expansion": {"per_C": 1.0, "per_F": 1.8},
    "temperature_step": {"C": 1.0, "F": 1.0 / 1.8},
    "time": {"h": 3600.0, "min": 60.0},
}
TEMPERATURES: Final = ("C", "F")
_DMS: Final = re.compile(r"(\d{1,3})[-° ](\d{1,2})[-'′ ](\d{1,2}(?:\.\d*)?)[\"″]?")


def suffixes(dimension: str) -> tuple[str, ...]:
    """Return the unit suffixes a column of this dimension may carry."""
    if dimension == "temperature":
        return TEMPERATURES
    return tuple(FACTORS[dimension])


def to_si(value: float, dimension: str, suffix: str) -> float:
    """Convert a number in the unit of a column's suffix to SI (temperature to kelvin).

    Parameters
    ----------
    value : float
        In the unit of the suffix.
    dimension : str
        A key of :data:`FACTORS`, or ``temperature``.
    suffix : str
        One of the :func:`suffixes` of the dimension.

    Raises
    ------
    KeyError
        If the suffix is not a unit of the dimension.

    Examples
    --------
    >>> to_si(150.0, "length", "mm")
    0.15
    >>> round(to_si(250.0, "force", "kip"))
    1112055
    """
    if dimension == "temperature":
        return {"C": value + 273.15, "F": (value - 32.0) / 1.8 + 273.15}[suffix]
    return value * FACTORS[dimension][suffix]


def from_si(value: float, dimension: str, suffix: str) -> float:
    """Convert an SI number to the unit of a suffix.

    Parameters
    ----------
    value : float
        In SI units, a temperature in kelvin.
    dimension : str
        A key of :data:`FACTORS`, or ``temperature``.
    suffix : str
        One of the :func:`suffixes` of the dimension.

    Raises
    ------
    KeyError
        If the suffix is not a unit of the dimension.

    Examples
    --------
    >>> round(from_si(293.15, "temperature", "F"), 9)
    68.0
    """
    if dimension == "temperature":
        return {"C": value - 273.15, "F": (value - 273.15) * 1.8 + 32.0}[suffix]
    return value / FACTORS[dimension][suffix]


def dms_to_degrees(text: str) -> float:
    """Return the degrees of a circle reading written as degrees, minutes and seconds.

    Raises
    ------
    ValueError
        If it is not three numbers, minutes and seconds below 60.

    Examples
    --------
    >>> dms_to_degrees("63-25-48")
    63.43
    """
    found = _DMS.fullmatch(text.strip())
    if found is None or float(found[2]) >= 60.0 or float(found[3]) >= 60.0:
        raise ValueError(text)
    return float(found[1]) + float(found[2]) / 60.0 + float(found[3]) / 3600.0


@dataclass(frozen=True, slots=True)
class Shown:
    """How one dimension is printed: suffix of the column, word on paper, decimals."""

    dimension: str
    suffix: str
    word: str
    decimals: int

    def number(self, si: float) -> float:
        """Return the number to print, rounded; never minus zero."""
        exact = from_si(si, self.dimension, self.suffix)
        # first drop what binary fractions leave behind: 6.95 reached by two ways is one number
        return round(round(exact, self.decimals + 7), self.decimals) + 0.0

    def back(self, printed: float) -> float:
        """Return the SI value of a printed number."""
        return to_si(printed, self.dimension, self.suffix)

    @property
    def half_step(self) -> float:
        """Half of the last printed digit, in SI units (kelvin for a temperature)."""
        dimension = "temperature_step" if self.dimension == "temperature" else self.dimension
        return to_si(0.5 * 10.0**-self.decimals, dimension, self.suffix)

    def text(self, si: float, *, unit: bool = True) -> str:
        """Return the printed number with its decimals and its unit.

        Parameters
        ----------
        si : float
            Value in SI units, a temperature in kelvin.
        unit : bool
            False leaves the unit out.
        """
        body = f"{self.number(si):.{self.decimals}f}"
        return f"{body} {self.word}" if unit else body


@dataclass(frozen=True, slots=True)
class DisplayUnits:
    """The set of units one job is printed in; one unit per quantity, never a mixture."""

    name: str
    coordinate: Shown
    move: Shown
    plate: Shown
    force: Shown
    pressure: Shown
    slope: Shown
    temperature: Shown
    area: Shown
    stiffness: Shown
    moment: Shown
    stress: Shown
    small_angle: Shown
    roughness: Shown


METRIC: Final = DisplayUnits(
    "metric",
    coordinate=Shown("length", "m", "m", 4),
    move=Shown("length", "mm", "mm", 1),
    plate=Shown("length", "mm", "mm", 2),
    force=Shown("force", "kN", "kN", 0),
    pressure=Shown("pressure", "bar", "bar", 0),
    slope=Shown("slope", "mm_per_m", "mm/m", 2),
    temperature=Shown("temperature", "C", "°C", 1),
    area=Shown("area", "cm2", "cm²", 1),
    stiffness=Shown("stiffness", "kN_per_mm", "kN/mm", 0),
    moment=Shown("moment", "kNm", "kNm", 0),
    stress=Shown("modulus", "MPa", "MPa", 1),
    small_angle=Shown("small_angle", "mgon", "mgon", 1),
    roughness=Shown("roughness", "mm_per_m", "mm/m", 2),
)
US: Final = DisplayUnits(
    "US",
    coordinate=Shown("length", "ft", "ft", 4),
    move=Shown("length", "in", "in", 3),
    plate=Shown("length", "in", "in", 4),
    force=Shown("force", "kip", "kip", 1),
    pressure=Shown("pressure", "psi", "psi", 0),
    slope=Shown("slope", "in_per_ft", "in/ft", 4),
    temperature=Shown("temperature", "F", "°F", 1),
    area=Shown("area", "in2", "in²", 2),
    stiffness=Shown("stiffness", "kip_per_in", "kip/in", 0),
    moment=Shown("moment", "kip_ft", "kip-ft", 0),
    stress=Shown("modulus", "ksi", "ksi", 2),
    small_angle=Shown("small_angle", "arcsec", "arcsec", 1),
    roughness=Shown("roughness", "in_per_mi", "in/mi", 1),
)
DISPLAY: Final = {"metric": METRIC, "US": US}
#: step of a pressure gauge [Pa]: 5 bar, 50 psi (common practice, no source)
GAUGE_STEP: Final = {"metric": 5.0e5, "US": 50.0 * FACTORS["pressure"]["psi"]}
