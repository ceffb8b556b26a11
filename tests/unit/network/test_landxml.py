"""Raw observations of a LandXML file are those of the same night as a table."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

import pytest

from fitup.errors import InputError
from fitup.jobfolder import read_job, start_job
from fitup.network.landxml import observation_rows
from fitup.network.solve import solve_epochs

HEAD = """<?xml version="1.0"?>
<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2">
<Units><Metric linearUnit="meter" directionUnit="decimal degrees" angularUnit="{angles}"/></Units>
<Survey>
"""
TAIL = "</Survey>\n</LandXML>\n"


def as_xml(rows: list[dict[str, str]], angles: str = "grads") -> str:
    """The night in LandXML, written by itself from its table."""
    setups = dict.fromkeys(row["setup"] for row in rows)
    text = HEAD.format(angles=angles)
    text += "".join(f'<InstrumentSetup id="{s}" stationName="{s}"/>\n' for s in setups)
    text += '<TargetSetup id="T0" targetHeight="0"/>\n'
    for setup in setups:
        text += f'<ObservationGroup setupID="{setup}">\n'
        for row in (r for r in rows if r["setup"] == setup):
            face = "true" if row["face"] == "1" else "false"
            text += (
                f'<RawObservation setupID="{setup}" targetSetupID="T0" directFace="{face}" '
                f'horizAngle="{row["hz_gon"]}" zenithAngle="{row["v_gon"]}" '
                f'slopeDistance="{row["sd_m"]}"><TargetPoint name="{row["target"]}"/>'
                "</RawObservation>\n"
            )
        text += "</ObservationGroup>\n"
    return text + TAIL


def test_the_night_as_landxml_is_the_night_as_a_table(tmp_path: Path):
    folder = tmp_path / "night"
    start_job(folder, observations=True)
    job = folder / "job.toml"
    # the table has the air, the file has not
    job.write_text(job.read_text("utf-8").replace("# [network]", "[network]\nair = false\n# "))
    before = solve_epochs(folder, read_job(folder))[0]
    lines = (folder / "night-1.csv").read_text("utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    (folder / "night-1.xml").write_text(as_xml(rows), encoding="utf-8")
    job.write_text(job.read_text("utf-8").replace("night-1.csv", "night-1.xml"))
    after = solve_epochs(folder, read_job(folder))[0]
    assert len(after.read.shots) == len(before.read.shots) == 56
    for name in ("A1-L", "B1-T2"):
        assert after.position(name) == pytest.approx(before.position(name), abs=1e-9)
    assert any(
        "LandXML, raw observations counted in their order" in n for n in after.read.understood
    )


def rows_of(tmp_path: Path, body: str, angles: str = "decimal degrees", known=()) -> list:
    path = tmp_path / "raw.xml"
    path.write_text(HEAD.format(angles=angles) + body + TAIL, encoding="utf-8")
    return list(csv.DictReader(io.StringIO(observation_rows(path, "raw.xml", known))))


SIGHT = (
    '<RawObservation setupID="S1" horizAngle="{hz}" zenithAngle="90" slopeDistance="20" '
    'targetHeight="1.5"><TargetPoint name="A-L"/></RawObservation>'
)


@pytest.mark.parametrize(
    ("angles", "written", "degrees"),
    [
        ("decimal degrees", "45.5", 45.5),
        ("grads", "50", 45.0),
        ("decimal dd.mm.ss", "45.3000", 45.5),
        ("radians", "1", math.degrees(1.0)),
    ],
)
def test_angles_in_the_unit_of_the_file(tmp_path: Path, angles: str, written: str, degrees: float):
    body = (
        '<InstrumentSetup id="S1" stationName="X"/>'
        + "<ObservationGroup>"
        + SIGHT.format(hz=written)
        + "</ObservationGroup>"
    )
    (row,) = rows_of(tmp_path, body, angles)
    assert math.degrees(float(row["hz_rad"])) == pytest.approx(degrees, abs=1e-9)
    assert (row["setup"], row["target"], row["face"], row["over"]) == ("S1", "A-L", "1", "")
    assert float(row["sd_m"]) == 20.0 and float(row["target_height_m"]) == 1.5


def test_a_set_up_over_a_known_point(tmp_path: Path):
    body = (
        '<InstrumentSetup id="S1" stationName="CP1" instrumentHeight="1.6"/><ObservationGroup>'
        + SIGHT.format(hz="1")
        + "</ObservationGroup>"
    )
    (row,) = rows_of(tmp_path, body, known=("CP1",))
    assert (row["over"], row["instrument_height_m"]) == ("CP1", "1.6")
    (free,) = rows_of(tmp_path, body)
    assert (free["over"], free["instrument_height_m"]) == ("", "")


@pytest.mark.parametrize(
    ("body", "message"),
    [
        (
            "",
            "raw.xml, LandXML: found no RawObservation; allowed: raw observations; export what the "
            "instrument read",
        ),
        (
            "<ObservationGroup>" + SIGHT.format(hz="1") + "</ObservationGroup>",
            "raw.xml, LandXML: found setupID 'S1'; allowed: an InstrumentSetup of the file; export "
            "it whole",
        ),
        (
            '<InstrumentSetup id="S1"/><ObservationGroup>'
            + SIGHT.format(hz="x")
            + "</ObservationGroup>",
            "raw.xml, RawObservation from 'S1' to 'A-L': found horizAngle='x'; allowed: a number; "
            "correct it in the design program",
        ),
    ],
)
def test_what_is_wrong_with_a_file(tmp_path: Path, body: str, message: str):
    with pytest.raises(InputError) as caught:
        rows_of(tmp_path, body)
    assert str(caught.value) == message
