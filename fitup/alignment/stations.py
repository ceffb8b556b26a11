"""Stations as people write them: ``12+345.678`` in metres, ``123+45.67`` in feet, and equations.

Inside, a station is the way along the alignment [m], counted on from its start without a jump.
A station equation makes the written station jump: back of it one number, ahead of it another.
The stretches between equations are called zones, counted from 1.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from fitup import units

#: digits before the decimal mark after the plus sign: 12+345.678 (m), 123+45.67 (ft)
_DIGITS: Final = {"m": 3, "ft": 2, "ftUS": 2}
_WRITTEN: Final = re.compile(
    r"(?P<minus>-|minus )?(?P<whole>\d+)\+(?P<rest>\d+(?:\.\d+)?)(?: zone (?P<zone>\d+))?"
)


@dataclass(frozen=True, slots=True)
class Equation:
    """A station equation: at ``inside`` [m along] the written station goes from back to ahead."""

    inside: float
    back: float
    ahead: float


@dataclass(frozen=True, slots=True)
class Stations:
    """How the stations of one alignment are written.

    Parameters
    ----------
    start, end : float
        Stations inside where the alignment begins and ends [m].
    unit : {'m', 'ft', 'ftUS'}
        What the written numbers are in.
    equations : tuple of Equation
        In the order of the way.
    """

    start: float
    end: float
    unit: str = "m"
    equations: tuple[Equation, ...] = ()

    @property
    def notation(self) -> str:
        """Return how a station is written, for messages."""
        digits = _DIGITS[self.unit]
        example = "12+345.678" if digits == 3 else "123+45.67"
        word = "metres" if self.unit == "m" else "feet"
        zone = ", with ' zone 2' where a station occurs twice" if self.equations else ""
        return f"a station in {word} with {digits} digits after the plus, such as {example}{zone}"

    def zones(self) -> list[tuple[float, float, float]]:
        """Return for each zone where it begins and ends inside, and its written start [m]."""
        begins = [self.start, *(e.inside for e in self.equations)]
        ends = [*(e.inside for e in self.equations), self.end]
        written = [self.start, *(e.ahead for e in self.equations)]
        return list(zip(begins, ends, written, strict=True))

    def text(self, inside: float, decimals: int = 3) -> str:
        """Return a station inside as it is written.

        Parameters
        ----------
        inside : float
            Station inside [m].
        decimals : int
            Digits after the point, in the unit of the stations; with 0 there is no point.

        Examples
        --------
        >>> Stations(0.0, 2e4).text(12345.678), Stations(0.0, 2e4).text(999.9999)
        ('12+345.678', '1+000.000')
        >>> Stations(0.0, 2e4, "ft").text(0.3048 * 4714.44, 2)
        '47+14.44'
        """
        zones = self.zones()
        number = next((k for k, (_, end, _) in enumerate(zones, 1) if inside < end), len(zones))
        begin, _, first = zones[number - 1]
        value = units.from_si(first + inside - begin, "length", self.unit)
        scaled = round(value * 10**decimals)
        whole, rest = divmod(abs(scaled), 10 ** (decimals + _DIGITS[self.unit]))
        rest_whole, part = divmod(rest, 10**decimals)
        body = f"{whole}+{rest_whole:0{_DIGITS[self.unit]}d}"
        if decimals:
            body += f".{part:0{decimals}d}"
        zone = f" zone {number}" if self.equations else ""
        return ("minus " if scaled < 0 else "") + body + zone

    def inside(self, text: str) -> float:
        """Return the station inside [m] of a written one.

        Raises
        ------
        ValueError
            With what is allowed, in words, where it is not written so, lies in no zone or in two.
        """
        found = _WRITTEN.fullmatch(" ".join(text.removeprefix("km ").split()))
        if not found or len(found["rest"].split(".")[0]) != _DIGITS[self.unit]:
            raise ValueError(self.notation)
        number = int(found["whole"]) * 10 ** _DIGITS[self.unit] + float(found["rest"])
        value = units.to_si(-number if found["minus"] else number, "length", self.unit)
        hits = []
        for k, (begin, end, first) in enumerate(self.zones(), 1):
            there = begin + value - first
            if begin - 1e-6 <= there <= end + 1e-6 and int(found["zone"] or k) == k:
                hits.append((k, there))
        if not hits:
            raise ValueError(f"a station of the alignment, {self._reach()}")
        if len(hits) > 1 and abs(hits[0][1] - hits[-1][1]) > 1e-6:
            zones = " or ".join(f"'{text} zone {k}'" for k, _ in hits)
            raise ValueError(f"{zones}: the station occurs in more than one zone")
        return hits[0][1]

    def _reach(self) -> str:
        parts = []
        for k, (begin, end, first) in enumerate(self.zones(), 1):
            ends = [self._plain(first), self._plain(first + end - begin)]
            parts.append(" to ".join(ends) + (f" in zone {k}" if self.equations else ""))
        return ", ".join(parts)

    def _plain(self, written: float) -> str:
        return Stations(written, written + 1.0, self.unit).text(written)
