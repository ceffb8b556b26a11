"""The engineer names a standard, and its clause stands wherever the tolerance does."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdf
import pytest

from fitup.checks import checks_of, joint_state, parts_of
from fitup.errors import InputError
from fitup.jobfolder import read_job
from fitup.survey import read_survey

OLD = '[tolerance.step]\nvalue_mm = 2.0\nsource = "invented specification, clause 1"\n'
CLAUSE = "ISO 5817:2023, Table 1, 507, linear misalignment of plates (5071), level B"
Write = Callable[..., Path]


def named(rule: str) -> tuple[str, str]:
    return OLD, f"[tolerance.step]\n{rule}\n"


def test_the_clause_stands_everywhere(fitup: Callable[..., Any], small_job_writer: Write, tmp_path):
    folder = small_job_writer(
        tmp_path / "job", job=named('rule = "ISO 5817 5071 B"\nthickness_mm = 25')
    )
    source = f"{CLAUSE}, thickness 25 mm"
    assert f"tolerance of Step: {source}\n" in fitup("joints", folder).out
    done = json.loads(fitup("joints", folder, "--json").out)
    step = next(c for c in done["checks"] if c["id"] == "J1/P1/step")
    assert (step["tolerance_si"], step["source"]) == (pytest.approx(2.5e-3), source)
    assert fitup("sheets", folder, "--to", tmp_path / "out").code == 0
    pages = pypdf.PdfReader(tmp_path / "out/report.pdf").pages
    report = " ".join(" ".join(p.extract_text() for p in pages).split())
    assert source in report
    assert source in (tmp_path / "out/checks.csv").read_text("utf-8-sig")


@pytest.mark.parametrize(
    ("rule", "message"),
    [
        (
            'rule = "ISO 5817 5071 A"\nthickness_mm = 25',
            "job.toml, tolerance.step.rule: found 'ISO 5817 5071 A'; allowed: 'ISO 5817 5071 B', "
            "'ISO 5817 5071 C', 'ISO 5817 5071 D', 'ISO 5817 5072 B', 'ISO 5817 5072 C', "
            "'ISO 5817 5072 D', 'EN 1090-2 deck step', 'FHWA deck step', 'AWS D1.5 offset'; list "
            "them with: fitup rules",
        ),
        (
            'rule = "ISO 5817 5071 B"',
            "job.toml, tolerance.step.thickness_m: found no such key; allowed: one of: "
            "thickness_m, thickness_mm, thickness_cm, thickness_in, thickness_ft, thickness_ftUS; "
            "add it",
        ),
        (
            'rule = "FHWA deck step"\nthickness_mm = 25',
            "job.toml, tolerance.step.thickness: found a thickness, which 'FHWA deck step' does "
            "not need; allowed: none; delete it",
        ),
        (
            'rule = "FHWA deck step"\nvalue_mm = 3',
            "job.toml, tolerance.step.value_mm: found a value of its own beside a rule; allowed: "
            "value and source, or a rule; delete one: the rule gives both",
        ),
        (
            'rule = "ISO 5817 5071 B"\nthickness_mm = 0.1',
            "job.toml, tolerance.step.rule: found 'ISO 5817 5071 B' here; allowed: 0.5 mm or more; "
            "choose another rule",
        ),
    ],
)
def test_message(small_job_writer: Write, tmp_path: Path, rule: str, message: str):
    with pytest.raises(InputError) as refused:
        read_job(small_job_writer(tmp_path, job=named(rule)))
    assert str(refused.value) == message


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (
            "P20,20,21.40,2,300,300,EN 10029:1991 A",
            "plates.csv, row 2, measured_mm: found 21.40 mm for a plate of 20 mm; allowed: 19.40 "
            "to 21.30 mm by EN 10029:1991, class A; measure it again, or correct its mark, nominal "
            "thickness or made_to",
        ),
        (
            "P20,20,20,2,300,300,EN 10029",
            "plates.csv, row 2, made_to: found 'EN 10029'; allowed: 'EN 10029:1991 A' to "
            "'EN 10029:2010 D', classes A to D; correct or clear it",
        ),
        (
            "P20,2,2,2,300,300,EN 10029:2010 A",
            "plates.csv, row 2, made_to: found a plate of 2 mm; allowed: 3 to 250 mm; clear it",
        ),
    ],
)
def test_plates_against_their_standard(
    small_job_writer: Write, small_files, tmp_path: Path, row: str, message: str
):
    head, first, *rest = small_files["plates.csv"].splitlines()
    table = "\n".join([f"{head},made_to", row, *(f"{r}," for r in rest)]) + "\n"
    assert first.startswith("P20,")
    with pytest.raises(InputError) as refused:
        read_job(small_job_writer(tmp_path, plates=table))
    assert message in [str(p) for p in refused.value.problems]


TILT = (
    "[[survey]]",
    '[tolerance.tilt_along]\nrule = "EN 1337-11 level"\n\n'
    '[tolerance.tilt_across]\nrule = "EN 1337-11 level"\n\n[[survey]]',
)
#: B leans: its ahead end 6 + 19 mm high, its left edge 2 mm higher than its right one
LEANING = [
    ("39.0000,4.0000,10.0060", "39.0000,4.0000,10.0260"),
    ("39.0000,-4.0000,10.0060", "39.0000,-4.0000,10.0240"),
    ("B-L,20.0100,4.0000,10.0060", "B-L,20.0100,4.0000,10.0070"),
    ("B-R,20.0100,-4.0000,10.0060", "B-R,20.0100,-4.0000,10.0050"),
]


def test_tilt_is_checked_only_where_it_is_named(
    fitup: Callable[..., Any], small_job_writer: Write, tmp_path: Path
):
    folder = small_job_writer(tmp_path / "job", job=TILT, survey=LEANING)
    job = read_job(folder)
    state = joint_state(job, read_survey(folder, job))
    value = {c.id: v for c, v in zip(state.checks, state.values, strict=True)}
    assert value["tilt_along/B"] == pytest.approx(0.019 / 18.99, rel=1e-6)
    assert value["tilt_across/B"] == pytest.approx(0.002 / 8.0, rel=1e-6)
    assert value["tilt_along/A"] == pytest.approx(0.0, abs=1e-9)
    said = fitup("joints", folder).out
    assert "B      Tilt along   ahead end high by 1.00 mm/m" in said
    assert "from memory, to be confirmed against the standard" in said
    plain = read_job(small_job_writer(tmp_path / "plain"))
    assert not [c for c in checks_of(plain) if c.quantity.startswith("tilt")]
    # planned and certified, the second time by a plane of its own
    plan = json.loads(fitup("plan", folder, "--json").out)
    after = {c["id"]: c["after"] for c in plan["certificate"]["checks"]}
    assert abs(after["tilt_along/B"]) < 0.003
    for check in state.checks:
        if check.quantity == "tilt_along":
            rows = parts_of(job, check).points.values()
            assert sum(rows) == pytest.approx([0.0, 0.0, 0.0], abs=1e-12)


def test_plates_by_their_class(
    fitup: Callable[..., Any], small_job_writer: Write, small_files, tmp_path: Path
):
    """Ordered, not measured: the budget takes the class, by name, and it shows."""
    head, *rest = small_files["plates.csv"].splitlines()

    def table(spread: str, made_to: str, by: str) -> str:
        rows = [
            f"{r},{spread},{made_to if r.startswith(('P20', 'P10', 'P5')) else ''}," for r in rest
        ]
        rows = [r + (by if r.startswith(("P20", "P10", "P5")) else "") for r in rows]
        return "\n".join([f"{head},spread_mm,made_to,spread_by", *rows]) + "\n"

    folder = small_job_writer(tmp_path / "job", plates=table("", "EN 10029:1991 D", "made_to"))
    job = read_job(folder)
    # 20 mm, 1.9 mm wide; 10 mm, 1.7 mm; 5 mm, 1.5 mm: over the root of twelve
    stated = [job.plates[m].spread * 1e3 for m in ("P20", "P10", "P5", "P2")]
    assert stated == pytest.approx([0.548, 0.491, 0.433, 0.0], abs=5e-4)
    said = fitup("budget", folder)
    assert said.code == 0
    assert "thickness of plates P10, not measured" in said.out
    assert "of the uncertainty is thickness of plates" in said.out
    measured = fitup("budget", small_job_writer(tmp_path / "measured")).out
    assert "not measured" not in measured
    for spread, made_to, message in (
        (
            "", "", "plates.csv, row 2, spread_by: found made_to, but no standard is named "
            "in rows 2 to 4; allowed: made_to with a class of EN 10029, else measured; name "
            "the standard in made_to, or clear spread_by",
        ),
        (
            "0.05", "EN 10029:1991 D", "plates.csv, row 2, spread_mm: found 0.05 mm beside "
            "spread_by made_to in rows 2 to 4; allowed: one of the two; clear spread, or "
            "say spread_by measured",
        ),
    ):  # fmt: skip
        bad = small_job_writer(tmp_path / "bad", plates=table(spread, made_to, "made_to"))
        with pytest.raises(InputError) as refused:
            read_job(bad)
        assert message in [str(p) for p in refused.value.problems]


def test_the_classes_are_listed(fitup: Callable[..., Any]):
    lines = fitup("rules").out.splitlines()
    assert "EN 10029:1991 A               19.40 to 21.30 mm" in lines
    assert "EN 10029:2010 D  FROM MEMORY  19.20 to 20.80 mm" in lines
