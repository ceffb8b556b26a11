"""The engineer lets the plan bring a pipe through and bolts in, and sets an opening by the day."""

from __future__ import annotations

import csv
import importlib.util
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdf
import pytest

from fitup.jobfolder import read_job

ROOT = Path(__file__).parents[2]

_SPEC = importlib.util.spec_from_file_location(
    "passage_unit", Path(__file__).parents[1] / "unit" / "checks" / "test_passage.py"
)
assert _SPEC and _SPEC.loader
unit = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(unit)

TOLERANCES = (
    "[[survey]]",
    '[tolerance.bore_step]\nvalue_mm = 2\nsource = "invented, clause 11"\n\n'
    '[tolerance.bolt_up]\nvalue_mm = 1.5\nsource = "invented, clause 12"\n\n[[survey]]',
)
Call = Callable[..., Any]


def test_pipe_and_bolts_come_through(
    fitup: Call, small_job_writer: Callable[..., Path], small_files: dict[str, str], tmp_path: Path
):
    folder = small_job_writer(
        tmp_path / "job",
        points=small_files["points.csv"] + unit.extra_points(),
        bores=unit.BORES,
        bolts=unit.BOLTS,
        job=TOLERANCES,
    )
    said = fitup("joints", folder).out
    assert re.search(r"PB CENTRE, far end +Bore step +ahead side high by 6\.0 mm", said)
    assert re.search(r"SP LEFT web +Holes up +6\.0 mm too high", said)
    assert re.search(r"J1 +SP LEFT web +0 of 4", said)
    done = json.loads(fitup("sheets", folder, "--to", tmp_path / "out", "--json").out)
    (bore,) = done["certificate"]["bores"]
    (bolts,) = done["certificate"]["bolts"]
    assert bore["room_before"] < 0.0075 - 0.002 < bore["room_after"]
    assert (bolts["passing_before"], bolts["passing_after"]) == (0, 4)
    report = "".join(p.extract_text() for p in pypdf.PdfReader(tmp_path / "out/report.pdf").pages)
    assert f"{bore['room_after'] * 1e3:.1f} mm free" in report
    assert "4 of 4" in report
    (row,) = csv.DictReader((tmp_path / "out/bolts.csv").read_text("utf-8-sig").splitlines())
    assert (row["holes"], row["passing_after"]) == ("4", "4")
    (row,) = csv.DictReader((tmp_path / "out/bores.csv").read_text("utf-8-sig").splitlines())
    assert float(row["room_after_mm"]) == round(bore["room_after"] * 1e3, 1)


def test_the_example_is_what_its_maker_writes():
    maker = ROOT / "examples" / "make_hinge.py"
    scope: dict[str, Any] = {"__name__": "made", "__file__": str(maker)}
    exec(maker.read_text("utf-8"), scope)
    folder = ROOT / "examples" / "skerrin-hinge"
    written = {p.name: p.read_text("utf-8") for p in folder.iterdir() if p.is_file()}
    own = ("points.csv", "segments.csv", "joints.csv", "bores.csv", "bolts.csv", "axis.xml")
    made = scope["files"]()
    assert {name: made[name] for name in own} == {name: written[name] for name in own}


def test_the_example_by_station_is_the_closure_joint():
    """Points by station, azimuths and grade of the axis: the same joint within what is rounded."""
    closure, hinge = (read_job(ROOT / "examples" / f"skerrin-{n}") for n in ("closure", "hinge"))
    assert hinge.joints["K1"].axes_in_grid == pytest.approx(
        closure.joints["K1"].axes_in_grid, abs=1e-6
    )
    for name, point in closure.points.items():
        assert hinge.points[name].design == pytest.approx(point.design, abs=1.5e-4)


def test_opening_of_the_day(fitup: Call, small_job_writer: Callable[..., Path], tmp_path: Path):
    folder = small_job_writer(tmp_path, segments=unit.EXPANDING)
    said = fitup("openings", folder, "--at", "5").out
    assert re.search(r"5\.0 °C +34\.0 mm +34\.0 mm", said)
    table = fitup("openings", folder).out
    assert "minus 5.0 °C" in table
    assert "shut, 14.0 mm short" in table
    wrong = fitup("openings", folder, "--joint", "J9")
    assert (wrong.code, wrong.lines) == (
        2,
        ["fitup: --joint: found 'J9'; allowed: J1; name one of them"],
    )
    found = json.loads(fitup("openings", folder, "--at", "5", "--json").out)["openings"]
    assert [o["opening_si"] for o in found] == pytest.approx([0.034, 0.034])
