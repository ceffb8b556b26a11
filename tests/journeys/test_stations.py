"""A surveyor takes stations from the design office and brings points back to it."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fitup.alignment import read_landxml

ROOT = Path(__file__).parents[2]
AXIS = ROOT / "examples" / "skerrin-axis" / "axis.xml"
DECK = ROOT / "examples" / "skerrin-axis" / "deck.csv"
FOOT = """<LandXML version="1.1"><Units><Imperial linearUnit="foot"/></Units><Alignments>
<Alignment name="axis" staStart="1000"><CoordGeom><Line><Start>0 0</Start><End>500 0</End></Line>
</CoordGeom></Alignment></Alignments></LandXML>"""
Call = Callable[..., Any]


def test_the_example_is_what_its_maker_writes(tmp_path: Path):
    scope: dict[str, Any] = {"__name__": "made", "__file__": str(tmp_path / "x.py")}
    exec((ROOT / "examples" / "make_axis.py").read_text("utf-8"), scope)
    assert scope["landxml"]() == AXIS.read_text("utf-8")
    assert scope["ifc"]() == AXIS.with_suffix(".ifc").read_text("utf-8")
    assert scope["DECK"] == DECK.read_text("utf-8")


def test_stations_go_out_and_come_back(fitup: Call, tmp_path: Path):
    listed = tmp_path / "deck.csv"
    said = fitup("stations", AXIS, "--points", DECK, "--to", listed)
    assert said.code == 0
    assert "W7-R   0+180.0000   11.5000  RIGHT    4215.3989  8864.8461  61.2700" in said.out
    assert said.out.endswith(f"wrote {listed}\n")
    rows = list(csv.DictReader(io.StringIO(listed.read_text("utf-8"))))
    assert [r["side"] for r in rows] == ["left", "axis", "right", "left", "right"]
    placed = tmp_path / "placed.csv"
    placed.write_text(
        "id,station,offset_m,side\n"
        + "".join(f"{r['id']},{r['station']},{r['offset_m']},{r['side']}\n" for r in rows)
    )
    there = json.loads(fitup("stations", AXIS, "--points", placed, "--json").out)["points"]
    for row, point in zip(rows, there, strict=True):
        assert point["east_m"] == pytest.approx(float(row["E_m"]), abs=2e-5)
        assert point["north_m"] == pytest.approx(float(row["N_m"]), abs=2e-5)
    grid = tmp_path / "grid.csv"
    grid.write_text("id,E_m,N_m\n" + "".join(f"{r['id']},{r['E_m']},{r['N_m']}\n" for r in rows))
    back = json.loads(fitup("stations", AXIS, "--points", grid, "--json").out)["points"]
    for row, point in zip(rows, back, strict=True):
        assert point["station"] == row["station"]
        assert point["offset_m"] == pytest.approx(float(row["offset_m"]), abs=1e-5)
        assert point["side"].removeprefix("on ") == row["side"] or point["offset_m"] < 1e-5
        assert point["height_m"] is None


def test_points_as_landxml_are_read_again(fitup: Call, tmp_path: Path):
    out = tmp_path / "deck.xml"
    assert fitup("stations", AXIS, "--points", DECK, "--to", out).code == 0
    points = {p.id: p.position for p in read_landxml(out).points}
    assert points["W7-C"] == pytest.approx([4210.0, 8875.0, 61.5], abs=1e-5)
    assert 'date="2031-01-15" time="09:00:00"' in out.read_text("utf-8")
    again = fitup("stations", AXIS, "--points", out).out
    assert "W7-C   0+180.0000    0.0000  ON AXIS  4210.0000  8875.0000  61.5000" in again


SECTION = (
    '<CrossSect sta="{0}"><DesignCrossSectSurf name="deck"><CrossSectPnt>-11.5 0.23</CrossSectPnt>'
    "<CrossSectPnt>0 0</CrossSectPnt><CrossSectPnt>11.5 {1}</CrossSectPnt></DesignCrossSectSurf>"
    "</CrossSect>"
)


def test_a_surveyor_reads_the_slope_across(fitup: Call, tmp_path: Path):
    """A deck that falls to the right goes over into a crown."""
    inside = f"<CrossSects>{SECTION.format(0, -0.23)}{SECTION.format(640, 0.23)}</CrossSects>"
    axis = tmp_path / "axis.xml"
    axis.write_text(AXIS.read_text("utf-8").replace("<Profile>", inside + "<Profile>"))
    said = fitup("stations", axis).out.splitlines()
    assert said[-5:] == [
        "crossfall from cross-sections, surface 'deck', straight between stations",
        "  station  left of the axis      right of the axis",
        "---------  --------------------  --------------------",
        "0+000.000  2.00 % falling RIGHT  2.00 % falling RIGHT",
        "0+640.000  2.00 % falling RIGHT  2.00 % falling LEFT",
    ]
    points = json.loads(fitup("stations", axis, "--points", DECK, "--json").out)["points"]
    assert [p["crossfall_rising_left"] for p in points] == pytest.approx(
        [0.02, 0.014375, 0.00875, 0.02, 0.02 - 0.04 * 352.5 / 640.0]
    )


def test_feet_stay_feet(fitup: Call, tmp_path: Path):
    (tmp_path / "axis.xml").write_text(FOOT)
    (tmp_path / "p.csv").write_text("id,E_ft,N_ft,H_ft\nP,-12.5,234.56,30\n")
    said = fitup("stations", tmp_path / "axis.xml", "--points", tmp_path / "p.csv")
    assert "P      12+34.5600    12.5000  LEFT  -12.5000  234.5600  30.0000" in said.out
    out = tmp_path / "p.xml"
    fitup("stations", tmp_path / "axis.xml", "--points", tmp_path / "p.csv", "--to", out)
    assert read_landxml(out).points[0].position == pytest.approx([-3.81, 71.493888, 9.144])


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (
            "id,E_m,N_m\nX,0,0\n",
            "p.csv, row 2: found 'X', beside no part of the alignment; allowed: a point whose "
            "cross-section meets it; is it the right alignment, unit and order of E and N?",
        ),
        (
            "id,E_m,N_m,station\nX,0,0,0+001.000\n",
            "p.csv, row 2, station: found both ways; allowed: E and N, or station, offset and "
            "side; give one of the two",
        ),
        (
            "id,E_m\nX,0\n",
            "p.csv, row 2, station: found neither way; allowed: E and N, or station, offset and "
            "side; give one of the two",
        ),
        (
            "id,E_m,N_m\nA,4210,8875\nA,4211,8876\n",
            "p.csv, row 3, id: found 'A' again (first in row 2); allowed: each id once; rename or "
            "delete one",
        ),
        ("id\n", "p.csv: found no points; allowed: one or more; add rows"),
    ],
)
def test_points_refused(fitup: Call, tmp_path: Path, monkeypatch, rows: str, message: str):
    monkeypatch.chdir(tmp_path)
    Path("p.csv").write_text(rows)
    said = fitup("stations", AXIS, "--points", "p.csv", "--to", "out.csv")
    assert (said.code, said.lines) == (2, [f"fitup: {message}"])
    assert not Path("out.csv").exists()


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--to", "x.csv"], "--to: found no points; allowed: --points FILE; name the points"),
        (
            ["--points", DECK, "--to", "x.pdf"],
            "--to: found 'x.pdf'; allowed: a name that ends in .csv or .xml; rename it",
        ),
        (
            ["--points", DECK, "--to", "there.csv"],
            "--to: found 'there.csv', which is there; allowed: a new file; name another",
        ),
        (
            ["--name", "ramp"],
            f"{AXIS}, Alignments: found 'ramp'; allowed: 'Skerrin axis'; name the one meant",
        ),
    ],
)
def test_options_refused(
    fitup: Call, tmp_path: Path, monkeypatch, options: list[Any], message: str
):
    monkeypatch.chdir(tmp_path)
    Path("there.csv").write_text("mine\n")
    said = fitup("stations", AXIS, *options)
    assert (said.code, said.lines) == (2, [f"fitup: {message}"])
    assert Path("there.csv").read_text() == "mine\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["there.csv"]


def test_a_file_without_alignment(fitup: Call, tmp_path: Path):
    out = tmp_path / "deck.xml"
    fitup("stations", AXIS, "--points", DECK, "--to", out)
    said = fitup("stations", out)
    assert said.code == 2
    assert said.lines == [
        f"fitup: {out}: found no alignment; allowed: one alignment; is this the right file?"
    ]
