"""Where a segment lies: the weighted rigid fit of its design points onto the surveyed ones."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from fitup.errors import SurveyRefused
from fitup.frames import Array, Motion, displacement_rows, rotation
from fitup.survey.points import Pose

#: points count as lying in a line when their spread across it is below this share of its length
IN_LINE: Final = 0.01
#: share of a coordinate's own error that must show in its residual to be checked by it
CHECKABLE: Final = 1e-6
_MOST_STEPS: Final = 200


def fit_pose(
    segment_id: str,
    ids: Sequence[str],
    design: Array,
    surveyed: Array,
    u: Array,
    covariance: Array | None = None,
) -> Pose:
    """Fit shift and turn of a segment by weighted least squares, without a change of scale.

    The start is the closed solution by singular values with its guard against a mirror image
    (Kabsch 1976; Umeyama 1991); Gauss-Newton steps then take the weight of every coordinate.

    Parameters
    ----------
    segment_id : str
        Named in messages.
    ids : sequence of str
        Names of the k points.
    design, surveyed : Array (k, 3)
        Design and surveyed coordinates in the grid [m].
    u : Array (k, 3)
        Standard uncertainties of the surveyed coordinates [m].
    covariance : Array (3 k, 3 k), optional
        Of the surveyed coordinates, where they are not independent [m2].

    Returns
    -------
    Pose
        With covariance from the stated uncertainties.

    Notes
    -----
    The weight matrix is the inverse of the covariance, by its Cholesky factor.

    Raises
    ------
    SurveyRefused
        With fewer than three points, or points in a line.

    Examples
    --------
    >>> design = np.array([[0.0, 0, 0], [10, 0, 0], [0, 4, 0]])
    >>> pose = fit_pose("A1", ["1", "2", "3"], design, design + 0.01, np.full((3, 3), 0.002))
    >>> pose.design2site.shift.round(6).tolist()
    [0.01, 0.01, 0.01]
    """
    require_three(segment_id, ids, design)
    centre = design.mean(axis=0)
    # positions about the centre keep the digits that grid coordinates of millions would lose
    arms, found = design - centre, surveyed - centre
    turn, shift = closed_fit(arms, found, 1.0 / (u**2).mean(axis=1))
    whiten = _whiten(u, covariance)
    turn, shift = _settle(segment_id, arms, found, whiten, turn, shift)
    rows = displacement_rows(arms @ turn.T, np.zeros(3))
    whitened = _times(whiten, rows)
    own: Array = np.linalg.inv(whitened.T @ whitened).astype(np.float64)
    residuals = found - shift - arms @ turn.T
    redundancy = 3 * len(ids) - 6
    return Pose(
        segment=segment_id,
        design2site=Motion(turn, shift, centre),
        covariance=own,
        points=tuple(ids),
        residuals=residuals,
        gain=own @ _back(whiten, whitened).T,
        ratio=float(np.abs(_standardise(residuals, u, rows, own, covariance)).max()),
        variance_factor=float((_times(whiten, residuals.ravel()) ** 2).sum() / redundancy),
        redundancy=redundancy,
    )


def standardised_residuals(
    pose: Pose, design: Array, u: Array, covariance: Array | None = None
) -> Array:
    """Residuals (k, 3) over their own standard uncertainty; zero where nothing checks them.

    The standard uncertainty of a residual is the root of the diagonal of ``Q = V - J C J'`` with V
    the covariance of the coordinates, J the rows of the motion and C its covariance. Where
    coordinates are not independent, an error of one shows in the residuals of all; then
    ``e' P r / sqrt(e' P Q P e)`` with ``P = V^-1`` is what finds it (Baarda 1968).

    Parameters
    ----------
    pose : Pose
    design, u : Array (k, 3)
        As given to :func:`fit_pose` [m].
    covariance : Array (3 k, 3 k), optional
        As given to :func:`fit_pose` [m2].
    """
    motion = pose.design2site
    rows = displacement_rows((design - motion.centre) @ motion.turn.T, np.zeros(3))
    return _standardise(pose.residuals, u, rows, pose.covariance, covariance)


def error_of(
    pose: Pose, design: Array, u: Array, covariance: Array | None, coordinates: Sequence[int]
) -> Array:
    """Return how far some coordinates are off [m] if they alone are wrong.

    Parameters
    ----------
    pose : Pose
    design, u, covariance
        As given to :func:`fit_pose`.
    coordinates : sequence of int
        Places among the 3 k coordinates, which the others check.
    """
    motion = pose.design2site
    rows = displacement_rows((design - motion.centre) @ motion.turn.T, np.zeros(3))
    weights = _weights(u, covariance)
    seen = weights @ rows
    block = np.ix_(coordinates, coordinates)
    left = weights[block] - (seen @ pose.covariance @ seen.T)[block]
    pull = (weights @ pose.residuals.ravel())[list(coordinates)]
    off: Array = np.linalg.solve(left, pull)
    return off


def require_three(segment_id: str, ids: Sequence[str], design: Array) -> None:
    """Refuse fewer than three points, or points in a line.

    Parameters
    ----------
    segment_id : str
    ids : sequence of str
        The k surveyed points.
    design : Array (k, 3)
        Their design coordinates [m].

    Raises
    ------
    SurveyRefused
        Naming the segment and what is missing.
    """
    names = ", ".join(ids) if len(ids) else "none"
    if len(ids) < 3:
        raise SurveyRefused(
            [
                f"segment {segment_id}: {len(ids)} surveyed point{'' if len(ids) == 1 else 's'} "
                f"({names}); its place needs at least 3, not in a line; survey more of its points"
            ]
        )
    spread = np.linalg.svd(design - design.mean(axis=0), compute_uv=False)
    if spread[1] <= IN_LINE * spread[0]:
        raise SurveyRefused(
            [
                f"segment {segment_id}: the surveyed points ({names}) lie in a line, so nothing "
                "says how the segment is turned about it; survey a point beside the line"
            ]
        )


def closed_fit(arms: Array, found: Array, weights: Array) -> tuple[Array, Array]:
    """Turn and shift that carry ``arms`` onto ``found`` with one weight a point.

    A mirror image is answered by the best proper rotation, never by a reflection.

    Parameters
    ----------
    arms, found : Array (k, n)
        Points in n dimensions [m].
    weights : Array (k,)

    Returns
    -------
    turn : Array (n, n)
    shift : Array (n,)
        ``found`` is near ``turn @ arm + shift``.
    """
    share = weights / weights.sum()
    mean_arm, mean_found = share @ arms, share @ found
    product = ((found - mean_found).T * share) @ (arms - mean_arm)
    left, _, right = np.linalg.svd(product)
    guard = np.ones(len(product))
    guard[-1] = np.sign(np.linalg.det(left @ right))
    turn = (left * guard) @ right
    return turn, mean_found - turn @ mean_arm


def _whiten(u: Array, covariance: Array | None) -> Array:
    """What makes coordinates independent with unit variance: a row of factors, or a matrix."""
    if covariance is None:
        return 1.0 / u.ravel()
    return np.linalg.inv(np.linalg.cholesky(covariance))


def _times(whiten: Array, what: Array) -> Array:
    """Whiten a vector (3 k,) or the rows of a matrix (3 k, n)."""
    if whiten.ndim == 2:
        return whiten @ what
    return (whiten * what.T).T


def _back(whiten: Array, what: Array) -> Array:
    """Apply the transpose of what whitens."""
    return _times(whiten.T if whiten.ndim == 2 else whiten, what)


def _settle(
    segment_id: str, arms: Array, found: Array, whiten: Array, turn: Array, shift: Array
) -> tuple[Array, Array]:
    """Gauss-Newton steps, each halved until it keeps a quarter of the promised descent."""

    def cost(a_turn: Array, a_shift: Array) -> float:
        return float((_times(whiten, (found - a_shift - arms @ a_turn.T).ravel()) ** 2).sum())

    small = 1e-13 * max(1.0, float(np.abs(found).max()))
    reach = max(1.0, float(np.abs(arms).max()))
    now = cost(turn, shift)
    for _ in range(_MOST_STEPS):
        rows = _times(whiten, displacement_rows(arms @ turn.T, np.zeros(3)))
        residuals = _times(whiten, (found - shift - arms @ turn.T).ravel())
        step: Array = np.linalg.lstsq(rows, residuals, rcond=None)[0].astype(np.float64)
        promised = 0.5 * float(((rows @ step) ** 2).sum())
        while True:
            trial_turn, trial_shift = rotation(step[3:]) @ turn, shift + step[:3]
            if np.abs(step[:3]).max() <= small and np.abs(step[3:]).max() * reach <= small:
                return trial_turn, trial_shift
            after = cost(trial_turn, trial_shift)
            if after <= now - promised:
                break
            step, promised = 0.5 * step, 0.5 * promised
        turn, shift, now = trial_turn, trial_shift, after
    raise SurveyRefused(
        [f"segment {segment_id}: no rigid motion fits its points; check the coordinate list"]
    )


def _standardise(
    residuals: Array, u: Array, rows: Array, motion: Array, covariance: Array | None
) -> Array:
    weights = _weights(u, covariance)
    seen, own = weights @ rows, np.diag(weights)
    left = own - np.einsum("ij,jk,ik->i", seen, motion, seen)
    checked = left > CHECKABLE * own
    result = np.zeros(residuals.size)
    result[checked] = (weights @ residuals.ravel())[checked] / np.sqrt(left[checked])
    return result.reshape(residuals.shape)


def _weights(u: Array, covariance: Array | None) -> Array:
    if covariance is None:
        return np.diag(1.0 / u.ravel() ** 2)
    weights: Array = np.linalg.inv(covariance)
    return weights
