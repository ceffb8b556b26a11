"""The manual says what the program reads: every column and key, with its unit and default."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import pytest

from fitup import units
from fitup.jobfolder import settings
from fitup.jobfolder.manual import table_of
from fitup.jobfolder.schema import DONE, TABLES
from fitup.model import (
    MOVE_WORDS,
    QUANTITIES,
    SIDES,
    Gates,
    Learning,
    LockOff,
    Objectives,
    Staging,
    Uncertainties,
    Working,
)
from fitup.model.column import Column
from fitup.network.observations import LEVELS, SHOTS
from fitup.network.planned import SETUPS
from fitup.structure.table import ROW_UNITS

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
MANUAL = (DOCS / "job-folder.md").read_text(encoding="utf-8")
SIGNS = (DOCS / "signs.md").read_text(encoding="utf-8")


def section(title: str, manual: str = MANUAL) -> str:
    """Text under one heading, up to the next."""
    found = re.search(
        rf"^##+ {re.escape(title)}\n(.*?)(?=^##|\Z)", manual, re.DOTALL | re.MULTILINE
    )
    assert found, f"no section {title}"
    return found[1]


def rows(text: str) -> dict[str, list[str]]:
    """Rows of a table whose first cell is a name in backticks."""
    found = re.findall(r"^\| `([^`]+)` \|(.*)\|$", text, re.MULTILINE)
    assert len({name for name, _ in found}) == len(found)
    return {name: [c.strip() for c in rest.split("|")] for name, rest in found}


@pytest.mark.parametrize("file", TABLES)
def test_tables_are_made_from_the_declared_columns(file: str):
    table = TABLES[file]
    text = section(file, (DOCS / table.page).read_text(encoding="utf-8"))
    assert table_of(table.columns) in text, "renew it: .ci/tables"
    whole = table.needed or table.part == "round"
    assert ("May be left out" in text) == (not whole)


@pytest.mark.parametrize(
    ("page", "title", "columns"),
    [
        (DONE.page, DONE.heading, DONE.columns),
        ("survey.md", "The observation file", SHOTS),
        ("survey.md", "The levelling file", LEVELS),
        ("survey.md", "Before going out", SETUPS),
    ],
)
def test_tables_with_names_of_their_own(page: str, title: str, columns: tuple[Column, ...]):
    text = section(title, (DOCS / page).read_text(encoding="utf-8"))
    assert table_of(columns) in text, "renew it: .ci/tables"


def test_manual_and_template_are_renewed_by_a_command():
    command = [sys.executable, ROOT / ".ci" / "tables", "--check"]
    assert subprocess.run(command, check=False).returncode == 0


def test_units():
    table = dict(re.findall(r"^\| (\w+) \| (.+?) \|$", section("All tables"), re.MULTILINE))
    table.pop("kind")
    used = {c.kind for one in TABLES.values() for c in one.columns if c.has_unit}
    assert used | {"temperature"} == set(table)
    for kind, listed in table.items():
        assert tuple(listed.split(", ")) == units.suffixes(kind)


def test_top_keys():
    sections = {
        *(
            "tolerance",
            "gates",
            "working",
            "objectives",
            "exclude",
            "names",
            "waive",
            "uncertainty",
            "lockoff",
        ),
        "learning",
        *("influence", "alignment", "ride", "network", "survey", "staging"),
    }
    assert set(rows(section("top"))) | sections == set(settings._TOP)
    for title in sections:
        assert section(title)


def si(text: str) -> float | None:
    """A default of the manual in SI."""
    if text == "none":
        return None
    number, _, unit = text.partition(" ")
    dimensions = {"h": "time", "C": "temperature_step", "kN": "force", "mm": "length"}
    if unit in ("", "s"):
        return float(number)
    return units.to_si(float(number), dimensions[unit], unit)


@pytest.mark.parametrize(
    ("title", "record"),
    [
        ("gates", Gates()),
        ("working", Working()),
        ("staging", Staging()),
        ("objectives", Objectives()),
        ("uncertainty", Uncertainties()),
        ("lockoff", LockOff()),
        ("learning", Learning()),
    ],
)
def test_settings_and_their_defaults(
    title: str, record: Gates | Working | Staging | Objectives | Uncertainties | LockOff | Learning
):
    documented = rows(section(title))
    assert list(documented) == [f.name for f in fields(record)]
    for name, (_, default, _) in documented.items():
        value = getattr(record, name)
        # no limit and no name are none in the manual
        assert si(default) == pytest.approx(None if value in ("", math.inf, ()) else value), name


@pytest.mark.parametrize(
    ("title", "text"),
    [
        ("tolerance", '[tolerance]\nstep = {value_mm = 2, source = "s", wrong = 1}'),
        ("influence", "[influence]\nwrong = 1"),
        ("alignment", "[alignment]\nwrong = 1"),
        ("network", "[network]\nwrong = 1"),
        ("ride", "[ride]\nstraightedge_m = 3\nwrong = 1"),
        ("survey", '[[survey]]\nfile = "f"\ntaken = 2031-01-01T00:00:00\nwrong = 1'),
    ],
)
def test_keys_that_only_the_reader_knows(tmp_path: Path, title: str, text: str):
    """The reader's own list of allowed keys, from its message, less their units."""
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    problems = []
    settings.read_settings(tmp_path, problems)
    (message,) = (p for p in problems if p.column.endswith("wrong"))
    documented = rows(section(title))
    allowed = message.allowed.split(", ")
    bare = {next((d for d in documented if a == d or a.startswith(f"{d}_")), a) for a in allowed}
    assert bare == set(documented)


def test_every_quantity_of_a_tolerance():
    listed = re.findall(r"`(\w+)`", section("tolerance").split("; at least one")[0])
    assert set(listed) == set(QUANTITIES)


def test_influence_units():
    text = section("The influence table")
    for group in ROW_UNITS.values():
        assert f"| {', '.join(group)} |" in text


def test_every_side_and_move_has_its_rule():
    for quantity, words in SIDES.items():
        name = quantity.replace("kink_", "kink in ").replace("_", " ")
        rule = re.search(rf"^\d+\. {name}\b.*$", SIGNS, re.MULTILINE)
        assert rule, quantity
        for word in words:
            assert f"**{word}**" in rule[0]
        assert rule[0].index(f"**{words[0]}**") < rule[0].index(f"**{words[1]}**")
    for pushes, (along, against) in MOVE_WORDS.items():
        assert f"| {pushes} | {along} | {against} |" in SIGNS


def test_rules_are_numbered_without_a_gap():
    numbers = [int(n) for n in re.findall(r"^(\d+)\. ", SIGNS, re.MULTILINE)]
    assert numbers == list(range(1, len(numbers) + 1))


TEMPLATE = Path(__file__).parents[2] / "fitup" / "jobfolder" / "template"


def test_template_has_every_key_with_a_comment():
    text = (TEMPLATE / "job.toml").read_text(encoding="utf-8")
    titles = (
        "top",
        "gates",
        "working",
        "staging",
        "objectives",
        "uncertainty",
        "lockoff",
        "learning",
        "influence",
        "alignment",
        "ride",
        "survey",
    )
    keys = [key for title in titles for key in rows(section(title))]
    for key in [*keys, "value", "source", "weight"]:
        assert re.search(rf"^(# )?{key}(_\w+)? = ", text, re.MULTILINE), key
    for key in keys:
        line = re.search(rf"^(# )?{key}(_\w+)? = .*$", text, re.MULTILINE)
        assert line and "#" in line[0], key


def test_template_holds_the_defaults_it_names():
    """Where the template says ``default``, leaving the key out is that value."""
    text = (TEMPLATE / "job.toml").read_text(encoding="utf-8")
    for title, record in (
        ("gates", Gates()),
        ("working", Working()),
        ("learning", Learning()),
    ):
        for field in fields(record):
            pattern = rf"^{field.name}.*?default ([\d.]+\d(?: (?:h|C|kN|mm))?|\d+ (?:h|C|kN|mm))"
            said = re.search(pattern, text, re.M | re.S)
            assert said and si(said[1]) == pytest.approx(getattr(record, field.name)), title
