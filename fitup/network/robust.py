"""Find what does not fit, also where several errors hide each other.

One wrong observation is found by its test. Several can spoil the residuals of good ones and pass
themselves; so the squares are first replaced by weights that fall off with the residual, from a
start that is robust itself. What that leaves far off is taken out, let in again where the rest
agrees with it after all, and the remainder is tested one by one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import comb
from typing import Final

import numpy as np

from fitup.errors import SurveyRefused
from fitup.frames import Array
from fitup.network.adjust import Adjusted, adjust, require_determined
from fitup.network.equations import Network, State, covariance_of_rows, linearise
from fitup.network.reliability import Reliability, critical_value, reliability

#: full weight up to the first, none beyond the second [standard uncertainties]
FULL: Final = 2.0
NONE: Final = 6.0
#: weight that is left to what is far off, so that nothing becomes undetermined
FLOOR: Final = 1e-8
_ROUNDS: Final = 12
#: sets of observations of one target that are tried
MOST_TRIED: Final = 4000
#: at most this share of all observations is taken out
MOST: Final = 0.3


@dataclass(frozen=True, eq=False)
class CleanedNetwork:
    """A network without what does not fit.

    Parameters
    ----------
    adjusted : Adjusted
    tested : Reliability
    odd : tuple of int
        Observations that do not fit the rest, worst first.
    size : Array (m,)
        How far an odd observation is off what the rest says [rad, m], over its uncertainty.
    off : Array (m,)
        The same without the division.
    """

    adjusted: Adjusted
    tested: Reliability
    odd: tuple[int, ...]
    size: Array
    off: Array

    @classmethod
    def clean(cls, adjusted: Adjusted, tested: Reliability) -> CleanedNetwork:
        """Return a network with every observation in it.

        Parameters
        ----------
        adjusted, tested
        """
        none = np.full(len(adjusted.used), np.nan)
        return cls(adjusted, tested, (), none, none)


def adjust_and_test(
    network: Network, start: State, used: Array, datum: Sequence[str] = ()
) -> CleanedNetwork:
    """Adjust, and find every observation that does not fit the rest.

    Parameters
    ----------
    network, start
    used : Array (m,)
        Observations that may count; the others are neither adjusted nor tested.
    datum : sequence of str
        Points a free network is laid onto; none where the control holds it.

    Raises
    ------
    SurveyRefused
        If something is not determined.
    """
    try:
        whole = adjust(network, start, used=used, datum=datum)
    except SurveyRefused:
        whole = None
        if not _settles(network, start, used, datum):
            raise
    if whole is not None:
        tested = reliability(whole)
        if tested.passed:
            return CleanedNetwork.clean(whole, tested)
        alone = _one_alone(network, whole, tested, used, datum)
        if alone is not None:
            return alone
    kept = _robust(network, start, used, datum)
    outcome = _snoop(network, start, used, kept, datum)
    return _fewer(network, outcome, used, datum)


def _one_alone(
    network: Network, whole: Adjusted, tested: Reliability, used: Array, datum: Sequence[str]
) -> CleanedNetwork | None:
    """Take out the one observation that stands out most; None where that does not settle it."""
    w = np.nan_to_num(np.abs(tested.w))
    if w.max(initial=0.0) <= tested.critical:
        return None
    kept = used.copy()
    kept[int(w.argmax())] = False
    try:
        adjusted = adjust(network, whole.state, used=kept, datum=datum)
    except SurveyRefused:
        return None
    again = reliability(adjusted)
    if not again.passed:
        return None
    return CleanedNetwork(adjusted, again, (int(w.argmax()),), *predicted(adjusted))


def _settles(network: Network, start: State, used: Array, datum: Sequence[str]) -> bool:
    """Tell whether gross errors alone kept the steps from settling."""
    try:
        adjust(network, start, used=used, weights=_shares(_scaled(network, start)), datum=datum)
    except SurveyRefused:
        return False
    return True


def _scaled(network: Network, state: State) -> Array:
    """Residuals at a state over their stated uncertainty and over their own usual size."""
    off, _ = linearise(network, state)
    size = np.abs(network.whiten @ off)
    usual = 1.4826 * float(np.median(size))
    return size / max(1.0, usual)


def _shares(size: Array) -> Array:
    """Weights that fall from one to nothing between the two limits."""
    safe = np.maximum(size, FULL)
    falling = FULL / safe * np.clip((NONE - safe) / (NONE - FULL), 0.0, 1.0) ** 2
    return np.maximum(falling, FLOOR)


def _robust(network: Network, start: State, used: Array, datum: Sequence[str]) -> Array:
    """Return which observations are kept after weights have settled."""
    state = start
    size = _scaled(network, start)
    for round_ in range(_ROUNDS):
        # absolute values first, which have one minimum; then weights that let go altogether
        shares = FULL / np.maximum(size, FULL) if round_ < _ROUNDS // 2 else _shares(size)
        try:
            found = adjust(network, state, used=used, weights=shares, datum=datum)
        except SurveyRefused:
            break
        state = found.state
        size = _scaled(network, state)
    limit = critical_value(int(used.sum()))
    kept = used & (size <= limit)
    odd = np.flatnonzero(used & ~kept)
    most = int(MOST * used.sum())
    if len(odd) > most:
        kept = used.copy()
        kept[odd[np.argsort(-size[odd], kind="stable")[:most]]] = False
    return kept


def _snoop(
    network: Network, start: State, used: Array, kept: Array, datum: Sequence[str]
) -> CleanedNetwork:
    """Let in what fits after all, then take out the worst one by one."""
    kept = _determined(network, start, used, kept, datum)
    adjusted = adjust(network, start, used=kept, datum=datum)
    barred = np.zeros(len(used), dtype=bool)
    while True:
        tested = reliability(adjusted)
        out = np.flatnonzero(used & ~kept)
        size, off = predicted(adjusted)
        fits = out[(np.abs(size[out]) <= tested.critical) & ~barred[out]]
        worst = np.where(np.isnan(tested.w), 0.0, np.abs(tested.w))
        kept = kept.copy()
        if len(fits):
            change = int(fits[np.argmin(np.abs(size[fits]))])
            kept[change] = True
        elif worst.max(initial=0.0) > tested.critical:
            change = int(worst.argmax())
            kept[change] = False
            # what was let in and did not fit stays out: the walk ends
            barred[change] = True
        else:
            order = out[np.argsort(-np.abs(size[out]), kind="stable")]
            return CleanedNetwork(adjusted, tested, tuple(order.tolist()), size, off)
        adjusted = adjust(network, adjusted.state, used=kept, datum=datum)


def _fewer(
    network: Network, outcome: CleanedNetwork, used: Array, datum: Sequence[str]
) -> CleanedNetwork:
    """Look again at targets with several odd observations: perhaps fewer explain them.

    Where two of a target's observations are wrong, the rest may agree with either of them after
    giving up still more. The fewest that must be given up are found by trying all of them.
    """
    for node in sorted({int(network.to[i]) for i in outcome.odd}):
        rows = np.flatnonzero(used & (network.to == node))
        count = sum(network.to[i] == node and network.kind[i] < 3 for i in outcome.odd)
        if count == 0:
            # its coordinates are odd, not what was measured to it
            continue
        tries = [fewest_wrong(network, outcome.adjusted.state, node, rows, count)]
        # a sight to another target altogether: one set-up's readings are all wrong
        tries += [tuple(rows[network.at[rows] == at]) for at in np.unique(network.at[rows])]
        for out in tries:
            if out is None or len(out) > count or set(out) <= set(outcome.odd):
                continue
            kept = used.copy()
            kept[[i for i in outcome.odd if network.to[i] != node]] = False
            kept[list(out)] = False
            try:
                again = _snoop(network, outcome.adjusted.state, used, kept, datum)
            except SurveyRefused:
                continue
            if _better(again, outcome):
                outcome = again
    return outcome


def _better(one: CleanedNetwork, other: CleanedNetwork) -> bool:
    """Fewer odd observations, or as many and a better fit of the rest."""
    own, its = (len(one.odd), one.tested.squares), (len(other.odd), other.tested.squares)
    return own < its


def fewest_wrong(
    network: Network, state: State, node: int, rows: Array, most: int
) -> tuple[int, ...] | None:
    """Return the fewest observations of one node without which the others agree on its place.

    Set-ups are taken as they stand.

    Parameters
    ----------
    network, state
    node : int
        Place of the node in the network.
    rows : Array (r,)
        Its observations.
    most : int
        How many of them may be wrong.

    Returns
    -------
    tuple of int, or None
        None where not even ``most`` of them suffice, or there are too many to try.
    """
    for size in range(most + 1):
        ranked = without_some(network, state, node, rows, size)
        if ranked is None:
            return None
        if ranked:
            return ranked[0][1]
    return None


def without_some(
    network: Network, state: State, node: int, rows: Array, size: int
) -> list[tuple[float, tuple[int, ...]]] | None:
    """Return the sets of so many observations without which the others agree, best fit first.

    Parameters
    ----------
    network, state
    node : int
        Place of the node in the network.
    rows : Array (r,)
        Observations of the node.
    size : int
        How many are left out.

    Returns
    -------
    list of (squares of the rest, observations left out), or None
        None where there are too many sets to try.
    """
    columns = network.columns[node]
    columns = columns[columns >= 0]
    if size > len(rows) - len(columns) - 1:
        return []
    if comb(len(rows), size) > MOST_TRIED:
        return None
    spread = covariance_of_rows(network, rows)
    off, slopes = linearise(network, state)
    design = slopes[rows][:, columns].toarray()
    misses = off[rows]
    limit = critical_value(len(network.value))
    found = []
    for out in combinations(range(len(rows)), size):
        keep = np.delete(np.arange(len(rows)), out)
        white = _whitening(spread[np.ix_(keep, keep)])
        own, seen = white @ misses[keep], white @ design[keep]
        step = np.linalg.lstsq(seen, own, rcond=None)[0]
        left = np.abs(own - seen @ step)
        if left.max(initial=0.0) <= limit:
            found.append((float(left @ left), tuple(int(rows[k]) for k in out)))
    return sorted(found)


def _whitening(covariance: Array) -> Array:
    """What makes observations independent with unit variance; nearly always they are already."""
    diagonal = np.diag(covariance)
    if np.count_nonzero(covariance) == len(diagonal):
        return np.diag(1.0 / np.sqrt(diagonal))
    inverse: Array = np.linalg.inv(np.linalg.cholesky(covariance))
    return inverse


def _determined(
    network: Network, start: State, used: Array, kept: Array, datum: Sequence[str]
) -> Array:
    """Take back what nothing would determine any more, the least odd first."""
    size = _scaled(network, start)
    while True:
        try:
            require_determined(network, start, kept, datum)
        except SurveyRefused:
            out = np.flatnonzero(used & ~kept)
            if not len(out):
                raise
            kept = kept.copy()
            kept[out[np.argmin(size[out])]] = True
        else:
            return kept


def predicted(adjusted: Adjusted) -> tuple[Array, Array]:
    """How far every observation that did not count is off what the rest says.

    Returns
    -------
    size, off : Array (m,)
        Over its standard uncertainty, and itself [rad, m]; nan for those that counted.
    """
    network = adjusted.network
    spread = np.array([o.u for o in network.observations]) ** 2
    out = np.flatnonzero(~adjusted.used)
    size, off = np.full(len(spread), np.nan), np.full(len(spread), np.nan)
    if len(out):
        rows = adjusted.slopes[out].toarray()
        through = adjusted.factor.solve(np.ascontiguousarray(rows.T))
        total = spread[out] + np.einsum("ij,ji->i", rows, through)
        off[out] = adjusted.residuals[out]
        size[out] = off[out] / np.sqrt(np.maximum(total, spread[out]))
    return size, off
