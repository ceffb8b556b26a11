"""Free thermal expansion: how far points go as their segment warms."""

from __future__ import annotations

import numpy as np

from fitup.frames import Array
from fitup.model import Segment


def growth(design: Array, segment: Segment, warmer: float) -> Array:
    """Return how far points go when their segment is warmer than the reference temperature.

    It expands freely about its fixed point: ``alpha (T - T_ref) (design - fixed)``. Without an
    expansion model nothing moves; the gates see to it that this happens near the reference only.

    Parameters
    ----------
    design : Array (..., 3)
        Design coordinates [m].
    segment : Segment
        With its expansion coefficient [1/K] and fixed point [m].
    warmer : float
        Steel less reference temperature [K].

    Returns
    -------
    Array (..., 3)
        [m]

    Examples
    --------
    100 m of steel, 40 K warmer, is 48 mm longer.

    >>> import numpy as np
    >>> deck = Segment("A1", 0.0, 1e6, np.zeros(3), frozenset(), 12e-6, np.zeros(3))
    >>> growth(np.array([0.0, 100.0, 0.0]), deck, 40.0).round(9).tolist()
    [0.0, 0.048, 0.0]
    """
    if segment.expansion is None or segment.fixed_point is None:
        return np.zeros_like(design)
    return segment.expansion * warmer * (design - segment.fixed_point)
