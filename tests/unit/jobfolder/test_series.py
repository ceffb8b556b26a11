"""Temperatures against time: every message whole, and what is made of good ones."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from fitup.errors import InputError
from fitup.jobfolder.series import read_series
from fitup.model import LockOff


@pytest.fixture(scope="module")
def job(small_case):
    job, _ = small_case
    fixed = np.zeros(3)
    segments = {
        n: replace(s, expansion=12e-6, fixed_point=fixed, depth=2.0 if n == "A" else None)
        for n, s in job.segments.items()
    }
    return replace(job, segments=segments)


def read(job, tmp_path, text):
    path = tmp_path / "s.csv"
    path.write_text(text, encoding="utf-8")
    return read_series(path, "s.csv", job)


def refused(job, tmp_path, text):
    with pytest.raises(InputError) as error:
        read(job, tmp_path, text)
    return [str(p) for p in error.value.problems]


def test_one_column_for_all(job, tmp_path):
    series = read(job, tmp_path, "time,steel_F\n2031-04-03T06:00,59\n2031-04-03T07:30,68\n")
    assert series.mean == pytest.approx(np.array([[288.15, 288.15], [293.15, 293.15]]))
    assert series.seconds.tolist() == [0.0, 5400.0]
    assert series.shared == ("s.csv", "s.csv")
    assert series.clock(2700.0) == dt.datetime(2031, 4, 3, 6, 45)
    assert series.at(2700.0)[0] == pytest.approx([290.65, 290.65])
    assert series.stated == "steel in s.csv"


def test_top_and_bottom_and_a_column_for_each(job, tmp_path):
    series = read(
        job,
        tmp_path,
        "time,A_top_C,A_bottom_C,B_C\n2031-04-03T06:00,20,14,16\n2031-04-03T07:00,22,15,17\n",
    )
    assert series.mean[0] == pytest.approx([290.15, 289.15])
    assert series.difference == pytest.approx(np.array([[6.0, 0.0], [7.0, 0.0]]))
    assert series.shared == ("", "")


def test_air_comes_later_to_the_steel(job, tmp_path):
    job = replace(job, lockoff=LockOff(air_lag=7200.0))
    series = read(job, tmp_path, "time,air_C\n2031-04-03T06:00,15\n2031-04-03T07:00,16\n")
    assert series.start == dt.datetime(2031, 4, 3, 8, 0)
    assert series.stated == "air in s.csv, the steel 2.0 h behind it"


TIME = "a local time such as 2031-04-03T06:00; correct it"
MESSAGES = [
    (
        "time,air_C\n2031-04-03T06:00,15\n2031-04-03T07:00,16\n",
        [
            "s.csv, air_C: found temperatures of the air; allowed: steel, or air with air_lag in "
            "[lockoff] of job.toml; say how much later the steel is at the temperature of the air"
        ],
    ),
    (
        "time,A_C\n2031-04-03T06:00,15\n2031-04-03T07:00,16\n",
        [
            "s.csv: found no temperature of B; allowed: B_C, B_top_C and B_bottom_C, steel_C or "
            "air_C; add a column"
        ],
    ),
    (
        "time,steel_C,B_top_C,B_bottom_C,A_top_C\n2031-04-03T06:00,15,1,1,1\n"
        "2031-04-03T07:00,16,1,1,1\n",
        [
            "s.csv: found A_top alone; allowed: A_top and A_bottom, or A; add the other",
            "s.csv: found top and bottom of B, which has no depth; allowed: a segment with depth; "
            "give the depth between the thermometers in segments.csv",
        ],
    ),
    (
        "time,steel_C\n2031-04-03T07:00,15\nsoon,15\n2031-04-03T06:00+02:00,15\n"
        "2031-04-03T06:00,\n2031-04-03T05:00,16\n",
        [
            "s.csv, row 5, steel_C: found an empty cell; allowed: a temperature; fill it in or "
            "drop the row",
            f"s.csv, row 3, time: found 'soon'; allowed: {TIME}",
            f"s.csv, row 4, time: found '2031-04-03T06:00+02:00'; allowed: {TIME}",
            "s.csv, row 5, time: found '2031-04-03T06:00'; allowed: later than the row above; "
            "sort the rows",
            "s.csv, row 6, time: found '2031-04-03T05:00'; allowed: later than the row above; "
            "sort the rows",
        ],
    ),
    (
        "time,A_top,steel_C\n2031-04-03,15,15\n2031-04-03T07:00,15,15\n",
        [
            "s.csv, row 1, A_top: found 'A_top' without a unit; allowed: one of: A_top_C, A_top_F; "
            "write the unit into the column name"
        ],
    ),
    (
        "time,steel_C\n2031-04-03,15\n2031-04-03T07:00,15\n",
        [f"s.csv, row 2, time: found '2031-04-03'; allowed: {TIME}"],
    ),
    (
        "time,steel_C\n2031-04-03T07:00,15\n",
        ["s.csv: found 1 rows; allowed: two or more; give a beginning and an end"],
    ),
    (
        "time,steel_C\n2031-04-03T07:00,150\n2031-04-03T08:00,15\n",
        [
            "s.csv, row 2, steel_C: found '150'; allowed: a number from -60 to 90 C; give the "
            "temperature"
        ],
    ),
]


@pytest.mark.parametrize(("text", "messages"), MESSAGES)
def test_messages(job, tmp_path, text, messages):
    assert refused(job, tmp_path, text) == messages


def test_air_beside_steel(job, tmp_path):
    job = replace(job, lockoff=LockOff(air_lag=0.0))
    text = "time,air_C,B_C\n2031-04-03T06:00,15,15\n2031-04-03T07:00,16,15\n"
    assert refused(job, tmp_path, text) == [
        "s.csv: found air beside steel; allowed: one of them; delete the air where steel is known"
    ]
