"""Axes and rigid motions. Names say which frame leads to which: ``design2site``, ``axes_in_grid``.

Conventions (docs/signs.md): grid is easting, northing, height, right-handed; azimuth clockwise
from north; joint axes are ``a`` ahead along the grade, ``l`` to the left in the deck plane,
``u = a x l`` out of the riding surface.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

#: an array of floats, unless a docstring says whole numbers or flags
Array = npt.NDArray[Any]


def heading(azimuth: float) -> Array:
    """Unit vector (3,) that points along an azimuth [rad], level.

    Examples
    --------
    >>> heading(0.0).tolist()
    [0.0, 1.0, 0.0]
    """
    return np.array([np.sin(azimuth), np.cos(azimuth), 0.0])


def left_of(azimuth: float) -> Array:
    """Unit vector (3,) level and to the left of an azimuth [rad]."""
    return np.array([-np.cos(azimuth), np.sin(azimuth), 0.0])


def joint_axes(azimuth: float, grade: float, crossfall: float) -> Array:
    """Axes (3, 3) of a joint, rows a, l, u in the grid.

    Parameters
    ----------
    azimuth : float
        Direction of increasing station [rad].
    grade : float
        Rise over run going ahead [ratio], rising ahead is positive.
    crossfall : float
        Rise over run going left [ratio], rising to the left is positive.

    Examples
    --------
    >>> (joint_axes(np.pi / 2, 0.0, 0.0).round(12) + 0.0).tolist()
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    """
    up = np.array([0.0, 0.0, 1.0])
    ahead = heading(azimuth) + grade * up
    ahead /= np.linalg.norm(ahead)
    left = left_of(azimuth) + crossfall * up
    left -= (left @ ahead) * ahead
    left /= np.linalg.norm(left)
    return np.vstack([ahead, left, np.cross(ahead, left)])


def skew(v: Array) -> Array:
    """Matrix (3, 3) with ``skew(v) @ w == cross(v, w)``."""
    return np.array([[0.0, -v[2], v[1]], [v[2], 0.0, -v[0]], [-v[1], v[0], 0.0]])


def rotation(vector: Array) -> Array:
    """Rotation matrix (3, 3) of a rotation vector [rad], by Rodrigues' formula.

    Examples
    --------
    >>> rotation(np.array([0.0, 0.0, np.pi / 2])).round(12).tolist()
    [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]
    """
    angle = float(np.linalg.norm(vector))
    k = skew(vector)
    if angle < 1e-9:
        # the series keeps the small-angle limit exact to second order
        return np.eye(3) + k + 0.5 * (k @ k)
    sine = np.sin(angle) / angle
    versine = 2.0 * (np.sin(angle / 2.0) / angle) ** 2
    return np.eye(3) + sine * k + versine * (k @ k)


def rotation_vector(matrix: Array) -> Array:
    """Rotation vector (3,) [rad] of a rotation matrix, for angles below pi."""
    axis = 0.5 * np.array(
        [
            matrix[2, 1] - matrix[1, 2],
            matrix[0, 2] - matrix[2, 0],
            matrix[1, 0] - matrix[0, 1],
        ]
    )
    sine = float(np.linalg.norm(axis))
    cosine = 0.5 * (float(np.trace(matrix)) - 1.0)
    if sine < 1e-12:
        return axis
    return axis * (np.arctan2(sine, cosine) / sine)


@dataclass(frozen=True, eq=False)
class Motion:
    """A rigid motion ``p -> centre + R (p - centre) + shift`` of points in the grid.

    Parameters
    ----------
    turn : Array (3, 3)
        Rotation matrix R.
    shift : Array (3,)
        Translation of the centre [m].
    centre : Array (3,)
        Point about which the rotation is taken [m].
    """

    turn: Array
    shift: Array
    centre: Array

    def apply(self, points: Array) -> Array:
        """Move points (..., 3) [m]."""
        return self.centre + self.shift + (points - self.centre) @ self.turn.T


def displacement_rows(points: Array, centre: Array) -> Array:
    """Small displacement (3 k, 6) of k points for a shift [m] and a turn [rad] about a centre.

    Parameters
    ----------
    points : Array (k, 3)
        Where they are before the displacement [m].
    centre : Array (3,)
        Point that the shift moves and the turn leaves where it is [m].

    Returns
    -------
    Array (3 k, 6)
        Three rows for each point; three columns for the shift, then three for the turn.
    """
    rows = np.zeros((3 * len(points), 6))
    for i, point in enumerate(points):
        rows[3 * i : 3 * i + 3, :3] = np.eye(3)
        rows[3 * i : 3 * i + 3, 3:] = -skew(point - centre)
    return rows
