"""How far the real steel is from its drawing: fabrication scatter as a variance of its own.

A rigid fit compares what was surveyed with a design shape that no shop hits exactly. With V the
covariance of the coordinates and s the scatter, residuals have the covariance of V + s^2 I. The
scatter widens the test of the shape and what is carried to points nobody measured; a measured
point is where it was measured, whatever its drawing says.

The scatter is stated in ``job.toml`` or, where the residuals are larger than V explains and no
single mistake explains them better, estimated by restricted maximum likelihood (H. D. Patterson,
R. Thompson, Recovery of inter-block information when block sizes are unequal, Biometrika 58,
1971).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.frames import displacement_rows
from fitup.survey.blunders import explain, explained
from fitup.survey.hypotheses import Observed
from fitup.survey.points import Scatter
from fitup.survey.pose import fit_pose
from fitup.units import DisplayUnits

#: scatter of welded steelwork about its drawing where none is stated [m];
#: common practice, no source
USUAL: Final = 0.002
#: more than this is not fabrication but a mistake [m]; common practice, no source
MOST: Final = 0.005
_LEAST: Final = 1e-5


def with_scatter(observed: Observed, scatter: float) -> Observed:
    """Return a segment whose design shape is known within the scatter only.

    Parameters
    ----------
    observed : Observed
    scatter : float
        One standard deviation of each coordinate [m].
    """
    covariance = observed.covariance
    if covariance is not None:
        covariance = covariance + scatter**2 * np.eye(len(covariance))
    return replace(observed, u=np.hypot(observed.u, scatter), covariance=covariance)


def estimated_scatter(observed: Observed) -> float:
    """Return the scatter [m] that makes the residuals most likely; zero where V explains them."""
    from scipy.optimize import minimize_scalar

    found = minimize_scalar(
        lambda log_s: likelihood(observed, float(np.exp(log_s))),
        bounds=(np.log(_LEAST), np.log(20.0 * MOST)),
        method="bounded",
    )
    scatter = float(np.exp(found.x))
    return scatter if found.fun < likelihood(observed, 0.0) else 0.0


def likelihood(observed: Observed, scatter: float) -> float:
    """Return minus twice the restricted log-likelihood of a scatter, up to a constant.

    Parameters
    ----------
    observed : Observed
    scatter : float
        One standard deviation of each coordinate [m].
    """
    o = with_scatter(observed, scatter)
    pose = fit_pose(o.segment, o.ids, o.design, o.surveyed, o.u, o.covariance)
    covariance = np.diag(o.u.ravel() ** 2) if o.covariance is None else o.covariance
    motion = pose.design2site
    rows = displacement_rows((o.design - motion.centre) @ motion.turn.T, np.zeros(3))
    seen = np.linalg.solve(covariance, rows)
    squares = pose.variance_factor * pose.redundancy
    own = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(rows.T @ seen)[1]
    return float(squares + own)


@dataclass(frozen=True, slots=True)
class ShapeTest:
    """What the shape of one segment shows: findings that refuse it, or its scatter."""

    findings: tuple[str, ...]
    scatter: Scatter | None = None
    """None where the coordinates' own uncertainty explains the residuals."""


def judge_shape(
    observed: Observed,
    others: Sequence[Observed],
    believed: float,
    units: DisplayUnits,
    stated: float | None,
) -> ShapeTest:
    """Test the shape of a segment, with its fabrication scatter where that is known or shows.

    A single mistake is stated before scatter where it explains the residuals better: both are
    compared by their likelihood, each parameter and each coordinate given up at the price of
    G. Schwarz (Estimating the dimension of a model, Annals of Statistics 6, 1978).

    Parameters
    ----------
    observed : Observed
    others : sequence of Observed
        The other segments of the job.
    believed : float
        Greatest distance from the design that is believed [m].
    units : DisplayUnits
    stated : float or None
        Scatter of ``job.toml`` [m].

    Raises
    ------
    SurveyRefused
        If the points cannot be fitted at all.
    """
    if stated is not None:
        widened = [with_scatter(o, stated) for o in (observed, *others)]
        lines = explain(widened[0], widened[1:], believed, units)
        return ShapeTest(lines, Scatter(stated, "stated"))
    plain = explained(observed, others, believed, units)
    if not plain.lines:
        return ShapeTest(())
    scatter = estimated_scatter(observed)
    if 0.0 < scatter <= MOST and not explain(
        with_scatter(observed, scatter), others, believed, units
    ):
        price = float(np.log(observed.surveyed.size))
        rival = np.inf
        if plain.given_up is not None:
            # the worst of all coordinates was looked for: choosing it has its price too
            chosen = 2.0 * price if plain.given_up else 0.0
            rival = _without_scatter(observed) + plain.squares + price * plain.given_up + chosen
        if likelihood(observed, scatter) + price < rival:
            return ShapeTest((), Scatter(scatter, "estimated"))
        return ShapeTest((*plain.lines, _or_scatter(observed, scatter, units)))
    if plain.given_up is None:
        usual = explained(with_scatter(observed, USUAL), others, believed, units)
        if usual.lines and usual.given_up is not None:
            return ShapeTest(usual.lines)
    return ShapeTest(plain.lines)


def _or_scatter(observed: Observed, scatter: float, units: DisplayUnits) -> str:
    return (
        f"segment {observed.segment}: or, less likely, its points scatter about the design shape "
        f"by {units.move.text(scatter)}; if the shop's measurements bear that out, state it with "
        "fabrication in job.toml [uncertainty]"
    )


def _without_scatter(observed: Observed) -> float:
    """What a likelihood without scatter is beside its weighted squares."""
    pose = fit_pose(
        observed.segment,
        observed.ids,
        observed.design,
        observed.surveyed,
        observed.u,
        observed.covariance,
    )
    return likelihood(observed, 0.0) - pose.variance_factor * pose.redundancy
