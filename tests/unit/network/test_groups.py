"""Causes that many readings share are stated in one line, before any sound point is blamed."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from fitup.errors import SurveyRefused
from fitup.model import Epoch, Job
from fitup.network.observations import ObservationSet, Shot
from fitup.network.rereadings import _unpacked
from fitup.network.solve import solve

TURN = 2.0 * math.pi


def stated(site: Any, change: Callable[[Shot], Shot] = lambda s: s, **job: Any) -> tuple[str, ...]:
    changed = replace(site.job, **job)
    read: ObservationSet = site.read()
    spoiled = replace(read, shots=tuple(change(s) for s in read.shots))
    return findings(changed, site.epoch, spoiled)


def findings(job: Job, epoch: Epoch, read: ObservationSet) -> tuple[str, ...]:
    """Return what is stated, whether anything could be adjusted or not."""
    try:
        return solve(job, epoch, read).findings
    except SurveyRefused as refused:
        return refused.findings


def test_a_prism_constant_wrong_everywhere(network_site: Any):
    (line,) = stated(network_site(5), lambda s: replace(s, sd=s.sd + 0.0344))
    assert line.startswith("every distance of the survey is 3")
    assert "mm too long, from all set-ups alike: their prism constant is wrong" in line
    assert "control point" not in line


def test_a_prism_constant_wrong_at_the_deck(network_site: Any):
    def change(shot: Shot) -> Shot:
        return replace(shot, sd=shot.sd - 0.0169) if shot.target.startswith("T") else shot

    (line,) = stated(network_site(5), change)
    assert line.startswith("every distance to a target on the deck is 1")
    assert "mm too short" in line


def test_a_knock_between_the_faces(network_site: Any):
    """The means of the faces hide half of it in some sets, and all of it in others."""
    site = network_site(5)
    rows = [s.row for s in site.read().shots if s.setup == "ST2"]
    at = rows[len(rows) // 2]

    def change(shot: Shot) -> Shot:
        if shot.setup != "ST2" or shot.row < at:
            return shot
        return replace(shot, hz=(shot.hz + 3e-4) % TURN)

    (line,) = stated(network_site(5), change)
    assert line.startswith(f"set-up ST2: from row {at} on, every direction is ")
    assert line.endswith("or give those rows a set-up of their own")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda s: replace(s, hz=(TURN - s.hz) % TURN), "counts the other way"),
        (lambda s: replace(s, sd=s.sd * abs(math.sin(s.v))), "are horizontal ones"),
        (
            lambda s: replace(s, v=(TURN / 4 - s.v if s.face == 1 else 1.25 * TURN - s.v) % TURN),
            "from the horizon, not from the zenith",
        ),
    ],
)
def test_readings_that_mean_something_else(network_site: Any, change: Any, words: str):
    (line,) = stated(network_site(5), change)
    assert line.startswith("the whole file: ")
    assert words in line
    assert ": with that everything fits; " in line


def over(
    site: Any, written: str, also: tuple[str, ...] = (), height: float = 1.5
) -> tuple[str, ...]:
    """Stand ST2 over CP1 at 1.5 m, and say that it stands over another point, or higher."""
    site.stations["ST2"] = site.control["CP1"] + [0.0, 0.0, 1.5]
    site.hidden = {("ST2", name) for name in ("CP1", written, *also)}
    read: ObservationSet = site.read()
    setups = {**read.setups, "ST2": replace(read.setups["ST2"], over=written, height=height)}
    return findings(site.job, site.epoch, replace(read, setups=setups))


def test_the_instrument_stands_over_another_point_than_written(network_site: Any):
    assert over(network_site(5), "CP1") == ()
    assert over(network_site(5), "CP3", also=("CP2",)) == (
        "set-up ST2: it stands over CP1, not over CP3: with that everything fits; correct column "
        "over",
    )


@pytest.mark.parametrize("error", [0.02, 0.1])
def test_a_wrong_height_is_no_wrong_point(network_site: Any, error: float):
    (line,) = over(network_site(5), "CP1", height=1.5 + error)
    assert line.startswith("instrument_height of set-up ST2 is ")
    assert " too large: with that everything measured there fits" in line


def test_the_instrument_stands_over_no_point_of_control(network_site: Any):
    site = network_site(5)
    read = site.read()
    setups = {**read.setups, "ST2": replace(read.setups["ST2"], over="CP3", height=1.5)}
    shots = tuple(s for s in read.shots if (s.setup, s.target) != ("ST2", "CP3"))
    lines = findings(site.job, site.epoch, replace(read, setups=setups, shots=shots))
    assert lines == (
        "set-up ST2: it does not stand over CP3 at the height written: with that everything fits; "
        "correct over or instrument_height, or leave both empty: a free set-up needs none",
    )


def test_packed_angles(network_site: Any):
    def pack(angle: float) -> float:
        seconds = round(math.degrees(angle) * 36000) / 10
        degrees, rest = divmod(seconds, 3600)
        return math.radians(degrees + rest // 60 / 100 + rest % 60 / 10000)

    assert _unpacked(pack(1.2345678)) == pytest.approx(1.2345678, abs=3e-7)
    # 75 minutes: these are no packed angles
    assert _unpacked(math.radians(12.7500)) is None
    (line,) = stated(network_site(5), lambda s: replace(s, hz=pack(s.hz), v=pack(s.v)))
    assert "packed as ddd.mmss under decimal degrees" in line


def test_one_row_of_control_with_easting_and_northing_exchanged(network_site: Any):
    site = network_site(5)
    control = dict(site.job.control)
    wrong = control["CP3"]
    control["CP3"] = replace(wrong, position=wrong.position[[1, 0, 2]])
    (line,) = stated(site, control=control)
    assert line == (
        "control.csv: easting and northing of CP3 are exchanged: with that everything fits; "
        "correct its row"
    )


def test_one_wrong_reading_is_not_taken_for_a_cause_of_many(network_site: Any):
    site = network_site(5)
    site.spoil["ST1/T3/sd"] = 0.03
    (line,) = solve(site.job, site.epoch, site.read()).findings
    assert line.startswith("set-up ST1, target T3 (row")
