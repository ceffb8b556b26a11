"""A job in feet, inches and kips is the same job: the same plates, the same settings."""

from __future__ import annotations

import csv
import io
import json
import re

import pytest
from pypdf import PdfReader

#: suffix -> (US suffix, factor): NIST SP 811 (2008), Appendix B.8: 1 in = 25.4 mm and
#: 1 ft = 0.3048 m exactly, 1 lbf = 4.448 222 N, here with the digits of 1 lb = 0.453 592 37 kg
#: and g = 9.806 65 m/s2, both exact
KIP = 0.45359237 * 9.80665  # kN
US = {
    "mm": ("in", 1 / 25.4),
    "m": ("ft", 1 / 0.3048),
    "kN": ("kip", 1 / KIP),
    "cm2": ("in2", 1 / 2.54**2),
    "kN_per_mm": ("kip_per_in", 25.4 / KIP),
    "mm_per_m": ("in_per_ft", 12 / 1000),
}


def suffix_of(name):
    """The longest metric suffix of a column or key."""
    ends = sorted((s for s in US if name.endswith(f"_{s}")), key=len)
    return ends[-1] if ends else None


def table_in_us(text):
    header, *rows = csv.reader(io.StringIO(text))
    ends = [suffix_of(title) for title in header]
    out = [[t if e is None else t[: -len(e)] + US[e][0] for t, e in zip(header, ends, strict=True)]]
    for row in rows:
        out.append(
            [
                c if e is None or not c else repr(float(c) * US[e][1])
                for c, e in zip(row, ends, strict=True)
            ]
        )
    target = io.StringIO()
    csv.writer(target, lineterminator="\n").writerows(out)
    return target.getvalue()


def settings_in_us(text):
    def key(match):
        name, value = match["name"], float(match["value"])
        if name.endswith("_C"):
            return f"{name[:-1]}F = {value * 1.8 + 32}"
        end = suffix_of(name)
        return (
            match[0] if end is None else f"{name[: -len(end)]}{US[end][0]} = {value * US[end][1]!r}"
        )

    text = re.sub(r"^(?P<name>\w+) = (?P<value>[\d.]+)$", key, text, flags=re.M)
    return text.replace('units = "metric"', 'units = "US"')


@pytest.fixture(scope="module")
def twins(tmp_path_factory, small_job_writer, small_files, fitup):
    metric = small_job_writer(tmp_path_factory.mktemp("metric"))
    us = tmp_path_factory.mktemp("us")
    for name, text in small_files.items():
        changed = settings_in_us(text) if name == "job.toml" else table_in_us(text)
        (us / name).write_text(changed, encoding="utf-8")
    said = [fitup("sheets", folder, "--json") for folder in (metric, us)]
    assert [s.code for s in said] == [0, 0]
    return us, [json.loads(s.out) for s in said]


def test_the_twin_is_written_without_metric_units(twins):
    for path in twins[0].glob("*.*"):
        head = path.read_text(encoding="utf-8")
        head = head if path.name == "job.toml" else head.splitlines()[0]
        assert not re.search(r"_(mm|m|kN|cm2|C)\b", head), path.name


def test_same_plates_same_settings_same_stages(twins):
    metric, us = (result["plan"] for result in twins[1])
    for key in ("seat", "out", "put_in", "build_up", "disturbed"):
        assert [s[key] for s in us["seats"]] == [s[key] for s in metric["seats"]]
    for one, other in zip(us["seats"], metric["seats"], strict=True):
        # settings are kept to a nanometre
        assert one["setting"] == pytest.approx(other["setting"], abs=2e-9)
    assert [s["seats"] for s in us["stages"]] == [s["seats"] for s in metric["stages"]]


def test_same_checks_and_loads(twins):
    metric, us = (result["certificate"] for result in twins[1])
    for one, other in zip(us["checks"], metric["checks"], strict=True):
        assert one["id"] == other["id"]
        assert one["before"] == pytest.approx(other["before"], abs=1e-8)
        assert one["after"] == pytest.approx(other["after"], abs=1e-8)
    for one, other in zip(us["seats"], metric["seats"], strict=True):
        assert one["reaction_after"] == pytest.approx(other["reaction_after"], rel=1e-6)


def test_sheets_in_inches_and_kips(twins):
    out = twins[0] / "out"
    header, first, *_ = (out / "moves.csv").read_text(encoding="utf-8-sig").splitlines()
    row = dict(zip(next(csv.reader([header])), next(csv.reader([first])), strict=True))
    assert {"move_in", "height_new_in", "reaction_after_kip"} <= row.keys()
    moved = next(
        r
        for r in csv.DictReader((out / "moves.csv").read_text(encoding="utf-8-sig").splitlines())
        if r["seat"] == "B-S1"
    )
    assert (moved["move"], moved["move_in"]) == ("LOWER", "0.236")  # 6.0 mm
    assert float(moved["reaction_after_kip"]) == pytest.approx(423.53 / KIP, abs=0.06)
    text = " ".join(page.extract_text() for page in PdfReader(out / "move-J1.pdf").pages)
    assert "B-S1 LOWER 0.236 in" in " ".join(text.split())
    assert re.search(r"ABOVE \d+\s+psi", text)
    assert not re.findall(r"\d\s*(?:mm|kN|bar|m|\u00b0C)\b", text)


def test_what_the_certificate_states_is_in_inches(twins):
    lines = twins[1][1]["certificate"]["statements"]
    (line,) = (one for one in lines if "second path and optimiser differ" in one)
    assert re.fullmatch(r".* by at most 0\.\d{5} in in any check", line)


def test_terminal_in_inches_and_fahrenheit(twins, fitup):
    said = fitup("joints", twins[0])
    assert "ahead side high by 0.236 in" in said.out
    assert not re.findall(r"\d (?:mm|kN|\u00b0C)\b", said.out)
