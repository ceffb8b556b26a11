"""Slopes of every observation against differences, with bending and scale made large."""

from __future__ import annotations

import numpy as np
import pytest

from fitup.model import ControlPoint
from fitup.network.equations import State, build_network, linearise, moved
from fitup.network.observations import Kind, Observation


def test_slopes_are_those_of_the_predictions():
    rng = np.random.default_rng(3)
    kinds: tuple[Kind, ...] = ("hz", "v", "sd", "dh")
    observations = [
        Observation(f"{a}{b}{k}", k, a, b, 0.0, 1.0, 0.1, 0.3, setup=a if k != "dh" else "")
        for a, b in ("AB", "BC", "CA", "AD")
        for k in kinds
    ]
    spread = np.diag([4.0, 9.0, 1.0]) + 0.5
    control = {"D": ControlPoint("D", "weighted", rng.normal(size=3), spread)}
    network = build_network(observations, control, scale=0.97, bend=1e-3, earth=2e-3)
    state = State(rng.uniform(-30.0, 30.0, (4, 3)), rng.uniform(0.0, 6.0, 3))
    off, slopes = linearise(network, state)
    for j in range(network.unknowns):
        step = np.zeros(network.unknowns)
        step[j] = 1e-6
        ahead = linearise(network, moved(network, state, step))[0]
        back = linearise(network, moved(network, state, -step))[0]
        # observed less predicted falls as the prediction rises
        rise = np.remainder(back - ahead + np.pi, 2 * np.pi) - np.pi
        assert slopes[:, [j]].toarray().ravel() == pytest.approx(rise / 2e-6, abs=1e-6)
    weights = (network.whiten.T @ network.whiten).toarray()
    assert np.linalg.inv(weights[-3:, -3:]) == pytest.approx(spread)
    assert off.shape == (19,)
