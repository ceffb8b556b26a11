"""A whole folder: what is built of it, and every message that one row or the folder can cause."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from fitup import plainfile
from fitup.errors import InputError
from fitup.frames import joint_axes
from fitup.jobfolder import read_job
from fitup.model import Aim, Job, Reading

Tell = Callable[..., list[str]]
Read = Callable[..., Job]
Write = Callable[..., Path]
AIMS = "joint,pair,quantity,treat,amount_mm,angle_mm_per_m,side,reason\n"
READINGS = "id,pair,quantity,value_mm,side,u_mm,how\n"
SEAT = "400,packs,P20+P10,60,3,100,1400,,8,8"


def refusal(folder: Path | str) -> str:
    with pytest.raises(InputError) as caught:
        read_job(folder)
    return str(caught.value)


def test_several_problems_in_several_files_are_told_at_once(problems_of: Tell) -> None:
    assert problems_of(
        job=('units = "metric"', 'units = "imperial"'),
        pairs=("opening_mm", "opening"),
        jacks=[("J-A1,A-S1,2000", "J-A1,A-S1,abc"), ("J-A2,A-S2,2000,285", "J-A2,A-S2,2000,")],
        plates=("P20,20,20,2", "P20,20,NaN,2"),
        joints=("J1,A,B", "J1,A,X"),
        limits="id,kind,seats,most_mm\nL1,difference,A-S1 A-S9,5\n",
        readings=READINGS + "D1,P1,step,6,up,0.5,feeler\n",
    ) == [
        "job.toml, units: found 'imperial'; allowed: metric or US; choose what is printed",
        "pairs.csv, row 1, opening: found 'opening' without a unit; allowed: one of: opening_m, "
        "opening_mm, opening_cm, opening_in, opening_ft, opening_ftUS; write the unit into the "
        "column name",
        "jacks.csv, row 2, capacity_kN: found 'abc'; allowed: a number above 0 kN and at "
        "most 50000 kN; give its rated capacity",
        "jacks.csv, row 3, ram_area_cm2: found an empty cell; allowed: a number above 0 cm2 "
        "and at most 50000 cm2; give its effective ram area",
        "plates.csv, row 2, measured_mm: found 'NaN'; allowed: a number above 0 mm and at most "
        "500 mm; give the measured thickness",
        "readings.csv, row 2, side: found 'up'; allowed: ahead high or ahead low; say which way",
        "joints.csv, row 2, ahead: found 'X'; allowed: an id of segments.csv; correct it or add "
        "it there",
        "limits.csv, row 2, seats: found 'A-S9'; allowed: ids of seats.csv; correct it or add it "
        "there",
    ]


def test_the_error_carries_one_line_for_each_problem(
    small_job_writer: Write, tmp_path: Path
) -> None:
    folder = small_job_writer(tmp_path / "j", plates=None, jacks=None)
    assert refusal(folder).splitlines() == [
        "jacks.csv: found no such file; allowed: a text file; create it or correct its name",
        "plates.csv: found no such file; allowed: a text file; create it or correct its name",
    ]


def test_no_folder(tmp_path: Path) -> None:
    root = tmp_path / "nowhere"
    assert refusal(root) == (
        f"{root}: found no such folder; allowed: a job folder; make one with: fitup start FOLDER"
    )
    root.write_text("not a folder")
    assert refusal(root) == f"{root}: found a file; allowed: a job folder; name the folder"


def test_folder_without_permission(
    small_job_writer: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # root may read anything, so the refusal of the system is played
    def refuse(self: Path) -> None:
        raise PermissionError(13, "Permission denied")

    folder = small_job_writer(tmp_path / "j")
    monkeypatch.setattr(Path, "iterdir", refuse)
    assert refusal(folder) == (
        f"{folder}: found no permission to read; allowed: a readable folder; ask for access"
    )


# a table is read row by row, a survey only for the digest of the job
@pytest.mark.parametrize("name", ["plates.csv", "survey.csv"])
@pytest.mark.parametrize(
    ("error", "message"),
    [
        (
            PermissionError(13, "Permission denied"),
            "found no permission to read; allowed: a readable file; ask for read access",
        ),
        (
            OSError(5, "Input/output error"),
            "found Input/output error; allowed: a readable file; check the path",
        ),
    ],
)
def test_file_that_the_system_refuses(
    small_job_writer: Write,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    name: str,
    error: OSError,
    message: str,
) -> None:
    honest = plainfile.read_bytes

    def refuse(path: Path) -> bytes:
        if path.name == name:
            raise error
        return honest(path)

    folder = small_job_writer(tmp_path / "j")
    monkeypatch.setattr(plainfile, "read_bytes", refuse)
    assert refusal(folder) == f"{name}: {message}"


def test_folder_in_place_of_a_table(small_job_writer: Write, tmp_path: Path) -> None:
    folder = small_job_writer(tmp_path / "j", pairs=None)
    (folder / "pairs.csv").mkdir()
    assert refusal(folder) == (
        "pairs.csv: found a folder; allowed: a text file; name the file itself"
    )


DOUBLED = [
    ({"pairs": ("P2,J1", "P1,J1")}, "pairs.csv, row 3, id: found 'P1' again (first in row 2)"),
    ({"jacks": ("J-A3", "J-A1")}, "jacks.csv, row 4, id: found 'J-A1' again (first in row 2)"),
    ({"points": ("A-T2", "A-T1")}, "points.csv, row 5, id: found 'A-T1' again (first in row 4)"),
    (
        {"readings": READINGS + 2 * "D1,P1,step,6,ahead high,1,feeler\n"},
        "readings.csv, row 3, id: found 'D1' again (first in row 2)",
    ),
]


@pytest.mark.parametrize(("changes", "message"), DOUBLED)
def test_doubled_id(problems_of: Tell, changes: dict[str, str], message: str) -> None:
    assert problems_of(**changes) == [f"{message}; allowed: each id once; rename or delete one"]


def test_doubled_mark(problems_of: Tell) -> None:
    assert problems_of(plates=("P1,1,1", "P2,1,1")) == [
        "plates.csv, row 6, mark: found 'P2' again (first in row 5); allowed: each mark once; "
        "rename or delete one"
    ]


SEATS = [
    (
        "400,nut,P20,60,3,100,1400,,8,8",
        "pack: found plates at a seat held by a nut; allowed: empty; clear it or use packs",
    ),
    (
        "400,nut,,60,3,100,1400,,8,",
        "raise_most_mm: found a nut seat without travel; allowed: raise_most and lower_most; "
        "give both",
    ),
    (
        "400,packs,P20+P10,,3,100,1400,,8,8",
        "pack_most_mm: found an empty cell; allowed: a height; give the greatest pack height",
    ),
    (
        "400,packs,P20+P10,60,3,100,100,,8,8",
        "reaction_most_kN: found not above reaction_least; allowed: above reaction_least; "
        "correct one",
    ),
]


@pytest.mark.parametrize(("seat", "message"), SEATS)
def test_seat_row(problems_of: Tell, seat: str, message: str) -> None:
    assert problems_of(seats=(SEAT, seat)) == [f"seats.csv, row 2, {message}"]


def test_pack_limits_crossed(problems_of: Tell, small_files: dict[str, str]) -> None:
    seats = small_files["seats.csv"].replace("pack_most_mm", "pack_least_mm,pack_most_mm")
    seats = seats.replace("P20+P10,", "P20+P10,0,").replace("P20+P10,0,60", "P20+P10,70,60", 1)
    assert problems_of(seats=seats) == [
        "seats.csv, row 2, pack_most_mm: found 0.06 m, below pack_least; allowed: not below it; "
        "correct one"
    ]


def axis_seats(files: dict[str, str], pushes: str) -> str:
    text = files["seats.csv"].replace("pushes,", "pushes,axis_E,axis_N,axis_H,")
    return text.replace(",up,", ",up,,,,").replace(",up,,,,", f",{pushes},", 1)


@pytest.mark.parametrize("pushes", ["axis,,,", "axis,1,0,", "axis,0,0,0"])
def test_axis_without_direction(
    problems_of: Tell, small_files: dict[str, str], pushes: str
) -> None:
    assert problems_of(seats=axis_seats(small_files, pushes)) == [
        "seats.csv, row 2, pushes: found axis without axis_E, axis_N, axis_H; allowed: all three; "
        "fill them in"
    ]


# the segment goes east: ahead is east, left is north
@pytest.mark.parametrize(
    ("pushes", "direction", "group"),
    [
        ("up,,,", (0, 0, 1), "A-lift"),
        ("ahead,,,", (1, 0, 0), "A-along"),
        ("back,,,", (-1, 0, 0), "A-along"),
        ("left,,,", (0, 1, 0), "A-across"),
        ("right,,,", (0, -1, 0), "A-across"),
        ("axis,3,0,4", (0.6, 0, 0.8), "A-A-S1"),
    ],
)
def test_direction_and_group_of_a_seat(
    job_of: Read,
    small_files: dict[str, str],
    pushes: str,
    direction: tuple[float, float, float],
    group: str,
) -> None:
    seat = job_of(seats=axis_seats(small_files, pushes)).seats["A-S1"]
    assert seat.direction == pytest.approx(np.array(direction), abs=1e-12)
    assert (seat.pushes, seat.group) == (pushes.split(",", maxsplit=1)[0], group)


def test_seat_in_si(job_of: Read) -> None:
    seat = job_of(seats=("P20+P10,60,3,100,1400,,8,9".replace("9", "8"),
                         "P20+P10,60,3,-100,1400,450,8,7")).seats["A-S1"]  # fmt: skip
    assert seat.position.tolist() == [19.0, 3.0, 8.0]
    assert seat.stiffness == 400e6
    assert seat.pack == ("P20", "P10")
    assert (seat.pack_least, seat.pack_most, seat.most_plates) == (0.0, 0.06, 3)
    assert (seat.reaction_least, seat.reaction_most, seat.reaction_now) == (-1e5, 1.4e6, 4.5e5)
    assert (seat.raise_most, seat.lower_most, seat.hold) == (0.008, 0.007, False)


def test_segment_row(problems_of: Tell) -> None:
    assert problems_of(segments=("across turn\nB", "across up roll\nB")) == [
        "segments.csv, row 2, held: found 'roll up'; allowed: along, across, turn; correct it"
    ]


@pytest.mark.parametrize(
    ("cells", "whole"),
    [("1.2e-5,0,0,9", True), (",,,", True), ("1.2e-5,,,", False), (",0,0,9", False),
     ("1.2e-5,0,,9", False), (",0,,", False)],
)  # fmt: skip
def test_expansion_needs_its_fixed_point(
    problems_of: Tell, small_files: dict[str, str], cells: str, whole: bool
) -> None:
    text = small_files["segments.csv"].replace(
        "held\n", "held,expansion_per_C,fixed_E_m,fixed_N_m,fixed_H_m\n"
    )
    text = text.replace("turn\nB", f"turn,{cells}\nB").replace("turn\n", "turn,,,,\n")
    expected = [
        "segments.csv, row 2, expansion_per_C: found expansion and fixed point not both whole; "
        "allowed: expansion with fixed_E, fixed_N, fixed_H, or none of them; fill or clear all four"
    ]
    assert problems_of(segments=text) == ([] if whole else expected)


@pytest.mark.parametrize(
    ("cells", "found"),
    [("2,level", "'level' with a crossfall"), ("0,left", "'left' with no crossfall")],
)
def test_crossfall_and_side(problems_of: Tell, cells: str, found: str) -> None:
    assert problems_of(joints=("0,level", cells)) == [
        f"joints.csv, row 2, falls_to: found {found}; allowed: level with 0, else left or right; "
        "correct one of them"
    ]


@pytest.mark.parametrize(("side", "rising_left"), [("right", 0.02), ("left", -0.02)])
def test_axes_of_a_joint(job_of: Read, side: str, rising_left: float) -> None:
    axes = job_of(joints=("90,0,0,level", f"90,-1,2,{side}")).joints["J1"].axes_in_grid
    assert axes == pytest.approx(joint_axes(np.pi / 2, -0.01, rising_left), abs=1e-15)
    # by hand: a deck that falls to the right leans its upward axis to the right (south)
    assert np.sign(axes[2, 1]) == -np.sign(rising_left)
    assert axes[0, 2] < 0.0


AIM = [
    ("J1,,gap,preset,1.5,,left,why", "side: found 'left'; allowed: wide or narrow; say which way"),
    ("J1,,gap,preset,1.5,,,why", "side: found ''; allowed: wide or narrow; say which way"),
    (
        "J1,,gap,preset,,1.5,wide,why",
        "amount_mm: found amount and angle do not fit the quantity; allowed: amount alone for gap; "
        "move the number",
    ),
    (
        "J1,,twist,leave,1,1.5,,why",
        "angle_mm_per_m: found amount and angle do not fit the quantity; allowed: angle alone for "
        "twist; move the number",
    ),
]


@pytest.mark.parametrize(("row", "message"), AIM)
def test_aim_row(problems_of: Tell, row: str, message: str) -> None:
    assert problems_of(aims=AIMS + row) == [f"aims.csv, row 2, {message}"]


def test_aims_have_the_sign_of_their_word(job_of: Read) -> None:
    rows = "J1,P1,gap,preset,1.5,,narrow,n1\nJ1,,twist,preset,,1,ahead left edge high,n2\n"
    assert job_of(aims=AIMS + rows + "J1,,step,leave,3,,,n3\n").aims == (
        Aim("J1", "P1", "gap", "preset", -0.0015, "n1"),
        Aim("J1", None, "twist", "preset", 0.001, "n2"),
        Aim("J1", None, "step", "leave", 0.003, "n3"),
    )


READING = [
    ("D1,P1,step,6,up,0.5,feeler", "side: found 'up'; allowed: ahead high or ahead low; "
     "say which way"),
    ("D1,P1,gap,6,wide,0.5,tape", "side: found 'wide'; allowed: opening; say which way"),
    ("D1,P1,step,-6,ahead high,0.5,feeler", "value_mm: found '-6'; allowed: a number from 0 "
     "to 10000 mm; give the amount, without a sign"),
    ("D1,P1,step,6,ahead high,0,feeler", "u_mm: found '0'; allowed: a number above 0 mm "
     "and at most 100 mm; give the standard uncertainty of the reading"),
]  # fmt: skip


@pytest.mark.parametrize(("row", "message"), READING)
def test_reading_row(problems_of: Tell, row: str, message: str) -> None:
    assert problems_of(readings=READINGS + row) == [f"readings.csv, row 2, {message}"]


def test_readings_have_the_sign_of_their_word(job_of: Read) -> None:
    rows = "D1,P1,step,6,ahead low,0.5,feeler\nD2,P2,offset,2,ahead left,0.5,rule\n"
    readings = job_of(readings=READINGS + rows + "D3,P1,gap,12,opening,1,tape\n").readings
    assert readings[:2] == (
        Reading("D1", "P1", "step", -0.006, 0.0005, "feeler"),
        Reading("D2", "P2", "offset", 0.002, 0.0005, "rule"),
    )
    # the tape reads the whole opening, of which 10 mm are nominal
    assert readings[2].value == pytest.approx(0.002, abs=1e-15)


def test_digest_answers_to_every_byte_and_to_nothing_else(
    small_job_writer: Write, tmp_path: Path
) -> None:
    first = read_job(small_job_writer(tmp_path / "a")).digest
    second = small_job_writer(tmp_path / "b")
    (second / "notes.txt").write_text("not an input")
    assert read_job(second).digest == first
    seen = {first}
    for stem in ("job", "plates", "survey"):
        name = "job.toml" if stem == "job" else f"{stem}.csv"
        changed = small_job_writer(tmp_path / stem)
        with (changed / name).open("a") as file:
            file.write("# one more remark\n")
        seen.add(read_job(changed).digest)
    assert len(seen) == 4
