"""Networks that clusters alone do not place: backsights, distances alone, separate set-ups."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.errors import SurveyRefused
from fitup.model import ControlPoint
from fitup.network.extend import by_distances
from fitup.network.observations import LevelledDifference, ObservationSet, Setup, Shot
from fitup.network.solve import Solved, solve


def solved(site: Any, read: ObservationSet, **control: ControlPoint) -> Solved:
    job = site.job
    return solve(replace(job, control={**job.control, **control}), site.epoch, read)


def kept(read: ObservationSet, change: Callable[[Shot], Shot | None]) -> ObservationSet:
    shots = [c for c in map(change, read.shots) if c is not None]
    used = {s.setup for s in shots}
    return replace(
        read, shots=tuple(shots), setups={n: s for n, s in read.setups.items() if n in used}
    )


def over_pillar(site: Any) -> ObservationSet:
    """One set-up over CP1, a backsight to CP3 by direction alone, polar shots to the deck."""
    site.stations = {"ST1": site.control["CP1"] + [0.0, 0.0, 1.5]}
    site.hidden = {("ST1", "CP1"), ("ST1", "CP2"), ("ST1", "CP4")}
    read = site.read()
    standing = Setup("ST1", site.instrument, "CP1", 1.5, 2)
    read = replace(read, setups={"ST1": standing})
    return kept(read, lambda s: replace(s, v=None, sd=None) if s.target == "CP3" else s)


def check(site: Any, found: Solved, most: float = 4e-3) -> None:
    assert found.findings == ()
    for name, place in site.targets.items():
        assert np.abs(found.position(name) - place).max() < most, name


def test_a_known_point_and_a_backsight_by_direction(network_site: Any):
    site = network_site(5)
    check(site, solved(site, over_pillar(site)))


def test_without_the_backsight_it_is_told_what_is_missing(network_site: Any):
    site = network_site(5)
    read = kept(over_pillar(site), lambda s: s if s.target != "CP3" else None)
    with pytest.raises(SurveyRefused):
        solved(site, read)


def test_distances_and_zenith_angles_alone(network_site: Any):
    site = network_site(5)
    read = kept(site.read(), lambda s: replace(s, hz=None))
    check(site, solved(site, read), 8e-3)


def test_angles_and_distances_in_separate_set_ups(network_site: Any):
    """A direction and zenith angle from one standing, the distance from another on the mark."""
    site = network_site(5)
    whole = over_pillar(site)
    angles = [replace(s, sd=None) for s in whole.shots]
    lengths = [replace(s, setup="ST2", hz=None) for s in whole.shots if s.sd is not None]
    setups = {**whole.setups, "ST2": replace(whole.setups["ST1"], id="ST2")}
    read = replace(whole, setups=setups, shots=(*angles, *lengths))
    check(site, solved(site, read))


def test_levelled_heights_stand_in_for_zenith_angles(network_site: Any):
    site = network_site(5)
    whole = over_pillar(site)
    runs = tuple(
        LevelledDifference("CP1", n, float(p[2] - site.control["CP1"][2]), 0.0003, 1, 2)
        for n, p in site.targets.items()
    )
    read = replace(kept(whole, lambda s: replace(s, v=None)), levels=runs)
    check(site, solved(site, read))


def test_heights_that_nothing_gives_are_asked_for(network_site: Any):
    site = network_site(5)
    read = kept(over_pillar(site), lambda s: replace(s, v=None))
    with pytest.raises(SurveyRefused) as caught:
        solved(site, read)
    assert caught.value.findings[0] == (
        "nothing says how high T1 is, and a slope distance without a zenith angle needs the "
        "heights of both ends; read zenith angles, or level it"
    )


def test_distances_to_points_in_a_line_place_nothing():
    points = [np.array([x, 0.0, 0.0]) for x in (0.0, 10.0, 25.0)]
    assert by_distances([(p, 20.0) for p in points]) is None
    assert by_distances([(p, 20.0) for p in points[:2]]) is None


def test_observations_without_a_deck_target(messages_of: Callable[..., list[str]]):
    shots = "setup,target,hz_gon,v_gon,sd_m\nS1,CP1,0,100,40\nS1,CP2,50,100,56.57\n"
    assert messages_of(shots=shots) == [
        "shots.csv, target: found 2 targets, none of them in points.csv; allowed: sights to "
        "targets on the deck; is this the right file? Name the targets of the deck as points.csv "
        "does"
    ]
