"""Each correction on its own: what it does, that it can be switched off, and what is shown."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.model import NetworkRules
from fitup.network.atmosphere import velocity_correction
from fitup.network.solve import solve

REFERENCE, AIR = (285.15, 101325.0, 0.6), (298.15, 96000.0, 0.5)


def test_the_air_is_taken_out_of_the_distance(network_site: Any):
    site = network_site(1)
    site.noise = 0.0
    read = site.read()
    share = velocity_correction(0.658, REFERENCE, AIR)
    seen = replace(site.instrument, wavelength=0.658, reference=REFERENCE)
    setups = {n: replace(s, instrument=seen) for n, s in read.setups.items()}
    shots = tuple(replace(s, sd=s.sd / (1.0 + share), air=AIR) for s in read.shots)
    raw = replace(read, setups=setups, shots=shots)
    found = solve(site.job, site.epoch, raw)
    assert found.position("T1") == pytest.approx(site.targets["T1"], abs=1e-7)
    shown = {c.name: c for c in found.corrections}
    longest = max(s.sd for s in shots)
    assert shown["air"].on
    assert shown["air"].greatest == pytest.approx(share * longest, rel=1e-6)
    off = solve(replace(site.job, network=NetworkRules(air=False)), site.epoch, raw)
    assert not {c.name: c for c in off.corrections}["air"].on
    assert off.sights[0].sd == pytest.approx(raw.shots[0].sd)


def test_the_prism_constant_is_added(network_site: Any):
    site = network_site(1)
    site.noise = 0.0
    read = site.read()
    shots = tuple(
        replace(s, sd=s.sd - 0.0169, prism=0.0169) if s.target == "T2" else s for s in read.shots
    )
    found = solve(site.job, site.epoch, replace(read, shots=shots))
    assert found.position("T2") == pytest.approx(site.targets["T2"], abs=1e-7)
    assert {c.name: c.greatest for c in found.corrections}["prism constant"] == 0.0169
    off = replace(site.job, network=NetworkRules(prism=False))
    found = solve(off, site.epoch, replace(read, shots=shots))
    assert not {c.name: c.on for c in found.corrections}["prism constant"]
    assert [s.sd for s in found.sights if s.target == "T2"] == [
        s.sd for s in shots if s.target == "T2" and s.face == 1
    ]


def test_target_heights_are_taken_off(network_site: Any):
    site = network_site(1)
    site.noise = 0.0
    low = {"T2": 0.25}
    high = site.targets["T2"].copy()
    site.targets["T2"] = high + np.array([0.0, 0.0, low["T2"]])
    read = site.read()
    shots = tuple(replace(s, target_height=low.get(s.target, 0.0)) for s in read.shots)
    found = solve(site.job, site.epoch, replace(read, shots=shots))
    assert found.position("T2") == pytest.approx(high, abs=1e-7)


def test_curvature_and_refraction_belong_to_the_height(network_site: Any):
    site = network_site(1)
    site.noise = 0.0
    read = site.read()
    with_it = solve(site.job, site.epoch, read)
    without = solve(replace(site.job, network=NetworkRules(curvature=False)), site.epoch, read)
    shown = {c.name: c for c in with_it.corrections}["curvature and refraction"]
    flat = max(s.sd * np.sin(s.v) for s in with_it.sights)
    assert shown.greatest == pytest.approx(0.87 / (2.0 * 6371e3) * flat**2, rel=1e-9)
    # sights up to 100 m: the network is bent by less than a millimetre, but it is bent
    assert with_it.outcome.tested.squares < 1e-6 < without.outcome.tested.squares


def test_grid_distances_are_scaled(network_site: Any):
    """A site measured on the ground, its grid 200 ppm smaller about its middle."""
    site = network_site(1)
    site.noise = 0.0
    read = site.read()
    scale = 1.0 - 200e-6
    job = site.job
    flat = np.array([scale, scale, 1.0])

    def in_grid(place: np.ndarray) -> np.ndarray:
        return site.origin + (place - site.origin) * flat

    control = {n: replace(c, position=in_grid(c.position)) for n, c in job.control.items()}
    job = replace(job, control=control, network=NetworkRules(projection_scale=scale))
    found = solve(job, site.epoch, read)
    assert found.position("T5") == pytest.approx(in_grid(site.targets["T5"]), abs=1e-7)
    assert found.outcome.tested.squares < 1e-6
    plain = solve(replace(job, network=NetworkRules()), site.epoch, read)
    assert plain.findings


def test_sea_level_is_below(network_site: Any):
    """At 1000 m a distance is 157 ppm longer than at sea level: R / (R + h), R = 6371 km."""
    from fitup.network.corrections import grid_scale

    rules = NetworkRules(sea_level=True)
    assert (1.0 - grid_scale(rules, 1000.0)) * 1e6 == pytest.approx(156.94, abs=0.01)
    assert grid_scale(NetworkRules(), 1000.0) == 1.0


def test_a_free_network_is_not_bent_by_its_control(network_site: Any):
    site = network_site(2)
    job = site.job
    read = site.read()
    bent = {
        n: replace(c, position=c.position + ([0.05, 0.0, 0.0] if n == "CP1" else [0.0, 0.0, 0.0]))
        for n, c in job.control.items()
    }
    one = solve(replace(job, network=NetworkRules(datum="free")), site.epoch, read)
    two = solve(replace(job, control=bent, network=NetworkRules(datum="free")), site.epoch, read)
    assert one.datum == ("CP1", "CP2", "CP3", "CP4")

    def sides(found: Any) -> np.ndarray:
        places = np.array([found.position(f"T{i}") for i in range(1, 9)])
        return np.linalg.norm(places[:, None] - places, axis=2)

    assert sides(two) == pytest.approx(sides(one), abs=1e-8)
    assert two.outcome.tested.squares == pytest.approx(one.outcome.tested.squares, rel=1e-6)
    # laid onto the control with the least changes, so a quarter of the false shift shows
    moved = np.mean([two.position(n) - one.position(n) for n in two.datum], axis=0)
    assert moved == pytest.approx([0.0125, 0.0, 0.0], abs=1e-6)
