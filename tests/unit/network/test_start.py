"""Start values found by the program, and what keeps a network from being one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.errors import SurveyRefused
from fitup.network.observations import LevelledDifference, Setup, Sight
from fitup.network.solve import solve
from fitup.network.start import find_start, resection


def sight(setup: str, target: str, **read: Any) -> Sight:
    given = {"hz": None, "v": None, "sd": None, **read}
    return Sight(setup, target, 1, 1, given["hz"], given["v"], given["sd"], 2, 0, 0, 0, 2)


def directions(at: np.ndarray, points: dict[str, np.ndarray], zero: float) -> list[Sight]:
    step = {n: p - at for n, p in points.items()}
    return [
        sight(
            "S",
            n,
            hz=float(np.arctan2(d[0], d[1]) - zero),
            v=float(np.arctan2(np.hypot(d[0], d[1]), d[2])),
        )
        for n, d in step.items()
    ]


@pytest.mark.parametrize("zero", [0.0, 2.0, 4.5])
@pytest.mark.parametrize("at", [(3.0, -7.0, 2.0), (60.0, 80.0, -3.0)])
def test_resection_by_directions_alone(at: tuple[float, ...], zero: float):
    points = {
        "A": np.array([0.0, 50.0, 3.0]),
        "B": np.array([40.0, -20.0, 1.0]),
        "C": np.array([-45.0, -15.0, 0.0]),
    }
    seen = directions(np.array(at), points, zero)
    assert resection(points, seen) == pytest.approx(at, abs=1e-8)


def test_no_resection_on_the_danger_circle():
    angle = np.array([0.3, 2.0, 4.0])
    ring = {
        n: np.array([50 * np.sin(a), 50 * np.cos(a), 0.0])
        for n, a in zip("ABC", angle, strict=True)
    }
    on_it = np.array([50 * np.sin(5.5), 50 * np.cos(5.5), 1.0])
    assert resection(ring, directions(on_it, ring, 1.0)) is None


def test_a_target_seen_by_directions_is_intersected(network_site: Any):
    site = network_site(3)
    read = site.read()
    shots = tuple(replace(s, sd=None) if s.target == "T4" else s for s in read.shots)
    found = solve(site.job, site.epoch, replace(read, shots=shots))
    assert found.position("T4") == pytest.approx(site.targets["T4"], abs=1e-3)


def test_a_set_up_that_reads_directions_only_is_resected(network_site: Any):
    site = network_site(3)
    read = site.read()
    shots = tuple(replace(s, sd=None) if s.setup == "ST2" else s for s in read.shots)
    found = solve(site.job, site.epoch, replace(read, shots=shots))
    assert found.position("set-up ST2") == pytest.approx(site.stations["ST2"], abs=1e-3)


def test_a_traverse_over_known_points(network_site: Any):
    """The instrument over a pillar and over a target, one sight back and one ahead each."""
    site = network_site(4)
    site.noise = 0.0
    marks = {**site.control, **site.targets}
    u = site.instrument
    setups = {"P": Setup("P", u, "CP1", 1.5, 2), "Q": Setup("Q", u, "T1", 1.6, 2)}
    seen = []
    for name, ends in {"P": ("CP2", "T1"), "Q": ("CP1", "T2")}.items():
        at = marks[setups[name].over or ""] + [0, 0, setups[name].height]
        for end in ends:
            d = marks[end] - at
            flat = float(np.hypot(d[0], d[1]))
            angles = {"hz": float(np.arctan2(d[0], d[1])) - 1.0, "v": float(np.arctan2(flat, d[2]))}
            seen.append(sight(name, end, **angles, sd=float(np.linalg.norm(d))))
    start = find_start(setups, seen, (), site.job.control)
    assert start.positions["T2"] == pytest.approx(marks["T2"], abs=1e-6)
    assert start.turns == pytest.approx({"P": 1.0, "Q": 1.0}, abs=1e-9)


def test_heights_run_along_the_levels(network_site: Any):
    control = network_site(1).job.control
    runs = [LevelledDifference("B", "A", -1.0, 1e-3, 1, 2)]
    runs += [LevelledDifference("CP1", "B", 2.0, 1e-3, 1, 3)]
    start = find_start({}, (), runs, control)
    assert start.positions["A"][2] == pytest.approx(control["CP1"].position[2] + 1.0)


def refused(site: Any, read: Any) -> list[str]:
    with pytest.raises(SurveyRefused) as error:
        solve(site.job, site.epoch, read)
    return list(error.value.findings)


def test_a_network_in_two_parts(network_site: Any):
    site = network_site(5)
    read = site.read()
    shots = tuple(
        s
        for s in read.shots
        if s.setup != "ST3" or s.target in ("CP3", "T8")
        if s.setup == "ST3" or s.target != "T8"
    )
    assert refused(site, replace(read, shots=shots)) == [
        "set-up ST3: of what is tied to the control it sees only CP3, so the network is in two "
        "parts; a free set-up needs 2 such points with direction, zenith angle and distance, or 3 "
        "with directions or distances, one over a known point a direction to another; measure to "
        "more of them from it"
    ]


def test_a_target_that_nothing_locates(network_site: Any):
    site = network_site(5)
    read = site.read()
    shots = tuple(
        replace(s, sd=None) for s in read.shots if s.target == "T1" and s.setup == "ST1"
    ) + tuple(s for s in read.shots if s.target != "T1")
    assert refused(site, replace(read, shots=shots)) == [
        "nothing locates T1: measure to it with direction, zenith angle and distance, or from a "
        "second set-up"
    ]


@pytest.mark.parametrize("setup", ["ST1", "ST2", "ST3"])
def test_feet_written_as_metres(network_site: Any, setup: str):
    """Also the first set-up, which the others are fitted onto, is named itself."""
    site = network_site(6)
    read = site.read()
    shots = tuple(replace(s, sd=s.sd / 0.3048) if s.setup == setup else s for s in read.shots)
    (line,) = refused(site, replace(read, shots=shots))
    assert line == (
        f"set-up {setup}: against the control its distances come out 3.281 times as long; feet "
        "written under metres? Correct the unit in the header"
    )


def test_feet_in_the_whole_file_are_one_line(network_site: Any):
    site = network_site(6)
    read = site.read()
    shots = tuple(replace(s, sd=s.sd / 0.3048) for s in read.shots)
    (line,) = refused(site, replace(read, shots=shots))
    assert line.startswith("all set-ups: against the control their distances come out 3.281 times")


@pytest.mark.parametrize(
    ("factor", "meant", "found"), [(10 / 9, "gon", "degrees"), (0.9, "degrees", "gon")]
)
def test_a_wrong_unit_of_angles_in_one_face(
    network_site: Any, factor: float, meant: str, found: str
):
    """Readings in one unit of a circle, taken for the other; no second face shows it."""
    site = network_site(7)
    read = site.read()
    shots = tuple(replace(s, hz=s.hz * factor, v=s.v * factor) for s in read.shots if s.face == 1)
    (line,) = refused(site, replace(read, shots=shots))
    assert line.startswith(
        f"if the angles are {meant} written under {found}, shared points that were "
    )
    assert line.endswith("m apart are 0.00 m apart; correct the unit in the header")


def test_a_singular_datum(network_site: Any):
    site = network_site(8)
    read = site.read()
    shots = tuple(s for s in read.shots if s.target not in ("CP2", "CP3", "CP4"))
    assert refused(site, replace(read, shots=shots)) == [
        "nothing fixes the network as a whole: its turn in plan; measure to more control points, "
        'give their coordinates in control.csv, or set datum = "free" in job.toml [network]'
    ]


def test_no_control_at_all(network_site: Any, spoiled: Callable[..., Any]):
    site = network_site(8)
    read = site.read()
    shots = tuple(s for s in read.shots if not s.target.startswith("CP"))
    assert refused(site, replace(read, shots=shots)) == [
        "nothing fixes the network as a whole: its place east-west, its place north-south, its "
        "height, its turn in plan; measure to more control points, give their coordinates in "
        'control.csv, or set datum = "free" in job.toml [network]'
    ]
