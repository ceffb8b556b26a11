"""What is wrong with control and instruments is stated in one line each."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from fitup.errors import InputError
from fitup.jobfolder import read_job

HEAD = "id,use,E_m,N_m,H_m,u_E_mm,u_N_mm,u_H_mm,r_EN,r_EH,r_NH\n"
CASES = [
    (
        "C1,held,1,,3,,,,,,",
        "row 2, E_m: found easting or northing alone; allowed: both or none; fill or clear both",
    ),
    (
        "C1,tie,1,2,,,,,,,",
        "row 2, use: found a tie with coordinates; allowed: weighted or held; clear them or "
        "correct",
    ),
    (
        "C1,held,,,,,,,,,",
        "row 2, use: found held without coordinates; allowed: easting and northing, height, or "
        "all; give them, or call it a tie",
    ),
    (
        "C1,weighted,1,2,3,1,1,,,,",
        "row 2, u_H_mm: found an empty cell; allowed: a number above 0; give the standard "
        "uncertainty, or call the point held",
    ),
    (
        "C1,held,1,2,3,1,,,,,",
        "row 2, u_E_mm: found an uncertainty of nothing weighted; allowed: an empty cell; clear "
        "it or correct use",
    ),
    (
        "C1,weighted,1,2,3,1,1,1,0.9,0.9,-0.9",
        "row 2, r_EN: found correlations that contradict each other; allowed: a positive matrix; "
        "correct them",
    ),
    (
        "A-L,held,1,2,3,,,,,,",
        "row 2, id: found 'A-L', which is a point of the deck; allowed: points beside the deck; "
        "the deck is not control: delete the row",
    ),
]


@pytest.fixture
def stated(tmp_path: Path, small_job_writer: Callable[..., Path]) -> Callable[..., list[str]]:
    def tell(**changes: str) -> list[str]:
        with pytest.raises(InputError) as error:
            read_job(small_job_writer(tmp_path / "job", **changes))
        return [str(p) for p in error.value.problems]

    return tell


@pytest.mark.parametrize(("row", "message"), CASES)
def test_message(stated: Callable[..., list[str]], row: str, message: str):
    assert stated(control=f"{HEAD}{row}\n") == [f"control.csv, {message}"]


def test_control_as_read(tmp_path: Path, small_job_writer: Callable[..., Path]):
    rows = "C1,weighted,1,2,3,1,2,3,0.5,,\nC2,held,,,7,,,,,,\nC3,tie,,,,,,,,,\n"
    control = read_job(small_job_writer(tmp_path / "job", control=HEAD + rows)).control
    expected = 1e-6 * np.array([[1.0, 1.0, 0.0], [1.0, 4.0, 0.0], [0.0, 0.0, 9.0]])
    assert control["C1"].covariance == pytest.approx(expected, abs=1e-18)
    assert control["C2"].given.tolist() == [False, False, True]
    assert not control["C3"].given.any()


def test_half_an_atmosphere(stated: Callable[..., list[str]]):
    text = "id,u_hz_mgon,u_v_mgon,u_sd_mm,wavelength_nm\nT,0.3,0.3,1,658\n"
    assert stated(instruments=text) == [
        "instruments.csv, row 2, wavelength_nm: found wavelength and reference air not both whole; "
        "allowed: wavelength, reference temperature and pressure, or none of them; fill or clear "
        "all three"
    ]


def test_observations_need_an_instrument(stated: Callable[..., list[str]]):
    job = [('file = "survey.csv"', 'observations = "survey.csv"'), ("u_mm = 0.5\n", "")]
    assert stated(job=job) == [
        "instruments.csv: found no instrument; allowed: one row for each instrument of the "
        "observations; add it: nothing says how well they were measured"
    ]


@pytest.mark.parametrize(
    ("key", "message"),
    [
        ('datum = "loose"', "datum: found 'loose'; allowed: control or free; correct it"),
        ("refraction = 2.0", "refraction: found 2; allowed: from -1 to 1; correct it"),
        ('air = "no"', "air: found 'no'; allowed: true or false; correct it"),
    ],
)
def test_network_keys(stated: Callable[..., list[str]], key: str, message: str):
    job = ("[[survey]]", f"[network]\n{key}\n\n[[survey]]")
    assert stated(job=job) == [f"job.toml, network.{message}"]


def test_keys_that_do_not_go_together(stated: Callable[..., list[str]]):
    both = ('file = "survey.csv"', 'file = "survey.csv"\nobservations = "survey.csv"')
    table = "id,u_hz_mgon,u_v_mgon,u_sd_mm\nT,0.3,0.3,1\n"
    assert stated(job=both, instruments=table) == [
        "job.toml, survey 1.observations: found file and observations; allowed: one of them; "
        "delete one",
        "job.toml, survey 1.u_mm: found a key of coordinate lists; allowed: no such key here; "
        "delete it",
    ]
    alone = ('file = "survey.csv"', 'file = "survey.csv"\nlevelling = "levels.csv"')
    assert (
        "job.toml, survey 1.levelling: found no observations; allowed: levelling beside "
        "observations; name the file"
    ) in stated(job=alone)
