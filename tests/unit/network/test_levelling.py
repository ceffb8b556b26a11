"""Levelled differences beside sights: they join in, are tested, and hold heights of their own."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from fitup.model import ControlPoint
from fitup.network.observations import LevelledDifference
from fitup.network.solve import solve

ROUND = ("T1", "T2", "T3", "T4", "T1")


def runs(site: Any, wrong: float = 0.0) -> tuple[LevelledDifference, ...]:
    """A levelled loop over four targets, 0.2 mm for each leg; the second may be wrong."""
    legs = []
    for i, (a, b) in enumerate(pairwise(ROUND)):
        rise = float(site.targets[b][2] - site.targets[a][2] + site.rng.normal(0.0, 2e-4))
        legs.append(LevelledDifference(a, b, rise + (wrong if i == 1 else 0.0), 2e-4, 1, i + 2))
    return tuple(legs)


def test_levelling_makes_differences_of_height_surer(network_site: Any):
    site = network_site(11)
    # angles so poor that heights by sights are of millimetres
    site.instrument = replace(site.instrument, u_v=5e-5)
    read = site.read()
    with_it = solve(site.job, site.epoch, replace(read, levels=runs(site)))
    without = solve(site.job, site.epoch, read)
    assert with_it.findings == without.findings == ()

    def spread(found: Any) -> float:
        c = found.covariance(("T1", "T3"))
        return float(np.sqrt(c[2, 2] + c[5, 5] - 2.0 * c[2, 5]))

    assert spread(without) > 0.4e-3
    # two ways round of two legs each
    assert spread(with_it) < 0.2e-3 * 1.01
    rise = with_it.position("T3")[2] - with_it.position("T1")[2]
    assert rise == pytest.approx(site.targets["T3"][2] - site.targets["T1"][2], abs=0.6e-3)


def test_a_wrong_leg_is_named(network_site: Any):
    site = network_site(11)
    found = solve(site.job, site.epoch, replace(site.read(), levels=runs(site, wrong=0.005)))
    assert found.findings == (
        "levelling T2 to T3 (row 3): T3 comes out 4.7 mm too high; a reading or a turning point? "
        "Level it again, or exclude level/T2/T3 in job.toml [exclude] with the reason",
    )
    job = replace(site.job, excluded={"level/T2/T3": "staff sank, party chief"})
    assert solve(job, site.epoch, replace(site.read(), levels=runs(site, 0.005))).findings == ()


def test_a_benchmark_has_a_height_alone(network_site: Any):
    """Levels from a held benchmark that nobody sights: the height comes from there."""
    site = network_site(12)
    site.noise = 0.0
    job = site.job
    high = ControlPoint("BM", "held", np.array([np.nan, np.nan, 45.0]), np.zeros((3, 3)))
    flat = {n: replace(c, position=c.position * [1, 1, np.nan]) for n, c in job.control.items()}
    job = replace(job, control={**flat, "BM": high})
    rise = float(site.targets["T1"][2]) - 45.0
    level = LevelledDifference("BM", "T1", rise, 1e-4, 1, 2)
    found = solve(job, site.epoch, replace(site.read(), levels=(level,)))
    for name, place in site.targets.items():
        assert found.position(name) == pytest.approx(place, abs=1e-7)
