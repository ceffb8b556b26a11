"""What the crew is told of one wrong reading, of several, and of their common cause."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fitup.errors import SurveyRefused
from fitup.jobfolder import read_job
from fitup.network.solve import Solved, solve, solve_epochs

Spoil = Callable[..., Solved]
OBSERVED = Path(__file__).parents[3] / "examples" / "skerrin-observed"
ALL = [*(f"T{i}" for i in range(1, 9)), *(f"CP{i}" for i in range(1, 5))]


def test_a_clean_survey_says_nothing(spoiled: Spoil):
    assert spoiled().findings == ()
    assert spoiled().outcome.odd == ()


@pytest.mark.parametrize(
    ("name", "error", "text"),
    [
        (
            "ST1/T3/hz",
            3e-4,
            "set-up ST1, target T3 (row 6): the direction points 7.9 mm to the right of where the "
            "others put it; wrong target, or a prism knocked? Measure T3 again from ST1, or "
            "exclude ST1/T3/hz in job.toml [exclude] with the reason",
        ),
        (
            "ST2/T3/v",
            7e-4,
            "set-up ST2, target T3 (row 30): the zenith angle points 14.8 mm too low; was the "
            "target height of T3 noted rightly? Measure T3 again from ST2, or exclude ST2/T3/v in "
            "job.toml [exclude] with the reason",
        ),
        (
            "ST3/CP2/sd",
            -0.05,
            "set-up ST3, target CP2 (row 68): the distance is 50.2 mm too short; prism constant, "
            "or a distance to something in front? Measure CP2 again from ST3, or exclude "
            "ST3/CP2/sd in job.toml [exclude] with the reason",
        ),
    ],
)
def test_one_wrong_reading(spoiled: Spoil, name: str, error: float, text: str):
    found = spoiled(errors={name: error})
    assert [o.id for o in found.network.observations if o.id == name] == [name]
    assert found.findings == (text,)


def test_several_wrong_readings_do_not_hide_each_other(spoiled: Spoil):
    errors = {"ST1/T3/hz": 3e-4, "ST1/T5/sd": 0.02, "ST2/T1/v": 4e-4, "ST3/T3/sd": 0.05}
    found = spoiled(errors=errors)
    assert {found.network.observations[i].id for i in found.outcome.odd} == set(errors)
    assert len(found.advice) == 4


def test_many_wrong_readings(network_site: Any):
    """One reading in twelve is grossly wrong, one a target: all are found, and no other."""
    for seed in range(4):
        site = network_site(seed)
        chosen = {
            f"{site.rng.choice(list(site.stations))}/{target}/{site.rng.choice(['hz', 'v', 'sd'])}"
            for target in site.rng.choice(ALL, 9, replace=False)
        }
        size = {"hz": 2e-4, "v": -2e-4, "sd": 0.06}
        site.spoil.update({n: size[n.split("/")[2]] for n in chosen})
        found = solve(site.job, site.epoch, site.read())
        odd = {found.network.observations[i].id for i in found.outcome.odd}
        assert odd == chosen, seed


def test_a_prism_constant_forgotten_for_one_target(spoiled: Spoil):
    found = spoiled(errors={f"ST{i}/T4/sd": -0.0175 for i in (1, 2, 3)})
    assert found.findings == (
        "every distance to T4 is 18.7 mm too short, from all set-ups alike: the prism constant of "
        "T4 is wrong or forgotten; correct column prism for T4",
    )


def test_prism_constants_forgotten_for_several_targets(tmp_path: Path):
    """Each is named; a set-up that saw them all is not blamed, though it passes as a whole."""
    shutil.copytree(OBSERVED, tmp_path / "job")
    shots = tmp_path / "job" / "night-14-shots.csv"
    shots.write_text(shots.read_text(encoding="utf-8").replace(",16.9,", ",0,"), encoding="utf-8")
    (found,) = solve_epochs(tmp_path / "job", read_job(tmp_path / "job")).values()
    assert found.findings == tuple(
        f"every distance to {target} is {much} mm too short, from all set-ups alike: the prism "
        f"constant of {target} is wrong or forgotten; correct column prism for {target}"
        for target, much in (("E1-SL", 16.1), ("E1-SR", 15.2), ("W7-SL", 16.2), ("W7-SR", 17.1))
    )


def test_a_prism_constant_of_a_whole_set_up(spoiled: Spoil):
    found = spoiled(errors={f"ST2/{t}/sd": 0.03 for t in ALL})
    assert found.findings == (
        "every distance from set-up ST2 is 30.2 mm too long: the prism constant set in the "
        "instrument is wrong; correct column prism for set-up ST2",
    )


def test_an_instrument_that_was_knocked(spoiled: Spoil):
    found = spoiled(errors={f"ST2/{t}/hz": 2e-4 for t in ALL[4:]})
    assert found.findings == (
        "set-up ST2: from row 34 on, every direction is 13.0 mgon too large: the instrument was "
        "knocked or turned there; measure again from that row, or give those rows a set-up of "
        "their own",
    )


def test_an_index_error(spoiled: Spoil):
    (line,) = spoiled(errors={f"ST2/{t}/v": 2e-5 for t in ALL}).findings
    assert line == (
        "every sight from set-up ST2 points 1.4 mgon too low: index error or compensator; check "
        "both, and measure set-up ST2 again in both faces"
    )


def test_a_control_point_that_moved(network_site: Any):
    site = network_site(1)
    job = site.job
    site.control["CP2"] = site.control["CP2"] + [0.0, 0.006, -0.004]
    found = solve(job, site.epoch, site.read())
    assert found.findings == (
        "control point CP2 is not where control.csv has it, but 0.5 mm east, 9.4 mm north, 5.8 mm "
        "down of there: it has moved, or its coordinates or name are wrong; check CP2, or exclude "
        "it in job.toml [exclude] with the reason",
    )
    # left out as the engineer may decide, it only ties set-ups together
    again = solve(replace(job, excluded={"CP2": "settled"}), site.epoch, site.read())
    assert again.findings == ()
    assert again.position("CP2") == pytest.approx(site.control["CP2"], abs=3e-3)


def test_axes_of_control_exchanged(network_site: Any):
    """Told from a circle that counts the other way, its mirror image, by the design.

    Whether control counts or is held.
    """
    site = network_site(5)
    turned = {n: replace(c, position=c.position[[1, 0, 2]]) for n, c in site.job.control.items()}
    for use in ("weighted", "held"):
        control = {n: replace(c, use=use) for n, c in turned.items()}
        try:
            lines = solve(replace(site.job, control=control), site.epoch, site.read()).findings
        except SurveyRefused as refused:
            lines = refused.findings
        (line,) = lines
        assert "easting and northing of control.csv are exchanged" in line
        assert line.endswith("; correct its header")
        assert "circle" not in line


def test_names_of_control_exchanged(network_site: Any):
    site = network_site(5)
    control = dict(site.job.control)
    control["CP1"], control["CP3"] = (
        replace(control["CP1"], position=control["CP3"].position),
        replace(control["CP3"], position=control["CP1"].position),
    )
    found = solve(replace(site.job, control=control), site.epoch, site.read())
    assert [a.cause for a in found.advice] == ["exchanged"]
    (line,) = found.findings
    assert line.startswith("if control points CP1 and CP3 are exchanged, control that is 1")
    assert line.endswith(" m; correct the names in control.csv, or in the observations")


def test_one_point_far_off_is_no_exchange(network_site: Any):
    site = network_site(5)
    control = dict(site.job.control)
    far = control["CP2"]
    control["CP2"] = replace(far, position=far.position + np.array([1.0, 0.0, 0.0]))
    found = solve(replace(site.job, control=control), site.epoch, site.read())
    assert [a.cause for a in found.advice] != ["exchanged"]
    assert "CP2" in found.findings[0]


@pytest.mark.parametrize(
    ("shift", "where"),
    [
        ([0.0, 0.006, -0.004], "5.9 mm north, 4.0 mm down"),
        ([0.02, 0.0, 0.0], "20.0 mm east, 0.1 mm south"),
        ([0.0, 0.0, 0.005], "0.1 mm south, 5.0 mm up"),
    ],
)
def test_held_control_that_moved(network_site: Any, shift: list[float], where: str):
    """Taken as exact, it has no observation of its own: everything measured to it is off."""
    site = network_site(1)
    site.u_control = 0.0
    held = {n: replace(c, use="held") for n, c in site.job.control.items()}
    job = replace(site.job, control=held)
    assert solve(job, site.epoch, site.read()).findings == ()
    site = network_site(1)
    site.control["CP2"] = site.control["CP2"] + shift
    found = solve(job, site.epoch, site.read())
    assert [a.cause for a in found.advice] == ["moved"]
    assert found.findings == (
        f"control point CP2 is not where control.csv has it, but {where} of there: it has moved, "
        "or its coordinates or name are wrong; check CP2, or exclude it in job.toml [exclude] "
        "with the reason",
    )
    again = solve(replace(job, excluded={"CP2": "settled"}), site.epoch, site.read())
    assert again.findings == ()


def test_one_set_up_alone_does_not_say_that_held_control_moved(network_site: Any):
    """Seen once, it may as well have been another target."""
    site = network_site(1)
    site.u_control = 0.0
    job = replace(
        site.job, control={n: replace(c, use="held") for n, c in site.job.control.items()}
    )
    site.hidden = {("ST2", "CP2"), ("ST3", "CP2")}
    site.control["CP2"] = site.control["CP2"] + [0.3, 0.2, 0.1]
    (line,) = solve(job, site.epoch, site.read()).findings
    assert line.startswith("set-up ST1, target CP2 (row ")
    assert "another target, or a reflection?" in line


def test_targets_exchanged_in_one_set_up(network_site: Any):
    site = network_site(5)
    read = site.read()
    other = {"T2": "T5", "T5": "T2"}
    shots = tuple(
        replace(s, target=other.get(s.target, s.target)) if s.setup == "ST2" else s
        for s in read.shots
    )
    (line,) = solve(site.job, site.epoch, replace(read, shots=shots)).findings
    rows = {s.target: s.row for s in shots if s.setup == "ST2" and s.face == 1}
    assert line == (
        f"set-up ST2: targets T2 (row {rows['T2']}) and T5 (row {rows['T5']}) are exchanged, each "
        "has the readings of the other: exchange the two names there in every set, or exclude "
        "ST2/T2 and ST2/T5 in job.toml [exclude] with the reason"
    )


@pytest.mark.parametrize("by", [{"hz": 2e-3}, {"hz": 2e-3, "v": 1e-3}])
def test_one_face_pointed_wrongly_is_one_line(network_site: Any, by: dict[str, float]):
    """The mean of the two faces is off by half: that is no second cause."""
    site = network_site(5)
    read = site.read()
    shots = tuple(
        replace(s, **{k: getattr(s, k) + more for k, more in by.items()})
        if (s.setup, s.target, s.face) == ("ST2", "T3", 2)
        else s
        for s in read.shots
    )
    (line,) = solve(site.job, site.epoch, replace(read, shots=shots)).findings
    assert line.startswith("set-up ST2, target T3: the directions ")
    assert ("and the zenith angles of the two faces" in line) == ("v" in by)


def test_a_distance_that_does_not_fit_stands_beside_faces_that_disagree(network_site: Any):
    site = network_site(5)
    read = site.read()
    shots = tuple(
        replace(s, hz=s.hz + (2e-3 if s.face == 2 else 0.0), sd=s.sd + 0.05)
        if (s.setup, s.target) == ("ST2", "T3")
        else s
        for s in read.shots
    )
    faces, distance = solve(site.job, site.epoch, replace(read, shots=shots)).findings
    assert "of the two faces" in faces
    assert "distance" in distance


def test_two_sights_that_contradict_each_other_are_both_named(tmp_path: Path):
    """A target height noted in one of two set-ups: nothing says in which it is wrong."""
    shutil.copytree(OBSERVED, tmp_path / "job")
    shots = tmp_path / "job" / "night-14-shots.csv"
    remark, header, *rows = shots.read_text(encoding="utf-8").splitlines()
    wrong = [f"{row},{1.5 if row.startswith('ST1,W7-L,') else ''}" for row in rows]
    shots.write_text("\n".join([remark, f"{header},target_height_m", *wrong]), encoding="utf-8")
    (found,) = solve_epochs(tmp_path / "job", read_job(tmp_path / "job")).values()
    (line,) = found.findings
    assert line.startswith("set-up ST2, target W7-L (rows 91 and 135): ")
    assert line.endswith(
        "or exclude ST2/W7-L in job.toml [exclude] with the reason; ST1/W7-L wrong in its place "
        "would explain it nearly as well"
    )


def test_a_sight_to_something_else(spoiled: Spoil):
    errors = {"ST1/T3/hz": 0.05, "ST1/T3/v": 0.03, "ST1/T3/sd": 1.2}
    (line,) = spoiled(errors=errors).findings
    assert line.startswith("set-up ST1, target T3 (row 6): ")
    assert line.endswith(
        "off the others; another target, or a reflection? Measure T3 again from ST1, or exclude "
        "ST1/T3 in job.toml [exclude] with the reason"
    )


def test_uncertainties_stated_too_small(spoiled: Spoil):
    found = spoiled(noise=1.35)
    assert [a.cause for a in found.advice] == ["global"]
    assert found.findings[0].startswith("the residuals are 1.3 times as large as the stated")


def test_an_exclusion_takes_the_reading_out(network_site: Any):
    site = network_site(5)
    site.spoil["ST1/T3/hz"] = 3e-4
    job = replace(site.job, excluded={"ST1/T3/hz": "prism turned away, chief surveyor"})
    found = solve(job, site.epoch, site.read())
    assert found.findings == ()
    assert dict(found.excluded) == {"ST1/T3/hz": "prism turned away, chief surveyor"}
    i = [o.id for o in found.network.observations].index("ST1/T3/hz")
    assert not found.outcome.adjusted.used[i]
