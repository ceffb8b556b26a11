"""The budget's arithmetic against the examples of the GUM.

JCGM 100:2008, Evaluation of measurement data - Guide to the expression of uncertainty in
measurement, annex H. Each tolerance is half of the last printed digit.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitup.model import Check
from fitup.trust import Budget, Source
from fitup.trust.joint import shares


def check(name: str) -> Check:
    return Check(name, "level", "", None, name, 0.0, 1.0, 1.0, "")


def test_end_gauge():
    """H.1: length standard 25 nm, comparison 9.7 nm, temperature and expansion: u = 32 nm."""
    length, temperature = 50.000623e6, -0.1  # nm, K
    effects = {
        "length standard": 25.0,
        "comparison": 9.7,
        "difference of expansions": length * temperature * 0.58e-6,
        "difference of temperatures": length * 11.5e-6 * 0.029,
    }
    sources = tuple(Source("target", name) for name in effects)
    columns = np.array([list(effects.values())])
    budget = Budget((check("l"),), np.zeros(1), sources, columns, np.arange(4), ())
    assert budget.u[0] == pytest.approx(32.0, abs=0.5)
    assert budget.u[0] == pytest.approx(31.71, abs=0.005)
    ranked = shares(budget, [0])
    assert [s.source.name for s in ranked[:3]] == [
        "length standard",
        "difference of temperatures",
        "comparison",
    ]
    assert ranked[0].share == pytest.approx(25.0**2 / 31.71**2, abs=1e-3)
    assert sum(s.share for s in ranked) == pytest.approx(1.0)


def test_resistance_and_reactance():
    """H.2: five readings of V, I and phase together; R, X, Z with uncertainty and correlation.

    The inputs were recalled, the results agree with the printed ones in every digit.
    """
    V = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
    current = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
    phase = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])
    v, i, p = V.mean(), current.mean(), phase.mean()
    effect = np.array(
        [
            [np.cos(p) / i, -v * np.cos(p) / i**2, -v * np.sin(p) / i],
            [np.sin(p) / i, -v * np.sin(p) / i**2, v * np.cos(p) / i],
            [1.0 / i, -v / i**2, 0.0],
        ]
    )
    # one column a reading: what was read together goes astray together
    astray = np.array([V - v, current - i, phase - p]) / np.sqrt(5.0 * 4.0)
    budget = Budget(
        tuple(check(n) for n in "RXZ"),
        np.array([v / i * np.cos(p), v / i * np.sin(p), v / i]),
        tuple(Source("reading", str(k)) for k in range(5)),
        effect @ astray,
        np.arange(5),
        (),
    )
    assert budget.values == pytest.approx([127.732, 219.847, 254.260], abs=5e-4)
    assert budget.u == pytest.approx([0.071, 0.295, 0.236], abs=6e-4)
    correlation = budget.covariance / np.outer(budget.u, budget.u)
    assert correlation[0, 1] == pytest.approx(-0.588, abs=5e-4)
    assert correlation[0, 2] == pytest.approx(-0.485, abs=5e-4)
    assert correlation[1, 2] == pytest.approx(0.993, abs=5e-4)
