"""What has moved, against a stable group found by itself."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.network.congruency import congruency, control_changes, epoch_changes
from fitup.network.solve import solve


def solved(site: Any) -> Any:
    return solve(site.job, site.epoch, site.read())


def test_clean_epochs_move_nothing_more_often_than_their_level_says(network_site: Any):
    moved = points = 0
    for seed in range(20):
        found = control_changes(solved(network_site(seed)))
        assert found is not None
        moved += sum(c.moved for c in found.changes) + (not found.agreed)
        points += len(found.changes)
    assert points == 80
    # 0.1 % for a group, 0.55 % for a point: one in twenty nets would be far too many
    assert moved <= 1


@pytest.mark.parametrize("held", [False, True])
def test_control_that_moved_is_named_with_its_way(network_site: Any, held: bool):
    site = network_site(3)
    job = site.job
    if held:
        exact = np.zeros((3, 3))
        control = {
            n: replace(c, use="held", covariance=exact, position=site.control[n])
            for n, c in job.control.items()
        }
        job = replace(job, control=control)
    site.control["CP3"] = site.control["CP3"] + [-0.008, 0.0, 0.006]
    found = control_changes(solve(job, site.epoch, site.read()))
    assert found is not None and found.agreed
    assert [c.id for c in found.changes if c.moved] == ["CP3"]
    (change,) = (c for c in found.changes if c.moved)
    u = np.sqrt(np.diag(change.covariance))
    assert np.abs(change.shift - [-0.008, 0.0, 0.006]).max() < 4.0 * u.max()
    assert sum(c.stable for c in found.changes) == 3


def test_points_that_moved_between_epochs(network_site: Any):
    before, later = network_site(4), network_site(5)
    later.targets["T3"] = later.targets["T3"] + [0.003, 0.0, 0.002]
    # the same control in both
    job = before.job
    one = solve(job, before.epoch, before.read())
    two = solve(job, later.epoch, later.read())
    found = epoch_changes(one, two)
    assert found is not None
    assert [c.id for c in found.changes if c.moved] == ["T3"]
    (change,) = (c for c in found.changes if c.moved)
    assert change.shift == pytest.approx([0.003, 0.0, 0.002], abs=1.5e-3)
    assert [c.id for c in found.changes if c.stable] == ["CP1", "CP2", "CP3", "CP4"]


def test_a_shift_and_turn_of_everything_is_no_movement():
    rng = np.random.default_rng(1)
    places = rng.uniform(-50, 50, (5, 3))
    turn = 1e-4
    shift = np.array([0.02, -0.01, 0.005])
    difference = shift + turn * np.column_stack([places[:, 1], -places[:, 0], np.zeros(5)])
    found = congruency("ABCDE", places, difference, np.eye(15) * 1e-6, "ABCDE")
    assert found.agreed
    assert all(c.stable for c in found.changes)
    assert np.abs([c.shift for c in found.changes]).max() < 1e-12


def test_nothing_is_said_where_no_three_agree():
    places = np.array([[0.0, 0, 0], [50, 0, 0], [0, 50, 0]])
    difference = np.array([[0.05, 0, 0], [0, 0.03, 0.09], [0, 0, -0.07]])
    found = congruency("ABC", places, difference, np.eye(9) * 1e-6, "ABC")
    assert not found.agreed
    assert not any(c.stable for c in found.changes)
