"""The foreman lifts off, the engineer types what the gauges read, new sheets come out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from fitup.cli import group


def run(*arguments: str) -> str:
    result = CliRunner().invoke(group, arguments)
    assert result.exit_code == 0, result.output + str(result.exception)
    return result.stdout


@pytest.fixture(scope="module")
def printed(
    small_job_writer: Callable[..., Path], tmp_path_factory: pytest.TempPathFactory
) -> Path:
    folder = small_job_writer(tmp_path_factory.mktemp("lift") / "job")
    run("sheets", str(folder))
    return folder


def printed_text(folder: Path) -> str:
    """The move sheet of the joint, all pages in one line."""
    pages = PdfReader(folder / "out" / "move-J1.pdf").pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_readings_typed_into_the_table_beside_the_sheets_make_new_sheets(printed: Path):
    table = (printed / "out" / "lift-off.csv").read_text("utf-8").splitlines()
    assert table[0] == "stage,moment,seat,jack,movement_mm,side,pressure_bar,who,time"
    rows = [r.replace(",,above,,,", ",1.0,above,230,N. Tarn,2031-04-03T01:10") for r in table[1:]]
    readings = printed / "lift-off.csv"
    readings.write_text("\n".join([table[0], *rows]) + "\n", encoding="utf-8")
    assert "sets every load and band after it anew" in printed_text(printed)
    said = run("sheets", str(printed), "--readings", str(readings))
    assert "Loads by the lift-off; these sheets replace all earlier ones" in said
    assert "calculated, 656 kN now" in said
    assert "These loads are measured ones" in printed_text(printed)


def test_a_table_without_a_lift_off_says_so(printed: Path, tmp_path: Path):
    head = "stage,moment,seat,load_kN,who,time\n"
    wrong = tmp_path / "end.csv"
    wrong.write_text(head + "1,end,B-S1,600,N. Tarn,2031-04-03T01:10\n", encoding="utf-8")
    result = CliRunner().invoke(group, ["sheets", str(printed), "--readings", str(wrong)])
    assert str(result.exception) == (
        f"{wrong}, moment: found no load or pressure of the moment lift-off; allowed: a row for "
        "each jack, as in lift-off.csv beside the sheets; write the readings down"
    )


def test_seats_that_stand_raised_are_not_passed_over(printed: Path, tmp_path: Path):
    """In the middle of a stage nothing is planned anew: it says so, and what to do."""
    head, *rows = (printed / "out" / "lift-off.csv").read_text("utf-8").splitlines()
    columns = head.split(",")
    seat, jack = (rows[0].split(",")[columns.index(name)] for name in ("seat", "jack"))
    read = {"stage": "1", "seat": seat, "jack": jack, "who": "N. Tarn", "time": "2031-04-03T01:10"}
    up = {**read, "moment": "raised", "movement_mm": "3", "side": "above"}
    line = ",".join(up.get(name, "") for name in columns)
    table = tmp_path / "up.csv"
    table.write_text(f"{head}\n{line}\n", encoding="utf-8")
    wanted = (
        f"{table}, row 2, moment: found seat {seat} raised in stage 1, and no end of it; "
        "allowed: a row with moment end too; add it; if work stopped there: fitup recover JOB "
        "--line N, the last line done"
    )
    for command in (
        ("sheets", str(printed), "--readings", str(table)),
        ("next", str(printed), "--to", str(tmp_path / "next"), "--done", str(table)),
    ):
        done = CliRunner().invoke(group, list(command))
        assert str(done.exception) == wanted
    assert not (tmp_path / "next").exists()
