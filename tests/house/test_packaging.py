"""What a packager reads: licence, sources, floors and versions that were tested."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Final

import pytest

ROOT: Final = Path(__file__).parents[2]
PROJECT: Final = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]


def pins(name: str) -> dict[str, str]:
    """Package -> version of a constraints file."""
    text = (ROOT / ".ci" / name).read_text("utf-8")
    return {n.lower(): v for n, v in re.findall(r"^([\w.-]+)==(\S+)$", text, re.MULTILINE)}


def numbers(version: str) -> list[int]:
    return [int(part) for part in re.findall(r"\d+", version)]


@pytest.mark.parametrize("needed", PROJECT["dependencies"])
def test_the_oldest_version_allowed_is_tested(needed: str) -> None:
    name, floor = needed.split(">=")
    assert numbers(pins("oldest.txt")[name])[: len(numbers(floor))] == numbers(floor)


def test_every_dependency_has_a_tested_version() -> None:
    extras = PROJECT["optional-dependencies"]
    for needed in [*PROJECT["dependencies"], *extras["test"], *extras["browser"]]:
        name, floor = needed.split(">=")
        assert numbers(pins("tested.txt")[name.lower()]) >= numbers(floor), name


def test_the_licence_is_the_one_declared() -> None:
    text = (ROOT / "LICENSE").read_text("utf-8")
    assert text.startswith(f"{PROJECT['license']} License\n")
    assert "the fitup authors" in text
    assert PROJECT["license-files"] == ["LICENSE"]


def test_the_source_archive_holds_what_builds_and_tests_it() -> None:
    given = (ROOT / "MANIFEST.in").read_text("utf-8")
    for part in (".ci", "benchmarks", "docs", "examples", "tests"):
        assert f"graft {part}\n" in given
        assert (ROOT / part).is_dir()
    assert "include .importlinter CHANGELOG.md DEVELOPERS.md\n" in given
