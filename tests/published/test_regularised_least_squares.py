"""The fit of all assumptions together, its evidence, and its bounds, against outside figures.

1. NIST Statistical Reference Datasets, linear regression, Norris (J. Norris, ozone calibration;
   certified values of https://www.itl.nist.gov/div898/strd/lls/data/Norris.shtml): with a prior
   that says nothing the fit is ordinary least squares and must give the certified coefficients and
   standard deviations. Data re-entered. Tolerance 1e-7 of each: the prior is ten
   million standard deviations wide, not infinite.
2. M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions (1964), Table 26.8, percentage
   points of chi-square (from memory): three decimals are printed.
3. The normal density itself, by scipy.stats, an independent library: evidence as a ratio of two
   densities, for a model that is linear.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.special import chdtri
from scipy.stats import multivariate_normal

from fitup.loop.compare import BY_CHANCE
from fitup.loop.fit import fit

# y, x of Norris
_DATA = """
0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3
449.1 448.6 778.9 777.0 559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0
448.9 447.5 10.8 11.6 557.7 556.0 228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3
0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0 778.9 779.0 10.2 11.1 117.6 118.3
228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5
"""
NORRIS = np.array([float(number) for number in _DATA.split()]).reshape(-1, 2)
CERTIFIED = np.array([-0.262323073774029, 1.00211681802045])
CERTIFIED_SD = np.array([0.232818234301152, 0.429796848199937e-03])
RESIDUAL_SD = 0.884796396144373


def linear_model(design: np.ndarray, found: np.ndarray) -> SimpleNamespace:
    """A model of the kind that is fitted, whose columns never change."""
    return SimpleNamespace(
        round=SimpleNamespace(found=found),
        predicted=lambda theta: design @ theta,
        columns=lambda theta: design,
    )


def test_norris_without_a_prior_to_speak_of():
    y, x = NORRIS.T
    design = np.column_stack([np.ones_like(x), x])
    white = np.eye(len(x)) / RESIDUAL_SD
    stated = fit(linear_model(design, y), white, np.eye(2), np.diag((1e7 * CERTIFIED_SD) ** 2))
    assert stated.value == pytest.approx(CERTIFIED, rel=1e-7)
    assert np.sqrt(np.diag(stated.covariance)) == pytest.approx(CERTIFIED_SD, rel=1e-7)


@pytest.mark.parametrize(
    ("degrees", "chance", "printed"),
    [(1, 0.01, 6.635), (10, 0.01, 23.209), (30, 0.01, 50.892), (10, 0.001, 29.588)],
)
def test_percentage_points_of_chi_square(degrees: int, chance: float, printed: float):
    assert BY_CHANCE == 0.01
    assert chdtri(degrees, chance) == pytest.approx(printed, abs=6e-4)


@pytest.mark.parametrize("seed", range(3))
def test_evidence_is_the_ratio_of_two_densities(seed: int):
    rng = np.random.default_rng(seed)
    design, found = rng.normal(size=(7, 3)), rng.normal(size=7)
    root = rng.normal(size=(3, 3))
    prior = root @ root.T + 0.1 * np.eye(3)
    stated = fit(linear_model(design, found), np.eye(7), np.eye(3), prior)
    wide = multivariate_normal(np.zeros(7), np.eye(7) + design @ prior @ design.T)
    plain = multivariate_normal(np.zeros(7), np.eye(7))
    assert stated.evidence == pytest.approx(2.0 * (wide.logpdf(found) - plain.logpdf(found)))
