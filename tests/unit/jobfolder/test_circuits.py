"""What one valve may drive, each message whole; three circuits hold a stiff box (statics)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

SEATS = (
    "A-S3,A,2,0,8,up,400,packs,P20+P10,60,3,100,1400,,8,8\n",
    "A-S3,A,2,-3,8,up,400,packs,P20+P10,60,3,100,1400,,8,8\n"
    "A-S4,A,2,3,8,up,400,packs,P20+P10,60,3,100,1400,,8,8\n",
)
NUT = ",150,50,0.5,yes"


def jacks(a1: str = "", a2: str = "", a3: str = "", a4: str = "", **other: str) -> Any:
    """The jacks of the small job with a fourth under A; circuits of A, other cells by id."""
    rows = ["id,seat,capacity_kN,ram_area_cm2,stroke_mm,stroke_used_mm,resolution_mm,lock_nut"]
    rows[0] += ",circuit"
    for name, seat, circuit in (
        *(("J-A1", "A-S1", a1), ("J-A2", "A-S2", a2), ("J-A3", "A-S3", a3), ("J-A4", "A-S4", a4)),
        *(("J-B1", "B-S1", ""), ("J-B2", "B-S2", ""), ("J-B3", "B-S3", "")),
    ):
        rows.append(f"{name},{seat},2000,285{NUT},{other.get(name.replace('-', ''), circuit)}")
    return "\n".join(rows) + "\n"


def where(row: int = 2) -> str:
    return f"jacks.csv, row {row}, circuit: found circuit N "


def test_over_two_groups(problems_of: Callable[..., list[str]]):
    table = jacks(a1="N", JB1="N")
    assert problems_of(seats=SEATS, jacks=table) == [
        where() + "over groups A-lift and B-lift; allowed: a circuit within one group of seats, "
        "which one crew raises together; give each group circuits of its own"
    ]


def test_beside_a_jack_that_is_not_on_it(problems_of: Callable[..., list[str]]):
    table = jacks(a1="N", a2="N").replace("J-B1,", f"J-A5,A-S2,2000,285{NUT},\nJ-B1,", 1)
    assert problems_of(seats=SEATS, jacks=table) == [
        where() + "at seat A-S2 beside jack J-A5, which is not on it; allowed: all jacks of a seat "
        "on one circuit, where it links several seats; write N at J-A5 too, or take the seat off "
        "the circuit"
    ]


def test_with_a_push_in_plan(problems_of: Callable[..., list[str]]):
    push = SEATS[1] + "A-G1,A,10,5,8,right,250,packs,P20+P10,60,3,-100,700,,8,8\n"
    segments = ("held\nA,90,1800,10,0,9,along across turn", "held\nA,90,1800,10,0,9,along turn")
    table = jacks(a1="N").replace("J-B1,", f"J-G1,A-G1,500,71{NUT},N\nJ-B1,", 1)
    found = problems_of(seats=[(SEATS[0], push)], segments=segments, jacks=table)
    assert found == [
        where() + "over groups A-lift and A-across; allowed: a circuit within one group of seats, "
        "which one crew raises together; give each group circuits of its own"
    ]


def test_without_lock_nut(problems_of: Callable[..., list[str]]):
    table = jacks(a1="N", a2="N").replace(
        "J-A4,A-S4,2000,285,150,50,0.5,yes", "J-A4,A-S4,2000,285,150,50,0.5,no"
    )
    assert problems_of(seats=SEATS, jacks=table) == [
        where() + "in a group with jack J-A4, which has no lock nut; allowed: lock nuts at all "
        "jacks that are raised with linked ones; use jacks with lock nuts, or clear circuit"
    ]


def test_beside_a_seat_on_its_nut(problems_of: Callable[..., list[str]]):
    seats = (SEATS[0], SEATS[1].replace("2,3,8,up,400,packs,P20+P10,60,3", "2,3,8,up,400,nut,,,"))
    assert problems_of(seats=seats, jacks=jacks(a1="N", a2="N")) == [
        where() + "in a group with seat A-S4, which stays on its nut; allowed: seats on packs that "
        "move, in a group with linked jacks; put the seat in a group of its own, or clear circuit"
    ]


def test_at_no_common_pump(problems_of: Callable[..., list[str]]):
    pumps = "id,jacks\nP1,J-A1 J-A3 J-A4 J-B1 J-B2 J-B3\nP2,J-A2\n"
    assert problems_of(seats=SEATS, jacks=jacks(a1="N", a2="N"), pumps=pumps) == [
        "jacks.csv, row 2, circuit: found circuit N, which no pump drives as a whole; allowed: all "
        "jacks of a circuit at one pump; write them all at one pump in pumps.csv"
    ]


def test_a_circuit_of_one_jack_is_as_none(problems_of: Callable[..., list[str]]):
    assert problems_of(seats=SEATS, jacks=jacks(a1="N", a2="M")) == []


TILT = (
    "under segment A, which could tilt: circuits and single jacks of group A-lift, with seats that "
    "stay on their packs, hold {held} of heave, roll and pitch; allowed: three circuits or single "
    "jacks whose centres are not in one line; link fewer jacks: four jacks in three circuits are "
    "enough for a stiff box"
)


@pytest.mark.parametrize(
    ("circuits", "held"),
    [
        # all on one valve: only heave; two ends, or crosswise: a line of support is left
        (("N", "N", "N", "N"), 1),
        (("N", "N", "M", "M"), 2),
        (("N", "M", "M", "N"), 2),
        # both centres in the middle of the box
        (("N", "M", "N", "M"), 1),
    ],
)
def test_a_box_that_could_tilt(
    problems_of: Callable[..., list[str]], circuits: tuple[str, ...], held: int
):
    found = problems_of(seats=SEATS, jacks=jacks(*circuits))
    assert found[0] == where() + TILT.format(held=held)
    assert len(found) == len(set(circuits))


def grouped() -> list[tuple[str, str]]:
    """Seats of A in two groups, near and far, four in all."""
    header = "reaction_now_kN,raise_most_mm,lower_most_mm"
    result = [(header, header + ",group"), SEATS]
    end = "8,up,400,packs,P20+P10,60,3,100,1400,,8,8"
    for name, place in (
        *(("A-S1", "A,19,3"), ("A-S2", "A,19,-3"), ("A-S3", "A,2,-3"), ("A-S4", "A,2,3")),
        *(("B-S1", "B,21,3"), ("B-S2", "B,21,-3"), ("B-S3", "B,38,0")),
    ):
        group = "near" if name in ("A-S1", "A-S2") else "far" if name[0] == "A" else ""
        result.append((f"{name},{place},{end}\n", f"{name},{place},{end},{group}\n"))
    return result


def test_seats_on_their_packs_count(problems_of: Callable[..., list[str]]):
    """Two jacks on one valve beside two seats of another group, which stay on packs, stand."""
    assert problems_of(seats=grouped(), jacks=jacks("N", "N")) == []


def test_three_circuits_hold_a_stiff_box(problems_of: Callable[..., list[str]]):
    assert problems_of(seats=SEATS, jacks=jacks("N", "N")) == []


def test_leading_jacks_in_one_line_set_no_plane(problems_of: Callable[..., list[str]]):
    """Jack 1 leads jack 2 across; jacks 3 and 4 stand on its side: nothing says how it rolls."""
    left = SEATS[1].replace("A-S3,A,2,-3,", "A-S3,A,2,3,").replace("A-S4,A,2,3,", "A-S4,A,10,3,")
    table = jacks("N", "N")
    assert problems_of(seats=(SEATS[0], left), jacks=table) == [
        where() + "under segment A, whose leading jacks (the first of each circuit) and single "
        "jacks of group A-lift stand in one line; allowed: leading and single jacks that are not "
        "in one line: work goes to their rams alone; write another jack of a circuit first, the "
        "further from the other leading ones the better"
    ]
    head, one, two, *rest = table.splitlines()
    turned = "\n".join([head, two, one, *rest]) + "\n"
    assert problems_of(seats=(SEATS[0], left), jacks=turned) == []
