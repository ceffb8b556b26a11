"""Mutants: what is changed, what is left alone, and how the share that is caught is stated."""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parents[2]


def loaded(name: str) -> ModuleType:
    """Load a benchmark, which is no package."""
    sys.path.insert(0, str(ROOT / "benchmarks"))
    try:
        spec = importlib.util.spec_from_file_location(name, ROOT / "benchmarks" / f"{name}.py")
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
        return module
    finally:
        sys.path.pop(0)


MUTANTS = loaded("mutants")
MUTATION = loaded("mutation")
SOURCE = '''"""Words: 1 < 2."""

from dataclasses import dataclass

LIMIT: float = 2.0


@dataclass(frozen=True)
class Kept:
    size: int = 3


def judged(load: float, most: float, seen: list[str], report: object) -> bool:
    """Say 4 < 5."""
    report(f"{load * 1e-3:.1f}")
    if load > most and not seen:
        seen.append("high")
    return max(load, most) - 2.5 * abs(most) <= divmod(load, most)[0]
'''


def changes(tmp_path: Path, source: str = SOURCE) -> set[tuple[int, str, str]]:
    path = tmp_path / "module.py"
    path.write_text(source, "utf-8")
    return {(m.line, m.kind, m.text) for m in MUTANTS.mutants_of(path, tmp_path)}


def test_what_is_changed(tmp_path: Path) -> None:
    found = changes(tmp_path)
    assert {
        (5, "constant", "(4.0)"),
        (10, "constant", "(4)"),
        (16, "comparison", "(load >= most)"),
        (16, "comparison", "(load <= most)"),
        (16, "and, or", "(load > most or not seen)"),
        (16, "sign or not left out", "(seen)"),
        (16, "condition turned", "(not (load > most and (not seen)))"),
        (17, "statement left out", "pass"),
        (18, "min for max", "(min(load, most))"),
        (18, "arithmetic", "(max(load, most) + 2.5 * abs(most))"),
        (18, "arithmetic", "(2.5 / abs(most))"),
        (18, "abs left out", "(most)"),
        (18, "arguments swapped", "(divmod(most, load))"),
        (18, "comparison", "(max(load, most) - 2.5 * abs(most) < divmod(load, most)[0])"),
    } <= found


def test_words_reports_and_decorators_are_left_alone(tmp_path: Path) -> None:
    lines = {line for line, _, _ in changes(tmp_path)}
    assert lines == {5, 10, 16, 17, 18}


def test_a_mutant_is_another_text_that_compiles() -> None:
    for path in sorted((ROOT / "fitup" / "certify").glob("*.py")):
        whole = path.read_text("utf-8")
        found = MUTANTS.mutants_of(path, ROOT)
        for mutant in found[:: max(1, len(found) // 20)]:
            changed = mutant.source(whole)
            assert changed != whole
            compile(changed, str(path), "exec")


@pytest.mark.parametrize(
    ("caught", "of", "low", "high"),
    # Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I, method 3 (from memory)
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611)],
)
def test_the_interval_of_a_share(caught: int, of: int, low: float, high: float) -> None:
    assert MUTATION.interval(caught, of) == pytest.approx((low, high), abs=6e-5)


def test_the_quickest_tests_of_a_line_come_first_and_imported_lines_reach_all() -> None:
    reached = MUTATION.Reached(
        {"m.py": {"1": [""], "5": ["", "slow", "quick"], "6": ["quick"]}},
        {"slow": 50.0, "quick": 1.0},
    )

    def at(line: int) -> list[str]:
        return list(reached.tests(MUTANTS.Mutant("m.py", line, 0, line, 1, "", "")))

    assert at(5) == ["quick", "slow"]
    assert at(6) == ["quick"]
    assert at(1) == ["quick", "slow"]
    assert at(7) == []


#: run in a process of its own: a module that is loaded already is not broken any more
FATES = """
import json, sys
sys.path.insert(0, "benchmarks")
import mutants, mutation
for name, at, length, line, tests in json.loads(sys.argv[1]):
    print(mutation.fate(mutants.Mutant(name, at, 0, at, length, "", line), tests, 90.0))
"""


def test_a_mutant_is_caught_or_survives() -> None:
    """In a child process, and the file stays as it is."""
    name = "fitup/certify/limits.py"
    whole = (ROOT / name).read_text("utf-8")
    at = next(i for i, t in enumerate(whole.splitlines(), 1) if "values.get(name, 0.0)" in t)
    text = whole.splitlines()[at - 1]

    tests = ["tests/unit/certify/test_limits.py::test_a_setting_for_every_seat"]
    cases = [(text, tests), (text.replace("0.0", "1.0"), tests), (text, [])]
    given = json.dumps([(name, at, len(text), line, own) for line, own in cases])
    said = subprocess.run(
        [sys.executable, "-c", FATES, given], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert said.stdout.split() == ["survived", "caught", "unreached"]
    assert (ROOT / name).read_text("utf-8") == whole
