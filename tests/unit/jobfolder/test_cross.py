"""What one table says of another: every message, whole."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from fitup.model import Job

Tell = Callable[..., list[str]]
LIMITS = "id,kind,seats,most_mm\n"
AIMS = "joint,pair,quantity,treat,amount_mm,angle_mm_per_m,side,reason\n"
READINGS = "id,pair,quantity,value_mm,side,u_mm,how\n"
ADD = "correct it or add it there"


def held_elsewhere(where: str, found: str, home: str) -> str:
    return f"{where}: found '{found}'; allowed: an id of {home}; {ADD}"


NAMES = [
    ({"points": ("A-T1,A", "A-T1,C")}, "points.csv, row 4, segment", "C", "segments.csv"),
    ({"pairs": ("P2,J1", "P2,J9")}, "pairs.csv, row 3, joint", "J9", "joints.csv"),
    ({"pairs": ("A-L,B-L", "A-X,B-L")}, "pairs.csv, row 2, back_point", "A-X", "points.csv"),
    ({"pairs": ("A-L,B-L", "A-L,B-X")}, "pairs.csv, row 2, ahead_point", "B-X", "points.csv"),
    ({"seats": ("A-S1,A", "A-S1,C")}, "seats.csv, row 2, segment", "C", "segments.csv"),
    (
        {"readings": READINGS + "D1,P7,gap,6,opening,0.5,tape\n"},
        "readings.csv, row 2, pair",
        "P7",
        "pairs.csv",
    ),
    (
        {"temperatures": "id,segment,place,temperature_C,u_C\nT1,C,middle,14,0.5\n"},
        "temperatures.csv, row 2, segment",
        "C",
        "segments.csv",
    ),
    ({"aims": AIMS + "J1,P7,gap,leave,1,,,why\n"}, "aims.csv, row 2, pair", "P7", "pairs.csv"),
    ({"aims": AIMS + "J7,,gap,leave,1,,,why\n"}, "aims.csv, row 2, joint", "J7", "joints.csv"),
]


@pytest.mark.parametrize(("changes", "where", "found", "home"), NAMES)
def test_name_that_is_nowhere(
    problems_of: Tell, changes: dict[str, str], where: str, found: str, home: str
) -> None:
    assert problems_of(**changes) == [held_elsewhere(where, found, home)]


def test_jack_of_no_seat_and_seat_of_no_jack(problems_of: Tell) -> None:
    assert problems_of(jacks=("J-B3,B-S3", "J-B3,B-S9")) == [
        held_elsewhere("jacks.csv, row 7, seat", "B-S9", "seats.csv"),
        "seats.csv, row 7, id: found seat B-S3 without a jack; allowed: a jack in jacks.csv, or "
        "hold = yes; add the jack or hold the seat",
    ]


def test_held_seat_needs_no_jack(problems_of: Tell, small_files: dict[str, str]) -> None:
    seats = "\n".join(
        f"{line},{'hold' if i == 0 else 'yes' if line.startswith('B-S3') else ''}"
        for i, line in enumerate(small_files["seats.csv"].splitlines())
    )
    assert problems_of(seats=seats, jacks=("J-B3,B-S3", "J-B3,B-S2")) == []


SEATS = [
    (
        ("P20+P10,60", "P20+P20,30"),
        "pack: found a pack of 40.00 mm; allowed: 0.00 to 30.00 mm; check the plates and the "
        "pack limits",
    ),
    (
        ("P20+P10,60,3", "P10+P5+P2+P1,60,3"),
        "pack: found 4 plates; allowed: at most 3; correct one",
    ),
    (
        ("P20+P10", "P20+P99+P99"),
        "pack: found plate 'P99'; allowed: marks of plates.csv; add the mark there (count 0 if "
        "none is loose)",
    ),
    (
        ("100,1400,,8,8", "100,3400,2100,8,8"),
        "reaction_now_kN: found 2100 kN on jacks of 2000 kN in all; allowed: a present load "
        "below the jacks' capacity; more or larger jacks at this seat",
    ),
    (
        ("100,1400,,8,8", "100,1400,50,8,8"),
        "reaction_now_kN: found 50 kN, outside the seat's own limits; allowed: 100 to 1400 kN; "
        "check the reading and the limits",
    ),
    (
        ("100,1400,,8,8", "100,1400,1401,8,8"),
        "reaction_now_kN: found 1401 kN, outside the seat's own limits; allowed: 100 to 1400 kN; "
        "check the reading and the limits",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("change", "message"), SEATS)
def test_seat(problems_of: Tell, change: tuple[str, str], message: str) -> None:
    assert problems_of(seats=change) == [f"seats.csv, row 2, {message}"]


def test_two_jacks_share_one_load(problems_of: Tell) -> None:
    seats = ("100,1400,,8,8", "100,3400,2100,8,8")
    second = ("J-A1,A-S1", "J-A0,A-S1,101,285,150,50,0.5,yes\nJ-A1,A-S1")
    assert problems_of(seats=seats, jacks=second) == []


PAIRS = [
    (
        ("A-L,B-L", "A-L,A-L"),
        "ahead_point: found the back point again: a pair with one point; allowed: a point on the "
        "ahead face; name the other point",
    ),
    (
        ("A-L,B-L", "B-L,A-L"),
        "back_point: found a point of B, which is the ahead segment: faces swapped; allowed: a "
        "point of A; exchange back_point and ahead_point, or back and ahead in joints.csv",
    ),
    (
        ("B-L,10", "B-L,20"),
        "opening_mm: found 0.020 m, but the design points are 0.010 m apart along the joint; "
        "allowed: within 0.005 m of each other; check opening, points and azimuth",
    ),
    (
        ("A-L,B-L", "A-L,B-R"),
        "ahead_point: found design points 8.000 m sideways and 0.000 m in height apart; allowed: "
        "within 0.005 m of each other; pair the points that must meet",
    ),
]


@pytest.mark.parametrize(("change", "message"), PAIRS)
def test_pair(problems_of: Tell, change: tuple[str, str], message: str) -> None:
    assert problems_of(pairs=change) == [f"pairs.csv, row 2, {message}"]


def test_pair_of_unlike_heights(problems_of: Tell) -> None:
    assert problems_of(points=("20.01,4,10", "20.01,4,10.0061")) == [
        "pairs.csv, row 2, ahead_point: found design points 0.000 m sideways and 0.006 m in height "
        "apart; allowed: within 0.005 m of each other; pair the points that must meet"
    ]


def test_faces_that_look_the_other_way(problems_of: Tell) -> None:
    behind = (
        "ahead_point: found an ahead point 0.010 m behind its back point (faces or azimuth "
        "turned); allowed: an ahead point ahead of its back point; check the points and the "
        "azimuth in joints.csv"
    )
    assert problems_of(joints=("J1,A,B,90", "J1,A,B,270")) == [
        f"pairs.csv, row 2, {behind}",
        f"pairs.csv, row 3, {behind}",
    ]


def test_point_of_another_segment(problems_of: Tell, small_files: dict[str, str]) -> None:
    third = small_files["segments.csv"] + "C,90,1800,50,0,9,along across turn\n"
    points = small_files["points.csv"] + "C-L,C,20.01,4,10\n"
    seats = small_files["seats.csv"]
    jacks = small_files["jacks.csv"]
    stated = problems_of(
        segments=third, points=points, seats=seats, jacks=jacks, pairs=("A-L,B-L", "A-L,C-L")
    )
    assert stated == [
        "pairs.csv, row 2, ahead_point: found 'C-L' of segment C; allowed: a point of B; correct it"
    ]


def test_joint_with_itself(problems_of: Tell) -> None:
    assert problems_of(joints=("J1,A,B", "J1,A,A"))[0] == (
        "joints.csv, row 2, ahead: found the back segment again; allowed: another segment; "
        "correct it"
    )


def test_joint_without_pairs(problems_of: Tell, small_files: dict[str, str]) -> None:
    joints = small_files["joints.csv"] + "J2,A,B,90,0,0,level\n"
    assert problems_of(joints=joints) == [
        "joints.csv, row 3, id: found a joint without pairs; allowed: at least one pair; "
        "add rows to pairs.csv"
    ]


@pytest.mark.parametrize(
    ("kind", "seats", "wanted"),
    [
        ("difference", "A-S1 A-S2 A-S3", 2),
        ("difference", "A-S1", 2),
        ("difference", "A-S1 A-S1", 2),
        ("warp", "A-S1 A-S2 A-S3", 4),
        ("warp", "A-S1 A-S2 A-S3 A-S1", 4),
    ],
)
def test_limit_with_wrong_number_of_seats(
    problems_of: Tell, kind: str, seats: str, wanted: int
) -> None:
    assert problems_of(limits=f"{LIMITS}L1,{kind},{seats},5\n") == [
        f"limits.csv, row 2, seats: found '{seats}'; allowed: {wanted} different seats; correct it"
    ]


def test_limit_of_unknown_seat(problems_of: Tell) -> None:
    assert problems_of(limits=LIMITS + "L1,difference,A-S1 A-S9,5\n") == [
        f"limits.csv, row 2, seats: found 'A-S9'; allowed: ids of seats.csv; {ADD}"
    ]


@pytest.mark.parametrize(
    ("broken", "row"),
    [
        ({"plates": ("P20,20,20", "P20,20,x")}, "plates.csv, row 2, measured_mm: "),
        ({"jacks": ("J-A1,A-S1,2000", "J-A1,A-S1,x")}, "jacks.csv, row 2, capacity_kN: "),
        ({"points": ("A-L,A,20", "A-L,A,x")}, "points.csv, row 2, E_m: "),
        ({"segments": ("A,90", "A,x")}, "segments.csv, row 2, azimuth_deg: "),
        ({"joints": ("J1,A,B,90", "J1,A,B,x")}, "joints.csv, row 2, azimuth_deg: "),
    ],
)
def test_a_row_that_cannot_be_read_is_told_once(
    problems_of: Tell, broken: dict[str, tuple[str, str]], row: str
) -> None:
    exclude = ("[[survey]]", '[exclude]\nA-L = "trodden on"\n[[survey]]')
    (stated,) = problems_of(job=exclude, **broken)
    assert stated.startswith(row)


def test_a_broken_seat_does_not_spoil_limits(problems_of: Tell) -> None:
    limits = LIMITS + "L1,difference,A-S1 A-S2,5\n"
    (stated,) = problems_of(seats=("A-S1,A,19", "A-S1,A,x"), limits=limits)
    assert stated.startswith("seats.csv, row 2, E_m: ")


def test_a_broken_pair_does_not_empty_its_joint(
    problems_of: Tell, small_files: dict[str, str]
) -> None:
    one = small_files["pairs.csv"].splitlines()[:2]
    (stated,) = problems_of(pairs="\n".join(one).replace("B-L,10", "B-L,x"))
    assert stated.startswith("pairs.csv, row 2, opening_mm: ")


def test_thermometers_need_expansion_and_depth(problems_of: Tell) -> None:
    readings = "id,segment,place,temperature_C,u_C\nT1,A,middle,14,0.5\nT2,B,top,15,0.5\n"
    segments = """\
id,azimuth_deg,weight_kN,centre_E_m,centre_N_m,centre_H_m,held,expansion_per_C,fixed_E_m,\
fixed_N_m,fixed_H_m
A,90,1800,10,0,9,along across turn,,,,
B,90,1800,30,0,9,along across turn,0.000012,30,0,9
"""
    assert problems_of(segments=segments, temperatures=readings) == [
        "temperatures.csv, row 2, segment: found a thermometer on A, which has no expansion; "
        "allowed: segments with expansion and fixed point; fill them in in segments.csv, or delete "
        "the row",
        "temperatures.csv, row 3, place: found 'top' on B, which has no depth; allowed: middle, or "
        "a segment with depth; give the depth between the thermometers in segments.csv",
    ]


def with_column(table: str, name: str, cells: dict[str, str]) -> str:
    """Add a column to a table; cells by the first word of a row, others empty."""
    lines = table.splitlines()
    rows = [f"{row},{cells.get(row.split(',')[0], '')}" for row in lines[1:]]
    return "\n".join([f"{lines[0]},{name}", *rows, ""])


def test_spare_plates_are_kept_back(
    job_of: Callable[..., Job], small_files: dict[str, str]
) -> None:
    plates = with_column(small_files["plates.csv"], "kept_back", {"P5": "2", "P1": "4"})
    job = job_of(plates=plates)
    assert {m: (p.count, p.kept_back) for m, p in job.plates.items()} == {
        "P20": (2, 0), "P10": (2, 0), "P5": (1, 2), "P2": (4, 0), "P1": (0, 4),
    }  # fmt: skip


def test_more_spare_plates_than_there_are(problems_of: Tell, small_files: dict[str, str]) -> None:
    plates = with_column(small_files["plates.csv"], "kept_back", {"P5": "4"})
    assert problems_of(plates=plates) == [
        "plates.csv, row 4, kept_back: found 4 of 3 loose ones; allowed: no more than are loose; "
        "count the store and correct count or kept_back"
    ]


def test_plates_thinner_than_the_thickest(problems_of: Tell, small_files: dict[str, str]) -> None:
    seats = with_column(small_files["seats.csv"], "thinnest_mm", {"A-S1": "5"})
    seats = with_column(seats, "thickest_mm", {"A-S1": "2"})
    assert problems_of(seats=seats) == [
        "seats.csv, row 2, thickest_mm: found 2 mm, but thinnest is 5 mm; allowed: thinnest or "
        "more; correct one of them"
    ]


@pytest.mark.parametrize(
    ("column", "value", "shown"), [("thinnest_m", "0.4", "400"), ("thickest_mm", "0.5", "0.5")]
)
def test_no_plate_of_that_thickness(
    problems_of: Tell, small_files: dict[str, str], column: str, value: str, shown: str
) -> None:
    assert problems_of(seats=with_column(small_files["seats.csv"], column, {"A-S1": value})) == [
        f"seats.csv, row 2, {column}: found {shown} mm, which leaves no plate for a new pack; "
        "allowed: plates.csv has 1 to 20 mm; correct thinnest and thickest; to keep the pack as "
        "it is, name the seat in leave_alone"
    ]


def test_thickness_of_plates_at_a_nut(problems_of: Tell, small_files: dict[str, str]) -> None:
    seats = with_column(small_files["seats.csv"], "thickest_mm", {"A-S1": "10"})
    seats = seats.replace(",400,packs", ",400,nut", 1)
    assert (
        "seats.csv, row 2, thickest_mm: found a plate at a seat held by a nut; allowed: empty; "
        "clear it"
    ) in problems_of(seats=seats)


def test_thickness_in_inches_holds_the_plate_in_millimetres(
    job_of: Callable[..., Job], small_files: dict[str, str]
) -> None:
    """A plate of 3/8 in by 9.525 mm is no thicker than 0.375 in, rounding aside."""
    seats = with_column(small_files["seats.csv"], "thickest_in", {"A-S1": "0.375"})
    plates = small_files["plates.csv"].replace("P10,10,", "P10,9.525,")
    job = job_of(plates=plates, seats=seats)
    assert job.seats["A-S1"].may_hold(job.plates["P10"])
    assert not job.seats["A-S1"].may_hold(job.plates["P20"])
