"""The engineer asks what traffic will feel, and lets the plan work on it."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdf
import pytest

PATH = "id,joint,points,place\nR1,J1,A-T1 A-L B-L B-T1,LEFT lane\n"
TOLERANCE = (
    "[[survey]]",
    '[tolerance.straightedge]\nvalue_mm = 2\nsource = "invented, clause 9"\n\n[[survey]]',
)


def test_the_ride_is_planned_certified_and_printed(
    fitup: Callable[..., Any], small_job_writer: Callable[..., Path], tmp_path: Path
):
    folder = small_job_writer(tmp_path / "job", ride=PATH, job=TOLERANCE)
    said = fitup("joints", folder)
    assert "R1 LEFT lane, ahead face  Straightedge" in said.out
    assert "bump by 3.0 mm" in said.out
    assert "gap under 3 m" in said.out
    done = json.loads(fitup("sheets", folder, "--to", tmp_path / "out", "--json").out)
    (ride,) = done["certificate"]["ride"]
    assert ride["gap_before"] == pytest.approx(0.006, abs=1e-4)
    assert ride["gap_after"] < 0.002
    assert ride["roughness_after"] < 0.4 * ride["roughness_before"]
    checks = {c["id"]: c for c in done["certificate"]["checks"]}
    assert checks["J1/R1/back/straightedge"]["inside"] is True
    report = "".join(p.extract_text() for p in pypdf.PdfReader(tmp_path / "out/report.pdf").pages)
    assert "Ride over the joint" in report
    assert f"{ride['gap_after'] * 1e3:.1f} mm" in report
    (row,) = csv.DictReader((tmp_path / "out/ride.csv").read_text("utf-8-sig").splitlines())
    assert float(row["gap_before_mm"]) == round(ride["gap_before"] * 1e3, 1)
    assert (tmp_path / "out/figure-ride-J1.svg").is_file()
    # what no crew reads in the middle of a stage is not on the move sheet
    assert "straightedge" not in (tmp_path / "out/expected.csv").read_text("utf-8-sig")
