"""Tables of jobs and results as data frames, both ways."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

import fitup
from fitup.errors import InputError
from fitup.jobfolder.schema import TABLES
from fitup.jobfolder.start import start_job
from fitup.openjob import OpenJob

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module")
def opened(
    tmp_path_factory: pytest.TempPathFactory, small_job_writer: Callable[..., Path]
) -> OpenJob:
    return fitup.open_job(small_job_writer(tmp_path_factory.mktemp("frames") / "small"))


def test_a_table_of_the_job_carries_its_units(opened: OpenJob) -> None:
    jacks = fitup.to_frame(opened, "jacks.csv")
    assert list(jacks)[:4] == ["id", "seat", "capacity_kN", "ram_area_cm2"]
    assert jacks["capacity_kN"].tolist() == [2000.0] * 6
    assert jacks["ram_area_cm2"].tolist() == [285.0] * 6
    assert jacks["lock_nut"].all()
    seats = fitup.to_frame(opened, "seats.csv").set_index("id")
    assert seats.loc["B-S3", "pack"] == ("P20", "P10")
    assert seats["reaction_now_kN"].isna().all()


def test_every_table_goes_both_ways(tmp_path: Path) -> None:
    frame_job = tmp_path / "frame"
    start_job(frame_job, frame=True)
    seen = set()
    for folder in (frame_job, *sorted(EXAMPLES.glob("*/job.toml"))):
        job = fitup.open_job(folder if folder.is_dir() else folder.parent)
        for table in TABLES:
            if (job.folder / table).is_file():
                frame = fitup.to_frame(job, table)
                copy = tmp_path / "copy"
                copy.mkdir(exist_ok=True)
                (copy / table).write_text(fitup.from_frame(frame, table), "utf-8")
                again = fitup.to_frame(replace(job, folder=copy), table)
                pd.testing.assert_frame_equal(frame, again)
                seen.add(table)
    assert len(seen) > 25


def test_observations_go_both_ways(tmp_path: Path) -> None:
    job = fitup.open_job(EXAMPLES / "skerrin-observed")
    (epoch,) = (e for e in job.job.epochs if e.observed)
    shots = fitup.to_frame(job, epoch.file)
    assert {"setup", "target", "face", "hz_gon"} <= set(shots)
    (tmp_path / epoch.file).write_text(fitup.from_frame(shots, "observations"), "utf-8")
    again = fitup.to_frame(replace(job, folder=tmp_path), epoch.file)
    pd.testing.assert_frame_equal(shots, again)
    runs = pd.DataFrame({"from": ["BM1"], "to": ["A1-L"], "difference_m": [1.5], "u_mm": [0.3]})
    assert fitup.from_frame(runs, "levelling") == "from,to,difference_m,u_mm\nBM1,A1-L,1.5,0.3\n"
    with pytest.raises(InputError, match="levelling, row 2, u_mm: found '-1'; allowed: a number"):
        fitup.from_frame(runs.assign(u_mm=-1.0), "levelling")


def test_a_table_of_the_plan_is_as_printed(opened: OpenJob) -> None:
    moves = fitup.to_frame(opened, "moves").set_index("seat")
    checks = fitup.to_frame(opened, "checks")
    assert set(moves.index) == set(opened.job.seats)
    for seat in opened.certificate.seats:
        assert moves.loc[seat.seat, "height_new_mm"] == round(seat.height_new * 1e3, 2)
    assert len(checks) >= len(opened.certificate.checks)


def test_a_changed_store_gives_another_plan(opened: OpenJob, tmp_path: Path) -> None:
    plates = fitup.to_frame(opened, "plates.csv")
    plates.loc[plates["mark"] == "P2", "count"] = 0
    for path in opened.folder.iterdir():
        if path.is_file():
            (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / "plates.csv").write_text(fitup.from_frame(plates, "plates.csv"), "utf-8")
    other = fitup.open_job(tmp_path)
    assert other.job.plates["P2"].count == 0
    assert other.job.plates["P5"] == opened.job.plates["P5"]
    assert other.plan.id != opened.plan.id


@pytest.mark.parametrize(
    ("column", "value", "stated"),
    [
        ("capacity_kN", -1.0, "jacks.csv, row 3, capacity_kN: found '-1'; allowed: a number above "
         "0 kN and at most 50000 kN; give its rated capacity"),
        ("capacity_kN", float("nan"), "jacks.csv, row 3, capacity_kN: found an empty cell; "
         "allowed: a number above 0 kN and at most 50000 kN; give its rated capacity"),
        ("lock_nut", "maybe", "jacks.csv, row 3, lock_nut: found 'maybe'; allowed: yes or no; "
         "give whether it has a lock nut"),
    ],
)  # fmt: skip
def test_a_wrong_cell_is_told_as_in_a_file(
    opened: OpenJob, column: str, value: object, stated: str
) -> None:
    jacks = fitup.to_frame(opened, "jacks.csv").astype({column: object})
    jacks.loc[1, column] = value
    with pytest.raises(InputError) as error:
        fitup.from_frame(jacks, "jacks.csv")
    assert str(error.value) == stated


def test_a_column_without_its_unit_is_told(opened: OpenJob) -> None:
    jacks = fitup.to_frame(opened, "jacks.csv").rename(columns={"stroke_mm": "stroke"})
    with pytest.raises(InputError, match="row 1, stroke: found 'stroke' without a unit"):
        fitup.from_frame(jacks, "jacks.csv")


def test_other_units_are_read(opened: OpenJob) -> None:
    jacks = fitup.to_frame(opened, "jacks.csv")
    jacks["stroke_in"] = jacks.pop("stroke_mm") / 25.4
    assert "stroke_in" in fitup.from_frame(jacks, "jacks.csv").splitlines()[0]


def test_a_table_that_is_not_there(opened: OpenJob) -> None:
    with pytest.raises(InputError, match=r"to_frame: found 'packs'; allowed: one of: .*moves"):
        fitup.to_frame(opened, "packs")
    with pytest.raises(InputError, match="from_frame: found 'moves'"):
        fitup.from_frame(pd.DataFrame(), "moves")


def test_the_command_line_loads_no_pandas(opened: OpenJob) -> None:
    code = (
        "import sys, click.testing; from fitup.cli import group;"
        f"click.testing.CliRunner().invoke(group, ['joints', {str(opened.folder)!r}]);"
        "print('pandas' in sys.modules, 'fitup.checks' in sys.modules)"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.split() == ["False", "True"]
