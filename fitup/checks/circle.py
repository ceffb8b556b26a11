"""A circle through a ring of points in space: centre, axis and radius, with uncertainty.

The fit is geometric: least squares of the distances from the circle, in its plane and out of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitup.frames import Array


@dataclass(frozen=True, eq=False)
class Circle:
    """A fitted circle.

    Parameters
    ----------
    centre : Array (3,)
        [m]
    normal : Array (3,)
        Unit vector along the axis.
    radius : float
        [m]
    off : Array (k,)
        How far each point lies from the circle [m].
    """

    centre: Array
    normal: Array
    radius: float
    off: Array


def fit_circle(points: Array) -> Circle:
    """Fit a circle to three or more points (k, 3) that do not lie in a line.

    Raises
    ------
    ValueError
        If they are too few or lie in a line.
    """
    if len(points) < 3:
        raise ValueError(f"{len(points)} points; a circle needs three")
    middle = points.mean(axis=0)
    _, sizes, axes = np.linalg.svd(points - middle)
    if sizes[1] < 1e-6 * max(float(sizes[0]), 1e-12):
        raise ValueError("points in a line")
    plane = (points - middle) @ axes[:2].T
    centre, radius = _flat(plane)
    return _circle(points, middle + centre @ axes[:2], axes[2], radius)


def _flat(xy: Array) -> tuple[Array, float]:
    """Fit a circle in its plane: algebraically, then by Gauss and Newton on the distances."""
    square = np.einsum("ij,ij->i", xy, xy)
    linear = np.column_stack([2.0 * xy, np.ones(len(xy))])
    x, y, rest = np.linalg.lstsq(linear, square, rcond=None)[0]
    centre, radius = np.array([x, y]), float(np.sqrt(rest + x * x + y * y))
    for _ in range(100):
        away = xy - centre
        size = np.linalg.norm(away, axis=1)
        rows = np.column_stack([away / size[:, None], np.ones(len(xy))])
        step = np.linalg.lstsq(rows, size - radius, rcond=None)[0]
        centre, radius = centre + step[:2], radius + float(step[2])
        if np.abs(step).max() < 1e-14 * max(1.0, radius):
            break
    return centre, radius


def _circle(points: Array, centre: Array, normal: Array, radius: float) -> Circle:
    away = points - centre
    out = away @ normal
    inside = np.linalg.norm(away - np.outer(out, normal), axis=1) - radius
    return Circle(centre, normal, radius, np.hypot(inside, out))


def centre_covariance(points: Array, circle: Circle, u: Array) -> Array:
    """Return the covariance (3, 3) [m2] of the centre of a fitted circle.

    Parameters
    ----------
    points : Array (k, 3)
        The points it was fitted to [m].
    circle : Circle
    u : Array (k, 3)
        Standard uncertainties of their coordinates, taken as independent [m].
    """
    gain = np.hstack(list(centre_rows(points, circle.centre, circle.normal)))
    scaled = gain * u.ravel()
    return scaled @ scaled.T


def centre_rows(points: Array, centre: Array, normal: Array) -> tuple[Array, ...]:
    """Return for each point how the centre follows it, (3, 3), to first order.

    In the plane the centre answers to the radial parts of small motions, out of it to the plane
    they define.

    Parameters
    ----------
    points : Array (k, 3)
        The points that the circle was fitted to [m].
    centre : Array (3,)
        [m]
    normal : Array (3,)
        Unit vector along the axis; its sense does not matter.

    Returns
    -------
    tuple of Array (3, 3)
        Derivative of the centre by each point, k of them.
    """
    away = points - centre
    away = away - np.outer(away @ normal, normal)
    first = away[0] / np.linalg.norm(away[0])
    axes = np.vstack([first, np.cross(normal, first)])
    radial = away / np.linalg.norm(away, axis=1)[:, None]
    inside = np.linalg.pinv(np.column_stack([radial @ axes.T, np.ones(len(points))]))[:2]
    upright = np.linalg.pinv(np.column_stack([np.ones(len(points)), away @ axes.T]))[0]
    return tuple(
        np.outer(axes.T @ inside[:, i], radial[i]) + upright[i] * np.outer(normal, normal)
        for i in range(len(points))
    )
