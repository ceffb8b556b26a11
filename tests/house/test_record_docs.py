"""What docs say of the record is what the program does: JSON keys, rights, defaults."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from fitup.cli import group
from fitup.record.events import KINDS
from fitup.record.people import RIGHTS, read_people

DOCS = Path(__file__).parents[2] / "docs"
PAGE = (DOCS / "record.md").read_text("utf-8")
JSON = (DOCS / "json.md").read_text("utf-8")


def documented(title: str) -> set[str]:
    text = JSON.split(f"\n## {title}\n")[1].split("\n## ")[0]
    return set(re.findall(r"^\| `([^`]+)` \|", text, re.MULTILINE))


def run(*arguments: object) -> dict[str, object]:
    result = CliRunner().invoke(group, [str(a) for a in arguments] + ["--json"])
    assert result.exit_code == 0, result.output + str(result.exception)
    return json.loads(result.stdout)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("record") / "job"
    run("start", "--example", folder)
    made = run("key", "ines", "--to", folder.parent / "ines.key")
    assert set(made) == documented("key")
    (folder / "people.toml").write_text(
        f'[ines]\nname = "Ines"\nmay = {json.dumps(list(RIGHTS))}\nkey = "{made["key"]}"\n'
    )
    return folder


def test_json_keys(job: Path) -> None:
    key = job.parent / "ines.key"
    entry_keys = documented("people, accept, approve, reject, done, release, stop")
    for command, more in (("people", ()), ("accept", ()), ("stop", ("--why", "fog"))):
        said = run(command, job, "--key", key, *more)
        found = {f"entry.{k}" for k in said["entry"]} | (set(said) - {"entry"})
        assert found == entry_keys, command
    log = run("log", job)
    assert {f"{k}[]" if isinstance(v, list) else k for k, v in log.items()} == documented("log")
    assert {f"{k}[]" for k in run("changed", job, "2")} == documented("changed")
    recalled = run("recall", job, "2", "--to", job.parent / "once")
    assert {f"{k}[]" if isinstance(v, list) else k for k, v in recalled.items()} == documented(
        "recall"
    )


def test_every_right_is_told_and_is_one_of_the_rights() -> None:
    stated = re.findall(r"^\| ([a-z ]+) \| [a-z ]+ \|$", PAGE.split("## A night")[0], re.MULTILINE)
    assert [right for right in stated if right != "right"] == list(RIGHTS)
    assert {right for right in KINDS.values() if right} == set(RIGHTS)


def test_people_shown_are_people() -> None:
    text = PAGE.split("```toml\n")[1].split("```")[0]
    for i, hole in enumerate(re.findall(r'"(?:64 hex[^"]*|\.\.\.)"', text)):
        text = text.replace(hole, f'"{i:064x}"', 1)
    assert set(read_people(text.encode())) == {"ines", "bram"}
