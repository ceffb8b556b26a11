"""A job started from a few dimensions, filled in by what check names, planned and printed."""

from __future__ import annotations

import csv
import os
import pty
import re
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from fitup.units import from_si, to_si

#: metric dimensions of the decks started here
BOX = {"deck": "box", "seats": 4, "length": 30, "width": 12, "depth": 3, "weight": 900}
BOX |= {"segments": 2, "along": 24, "across": 7, "opening": 12}
KNOWN = {"stiffness": 300, "pack-most": 60, "reaction-least": 50, "reaction-most": 400}
KNOWN |= {"capacity": 600, "ram-area": 95, "stroke": 100, "resolution": 0.5}
US = {"length": ("length", "m", "ft"), "weight": ("force", "kN", "kip")}
US |= dict.fromkeys(("width", "depth", "along", "across"), US["length"])
US |= {"opening": ("length", "mm", "in"), "capacity": ("force", "kN", "kip")}
US |= dict.fromkeys(("pack-most", "stroke", "resolution"), US["opening"])
US |= dict.fromkeys(("reaction-least", "reaction-most"), US["capacity"])
US |= {"ram-area": ("area", "cm2", "in2"), "stiffness": ("stiffness", "kN_per_mm", "kip_per_in")}
PLATES = """\
mark,nominal_mm,measured_mm,count,length_mm,width_mm
P20,20,20.05,2,300,250
P10,10,10.04,4,300,250
P5,5,5.02,6,300,250
P3,3,3.01,6,300,250
P2,2,2.02,6,300,250
P1,1,0.99,6,300,250
"""
SETTINGS = {
    "grid": '"an invented site grid"',
    "reference_temperature_C": "15",
    "reference_temperature_F": "59",
    "value_mm": "2.5",
    "value_in": "0.1",
    "source": '"an invented specification, clause 3"',
    "u_mm": "0.5",
    "u_in": "0.02",
    "taken": "2031-05-14T04:20:00",
    "steel_temperature_C": "15",
    "steel_temperature_F": "59",
    "deck_load_kN": "0",
    "deck_load_kip": "0",
}


def usual_of(name: str, value: object) -> str:
    """A metric dimension in the units of a US crew."""
    if name not in US:
        return str(value)
    kind, metric, usual = US[name]
    return f"{from_si(to_si(float(str(value)), kind, metric), kind, usual):.6g}"


def options(given: Mapping[str, object], us: bool = False) -> list[str]:
    """Options as typed; metric dimensions in the units of a US crew where wanted."""
    said = []
    for name, value in given.items():
        said += [f"--{name}", usual_of(name, value) if us else str(value)]
    return [*said, "--units", "US"] if us else said


def rows(path: Path) -> list[dict[str, str]]:
    lines = path.read_text("utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def written(path: Path, table: list[dict[str, str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(table[0]))
        writer.writeheader()
        writer.writerows(table)


def fill(folder: Path) -> None:
    """Type what start could not know: settings, packs, lock nuts, plates and the survey."""
    settings = (folder / "job.toml").read_text("utf-8")
    for key, value in SETTINGS.items():
        settings = re.sub(rf"^# {key} =.*$", f"{key} = {value}", settings, flags=re.M)
    (folder / "job.toml").write_text(settings, "utf-8")
    (folder / "plates.csv").write_text(PLATES, "utf-8")
    seats = rows(folder / "seats.csv")
    written(folder / "seats.csv", [{**seat, "pack": "P20+P5+P5"} for seat in seats])


def survey(folder: Path, drop: float) -> None:
    """The design with the first segment low by so much at its joint [in the unit of the list]."""
    points = rows(folder / "points.csv")
    height = next(title for title in points[0] if title.startswith("H_"))
    for point in points:
        if point["id"].startswith("S1a"):
            point[height] = f"{float(point[height]) - drop:.5f}"
    kept = [{k: v for k, v in p.items() if k not in ("segment", "watched")} for p in points]
    written(folder / "survey.csv", kept)


@pytest.mark.parametrize("us", [False, True])
def test_started_filled_planned_and_printed(
    fitup: Callable[..., object], tmp_path: Path, us: bool
) -> None:
    folder = tmp_path / "closure"
    said = fitup("start", folder, *options(BOX | KNOWN, us), "--lock-nuts")
    assert said.code == 0
    assert {p.name for p in folder.iterdir()} == {
        "job.toml",
        *(f"{t}.csv" for t in ("segments", "points", "joints", "pairs")),
        *(f"{t}.csv" for t in ("seats", "jacks", "plates")),
    }
    fill(folder)
    survey(folder, 0.025 if us else 0.008)
    assert fitup("check", folder).code == 0
    assert fitup("plan", folder).code == 0
    assert fitup("sheets", folder).code == 0
    assert (folder / "out" / "report.pdf").is_file()


def test_check_names_what_must_be_typed_and_nothing_else(
    fitup: Callable[..., object], tmp_path: Path
) -> None:
    folder = tmp_path / "closure"
    fitup("start", folder, *options(BOX | KNOWN), "--lock-nuts")
    lines = fitup("check", folder).lines
    named = {line.removeprefix("fitup: ").split(": found")[0] for line in lines}
    assert named == {
        *(f"job.toml, {key}" for key in ("grid", "reference_temperature_C")),
        *(f"job.toml, tolerance.{q}.{k}" for q in ("gap", "step") for k in ("value_m", "source")),
        "job.toml, survey 1.taken",
        "job.toml, survey 1.steel_temperature_C",
        "job.toml, survey 1.deck_load_N",
        "plates.csv",
        "seats.csv, row 31, pack",
    }


def test_cells_of_a_column_all_empty_are_one_line(
    fitup: Callable[..., object], tmp_path: Path
) -> None:
    folder = tmp_path / "closure"
    fitup("start", folder, *options(BOX))
    lines = [line for line in fitup("check", folder).lines if "stiffness" in line]
    header = next(
        number
        for number, line in enumerate((folder / "seats.csv").read_text("utf-8").splitlines(), 1)
        if not line.startswith("#")
    )
    assert lines == [
        f"fitup: seats.csv, row {header + 1}, stiffness_kN_per_mm: found an empty cell in rows "
        f"{header + 1} to {header + 8}; allowed: a number above 0 kN_per_mm and at most "
        "10000000 kN_per_mm; give its stiffness in that direction"
    ]


def test_girders_have_a_pair_at_every_flange(fitup: Callable[..., object], tmp_path: Path) -> None:
    folder = tmp_path / "girders"
    given = BOX | {"deck": "girders", "seats": 6, "segments": 3}
    fitup("start", folder, *options(given), "--with", "limits", "--with", "pumps", "--with", "ride")
    assert len(rows(folder / "pairs.csv")) == 2 * 6
    assert {row["place"] for row in rows(folder / "pairs.csv")} == {
        *(
            f"{side}girder {n} {flange} flange"
            for n, side in ((1, "LEFT "), (2, ""), (3, "RIGHT "))
            for flange in ("top", "bottom")
        ),
    }
    assert [row["jacks"] for row in rows(folder / "pumps.csv")] == [
        " ".join(f"J{j}" for j in range(first, first + 6)) for first in (1, 7, 13)
    ]


def test_missing_and_impossible_dimensions_are_named(
    fitup: Callable[..., object], tmp_path: Path
) -> None:
    folder = tmp_path / "closure"
    said = fitup("start", folder, *options({k: v for k, v in BOX.items() if k != "weight"}))
    assert said.code == 2
    assert "give --weight too; or --example for a small whole job" in said.err
    said = fitup("start", folder, *options(BOX | {"seats": 5, "along": 31, "depth": 0}))
    assert said.lines == [
        "fitup: --seats: found 5; allowed: 3 for a box, or an even number from 4 to 24; "
        "correct this dimension",
        "fitup: --depth: found 0 m; allowed: above 0 m; correct this dimension",
        "fitup: --along: found 31 m; allowed: above 0 m and below the length; "
        "correct this dimension",
    ]
    assert not folder.exists()


def test_tables_are_added_and_none_is_overwritten(
    fitup: Callable[..., object], tmp_path: Path
) -> None:
    folder = tmp_path / "closure"
    fitup("start", folder, *options(BOX, us=True))
    assert fitup("add", folder, "pumps", "leans.csv").code == 0
    assert "pressure_most" in (folder / "pumps.csv").read_text("utf-8")
    assert (folder / "leans.csv").read_text("utf-8").splitlines()[-1].split(",")[3] == "amount_in"
    said = fitup("add", folder, "ride", "pumps")
    assert said.lines == [
        "fitup: pumps.csv: found a file already there; allowed: a table not yet written; "
        "edit it as it is"
    ]
    assert not (folder / "ride.csv").exists()
    assert (
        fitup("add", folder, "spoons")
        .lines[0]
        .startswith(
            "fitup: spoons.csv: found no table of a job; allowed: segments, points, joints, "
        )
    )
    assert "limits\n" in fitup("add", folder).out


def test_at_a_terminal_it_asks(tmp_path: Path) -> None:
    """The dialogue on a real terminal gives the tables of the same options."""
    asked, stated = tmp_path / "closure", tmp_path / "same" / "closure"
    order = ("segments", "deck", "seats", "length", "width", "depth")
    order += ("weight", "along", "across", "opening")
    answers = ["metric", *(str(BOX[name]) for name in order), "coordinates", "pumps, ride"]
    mine, theirs = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "fitup", "start", str(asked)], stdin=theirs, stdout=subprocess.PIPE
    ) as process:
        os.write(mine, ("\n".join(answers) + "\n").encode())
        out, _ = process.communicate(timeout=60)
    os.close(mine)
    os.close(theirs)
    assert process.returncode == 0, out
    assert b"weight of a segment with all that is fixed to it [kN]" in out
    said = [sys.executable, "-m", "fitup", "start", str(stated), *options(BOX)]
    subprocess.run([*said, "--with", "pumps", "--with", "ride"], check=True, capture_output=True)
    for path in sorted(stated.iterdir()):
        assert (asked / path.name).read_text("utf-8") == path.read_text("utf-8"), path.name
