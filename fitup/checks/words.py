"""Directions in words, never by sign alone."""

from __future__ import annotations

from fitup.model import SIDES, Quantity


def side_of(quantity: Quantity, value: float) -> str:
    """Return the word for the sign of a check's value, empty when it is zero.

    Parameters
    ----------
    quantity : Quantity
    value : float
        In the convention of docs/signs.md; only its sign counts.

    Examples
    --------
    >>> side_of("step", 0.0042), side_of("gap", -0.002), side_of("twist", 0.0)
    ('ahead high', 'narrow', '')
    """
    if value == 0.0:
        return ""
    return SIDES[quantity][0 if value > 0.0 else 1]
