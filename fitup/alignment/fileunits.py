"""What the numbers of a LandXML file are in, as the file declares it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from fitup.alignment.xmlfile import XmlElement
from fitup.units import to_si

#: LandXML word -> unit of fitup.units
LENGTH_UNITS: Final = {
    "meter": "m",
    "millimeter": "mm",
    "centimeter": "cm",
    "foot": "ft",
    "USSurveyFoot": "ftUS",
    "inch": "in",
}
_METRIC: Final = ("m", "mm", "cm")
#: LandXML word -> unit of fitup.units; the last writes 45 deg 30 min 25 sec as 45.3025
ANGLE_UNITS: Final = {
    "radians": "rad",
    "grads": "gon",
    "decimal degrees": "deg",
    "decimal dd.mm.ss": "dms",
}


@dataclass(frozen=True, slots=True)
class Units:
    """What the numbers of one file are in, by the names of :mod:`fitup.units`."""

    length: str
    direction: str

    def metres(self, value: float) -> float:
        """Return a length of the file in metres."""
        return to_si(value, "length", self.length)

    def angle(self, value: float, unit: str | None = None) -> float:
        """Return a direction of the file in radians.

        Parameters
        ----------
        value : float
            As it stands in the file.
        unit : str, optional
            Taken instead of the unit the file declares: ``rad``, ``gon``, ``deg``, or ``dms`` for
            degrees with minutes and seconds as decimals.

        Examples
        --------
        >>> round(math.degrees(Units("m", "dms").angle(45.3030)), 9)
        45.508333333
        """
        unit = unit or self.direction
        if unit != "dms":
            return to_si(value, "angle", unit)
        # 45.3025 is 45 degrees 30 minutes 25 seconds; binary fractions must not make it 45.302499
        whole, part = divmod(round(abs(value) * 1e10), 10**10)
        minutes, seconds = divmod(part, 10**8)
        degrees = whole + minutes / 60.0 + seconds / 1e6 / 3600.0
        return to_si(math.copysign(degrees, value), "angle", "deg")


def read_units(root: XmlElement) -> Units | None:
    """Return the units a file declares; None, with the reason noted, where they will not do."""
    node = root.first("Units")
    system = None if node is None else node.first("Metric") or node.first("Imperial")
    if system is None:
        root.complain(
            "no <Units>", "<Units> with <Metric> or <Imperial>", "export it with its units"
        )
        return None
    word = system.text("linearUnit")
    length = LENGTH_UNITS.get(word)
    direction = ANGLE_UNITS.get(system.text("directionUnit") or "radians")
    if length is None:
        allowed = ", ".join(LENGTH_UNITS)
        system.named("Units").complain(f"linearUnit='{word[:40]}'", allowed, "export it in one")
    if direction is None:
        odd = system.text("directionUnit")[:40]
        system.named("Units").complain(
            f"directionUnit='{odd}'", ", ".join(ANGLE_UNITS), "export it in one of them"
        )
    upward = {"meter": "m", "feet": "ft", "": length}.get(system.text("elevationUnit"), "?")
    if length is not None and (upward in _METRIC) != (length in _METRIC):
        system.named("Units").complain(
            f"elevationUnit='{system.text('elevationUnit')}' beside linearUnit='{word}'",
            "heights in the unit of lengths",
            "export both in one unit",
        )
    return None if length is None or direction is None else Units(length, direction)
