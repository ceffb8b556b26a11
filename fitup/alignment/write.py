"""Points out again: LandXML 1.2 and CSV, the same bytes for the same points."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from xml.sax.saxutils import quoteattr

from fitup.alignment.alignment import Alignment, AxisPlace
from fitup.frames import Array
from fitup.units import from_si

_SCHEMA: Final = "http://www.landxml.org/schema/LandXML-1.2"
_UNITS: Final = {
    "m": ("Metric", "meter", "squareMeter", "cubicMeter", "celsius", "milliBars"),
    "ft": ("Imperial", "foot", "squareFoot", "cubicFeet", "fahrenheit", "inchHG"),
    "ftUS": ("Imperial", "USSurveyFoot", "squareFoot", "cubicFeet", "fahrenheit", "inchHG"),
}
#: decimals of a coordinate: 0.01 mm and finer
DECIMALS: Final = {"m": 5, "ft": 5, "ftUS": 5}


@dataclass(frozen=True, slots=True)
class Converted:
    """A point both ways: grid (3,) [m] with a height that may be missing (nan), and its place."""

    id: str
    grid: Array
    place: AxisPlace


def side_of(left: float, decimals: int, unit: str) -> tuple[float, str]:
    """Return the size of an offset, rounded in a unit, and its side: LEFT, RIGHT or ON AXIS.

    Parameters
    ----------
    left : float
        Offset from the axis, to the left positive [m].
    decimals : int
        That the size is rounded to; what rounds to zero is on the axis.
    unit : str
        Unit of length of the size, such as ``m``, ``ft`` or ``ftUS``.

    Examples
    --------
    >>> side_of(-3.25, 3, "m"), side_of(0.0, 3, "m")
    ((3.25, 'RIGHT'), (0.0, 'ON AXIS'))
    """
    size = round(from_si(abs(left), "length", unit), decimals)
    return size, "ON AXIS" if size == 0.0 else ("LEFT" if left > 0.0 else "RIGHT")


def points_csv(alignment: Alignment, points: Sequence[Converted]) -> str:
    """Return points as CSV: id, station, offset, side, E, N, H, units in the column names.

    The sides are the words that tables of a job take: left, right, axis.

    Parameters
    ----------
    alignment : Alignment
        Gives the unit and how stations are written.
    points : sequence of Converted
        One row each; a height that is missing leaves an empty cell.
    """
    unit = alignment.unit
    digits = DECIMALS[unit]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        ["id", "station", f"offset_{unit}", "side", f"E_{unit}", f"N_{unit}", f"H_{unit}"]
    )
    for point in points:
        size, side = side_of(point.place.left, digits, unit)
        grid = [
            "" if math.isnan(v) else f"{from_si(v, 'length', unit):.{digits}f}" for v in point.grid
        ]
        station = alignment.stations.text(point.place.station, digits)
        word = "axis" if size == 0.0 else side.lower()
        writer.writerow([point.id, station, f"{size:.{digits}f}", word, *grid])
    return out.getvalue()


def points_landxml(unit: str, points: Sequence[tuple[str, Array]], made: str = "") -> str:
    """Return points as LandXML 1.2, in the order north, east, height.

    Parameters
    ----------
    unit : {'m', 'ft', 'ftUS'}
    points : sequence of (str, Array (3,))
        Name, and easting, northing and height [m]; the height may be missing (nan).
    made : str
        Date and time to carry, ``2031-04-02 04:10``: those of what it was made from, not today's.
    """
    digits = DECIMALS[unit]
    system, linear, area, volume, temperature, pressure = _UNITS[unit]
    date, _, time = made.partition(" ")
    # the schema wants seconds
    clock = f"{time or '00:00'}:00" if time.count(":") < 2 else time
    stamp = f" date={quoteattr(date)} time={quoteattr(clock)}" if date else ""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<LandXML xmlns="{_SCHEMA}" version="1.2"{stamp}>',
        f'  <Units><{system} areaUnit="{area}" linearUnit="{linear}" volumeUnit="{volume}" '
        f'temperatureUnit="{temperature}" pressureUnit="{pressure}"/></Units>',
        "  <CgPoints>",
    ]
    for name, grid in points:
        east, north, height = (from_si(float(v), "length", unit) for v in grid)
        values = [f"{north:.{digits}f}", f"{east:.{digits}f}"]
        if not math.isnan(height):
            values.append(f"{height:.{digits}f}")
        lines.append(f"    <CgPoint name={quoteattr(name)}>{' '.join(values)}</CgPoint>")
    return "\n".join([*lines, "  </CgPoints>", "</LandXML>", ""])
