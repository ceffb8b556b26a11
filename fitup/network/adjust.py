"""Least squares of everything in one sparse system: coordinates, and how sure they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy import sparse

from fitup.errors import SurveyRefused
from fitup.frames import Array
from fitup.network.datum import Gauge, free_motions, gauge_of
from fitup.network.equations import Network, State, linearise, moved, whiten_of
from fitup.network.sparse import Selected, SparseFactor, factorise

#: the last step moves no coordinate by more [m]
SMALL: Final = 1e-9
_MOST_STEPS: Final = 25
#: how often a free network is laid onto its datum
_LAID: Final = 3


@dataclass(frozen=True, eq=False)
class Adjusted:
    """A network adjusted.

    Parameters
    ----------
    network : Network
    state : State
        Adjusted coordinates and orientations.
    used : Array (m,)
        Which observations counted.
    residuals : Array (m,)
        Observed less adjusted, of all observations, also of those that did not count [rad, m].
    slopes : sparse (m, n)
        How observations change with the unknowns, extra parameters at the end.
    weights : sparse (m, m)
        Whitening of the observations that count.
    factor, selected
        Of the normal equations.
    gauge : Gauge or None
        For a free network: the motions nothing observes.
    extra : Array (e,)
        Adjusted extra parameters, for hypotheses.
    """

    network: Network
    state: State
    used: Array
    residuals: Array
    slopes: Any
    weights: Any
    factor: SparseFactor
    selected: Selected
    gauge: Gauge | None
    extra: Array

    @property
    def squares(self) -> float:
        """Weighted sum of squared residuals."""
        white = self.weights @ self.residuals
        return float(white @ white)

    @property
    def redundancy(self) -> int:
        """Observations less unknowns that they determine."""
        loose = 0 if self.gauge is None else self.gauge.motions.shape[1]
        return int(self.used.sum()) - self.slopes.shape[1] + loose


def adjust(
    network: Network,
    start: State,
    *,
    used: Array | None = None,
    weights: Array | None = None,
    datum: Sequence[str] = (),
    extra: Array | None = None,
) -> Adjusted:
    """Adjust by Gauss-Newton steps from a start that the program found.

    Parameters
    ----------
    network : Network
    start : State
    used : Array (m,), optional
        Which observations count; all when not given.
    weights : Array (m,), optional
        Shares of the stated weights, for a robust start.
    datum : sequence of str
        Points whose changes from the start are least in sum of squares, for a free network;
        none for a network that its control holds.
    extra : Array (m, e), optional
        Effects of further unknowns on the observations.

    Raises
    ------
    SurveyRefused
        If something is not determined, or the steps do not settle.
    """
    counted = np.ones(len(network.value), dtype=bool) if used is None else used
    share = np.sqrt(counted.astype(float) if weights is None else counted * weights)
    whiten = sparse.diags_array(share) @ whiten_of(network, counted)
    more = np.zeros((len(counted), 0)) if extra is None else extra
    state, added, first = start, np.zeros(more.shape[1]), True
    pins: Any = None
    gauge: Gauge | None = None
    laid, order = 0, None
    for _ in range(_MOST_STEPS):
        off, slopes = linearise(network, state)
        off = off - more @ added
        design = sparse.csr_array(whiten @ sparse.hstack([slopes, sparse.csr_array(more)]))
        if first:
            gauge = gauge_of(network, state, design, datum)
            pins = None if gauge is None else gauge.pins
            first = False
        normal = design.T @ design
        if pins is not None:
            normal = normal + pins.T @ pins
        factor = factorise(normal, order)
        order = factor.order
        if len(factor.weak):
            raise SurveyRefused(free_motions(network, state, factor))
        step = factor.solve(design.T @ (whiten @ off))
        unknown = step[: network.unknowns]
        state, added = moved(network, state, unknown), added + step[network.unknowns :]
        if np.abs(unknown).max(initial=0.0) > SMALL:
            continue
        if gauge is None or laid == _LAID:
            break
        # a laid network is turned a little: one more step straightens what that bent
        state, laid = gauge.laid_onto(network, start, state), laid + 1
    else:
        raise SurveyRefused(
            ["the network does not settle; check names of targets and control coordinates"]
        )
    off, slopes = linearise(network, state)
    if gauge is not None:
        gauge = gauge.with_factor(factor)
    return Adjusted(
        network,
        state,
        counted,
        off - more @ added,
        sparse.csr_array(sparse.hstack([slopes, sparse.csr_array(more)])),
        sparse.csr_array(whiten),
        factor,
        factor.selected_inverse(),
        gauge,
        added,
    )


def require_determined(
    network: Network, state: State, used: Array, datum: Sequence[str] = ()
) -> None:
    """Refuse a network in which something is not determined, without adjusting it.

    Parameters
    ----------
    network : Network
    state : State
        Where the equations are linearised.
    used : Array (m,)
        Which observations count.
    datum : sequence of str
        Datum points of a free network; none where the control holds it.

    Raises
    ------
    SurveyRefused
        Naming what nothing determines.
    """
    whiten = sparse.diags_array(used.astype(float)) @ whiten_of(network, used)
    design = sparse.csr_array(whiten @ linearise(network, state)[1])
    gauge = gauge_of(network, state, design, datum)
    normal = design.T @ design
    if gauge is not None:
        normal = normal + gauge.pins.T @ gauge.pins
    factor = factorise(normal)
    if len(factor.weak):
        raise SurveyRefused(free_motions(network, state, factor))


def covariance_of(adjusted: Adjusted, names: Sequence[str]) -> Array:
    """Return the covariance (3k, 3k) of the coordinates of points [m2].

    Zero where a coordinate is held or nothing observes it.

    Parameters
    ----------
    adjusted : Adjusted
    names : sequence of str
        The k nodes, in the order of the rows.

    Returns
    -------
    Array (3k, 3k)
        Easting, northing and height of each point in turn.
    """
    columns = np.concatenate([adjusted.network.columns[adjusted.network.index(n)] for n in names])
    free = np.flatnonzero(columns >= 0)
    count = adjusted.slopes.shape[1]
    units = np.zeros((count, len(free)))
    units[columns[free], np.arange(len(free))] = 1.0
    inverse = adjusted.factor.solve(units)
    if adjusted.gauge is not None:
        inverse = adjusted.gauge.change(inverse, columns[free])
    covariance = np.zeros((len(columns), len(columns)))
    covariance[np.ix_(free, free)] = inverse[columns[free]]
    return 0.5 * (covariance + covariance.T)


def point_covariance(adjusted: Adjusted, name: str) -> Array:
    """Return the covariance (3, 3) of one point from the selected inverse [m2].

    Parameters
    ----------
    adjusted : Adjusted
    name : str
        Node of the network.
    """
    columns = adjusted.network.columns[adjusted.network.index(name)]
    free = np.flatnonzero(columns >= 0)
    block = adjusted.selected.block(columns[free])
    if adjusted.gauge is not None:
        block = adjusted.gauge.change_block(block, columns[free])
    covariance = np.zeros((3, 3))
    covariance[np.ix_(free, free)] = block
    return covariance
