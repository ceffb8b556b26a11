"""Printed numbers, rounded once: a number, its words, and what the certificate compares.

The only place a printed number is rounded is :func:`rounded`. Renderers take these values as
they are, so paper, tables and certificate cannot drift apart.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from fitup.certify.facts import PrintedNumber
from fitup.units import FACTORS, Shown

Key = tuple[str | int, ...]
INCH: Final = FACTORS["length"]["in"]


@dataclass(frozen=True, slots=True)
class Number:
    """A number as it is printed: rounded, with its unit, and its SI value after rounding."""

    value: float
    decimals: int
    unit: str
    suffix: str
    si: float
    half_step: float

    @property
    def size(self) -> str:
        """Return the magnitude without unit, for use beside a word that says the side."""
        return f"{abs(self.value):.{self.decimals}f}"

    @property
    def text(self) -> str:
        """Return the number without unit; below zero it is said in a word, not by a sign."""
        return f"minus {self.size}" if self.value < 0.0 else self.size

    @property
    def full(self) -> str:
        """Return the number with its unit."""
        return f"{self.text} {self.unit}"

    @property
    def fraction(self) -> str:
        """Return the nearest 1/32 of an inch for a tape, without a sign; empty for other units.

        Examples
        --------
        >>> from fitup.units import US
        >>> [rounded(i * 0.0254, US.move).fraction for i in (0.307, 1.0, 2.99, 0.01)]
        ['5/16', '1', '3', '0']
        """
        if self.unit != "in":
            return ""
        parts = self.thirty_seconds
        whole, rest = divmod(parts, 32)
        share = Fraction(rest, 32)
        if not rest:
            return f"{whole}"
        return f"{whole} {share}" if whole else f"{share}"

    @property
    def thirty_seconds(self) -> int:
        """Return how many thirty-seconds of an inch are nearest to the size."""
        return math.floor(abs(self.value) * 32.0 + 0.5)

    def printed(self, *key: str | int) -> PrintedNumber:
        """Return this number under a key, for the certificate to compare."""
        return PrintedNumber(key, self.si, self.half_step)

    def on_tape(self, *key: str | int) -> Iterator[PrintedNumber]:
        """Yield the fraction of an inch that stands beside this number, where one does."""
        if self.unit == "in":
            si = math.copysign(self.thirty_seconds / 32.0 * INCH, self.value)
            yield PrintedNumber((*key, "fraction"), si, INCH / 64.0 + self.half_step)


def rounded(si: float, shown: Shown) -> Number:
    """Round an SI value to what is printed.

    Parameters
    ----------
    si : float
        In SI units, a temperature in kelvin.
    shown : Shown
        The unit and decimals to print.

    Examples
    --------
    >>> from fitup.units import METRIC
    >>> rounded(0.01604, METRIC.move).full
    '16.0 mm'
    """
    value = shown.number(si)
    return Number(
        value, shown.decimals, shown.word, shown.suffix, shown.back(value), shown.half_step
    )


@dataclass(frozen=True, slots=True)
class Worded:
    """A value with its side in words; ``size`` of the number goes with ``side``."""

    words: str
    side: str
    number: Number
