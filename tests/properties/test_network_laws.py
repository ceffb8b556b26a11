"""Laws an adjusted network must keep: noise as stated, rotation, names, datum, and detection."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import least_squares

from fitup.network.adjust import adjust, covariance_of
from fitup.network.equations import State, build_network, linearise
from fitup.network.reliability import reliability
from fitup.network.solve import Solved, solve

ROOT = Path(__file__).parents[2]


def solved(site: Any) -> Solved:
    return solve(site.job, site.epoch, site.read())


def test_without_noise_the_truth_comes_back(network_site: Any):
    site = network_site()
    site.noise = 0.0
    found = solved(site)
    for name, place in {**site.targets, **site.control}.items():
        assert found.position(name) == pytest.approx(place, abs=1e-7)
    for name, place in site.stations.items():
        assert found.position(f"set-up {name}") == pytest.approx(place, abs=1e-7)
    assert found.outcome.tested.squares < 1e-6


def test_noise_of_the_stated_size_gives_residuals_of_unit_variance(network_site: Any):
    w, factors = [], []
    for seed in range(40):
        found = solved(network_site(seed)).outcome
        # whatever was taken out as odd would make the rest look better
        whole = reliability(adjust(found.adjusted.network, found.adjusted.state))
        w.append(whole.w)
        factors.append(whole.factor)
    values = np.concatenate(w)
    # 40 networks of 111 residuals: the variance is known to about 1.5 %, the mean to 0.9 %
    assert np.var(values) == pytest.approx(1.0, abs=0.05)
    assert np.mean(values) == pytest.approx(0.0, abs=0.04)
    assert np.mean(factors) == pytest.approx(1.0, abs=0.05)


def test_coordinates_err_as_their_covariance_says(network_site: Any):
    scaled = []
    for seed in range(40):
        site = network_site(seed)
        found = solved(site)
        names = tuple(site.targets)
        off = np.concatenate([found.position(n) - site.targets[n] for n in names])
        root = np.linalg.cholesky(found.covariance(names))
        scaled.append(np.linalg.solve(root, off))
    # whole covariance, so whitened errors are independent with unit variance: 24 by 60
    product = np.cov(np.array(scaled).T)
    assert np.trace(product) / len(product) == pytest.approx(1.0, abs=0.1)
    apart = product - np.diag(np.diag(product))
    assert np.sqrt((apart**2).mean()) < 0.2


def test_against_a_general_solver(network_site: Any):
    """Answer and covariance of a dense general least-squares solver from the same equations."""
    found = solved(network_site(5)).outcome.adjusted
    network = found.network
    free = network.columns >= 0

    def unpack(x: np.ndarray) -> State:
        positions = found.state.positions.copy()
        positions[free] = x[network.columns[free]]
        return State(positions, x[network.turns])

    def cost(x: np.ndarray) -> np.ndarray:
        return np.asarray(network.whiten @ linearise(network, unpack(x))[0])

    x = np.zeros(network.unknowns)
    x[network.columns[free]] = found.state.positions[free] + 0.01
    x[network.turns] = found.state.turns
    # differences instead of our slopes, so that the slopes are checked as well
    answer = least_squares(cost, x, jac="3-point", x_scale="jac", xtol=1e-14, ftol=1e-14)
    assert unpack(answer.x).positions == pytest.approx(found.state.positions, abs=1e-7)
    inverse = np.linalg.inv(answer.jac.T @ answer.jac)
    names = [n for n in network.nodes if n.startswith("T")]
    columns = np.concatenate([network.columns[network.index(n)] for n in names])
    theirs = inverse[np.ix_(columns, columns)]
    assert covariance_of(found, names) == pytest.approx(theirs, rel=1e-4, abs=1e-11)


@pytest.mark.parametrize("turn", [0.7, 2.0, 4.4])
def test_turning_the_site_turns_the_answer(network_site: Any, turn: float):
    one, other = network_site(3), network_site(3, turn=turn)
    here, there = solved(one), solved(other)
    assert there.outcome.tested.squares == pytest.approx(here.outcome.tested.squares, rel=1e-6)
    measured = [i for i, o in enumerate(here.network.observations) if o.setup]
    w, v = there.outcome.tested.w[measured], here.outcome.tested.w[measured]
    assert w == pytest.approx(v, abs=1e-4)
    spin = other.spin
    for name in one.targets:
        place = spin @ (here.position(name) - one.origin) + one.origin
        assert there.position(name) == pytest.approx(place, abs=1e-8)
        turned = spin @ here.covariance((name,)) @ spin.T
        assert there.covariance((name,)) == pytest.approx(turned, abs=1e-12)


def test_order_and_names_change_nothing(network_site: Any):
    site = network_site(4)
    read = site.read()
    shuffled = list(read.shots)
    np.random.default_rng(1).shuffle(shuffled)
    job = site.job
    one = solve(job, site.epoch, read)
    other = solve(job, site.epoch, replace(read, shots=tuple(shuffled)))
    for name in site.targets:
        assert other.position(name) == pytest.approx(one.position(name), abs=1e-8)
    assert other.outcome.tested.squares == pytest.approx(one.outcome.tested.squares)
    covariance = one.covariance(tuple(site.targets))
    assert other.covariance(tuple(site.targets)) == pytest.approx(covariance, abs=1e-13)


def test_a_free_network_has_the_same_residuals_whatever_its_datum(network_site: Any):
    site = network_site(6)
    held = solved(site)
    observations = held.network.observations
    measured = [o for o in observations if o.setup]
    network = build_network(measured, {}, bend=held.network.bend, earth=held.network.earth)
    places = held.outcome.adjusted.state
    order = [held.network.index(n) for n in network.nodes]
    start = State(places.positions[order], places.turns)
    everything = adjust(network, start, datum=network.nodes)
    pillars = adjust(network, start, datum=tuple(site.control))
    assert everything.residuals == pytest.approx(pillars.residuals, abs=1e-9)
    assert everything.redundancy == len(measured) - network.unknowns + 4
    # inner constraints give the least trace over their datum points
    names = network.nodes
    least = np.trace(covariance_of(everything, names))
    assert least < np.trace(covariance_of(pillars, names))
    change = everything.state.positions - start.positions
    assert change.mean(axis=0) == pytest.approx(np.zeros(3), abs=1e-9)
    # four motions are not observed: the covariance is singular to just that
    values = np.linalg.eigvalsh(covariance_of(everything, names))
    assert (values < 1e-6 * values[-1]).sum() == 4


def test_a_planted_error_is_named_as_often_as_theory_says():
    """An error of 10 sigma in one observation of 150 separate networks, each a random one.

    Each network has its own probability by theory, so that the count is known to the root of the
    sum of p (1 - p); 3 of these are let pass. The figures of 1,000 networks are in docs/survey.md.
    """
    run = runpy.run_path(str(ROOT / "benchmarks" / "detection.py"))["run"]
    outcomes = [run(seed) for seed in range(5000, 5150)]
    named = np.array([o.named for o in outcomes])
    assert 0.6 < named.mean() < 0.9
    room = 3.0 * np.sqrt((named * (1.0 - named)).sum())
    assert room < 0.12 * len(outcomes)
    assert sum(o.right for o in outcomes) == pytest.approx(named.sum(), abs=room)
    # what is found but not named is told of all the same
    found = np.array([o.found for o in outcomes])
    room = 3.0 * np.sqrt((found * (1.0 - found)).sum())
    assert sum(o.stated for o in outcomes) > found.sum() - room
    assert (named <= found + 0.05).all()
