"""A night from raw observations to the move sheets, and a night that must not be used."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pypdf import PdfReader

from fitup.alignment import read_landxml
from fitup.cli import group
from fitup.errors import SurveyRefused

EXAMPLE = Path(__file__).parents[2] / "examples" / "skerrin-observed"
LISTED = EXAMPLE.parent / "skerrin-closure"


def run(*arguments: str) -> Result:
    # as the program itself calls it: what the command returns is the exit code
    return CliRunner().invoke(group, arguments, standalone_mode=False)


@pytest.fixture
def night(tmp_path: Path) -> Path:
    folder = tmp_path / "night"
    shutil.copytree(EXAMPLE, folder, ignore=shutil.ignore_patterns("out"))
    return folder


def spoil(folder: Path, setup: str, target: str, column: int, error: float) -> None:
    """Add an error to one column of every row of a sight."""
    path = folder / "night-14-shots.csv"
    rows = [line.split(",") for line in path.read_text("utf-8").splitlines()]
    for row in rows:
        if row[:2] == [setup, target]:
            row[column] = f"{float(row[column]) + error:.5f}"
    path.write_text("\n".join(",".join(r) for r in rows) + "\n", encoding="utf-8")


def test_the_survey_is_told_from_set_ups_to_the_joint(night: Path):
    result = run("survey", str(night))
    assert result.return_value == 0
    text = result.stdout
    assert "372 observations, 278 more than needed" in text
    assert "global test passed" in text
    assert "air corrected (first velocity correction, IAG 1999, at most" in text
    assert "would have gone unseen and moves it by" in text
    assert "\nsurvey verdict: use\nfor it: night-14-shots.csv: residuals 0.87 times" in text


def test_the_same_joint_as_from_the_coordinate_list(night: Path):
    """Both surveys are of one deck; the observed one knows the joint better."""
    checks = [
        {c["id"]: c for c in json.loads(run("joints", "--json", str(f)).stdout)["checks"]}
        for f in (night, LISTED)
    ]
    for name, one in checks[0].items():
        other = checks[1][name]
        u = (one["uncertainty_si"] ** 2 + other["uncertainty_si"] ** 2) ** 0.5
        assert abs(one["value_si"] - other["value_si"]) < 4.0 * u
        assert other["uncertainty_apart_si"] is None
    assert checks[0]["K1/P4/step"]["uncertainty_si"] < checks[1]["K1/P4/step"]["uncertainty_si"]
    table = run("joints", str(night)).stdout
    assert "u apart" in table
    assert "u apart" not in run("joints", str(LISTED)).stdout


def test_a_bad_night_is_refused_until_the_engineer_decides(night: Path):
    spoil(night, "ST1", "E1-L", 6, 0.0169)
    stated = (
        "set-up ST1, target E1-L (rows 12 and 56): the distance is 17.2 mm too long; prism "
        "constant, or a distance to something in front? Measure E1-L again from ST1, or exclude "
        "ST1/E1-L/sd in job.toml [exclude] with the reason"
    )
    result = run("survey", str(night))
    assert result.return_value == 2
    assert f"survey verdict: do not use\nagainst it: {stated}\n" in result.stdout
    assert "DOES NOT FIT" in result.stdout
    for command in ("check", "joints", "plan", "sheets"):
        refused = run(command, str(night))
        assert isinstance(refused.exception, SurveyRefused)
        assert str(refused.exception) == stated
    assert not (night / "out").exists()
    toml = night / "job.toml"
    reason = '[exclude]\n"ST1/E1-L/sd" = "small prism, constant unknown, chief surveyor"\n\n'
    text = toml.read_text("utf-8")
    toml.write_text(text.replace("[network]", f"{reason}[network]"), encoding="utf-8")
    again = run("survey", str(night))
    assert again.return_value == 0
    said = "ST1/E1-L/sd, ST1/E1-L/sd/2 left out: small prism, constant unknown, chief surveyor"
    assert said in again.stdout
    assert f"night-14-shots.csv: {said}" in run("check", str(night)).stdout


def test_the_report(night: Path, tmp_path: Path):
    out = tmp_path / "report"
    result = run("survey", str(night), "--to", str(out), "--since", str(EXAMPLE))
    assert result.return_value == 0
    assert (
        "night-14-shots.csv: against night-14-shots.csv of 2031-04-02 04:10, points CP1, CP2, CP3, "
        "CP4 where they were\n  night-14-shots.csv: no other point moved by more than its "
        "uncertainty\n"
    ) in result.stdout
    names = [
        "survey-report.pdf",
        "survey-network-1.svg",
        "survey-coordinates-1.csv",
        "survey-coordinates-1.xml",
    ]
    first = {n: (out / n).read_bytes() for n in names}
    assert sorted(p.name for p in out.iterdir()) == sorted([*names, "survey-moved-1.svg"])
    pages = PdfReader(out / names[0]).pages
    text = "\n".join(page.extract_text() for page in pages)
    assert "SURVEY REPORT USE" in text.replace("\n", " ")
    assert "What would have gone unseen" in text
    assert first[names[2]].decode().startswith("id,E_m,N_m,H_m,ellipse_large_mm")
    points = {p.id: p.position for p in read_landxml(out / names[3]).points}
    stated = json.loads(run("survey", "--json", str(night)).stdout)["surveys"][0]["points"]
    assert {p["id"] for p in stated} == set(points)
    for one in stated:
        there = [one["E"], one["N"], one["H"]]
        assert points[one["id"]] == pytest.approx(there, abs=1e-5)
    assert 'date="2031-04-02" time="04:10:00"' in first[names[3]].decode()
    run("survey", str(night), "--to", str(out), "--since", str(EXAMPLE))
    assert {n: (out / n).read_bytes() for n in names} == first


def test_coordinate_lists_get_a_verdict_too():
    result = run("survey", str(LISTED))
    assert result.return_value == 0
    assert "\nsurvey verdict: use\n" in result.stdout
    assert json.loads(run("survey", str(LISTED), "--json").stdout)["surveys"] == []


def test_control_that_moved_is_used_by_no_command(night: Path, tmp_path: Path):
    control = night / "control.csv"
    text = control.read_text("utf-8")
    assert "CP3,weighted,4176.8476," in text
    # 6 mm at a stated 1 mm: the observations themselves still fit
    control.write_text(
        text.replace("CP3,weighted,4176.8476,", "CP3,weighted,4176.8536,"), encoding="utf-8"
    )
    said = run("survey", str(night)).stdout
    assert "survey verdict: do not use\nagainst it: night-14-shots.csv: control point CP3" in said
    for command in ("check", "joints", "plan", "sheets"):
        refused = run(command, str(night))
        assert isinstance(refused.exception, SurveyRefused)
        assert "control point CP3 is not where control.csv has it" in str(refused.exception)
    report = run("survey", str(night), "--to", str(tmp_path / "report"))
    assert report.return_value == 2
    page = PdfReader(tmp_path / "report" / "survey-report.pdf").pages[0].extract_text()
    assert "DO NOT USE" in page


def test_from_observations_to_the_move_sheet_and_the_next_job(night: Path, tmp_path: Path):
    toml = night / "job.toml"
    # a short search is enough: the plan is not what is tried here
    text = toml.read_text("utf-8").replace("[objectives]", "[objectives]\nsearch_effort = 2")
    text = text.replace(
        "[network]", '[exclude]\n"ST1/E1-L/sd/2" = "gust, party chief"\n\n[network]'
    )
    toml.write_text(text, encoding="utf-8")
    result = run("sheets", str(night))
    assert result.exit_code == 0, result.output + str(result.exception)
    assert (night / "out" / "move-K1.pdf").is_file()
    report = "\n".join(p.extract_text() for p in PdfReader(night / "out" / "report.pdf").pages)
    assert "global test passed" in report.replace("\n", " ")
    after, folder = tmp_path / "next", tmp_path / "night-15"
    folder.mkdir()
    shutil.copy(EXAMPLE / "night-14-shots.csv", folder / "night-15-shots.csv")
    shutil.copy(EXAMPLE / "instruments.csv", folder)
    (folder / "levels.csv").write_text("from,to,difference_m,u_mm\nCP1,CP4,0.1681,0.6\n")
    stated = ("--taken", "2031-04-03T04:10", "--steel", "11.5 C", "--deck-load", "0 kN")
    went = run("next", str(night), "--to", str(after), "--rest", "planned", "--survey",
               str(folder), *stated)  # fmt: skip
    assert went.exception is None
    assert str(folder / "instruments.csv") in went.stdout
    assert "Nothing wrong found. Then: fitup compare" in went.stdout
    assert json.loads(run("survey", str(after), "--json").stdout)["verdict"] != "do not use"
    toml = (after / "job.toml").read_text("utf-8")
    assert 'observations = "night-15-shots.csv"\n' in toml
    assert 'levelling = "levels.csv"\n' in toml
    names = {p.name for p in after.iterdir()}
    # control and instruments go on, the observations of the night and what was left out do not
    assert {"control.csv", "instruments.csv"} <= names
    assert "night-14-shots.csv" not in names
    assert "ST1/E1-L" not in (after / "job.toml").read_text("utf-8")
