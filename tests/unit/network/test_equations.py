"""Slopes of every observation against differences, with bending and scale made large."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.model import ControlPoint
from fitup.network.adjust import adjust, covariance_of, point_covariance
from fitup.network.congruency import control_changes
from fitup.network.equations import State, build_network, covariance_of_rows, linearise, moved
from fitup.network.observations import Kind, Observation
from fitup.network.solve import solve


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


def test_a_coordinate_left_out_is_as_one_never_given(network_site: Any):
    """The rest of a correlated control point keeps its own covariance, not that of a whole."""
    site = network_site(5)
    mixing = np.array([[1.0, 0.0, 0.0], [0.8, 0.6, 0.0], [0.5, 0.5, 0.7]]) * 0.002
    spread = mixing @ mixing.T
    given = {n: replace(c, covariance=spread) for n, c in site.job.control.items()}
    job, read = replace(site.job, control=given), site.read()
    whole = solve(job, site.epoch, read).outcome.adjusted
    rows = [i for i, o in enumerate(whole.network.observations) if o.id.startswith("CP2/")]
    assert covariance_of_rows(whole.network, np.array(rows)) == pytest.approx(spread)
    assert covariance_of_rows(whole.network, np.array(rows[1:])) == pytest.approx(spread[1:, 1:])
    used = np.ones(len(whole.used), dtype=bool)
    used[rows[0]] = False
    without = adjust(whole.network, whole.state, used=used)
    point = given["CP2"]
    lost = replace(point, position=point.position * [np.nan, 1.0, 1.0])
    never = solve(replace(job, control={**given, "CP2": lost}), site.epoch, read).outcome.adjusted
    for name in whole.network.nodes:
        found = never.state.positions[never.network.index(name)]
        kept = without.state.positions[without.network.index(name)]
        assert kept == pytest.approx(found, abs=1e-9)
    assert without.squares == pytest.approx(never.squares, rel=1e-9)


def _seen_by_direction_only(site: Any, name: str) -> Any:
    read = site.read()
    shots = [replace(s, v=None, sd=None) if s.target == name else s for s in read.shots]
    return replace(read, shots=tuple(shots))


def test_a_height_that_only_control_states_keeps_its_uncertainty(network_site: Any):
    site = network_site(5)
    mixing = np.array([[1.0, 0.0, 0.0], [0.8, 0.6, 0.0], [0.5, 0.5, 0.7]]) * 0.002
    spread = mixing @ mixing.T
    given = {n: replace(c, covariance=spread) for n, c in site.job.control.items()}
    job, read = replace(site.job, control=given), _seen_by_direction_only(site, "CP2")
    adjusted = solve(job, site.epoch, read).outcome.adjusted
    block = covariance_of(adjusted, ["CP2"])
    assert block == pytest.approx(point_covariance(adjusted, "CP2"), abs=1e-12)
    # what the directions say of its plan says something of its height, as far as both are tied
    tied = spread[2, :2] @ np.linalg.inv(spread[:2, :2])
    plan = block[:2, :2]
    left = spread[2, 2] - tied @ spread[:2, 2] + tied @ plan @ tied
    assert block[2, 2] == pytest.approx(left, rel=1e-6)
    assert block[2, 2] > 0.2 * spread[2, 2]


def test_a_height_that_nothing_states_any_more_is_no_unknown(network_site: Any):
    site = network_site(5)
    excluded = {"CP2/H": "doubtful benchmark, I. Calder"}
    job = replace(site.job, excluded=excluded)
    solved = solve(job, site.epoch, _seen_by_direction_only(site, "CP2"))
    assert solved.excluded == excluded
    assert solved.network.columns[solved.network.index("CP2"), 2] == -1


def test_a_point_whose_height_nobody_observed_is_not_compared(network_site: Any):
    """A height that came from control.csv alone agrees with control.csv: that shows nothing."""
    site = network_site(5)
    found = control_changes(solve(site.job, site.epoch, _seen_by_direction_only(site, "CP2")))
    assert found is not None
    assert [c.id for c in found.changes] == ["CP1", "CP3", "CP4"]


def test_a_point_seen_by_direction_only_that_moved_is_named(network_site: Any):
    site = network_site(5)
    job = site.job
    across = np.cross(site.control["CP2"] - site.origin, [0.0, 0.0, 1.0])
    site.control["CP2"] = site.control["CP2"] + 0.03 * across / np.linalg.norm(across)
    solved = solve(job, site.epoch, _seen_by_direction_only(site, "CP2"))
    (advice,) = solved.advice
    assert advice.text.startswith("control point CP2")
