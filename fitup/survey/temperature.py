"""Free thermal expansion taken out: positions as they would be at the reference temperature."""

from __future__ import annotations

import numpy as np

from fitup.frames import Array
from fitup.model import Segment


def growth(design: Array, segment: Segment, warmer: float) -> Array:
    """Return how far points (..., 3) [m] go when a segment is ``warmer`` [K] than the reference.

    It expands freely about its fixed point; without an expansion model nothing moves.
    """
    if segment.expansion is None or segment.fixed_point is None:
        return np.zeros_like(design)
    return segment.expansion * warmer * (design - segment.fixed_point)


def to_reference(
    position: Array, design: Array, segment: Segment, temperature: float, reference: float
) -> Array:
    """Return surveyed positions as they would be at the reference temperature.

    The segment expands freely about its fixed point: ``p - alpha (T - T_ref) (design - fixed)``.
    Without an expansion model the position is returned as it is; the gates see to it that this
    happens near the reference temperature only.

    Parameters
    ----------
    position, design : Array (..., 3)
        Surveyed and design coordinates [m].
    segment : Segment
    temperature, reference : float
        Steel temperature at the survey, and the reference [K].

    Examples
    --------
    100 m of steel, 40 K warmer, is 48 mm longer.

    >>> import numpy as np
    >>> deck = Segment("A1", 0.0, 1e6, np.zeros(3), frozenset(), 12e-6, np.zeros(3))
    >>> end = np.array([0.0, 100.0, 0.0])
    >>> to_reference(end + [0.0, 0.048, 0.0], end, deck, 333.15, 293.15).round(9).tolist()
    [0.0, 100.0, 0.0]
    """
    if segment.expansion is None:
        return position
    return position - growth(design, segment, temperature - reference)
