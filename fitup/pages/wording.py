"""Words of the sheets as patterns, so that a page says a value exactly as paper does."""

from __future__ import annotations

from fitup.model import Quantity
from fitup.pages.review_facts import Wording
from fitup.sheets.numbers import Number, rounded
from fitup.sheets.words import ON_TARGET, plain_words, shown_for, value_words
from fitup.units import DisplayUnits


def wording_of(quantity: Quantity, units: DisplayUnits, target: float) -> Wording:
    """Return how the values of a check are said.

    Parameters
    ----------
    quantity, units
    target : float
        Where the check should end, in SI; one that prints as zero is not said.

    Examples
    --------
    >>> from fitup.units import METRIC
    >>> wording_of("gap", METRIC, 0.0).above
    '{} too wide'
    >>> wording_of("gap", METRIC, 0.0015).off_aim
    ' (aim: wide by 1.5 mm)'
    """
    shown = shown_for(quantity, units)
    one = shown.back(1.0)
    above, below, zero = (rounded(v, shown) for v in (one, -one, 0.0))
    aim = rounded(target, shown)
    if aim.value == 0.0:
        return Wording(
            _pattern(value_words(quantity, above.si, units).words, above),
            _pattern(value_words(quantity, below.si, units).words, below),
            value_words(quantity, 0.0, units).words,
        )
    return Wording(
        _pattern(plain_words(quantity, above), above),
        _pattern(plain_words(quantity, below), below),
        plain_words(quantity, zero),
        aim.value,
        f" ({ON_TARGET})",
        f" (aim: {plain_words(quantity, aim)})",
    )


def _pattern(said: str, number: Number) -> str:
    """Put a mark in the place of size and unit."""
    return said.replace(f"{number.size} {number.unit}", "{}")
