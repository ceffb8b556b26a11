"""Nonsense is refused or named; what is meant all the same is waived in writing, and printed."""

from __future__ import annotations

import pytest

from fitup.errors import InputError
from fitup.jobfolder import read_job
from fitup.openjob import open_job
from fitup.sheets.cautions import cautions

TURNED = {"segments": ("A,90,", "A,126,")}
STEEP = {"joints": ("90,0,0,level", "90,0,5,right")}
#: both decks fall 2 % to the right
FALLING = [
    ("A-L,A,20,4,10", "A-L,A,20,4,10.08"),
    ("A-R,A,20,-4,10", "A-R,A,20,-4,9.92"),
    ("B-L,B,20.01,4,10", "B-L,B,20.01,4,10.08"),
    ("B-R,B,20.01,-4,10", "B-R,B,20.01,-4,9.92"),
]
#: both decks rise 1 % ahead
RISING = [
    ("A-T1,A,1,4,10", "A-T1,A,1,4,9.81"),
    ("A-T2,A,1,-4,10", "A-T2,A,1,-4,9.81"),
    ("B-T1,B,39,4,10", "B-T1,B,39,4,10.19"),
    ("B-T2,B,39,-4,10", "B-T2,B,39,-4,10.19"),
]
WAIVE = '\n[waive]\n"{}" = "skew pier, I. Calder, 2 April"\n'


@pytest.fixture
def job(tmp_path, small_job_writer):
    return lambda **changes: small_job_writer(tmp_path / "job", **changes)


def refusal(folder) -> list[str]:
    with pytest.raises(InputError) as refused:
        read_job(folder)
    return [str(p) for p in refused.value.problems]


@pytest.mark.parametrize(
    ("changes", "name", "line"),
    [
        (
            TURNED,
            "azimuth A",
            "segments.csv, row 2, azimuth_deg: found an azimuth 36 degrees off the points of A; "
            "allowed: within 30 degrees of the line from face to face; correct it, or the points",
        ),
        (
            STEEP,
            "crossfall J1",
            "joints.csv, row 2, crossfall_pct: found a crossfall 5.0% to the right, but its points "
            "fall 0.0% to the left; allowed: within 3% of its points, to the same side; correct "
            "crossfall and falls_to, or the points",
        ),
        (
            {"joints": ("90,0,0,level", "90,0,0.8,left"), "points": FALLING},
            "crossfall J1",
            "joints.csv, row 2, crossfall_pct: found a crossfall 0.8% to the left, but its points "
            "fall 2.0% to the right; allowed: within 3% of its points, to the same side; correct "
            "crossfall and falls_to, or the points",
        ),
        (
            {"joints": ("90,0,0,level", "90,5,0,level")},
            "grade J1",
            "joints.csv, row 2, grade_pct: found a grade 5.0% up ahead, but its points lie level; "
            "allowed: within 3% of its points, up or down like them; correct it (rising "
            "ahead is more than 0), or the points",
        ),
        (
            {"joints": ("90,0,0,level", "90,-1,0,level"), "points": RISING},
            "grade J1",
            "joints.csv, row 2, grade_pct: found a grade 1.0% down ahead, but its points lie 1.0% "
            "up ahead; allowed: within 3% of its points, up or down like them; correct it (rising "
            "ahead is more than 0), or the points",
        ),
        (
            {"pairs": [(",LEFT", ",KERB"), (",RIGHT", ",LEFT edge"), (",KERB", ",right edge")]},
            "sides J1",
            "pairs.csv, row 3, place: found a place called left that lies right of P1, which is "
            "called right; allowed: left and right as seen looking ahead along J1; exchange the "
            "words, the points, or back and ahead",
        ),
        (
            {"seats": ("A-S1,A,19,3,8,", "A-S1,A,19,3,5800,")},
            "seat A-S1",
            "seats.csv, row 2, E_m: found a seat 5790 m from the middle of the points of A; "
            "allowed: within 110 m; correct easting, northing or height, or the unit",
        ),
        (
            {"segments": ("10,0,9,", "10,900,9,")},
            "centre A",
            "segments.csv, row 2, centre_E_m: found a centre 900 m from the middle of the points "
            "of A; allowed: within 110 m; correct easting, northing or height, or the unit",
        ),
        (
            {"points": ("A-T1,A,1,4,10", "A-T1,A,1,4,5000")},
            "point A-T1",
            "points.csv, row 4, E_m: found 4990 m from the other points of A; allowed: within 2000 "
            "m; correct easting, northing or height, or the unit",
        ),
    ],
)
def test_what_can_hardly_be_meant_is_named_and_may_be_waived(job, changes, name, line):
    # a turned segment or a slope moves other things of the job too: they are not what is asked here
    found = refusal(job(**changes))
    assert f'{line}; if it is meant, job.toml: [waive] "{name}" = "reason, who"' in found
    names = [one.split('[waive] "')[1].split('"')[0] for one in found]
    toml = ("[tolerance.step]", WAIVE.format(name).lstrip("\n") + "\n[tolerance.step]")
    extra = "".join(f'"{n}" = "the same"\n' for n in names if n != name)
    toml = (toml[0], toml[1].replace("\n\n[tol", f"\n{extra}\n[tol"))
    read = read_job(job(**changes, job=toml))
    assert len(read.waived) == len(names)
    (stated,) = (one for one in read.waived if f"({name})" in one)
    assert stated.endswith(": waived, skew pier, I. Calder, 2 April")
    assert f"WAIVED IN WRITING: {stated}." in cautions(read)


def test_whole_job_has_nothing_to_waive(job):
    assert read_job(job()).waived == ()


def test_right_side_is_the_side_of_the_points(job):
    assert read_job(job(joints=("90,0,0,level", "90,0,2,right"), points=FALLING)).waived == ()


def test_a_crest_and_points_of_a_soffit_are_no_finding(job):
    """Rising behind and falling ahead, and deck points beside some 2 m lower: all can be meant."""
    crest = [(old, new.replace("10.19", "9.81")) for old, new in RISING]
    lower = ("A-T1,A,1,4,9.81", "A-B1,A,1,3,7.8\nA-B2,A,20,3,8\nA-T1,A,1,4,9.81")
    for grade in ("1", "-1", "0"):
        joints = ("90,0,0,level", f"90,{grade},0,level")
        folder = job(joints=joints, points=[*crest, lower])
        try:
            read_job(folder)
        except InputError as refused:
            assert "grade J1" not in str(refused)


@pytest.mark.parametrize("name", ["azimuth A", "azimuth Q", "everything"])
def test_nothing_is_waived_beforehand(job, name):
    toml = ("[tolerance.step]", WAIVE.format(name).lstrip("\n") + "\n[tolerance.step]")
    assert refusal(job(job=toml)) == [
        f"job.toml, waive.{name}: found '{name}'; allowed: the name of something found: nothing "
        "is; take it out"
    ]


def test_reason_is_needed(job):
    toml = ("[tolerance.step]", '[waive]\n"azimuth A" = " "\n\n[tolerance.step]')
    assert refusal(job(**TURNED, job=toml)) == [
        "job.toml, waive.azimuth A: found ' '; allowed: the reason and who decided; write it down"
    ]


def test_what_is_waived_stands_on_the_sheets(job):
    toml = ("[tolerance.step]", WAIVE.format("crossfall J1").lstrip("\n") + "\n[tolerance.step]")
    sheets, _ = open_job(job(**STEEP, job=toml)).sheets()
    assert sheets.cautions[0] == (
        "WAIVED IN WRITING: a crossfall 5.0% to the right, but its points fall 0.0% to the left "
        "(crossfall J1): waived, skew pier, I. Calder, 2 April."
    )


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"seats": ("A-S1,A,19,3,8,", "A-S1,A,19,3,58000,")}, "seats.csv, row 2, H_m"),
        ({"job": ("C = 15.0\n\n", "C = 9900.0\n\n")}, "job.toml, reference_temperature_C"),
        ({"job": ("steel_temperature_C = 15.0", "steel_temperature_C = 9900.0")}, "job.toml, surv"),
        ({"job": ("deck_load_kN = 0.0", "deck_load_kN = 1e9")}, "job.toml, survey 1.deck_load_kN"),
        ({"job": ("value_mm = 2.0", "value_mm = 1e9")}, "job.toml, tolerance.step.value_mm"),
        ({"job": ("[tolerance.step]", "[working]\nlift_step_mm = 150000\n\n[tolerance.step]")},
         "job.toml, working.lift_step_mm"),
        ({"job": ("2031-04-02T04:10:00", "0001-01-01T00:00:00")}, "job.toml, survey 1.taken"),
        ({"job": ("2031-04-02T04:10:00", "9999-01-01T00:00:00")}, "job.toml, survey 1.taken"),
        ({"seats": ("19,3,8,up,400,", "19,3,8,up,4e30,")}, "seats.csv, row 2, stiffness_kN_per_mm"),
    ],
)  # fmt: skip
def test_absurd_number_is_refused(job, changes, where):
    (line,) = refusal(job(**changes))
    assert line.startswith(where)


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [
        ("jacks", "capacity_kN", "2000000"),
        ("jacks", "stroke_mm", "150000"),
        ("plates", "measured_mm", "9.80"),
        ("plates", "nominal_mm", "9800"),
    ],
)
def test_absurd_cell_is_refused(job, small_files, table, column, value):
    lines = small_files[f"{table}.csv"].splitlines()
    cells = lines[1].split(",")
    at = lines[0].split(",").index(column)
    if column == "measured_mm":
        cells[lines[0].split(",").index("nominal_mm")] = "1"
    cells[at] = value
    text = "\n".join([lines[0], ",".join(cells), *lines[2:]]) + "\n"
    assert any(f"{table}.csv, row 2" in line for line in refusal(job(**{table: text.encode()})))


def test_no_jack_lifts_more_than_its_pump_gives(job):
    before = read_job(job()).jacks
    names = " ".join(before)
    pumps = f"id,jacks,pressure_most_bar\nPU1,{names},100\n"
    after = read_job(job(pumps=pumps.encode())).jacks
    for name, jack in before.items():
        assert after[name].capacity == pytest.approx(min(jack.capacity, 100e5 * jack.ram_area))
        assert after[name].capacity < jack.capacity
    # two pumps, one of them without a rating: that one may be taken
    pumps += f"PU2,{names},\n"
    assert read_job(job(pumps=pumps.encode())).jacks == before
