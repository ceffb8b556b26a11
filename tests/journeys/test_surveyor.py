"""A surveyor's night: a messy list, what was understood, two targets swapped, the joint."""

from __future__ import annotations

import pytest
from pypdf import PdfReader

#: as a crew sends it: byte-order mark, remark, northing first, decimal commas, pillars
ROWS = [
    ("A-L", "4,0003", "20,0002", "10,0004"),
    ("A-R", "-3,9998", "20,0001", "9,9997"),
    ("A-T1", "4,0002", "0,9997", "10,0003"),
    ("A-T2", "-4,0004", "1,0003", "9,9998"),
    ("B-L", "3,9999", "20,0104", "10,0063"),
    ("B-R", "-4,0002", "20,0098", "10,0057"),
    ("B-T1", "4,0004", "39,0001", "10,0058"),
    ("B-T2", "-3,9997", "38,9996", "10,0062"),
    ("CP1", "12,5000", "-30,2500", "11,4000"),
]
DECLARED = ("u_mm = 0.5", 'u_mm = 0.5\nunit = "m"\norder = ["id", "N", "E", "H"]\ndecimal = ","')


def crew_list(rows=ROWS):
    body = "".join(";".join(row) + "\r\n" for row in rows)
    return ("\ufeff# night 3, set-up on pillar CP1\r\n" + body).encode()


def swapped(one, other):
    names = {one: other, other: one}
    return [(names.get(name, name), *numbers) for name, *numbers in ROWS]


@pytest.fixture
def job(tmp_path, small_job_writer):
    return lambda **changes: small_job_writer(tmp_path / "job", **changes)


def test_order_and_unit_are_not_guessed(fitup, job):
    said = fitup("joints", job(survey=crew_list()))
    assert (said.code, said.out) == (2, "")
    assert said.lines == [
        "fitup: survey.csv, row 2: found no header; allowed: a header, or the order of the "
        "columns declared in job.toml; write a header, or declare e.g. "
        'order = ["id", "E", "N", "H"] (survey 1)'
    ]


def test_declared_list_is_told_as_understood(fitup, job):
    said = fitup("check", job(survey=crew_list(), job=DECLARED))
    assert said.code == 0
    assert said.err == ""
    for line in (
        "  survey.csv: 9 points read, 1 not used (CP1 is not in points.csv)",
        "  order: id, N, E, H (declared in job.toml)",
        "  unit: metre (declared in job.toml)",
        "  delimiter: semicolon, decimal mark: comma (declared in job.toml)",
        "  standard uncertainty: 0.5 mm for every coordinate (job.toml)",
        "  comment lines passed over: 1",
    ):
        assert line in said.out.splitlines()


def test_easting_and_northing_declared_the_wrong_way_round_are_named(fitup, job):
    wrong = (DECLARED[0], DECLARED[1].replace('"N", "E"', '"E", "N"'))
    said = fitup("joints", job(survey=crew_list(), job=wrong))
    assert said.code == 2
    assert len(said.lines) == 2
    for segment, line in zip("AB", said.lines, strict=True):
        assert line.startswith(
            f"fitup: segment {segment}: if easting and northing are exchanged its distance from"
        )


def test_swapped_targets_are_named_then_excluded_then_the_joint_is_shown(fitup, job):
    # the two check points of face B stand under each other's name
    spoiled = crew_list(swapped("B-L", "B-T1"))
    said = fitup("joints", job(survey=spoiled, job=DECLARED))
    assert (said.code, said.out) == (2, "")
    (line,) = said.lines
    assert line.startswith("fitup: segment B: if targets B-L and B-T1 are exchanged the largest")
    assert line.endswith("correct the list, or exclude both points in job.toml [exclude]")

    one_out = ("[[survey]]", '[exclude]\nB-T1 = "label not certain, surveyor"\n\n[[survey]]')
    said = fitup("joints", job(survey=spoiled, job=[DECLARED, one_out]))
    assert said.code == 2  # three points are left, of which one is still wrong

    said = fitup("joints", job(survey=crew_list(), job=[DECLARED, one_out]))
    assert said.code == 0
    assert "B-T1 left out (survey.csv, row 8): label not certain, surveyor" in said.out
    assert "segment B: 3 points (three: nothing checks their heights)" in said.out
    steps = [line for line in said.out.splitlines() if " Step " in line]
    assert [line.split("  ")[0] for line in steps] == ["P1 LEFT", "P2 RIGHT"]
    assert "ahead side high by 5.9 mm" in steps[0]
    assert "ahead side high by 6.0 mm" in steps[1]
    assert all(line.endswith("OUTSIDE") for line in steps)


def test_unknown_exclusion_excludes_nothing_and_is_refused(fitup, job):
    wrong = ("[[survey]]", '[exclude]\nB-T9 = "bent"\n\n[[survey]]')
    said = fitup("joints", job(job=wrong))
    assert said.code == 2
    assert said.lines[0].startswith("fitup: job.toml, exclude.B-T9: found 'B-T9'; allowed: an id")


def test_reading_that_contradicts_the_list_is_named_then_excluded(fitup, job):
    readings = (
        "id,pair,quantity,value_mm,side,u_mm,how\n"
        "D1,P1,step,14.0,ahead high,0.5,straightedge\n"
        "D2,P2,step,6.2,ahead high,0.5,straightedge\n"
    )
    said = fitup("joints", job(readings=readings))
    assert said.code == 2
    (line,) = said.lines
    assert line.startswith("fitup: reading D1 (step at P1 by straightedge) is 8.0 mm off the")
    out = ("[[survey]]", '[exclude]\nD1 = "read at the wrong edge, engineer"\n\n[[survey]]')
    assert fitup("joints", job(readings=readings, job=out)).code == 0


def two_nights(taken, temperature, load):
    first = "u_mm = 0.5\n"
    second = (
        '\n[[survey]]\nfile = "b.csv"\n'
        f"taken = {taken}\nsteel_temperature_C = {temperature}\ndeck_load_kN = {load}\nu_mm = 0.5\n"
    )
    return (first, first + second)


@pytest.mark.parametrize(
    ("taken", "temperature", "load", "gates"),
    [
        ("2031-04-02T05:00:00", 15.0, 0.0, []),
        ("2031-04-02T09:10:00", 15.0, 0.0, ["hours_apart"]),
        ("2031-04-02T05:00:00", 19.5, 0.0, ["temperature_off", "temperature_apart"]),
        ("2031-04-02T05:00:00", 15.0, 60.0, ["deck_load_apart"]),
    ],
)
def test_unlike_surveys_of_the_two_sides_are_refused(
    fitup, job, small_files, taken, temperature, load, gates
):
    head, *rows = small_files["survey.csv"].splitlines(keepends=True)
    one = head + "".join(row for row in rows if row.startswith("A"))
    other = head + "".join(row for row in rows if row.startswith("B"))
    said = fitup("joints", job(survey=one, b=other, job=two_nights(taken, temperature, load)))
    assert said.code == (2 if gates else 0)
    assert len(said.lines) == len(gates)
    for gate, line in zip(gates, said.lines, strict=True):
        assert f"({gate})" in line


def test_every_command_that_goes_on_says_the_reservations_in_the_same_words(fitup, job, tmp_path):
    """Whoever only looks at the plan must see that a face was not measured."""
    rows = [row for row in ROWS if row[0] != "B-R"]
    folder = job(survey=crew_list(rows), job=DECLARED)
    out = tmp_path / "out"
    said = {
        name: fitup(name, folder, *more).out.splitlines()
        for name, *more in (
            ["survey"],
            ["check"],
            ["joints"],
            ["plan"],
            ["sheets", "--to", out],
        )
    }
    (line,) = (row for row in said["check"] if row.startswith("reservation: NOT MEASURED: B-R"))
    for name, lines in said.items():
        assert "survey verdict: use with these reservations" in lines, name
        assert line in lines, name
    pages = PdfReader(out / "report.pdf").pages
    first = " ".join(pages[0].extract_text().split())
    assert line.removeprefix("reservation: ") in first
    fitup("review", folder, "--to", tmp_path / "review.html")
    assert line in (tmp_path / "review.html").read_text("utf-8")
