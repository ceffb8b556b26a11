"""Readings as done: what is read, and every message, whole."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from fitup.errors import InputError
from fitup.jobfolder.done import read_done
from fitup.model import Done, Job

HEAD = "stage,moment,seat,jack,movement_mm,side,load_kN,pressure_bar,pack,stroke_out_mm,who,time\n"
END = ",R. Quay,2031-04-02T05:40\n"


@pytest.fixture
def read(small_case, tmp_path: Path) -> Callable[..., tuple[Done, ...]]:
    def of(text: str, job: Job = small_case[0]) -> tuple[Done, ...]:
        path = tmp_path / "night.csv"
        path.write_text(text, encoding="utf-8")
        return read_done(path, "night.csv", job)

    return of


def problems(read: Callable[..., object], row: str) -> list[str]:
    with pytest.raises(InputError) as refused:
        read(HEAD + row + END)
    return [str(p) for p in refused.value.problems]


def test_every_kind_of_reading(read):
    rows = read(
        HEAD
        + "1,lift-off,B-S1,J-B1,0.5,above,612,,,"
        + END
        + "1,lift-off,B-S2,,,,,250,,"
        + END
        + "1,end,B-S1,,6,below,590,,P20+P2+P2,44"
        + END
    )
    assert rows[0] == Done(
        1, "lift-off", "B-S1", "J-B1", 0.0005, 612e3, None, None, "R. Quay", "2031-04-02T05:40", 2
    )
    # 250 bar on 285 cm2, by hand
    assert rows[1].load == pytest.approx(712.5e3)
    assert (rows[2].movement, rows[2].pack, rows[2].stroke_out) == (
        pytest.approx(-0.006),
        ("P20", "P2", "P2"),
        pytest.approx(0.044),
    )


def test_units_of_the_columns_are_free(read):
    metric = read(HEAD + "1,end,B-S1,,25.4,above,1000,,," + END)
    inches = read(
        HEAD.replace("movement_mm", "movement_in").replace("load_kN", "load_kip")
        + "1,end,B-S1,,1.0,above,224.808943,,,"
        + END
    )
    assert inches[0].movement == pytest.approx(metric[0].movement)
    assert inches[0].load == pytest.approx(metric[0].load)


MESSAGES = [
    ("1,end,Z,,,,590,,,", "seat: found 'Z'; allowed: an id of seats.csv; correct it"),
    (
        "1,end,B-S1,J-A1,,,590,,,",
        "jack: found 'J-A1'; allowed: a jack of this seat: J-B1; correct it",
    ),
    (
        "1,end,B-S1,,,,590,200,,",
        "pressure_bar: found load and pressure both; allowed: one of them; clear the other",
    ),
    (
        "1,end,B-S1,,3,,590,,,",
        "side: found an empty cell; allowed: above or below (START) at a seat that pushes up; "
        "say which side of START",
    ),
    (
        "1,end,B-S1,,3,short,590,,,",
        "side: found 'short'; allowed: above or below (START) at a seat that pushes up; say which "
        "side of START",
    ),
    (
        "1,end,B-S1,,,above,590,,,",
        "side: found a side without a movement; allowed: both or none; complete it",
    ),
    (
        "1,end,B-S1,,,,,,P20+P9,",
        "pack: found plate 'P9'; allowed: marks of plates.csv; correct it or add it",
    ),
    (
        "1,end,B-S1,,,,,,,",
        "movement_mm: found a row without a reading; allowed: one of: movement, load, pressure, "
        "pack, stroke_out; fill one in",
    ),
    (
        "1,top,B-S1,,,,590,,,",
        "moment: found 'top'; allowed: one of: lift-off, raised, end; give when it was read",
    ),
]


@pytest.mark.parametrize(("row", "message"), MESSAGES)
def test_message(read, row: str, message: str):
    assert problems(read, row) == [f"night.csv, row 2, {message}"]


def test_time_with_an_offset_or_none_at_all(read):
    for stated in ("2031-04-02T05:40+02:00", "half past five"):
        with pytest.raises(InputError) as refused:
            read(f"{HEAD}1,end,B-S1,,,,590,,,,R. Quay,{stated}\n")
        assert str(refused.value) == (
            f"night.csv, row 2, time: found '{stated}'; allowed: a local time such as "
            "2031-04-02T05:40; correct it"
        )


def test_one_reading_twice(read):
    row = "1,end,B-S1,,,,590,,," + END
    with pytest.raises(InputError) as refused:
        read(HEAD + row + row)
    assert str(refused.value) == (
        "night.csv, row 3, seat: found the same stage, moment, seat and jack as row 2; allowed: "
        "each reading once; delete the one that is wrong"
    )


def test_seats_with_nut_or_several_jacks(read, small_job_writer, tmp_path):
    from fitup.jobfolder import read_job

    folder = small_job_writer(
        tmp_path / "nut",
        seats=("B-S1,B,21,3,8,up,400,packs,P20+P10,60", "B-S1,B,21,3,8,up,400,nut,,"),
        jacks=("J-B2", "J-B1b,B-S1,2000,285,150,50,0.5,yes\nJ-B2"),
    )
    job = read_job(folder)
    with pytest.raises(InputError) as refused:
        read(HEAD + "1,end,B-S1,,,,,200,P20," + END, job)
    assert [str(p) for p in refused.value.problems] == [
        "night.csv, row 2, pressure_bar: found a pressure at a seat with 2 jacks, but no jack; "
        "allowed: a pressure with the jack it was read at; name the jack",
        "night.csv, row 2, pack: found plates at a seat held by a nut; allowed: an empty cell; "
        "clear it",
    ]


def test_a_push_in_plan_is_beyond_or_short_of_start(read, small_case):
    job, _ = small_case
    seats = {**job.seats, "B-S1": replace(job.seats["B-S1"], pushes="ahead")}
    pushed = replace(job, seats=seats)
    rows = read(
        HEAD + "1,raised,B-S1,,4,beyond,,,," + END + "1,end,B-S1,,1,short,,,," + END, pushed
    )
    assert [r.movement for r in rows] == pytest.approx([0.004, -0.001])
    with pytest.raises(InputError) as refused:
        read(HEAD + "1,end,B-S1,,4,above,,,," + END, pushed)
    assert str(refused.value) == (
        "night.csv, row 2, side: found 'above'; allowed: beyond or short (START) at a seat that "
        "pushes ahead; say which side of START"
    )
