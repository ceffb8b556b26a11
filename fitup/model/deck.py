"""What stands there: segments, check points, joints and the pairs that must meet."""

from __future__ import annotations

from dataclasses import dataclass

from fitup.frames import Array


@dataclass(frozen=True, eq=False)
class Segment:
    """A prefabricated length of deck, moved as a unit.

    Parameters
    ----------
    id : str
    azimuth : float
        Direction of increasing station [rad]; gives ahead and left at its seats.
    weight : float
        Weight with all that stood on it at the survey [N].
    centre : Array (3,)
        Centre of gravity in the grid [m].
    held : frozenset of {'along', 'across', 'turn'}
        Motions in plan that friction or guides hold because no seat works on them.
    expansion : float, optional
        Coefficient of thermal expansion [1/K].
    fixed_point : Array (3,), optional
        Point that does not move with temperature [m].
    depth : float, optional
        Between top and bottom thermometers [m].
    """

    id: str
    azimuth: float
    weight: float
    centre: Array
    held: frozenset[str] = frozenset()
    expansion: float | None = None
    fixed_point: Array | None = None
    depth: float | None = None


@dataclass(frozen=True, eq=False)
class CheckPoint:
    """A marked point of a segment with its design coordinates (3,) for this stage [m].

    The level and line of a point are checked if it belongs to a pair or is ``watched``.
    """

    id: str
    segment: str
    design: Array
    watched: bool = False


@dataclass(frozen=True, eq=False)
class Joint:
    """Where the end of a back segment meets the end of an ahead segment."""

    id: str
    back: str
    ahead: str
    axes_in_grid: Array
    """Rows a, l, u (3, 3)."""
    least_opening: float | None = None
    """Clear opening that must remain at every pair in every state [m]."""
    locked_within: float | None = None
    """The joint is locked already: gap, step and offset may change by this, at most [m]."""


@dataclass(frozen=True, slots=True)
class Pair:
    """A check point on each face that must meet."""

    id: str
    joint: str
    back_point: str
    ahead_point: str
    opening: float
    """Nominal opening at the reference temperature [m]."""
    place: str
    """LEFT, CENTRE, RIGHT or the crew's own word."""
