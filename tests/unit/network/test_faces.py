"""Two faces: collimation and index found and taken out; faces that disagree are named."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.model import NetworkRules
from fitup.network.faces import mean_faces
from fitup.network.solve import solve

COLLIMATION, INDEX = 4e-5, -7e-5


def with_errors(read: Any) -> Any:
    """Readings as an instrument with collimation and index errors would have given them."""
    shots = []
    for s in read.shots:
        # the sine of a zenith angle in face 2 is below zero, and so is the error
        hz = s.hz + COLLIMATION / np.sin(s.v)
        shots.append(replace(s, hz=hz % (2 * np.pi), v=s.v + INDEX))
    return replace(read, shots=tuple(shots))


@pytest.fixture
def reads(network_site: Any) -> tuple[Any, Any]:
    site = network_site(1)
    site.noise = 0.0
    clean = site.read()
    return clean, with_errors(clean)


def test_the_mean_is_free_of_both_errors(reads: Any):
    clean, off = reads
    pointings, errors, findings = mean_faces(off)
    assert findings == []
    for found in errors.values():
        assert found.collimation == pytest.approx(COLLIMATION, abs=1e-9)
        assert found.index == pytest.approx(INDEX, abs=1e-12)
    truth = {(s.setup, s.target): s for s in clean.shots if s.face == 1}
    for p in pointings:
        own = truth[p.shot.setup, p.shot.target]
        assert p.faces == 2
        assert p.hz == pytest.approx(own.hz, abs=1e-9)
        assert p.v == pytest.approx(own.v, abs=1e-9)


@pytest.mark.parametrize("face", [1, 2])
def test_one_face_is_corrected_by_what_the_others_show(reads: Any, face: int):
    clean, off = reads
    kept = tuple(s for s in off.shots if s.target != "T1" or s.face == face)
    pointings, _, _ = mean_faces(replace(off, shots=kept))
    truth = {(s.setup, s.target): s for s in clean.shots if s.face == 1}
    ones = [p for p in pointings if p.faces == 1]
    assert {p.shot.target for p in ones} == {"T1"}
    for p in ones:
        own = truth[p.shot.setup, "T1"]
        assert p.hz == pytest.approx(own.hz, abs=1e-9)
        assert p.v == pytest.approx(own.v, abs=1e-9)


def test_one_face_stays_as_read_where_the_engineer_says_so(reads: Any, network_site: Any):
    """The switch leaves means of two faces as they are."""
    _, off = reads
    kept = replace(off, shots=tuple(s for s in off.shots if s.target != "T1" or s.face == 1))
    corrected, as_read = (mean_faces(kept, correct=c)[0] for c in (True, False))
    for one, other in zip(corrected, as_read, strict=True):
        if one.faces == 2:
            assert (other.hz, other.v) == (one.hz, one.v)
        else:
            assert (other.hz, other.v) == (one.shot.hz, one.shot.v)
            assert other.v - one.v == pytest.approx(INDEX)
    site = network_site(1)
    job = replace(site.job, network=NetworkRules(collimation=False))
    says = {c.name: c.says for c in solve(job, site.epoch, kept).corrections}
    assert says["collimation and index"] == (
        "by the mean of two faces; pointings in one face as they were read"
    )


def test_without_two_faces_nothing_is_corrected(reads: Any):
    _, off = reads
    kept = tuple(s for s in off.shots if s.face == 1)
    pointings, errors, _ = mean_faces(replace(off, shots=kept))
    assert all(e.collimation is None and e.index is None for e in errors.values())
    assert [p.hz for p in pointings] == [s.hz for s in kept]


def test_faces_that_disagree(network_site: Any):
    site = network_site(2)
    read = site.read()
    shots = tuple(
        replace(s, hz=s.hz + 6e-5) if (s.setup, s.target, s.face) == ("ST1", "T2", 2) else s
        for s in read.shots
    )
    _, _, findings = mean_faces(replace(read, shots=shots))
    assert findings == [
        "set-up ST1, target T2: the directions of the two faces (rows 4 and 5) disagree by 20 "
        "standard uncertainties more than those of the other targets; one of them was pointed or "
        "written wrongly: measure T2 again from ST1, or take both rows out"
    ]
