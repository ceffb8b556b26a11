"""Printed numbers, rounded once: a number, its words, and what the certificate compares.

The only place a printed number is rounded is :func:`rounded`. Renderers take these values as
they are, so paper, tables and certificate cannot drift apart.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass, replace
from fractions import Fraction
from typing import Final

from fitup.certify.certified import CertifiedNumber, Path
from fitup.certify.facts import TAPE, PrintedNumber
from fitup.units import FACTORS, Shown

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
    path: Path | None = ()
    """Its field in the certificate; empty where it has none; None: an input, printed as it is."""

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

    def printed(self, name: str) -> Iterator[PrintedNumber]:
        """Yield this number, and the fraction of an inch that may stand beside it.

        ``name`` is the field of the sheets in which it stands.
        """
        if self.path is None:
            return
        yield PrintedNumber(self.path, self.si, self.half_step, name)
        if self.unit == "in":
            si = math.copysign(self.thirty_seconds / 32.0 * INCH, self.value)
            yield PrintedNumber((*self.path, TAPE), si, INCH / 64.0 + self.half_step, name)


def rounded(si: float, shown: Shown) -> Number:
    """Round an SI value to what is printed; a number of the certificate keeps its path.

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
        value,
        shown.decimals,
        shown.word,
        shown.suffix,
        shown.back(value),
        shown.half_step,
        si.path if isinstance(si, CertifiedNumber) else (),
    )


def uncertified(si: float, shown: Shown) -> Number:
    """Round what is printed as the job or another part of the program states it.

    An input, or a figure of how sure the plan is: no certificate recomputes it.
    """
    return replace(rounded(si, shown), path=None)


#: a field's metadata may say what the certificate calls what stands in it
CALLED: Final = "certified as"


def printed_in(sheets: object) -> tuple[PrintedNumber, ...]:
    """Return every rounded number in a record of the sheets but the inputs.

    Parameters
    ----------
    sheets : dataclass
        And whatever records it holds: a number that comes from nowhere is among them.
    """
    return tuple(
        dict.fromkeys(p for name, number in _numbers(sheets) for p in number.printed(name))
    )


def _numbers(value: object, name: str = "") -> Iterator[tuple[str, Number]]:
    """Yield every number in a record with the name of the field that holds it.

    A number with words about it stands in the field of those words.
    """
    if isinstance(value, Number):
        yield name, value
    elif is_dataclass(value):
        for own in fields(value):
            plain = name if own.name == "number" else own.name
            yield from _numbers(getattr(value, own.name), own.metadata.get(CALLED, plain))
    elif isinstance(value, tuple):
        for one in value:
            yield from _numbers(one, name)


@dataclass(frozen=True, slots=True)
class Worded:
    """A value with its side in words; ``size`` of the number goes with ``side``."""

    words: str
    side: str
    number: Number
