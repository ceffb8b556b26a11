"""What is wrong with an observation file is stated in one line each."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.jobfolder import read_job
from fitup.network.read import read_observations

Tell = Callable[..., list[str]]
HEAD = "setup,target,face,hz_gon,v_gon,sd_m,time\n"
CASES = [
    (
        ("S1,A-L,1,150", "S1,A_L,1,150"),
        "row 4, target: found 'A_L', an unknown point; allowed: an id of points.csv or "
        "control.csv; correct the name, or add it to control.csv as a tie",
    ),
    (
        ("S1,A-L,1,150,100,20,", "S1,A-L,1,,,,"),
        "row 4, hz_gon: found no reading in the row; allowed: hz, v or sd; fill it or delete the "
        "row",
    ),
    (
        ("S1,A-L,1,150,100", "S1,A-L,1,150,300"),
        "row 4, v_gon: found a zenith angle beyond half the circle on face 1; allowed: below half "
        "the circle on face 1, beyond it on face 2; correct face or the angle",
    ),
    (
        ("S1,A-L,1,150,100", "S1,A-L,2,150,100"),
        "row 4, v_gon: found a zenith angle below half the circle on face 2; allowed: below half "
        "the circle on face 1, beyond it on face 2; correct face or the angle",
    ),
    (
        ("S1,A-L,1,150,100", "S1,A-L,1,450,100"),
        "row 4, hz_gon: found a reading beyond a full circle; allowed: from 0 to a circle of 400 "
        "gon or 360 degrees; gon under a column of degrees? Correct the unit in the header",
    ),
    (
        ("04:11:00", "04:09:00"),
        "row 4, time: found a time before that of row 3, in one set-up; allowed: times in order "
        "within a set-up; correct the time, or put the rows in the order they were read",
    ),
    (
        ("04:11:00", "4.11"),
        "row 4, time: found '4.11'; allowed: 04:10:35 or 2031-04-02T04:10:35, local time; correct "
        "it",
    ),
]


@pytest.mark.parametrize(("change", "message"), CASES)
def test_message(messages_of: Tell, change: tuple[str, str], message: str):
    assert messages_of(shots=change) == [f"shots.csv, {message}"]


def test_all_problems_at_once(messages_of: Tell):
    shots = HEAD + "S1,Q1,1,0,100,40,\nS1,Q2,1,0,100,40,\n"
    assert len(messages_of(shots=shots)) == 2


@pytest.mark.parametrize(
    ("shots", "start"),
    [
        (
            "ST1,CP1,1,1,373.49609,103.89114,20.6443,0,03:10:27\n",
            "ST1,CP1,1,1,373.49609,103.89114,20.6443,...",
        ),
        (
            HEAD.replace(",", "\t") + "S1\tCP1\t1\t0\t100\t40\t\n",
            "setup target face hz_gon v_gon sd_m time",
        ),
    ],
)
def test_no_header_is_one_line(messages_of: Tell, shots: str, start: str):
    assert messages_of(shots="# night 14\n" + shots) == [
        f"shots.csv, row 2: found '{start}' where the names of the columns should be; allowed: "
        "setup, target, face, set, hz_rad, v_rad, sd_m, target_height_m, prism_m, temperature_C, "
        "pressure_Pa, humidity_pct, time, instrument, over, instrument_height_m; write "
        "them in a row above, with commas or semicolons between"
    ]


def test_a_header_below_a_comment_is_told_by_its_row(messages_of: Tell):
    shots = "# night 14\nsetup,target,hz,v_gon,sd_m\nS1,CP1,0,100,40\n"
    assert messages_of(shots=shots) == [
        "shots.csv, row 2, hz: found 'hz' without a unit; allowed: one of: hz_rad, hz_deg, hz_gon, "
        "hz_dms; write the unit into the column name"
    ]


def test_a_standing_is_one_standing(messages_of: Tell):
    shots = (
        "setup,target,hz_gon,v_gon,sd_m,over,instrument_height_m\n"
        "S1,CP1,0,100,40,X1,1.60\nS1,CP2,50,100,56,,1.65\nS1,A-L,10,100,20,CP2,\n"
        "S2,A-L,0,100,20,X1,\nS3,A-L,0,100,20,Q1,1.5\n"
    )
    assert messages_of(shots=shots) == [
        "shots.csv, row 3, instrument_height_m: found 1.6500 m, but 1.6000 m in row 2; allowed: "
        "one height for each set-up; correct it, or give the new standing a name of its own",
        "shots.csv, row 4, over: found 'CP2', but X1 in row 2; allowed: one standing for each "
        "set-up; give the new standing a name of its own",
        "shots.csv, row 5, instrument_height_m: found an empty cell; allowed: a height, for the "
        "instrument stands over a point; measure it, or leave over empty: a free set-up needs no "
        "height",
        "shots.csv, row 6, over: found 'Q1', an unknown point; allowed: an id of points.csv or "
        "control.csv; correct the name, or add it to control.csv as a tie",
    ]


def test_which_instrument(messages_of: Tell):
    two = "id,u_hz_mgon,u_v_mgon,u_sd_mm\nTS1,0.3,0.3,1\nTS2,1,1,2\n"
    stated = "allowed: one of: TS1, TS2; name the instrument of the set-up"
    shots = "setup,target,hz_gon,v_gon,sd_m,instrument\nS1,CP1,0,100,40,TS3\nS2,CP1,0,100,40,\n"
    assert messages_of(instruments=two, shots=shots) == [
        f"shots.csv, row 2, instrument: found 'TS3'; {stated}",
        f"shots.csv, row 3, instrument: found an empty cell; {stated}",
    ]


def test_sets_are_counted_or_numbered_once(messages_of: Tell, observed_job: Callable[..., Path]):
    rows = "S1,CP1,1,{},0,100,40\nS1,CP1,1,{},0.001,100,40\n"
    head = "setup,target,face,set,hz_gon,v_gon,sd_m\n"
    assert messages_of(shots=head + rows.format(1, 1)) == [
        "shots.csv, row 3, set: found set 1 of CP1 in face 1 again (first in row 2); allowed: each "
        "set once in each face; number the sets, or leave the column out"
    ]
    folder = observed_job("counted", shots=head + rows.format("", ""))
    job = read_job(folder)
    read = read_observations(folder, job, job.epochs[0])
    assert [s.set for s in read.shots] == [1, 2]


def test_uncorrected_distances_need_the_air(messages_of: Tell):
    raw = (
        "id,u_hz_mgon,u_v_mgon,u_sd_mm,wavelength_nm,reference_C,reference_pressure_hPa\n"
        "TS1,0.3,0.3,1,658,12,1013.25\n"
    )
    assert messages_of(instruments=raw) == [
        "shots.csv, row 2, temperature: found a distance without temperature or pressure of the "
        "air; allowed: both, for TS1 shows uncorrected distances; give them, or set air = false "
        "in job.toml [network]"
    ]


@pytest.mark.parametrize(
    ("columns", "air", "message"),
    [
        (
            "temperature_C,pressure_hPa",
            "282,978",
            "temperature_C: found '282'; allowed: a number from -60 to 60 C; give the temperature "
            "of the air",
        ),
        (
            "temperature_F,pressure_mmHg",
            "48,978",
            "pressure_mmHg: found '978'; allowed: a number from 375.031 to 825.068 mmHg; give the "
            "pressure of the air at the instrument",
        ),
    ],
)
def test_air_in_the_wrong_unit(messages_of: Tell, columns: str, air: str, message: str):
    shots = f"setup,target,hz_gon,v_gon,sd_m,{columns}\nS1,CP1,0,100,40,{air}\n"
    assert messages_of(shots=shots) == [f"shots.csv, row 2, {message}"]


def test_reference_air_in_the_wrong_unit(messages_of: Tell):
    raw = (
        "id,u_hz_mgon,u_v_mgon,u_sd_mm,wavelength_nm,reference_C,reference_pressure_hPa\n"
        "TS1,0.3,0.3,1,658,288,760\n"
    )
    assert messages_of(instruments=raw) == [
        "instruments.csv, row 2, reference_C: found '288'; allowed: a number from -60 to 60 C; "
        "give the air temperature at which it shows true distances"
    ]


def test_a_clock_may_pass_midnight(observed_job: Callable[..., Path]):
    folder = observed_job(
        shots=HEAD + ("S1,CP1,1,0,100,40,23:59:50\nS1,CP2,1,50,100,56.57,00:00:10\n")
    )
    job = read_job(folder)
    assert len(read_observations(folder, job, job.epochs[0]).shots) == 2


@pytest.mark.parametrize(
    ("header", "one", "two", "what"),
    [
        (
            "hz_deg,v_deg",
            "10,98.5",
            "210,301.5",
            "gon under a column of degrees: two faces {} {:.1f} degrees",
        ),
        (
            "hz_gon,v_gon",
            "10,89.2",
            "190,270.8",
            "degrees under a column of gon: two faces {} {:.1f} degrees",
        ),
    ],
)
def test_two_faces_show_the_wrong_unit(
    messages_of: Tell, header: str, one: str, two: str, what: str
):
    shots = f"setup,target,face,{header},sd_m\nS1,CP1,1,{one},40\nS1,CP1,2,{two},40\n"
    ratio = 400.0 / 360.0 if "deg" in header else 0.9
    assert messages_of(shots=shots) == [
        f"shots.csv, v: found {what.format('add up to', 360.0 * ratio)}; allowed: 360 "
        "degrees; correct the unit in the header",
        f"shots.csv, hz: found {what.format('differ by', 180.0 * ratio)}; allowed: 180 "
        "degrees; correct the unit in the header",
    ]


def test_levels(messages_of: Tell):
    job = ('observations = "shots.csv"', 'observations = "shots.csv"\nlevelling = "levels.csv"')
    levels = "from,to,difference_mm,u_mm\nCP1,Q1,12,0.3\nA-L,A-L,0,0.3\n"
    assert messages_of(job=job, levels=levels) == [
        "levels.csv, row 2, to: found 'Q1', an unknown point; allowed: an id of points.csv or "
        "control.csv; correct the name, or add it to control.csv as a tie",
        "levels.csv, row 3, to: found the start again; allowed: another point; correct one of them",
    ]


def test_circles_in_degrees_minutes_and_seconds(observed_job: Callable[..., Path]):
    text = "setup,target,hz_dms,v_dms,sd_m\nS1,CP1,63-25-48,90-00-00,40\n"
    folder = observed_job(shots=text)
    job = read_job(folder)
    shot = read_observations(folder, job, job.epochs[0]).shots[0]
    assert shot.hz == pytest.approx(63.43 * 3.141592653589793 / 180.0)


def test_a_broken_circle(messages_of: Tell):
    text = "setup,target,hz_dms,v_gon,sd_m\nS1,CP1,63-75-48,100,40\n"
    assert messages_of(shots=text) == [
        "shots.csv, row 2, hz_dms: found '63-75-48'; allowed: degrees, minutes and seconds such as "
        "63-25-48.2; give the horizontal circle reading, clockwise"
    ]


def test_an_exclusion_that_means_nothing(messages_of: Tell):
    job = ("[[survey]]", '[exclude]\n"S1/A-R/sd" = "knocked, chief surveyor"\n\n[[survey]]')
    assert messages_of(job=job) == [
        "job.toml, exclude.S1/A-R/sd: found 'S1/A-R/sd', which no observation of shots.csv is "
        "called; allowed: SETUP/TARGET, SETUP/TARGET/hz, .../v, .../sd, level/FROM/TO or POINT/H; "
        "correct it; a name that is not there excludes nothing"
    ]


def test_a_file_without_a_row(messages_of: Tell):
    assert messages_of(shots=HEAD) == [
        "shots.csv: found no observation; allowed: at least one row; is the file cut off?"
    ]


def test_what_is_wrong_alike_in_many_rows_is_told_once(messages_of: Tell):
    rows = "".join(f"S1,A-L,1,{390 + k},100,20,04:{12 + k}:00\n" for k in range(9))
    (line,) = messages_of(shots=HEAD.replace("hz_gon", "hz_deg") + rows)
    assert line == (
        "shots.csv, row 2, hz_deg: found a reading beyond a full circle, and in 8 more rows; "
        "allowed: from 0 to a circle of 400 gon or 360 degrees; gon under a column of degrees? "
        "Correct the unit in the header"
    )


def test_a_sight_to_the_point_under_the_instrument(messages_of: Tell):
    head = "setup,target,face,hz_gon,v_gon,sd_m,over,instrument_height_m\n"
    (line,) = messages_of(shots=head + "S1,A-L,1,150,100,20,A-L,1.5\n")
    assert line == (
        "shots.csv, row 2, target: found 'A-L', the point that set-up S1 stands over; allowed: "
        "another point than the one under the instrument; correct the target, or column over"
    )


def test_other_names_of_points_in_observations_and_levelling(observed_job: Callable[..., Path]):
    folder = observed_job(
        shots=HEAD + "S1,101,1,150,100,20,04:11:00\n",
        levels="from,to,difference_m,u_mm\n101,CP1,1,0.4\n",
        job=[
            ('observations = "shots.csv"', 'observations = "shots.csv"\nlevelling = "levels.csv"'),
            ("[[survey]]", '[names]\n"101" = "A-L"\n\n[[survey]]'),
        ],
    )
    job = read_job(folder)
    read = read_observations(folder, job, job.epochs[0])
    assert [s.target for s in read.shots] == ["A-L"]
    assert [(one.start, one.end) for one in read.levels] == [("A-L", "CP1")]
