"""How a check depends on points and turns: the rows that every check is made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fitup.frames import Array


@dataclass(frozen=True, eq=False)
class Part:
    """A check is ``constant + sum points . p + sum turns . w`` over its points and segments."""

    points: Mapping[str, Array]
    """Point -> row (3,) that multiplies its position [m]."""
    turns: Mapping[str, Array]
    """Segment -> row (3,) that multiplies its turn from the design [rad]."""
    constant: float
