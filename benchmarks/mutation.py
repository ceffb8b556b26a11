"""Do the tests see it when the program is broken? Random mutants, each run against its tests.

    python benchmarks/mutation.py certify --mutants 60 --seed 1
    python benchmarks/mutation.py --budget 90 --floor 0.8 certify

The tests that speak of a package run once under coverage; after that every mutant runs against
those alone that reach its line, the quickest first, until one fails. A mutant that no test reaches
counts as survived. Mutants live in the memory of a child process: no file is changed. The share
that is caught stands with its 95 % interval (Wilson 1927); with ``--floor`` the run fails where
even the upper end of the interval lies below.

Tests that start the program anew do not see a mutant; they are left out.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import importlib
import importlib.machinery
import io
import json
import os
import random
import signal
import sys
import time
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
from mutants import Mutant, mutants_of

ROOT = Path(__file__).resolve().parents[1]
#: package -> the tests that speak of it, files or folders
TESTS = {
    "certify": (
        "tests/unit/certify",
        "tests/unit/recovery",
        "tests/unit/checks/test_passage.py",
        "tests/unit/checks/test_ride.py",
        "tests/unit/structure/test_learned.py",
        "tests/unit/structure/frame/test_release.py",
        "tests/unit/sheets/test_build.py",
        "tests/published/test_hand_example.py",
        "tests/published/test_lifting_practice.py",
        "tests/properties/test_influence_laws.py",
        "tests/properties/test_crossing_laws.py",
    ),
    "problem": (
        "tests/unit/problem",
        "tests/unit/plan/test_plan.py",
        "tests/unit/plan/test_whynot.py",
        "tests/published/test_pack_arithmetic.py",
        "tests/published/test_hand_example.py",
        "tests/published/test_bounded_least_squares.py",
    ),
    "solve": (
        "tests/unit/solve",
        "tests/unit/plan/test_second_opinion.py",
        "tests/published/test_integer_least_squares.py",
    ),
    "procedure": (
        "tests/unit/procedure",
        "tests/unit/recovery",
        "tests/unit/certify/test_linked_by_hand.py",
        "tests/published/test_lifting_practice.py",
    ),
    "checks": (
        "tests/unit/checks",
        "tests/properties/test_joint_laws.py",
        "tests/properties/test_crossing_laws.py",
        "tests/published/test_quarter_car.py",
        "tests/published/test_circle_fit.py",
        "tests/published/test_hand_example.py",
    ),
    "structure": (
        "tests/unit/structure",
        "tests/properties/test_influence_laws.py",
        "tests/properties/test_frame_laws.py",
        "tests/properties/test_cable_laws.py",
        "tests/published/test_space_frame.py",
        "tests/published/test_seat_reactions.py",
        "tests/published/test_elastic_catenary.py",
        "tests/published/test_saddle.py",
        "tests/published/test_von_mises_truss.py",
    ),
}
#: tests that go through hundreds of cases say no more of a line than their quicker neighbours
_LEFT_OUT = ("-k", "not from_every_line and not broken_at_every_line and not what_can_fail")
#: a mutant may take so many times as long as its tests do otherwise, and so many seconds more
_TIMES, _MORE = 4.0, 15.0
#: the quickest tests that reach a line, until they take so long together [s]
_LONGEST = 60.0


@dataclass
class Reached:
    """Which tests reach which line of which file, and how long each takes [s]."""

    lines: dict[str, dict[str, list[str]]] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)

    def tests(self, mutant: Mutant) -> list[str]:
        """Return the tests that reach a mutant, the quickest first."""
        own = self.lines.get(mutant.path, {})
        at = range(mutant.line, mutant.end_line + 1)
        names = {name for line in at for name in own.get(str(line), ())}
        if names == {""}:
            # run once, on import, for every test of the module
            names = {name for every in own.values() for name in every}
        names.discard("")
        chosen, spent = [], 0.0
        for name in sorted(names, key=lambda n: (self.seconds.get(n, 0.0), n)):
            spent += self.seconds.get(name, 0.0)
            if chosen and spent > _LONGEST:
                break
            chosen.append(name)
        return chosen


class Watch:
    """A pytest plugin: names the running test to coverage, and takes its time."""

    def __init__(self, coverage: Any = None) -> None:
        self.coverage, self.seconds, self.failed = coverage, Counter(), []

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        if self.coverage is not None:
            self.coverage.switch_context(nodeid)

    def pytest_runtest_logreport(self, report: Any) -> None:
        self.seconds[report.nodeid] += report.duration
        if report.failed:
            self.failed.append(report.nodeid)


def run_tests(names: Iterable[str], watch: Watch, *more: str) -> int:
    """Run tests in this process, silently, and return pytest's exit code."""
    import pytest

    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        given = ["-q", "-p", "no:cacheprovider", "-p", "no:faulthandler", *more, *names]
        return int(pytest.main(given, plugins=[watch]))


def reach(package: str) -> Reached:
    """Run the tests of a package under coverage, once; kept until code or tests change."""
    kept = ROOT / ".mutation" / f"{package}-{_digest(package)}.json"
    if kept.exists():
        return Reached(**json.loads(kept.read_text("utf-8")))
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)
        found = _covered(package)
        with os.fdopen(write, "w") as out:
            json.dump(found, out)
        os._exit(0)
    os.close(write)
    with os.fdopen(read) as source:
        text = source.read()
    os.waitpid(child, 0)
    kept.parent.mkdir(exist_ok=True)
    kept.write_text(text, "utf-8")
    return Reached(**json.loads(text))


def _covered(package: str) -> dict[str, Any]:
    import coverage

    cover = coverage.Coverage(
        data_file=None, source=[str(ROOT / "fitup" / package)], messages=False
    )
    watch = Watch(cover)
    cover.start()
    code = run_tests(TESTS[package], watch, *_LEFT_OUT)
    cover.stop()
    if watch.failed or code:
        # what fails without a mutant says nothing of one
        print(f"fail without any mutant: {watch.failed or code}", file=sys.stderr)
    data, lines = cover.get_data(), {}
    for path in data.measured_files():
        found = data.contexts_by_lineno(path)
        name = Path(path).relative_to(ROOT).as_posix()
        lines[name] = {
            str(n): sorted(c for c in contexts if c not in watch.failed)
            for n, contexts in found.items()
        }
    return {"lines": lines, "seconds": dict(watch.seconds)}


def _digest(package: str) -> str:
    paths = [*(ROOT / "fitup").rglob("*.py")]
    for name in TESTS[package]:
        path = ROOT / name
        paths += [path] if path.is_file() else path.rglob("*.py")
    body = hashlib.sha256()
    for path in sorted(paths):
        body.update(path.read_bytes())
    return body.hexdigest()[:12]


def fate(mutant: Mutant, tests: Sequence[str], allowed: float) -> str:
    """Return what became of a mutant: caught, survived, slow (caught by the clock), unreached."""
    if not tests:
        return "unreached"
    child = os.fork()
    if child == 0:
        os.setpgid(0, 0)
        os._exit(_try(mutant, tests))
    end = time.monotonic() + allowed
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return "survived" if os.waitstatus_to_exitcode(status) == 0 else "caught"
        time.sleep(0.02)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "slow"


def _try(mutant: Mutant, tests: Sequence[str]) -> int:
    """Run tests with a mutant in place of its module, in this process."""
    path = str(ROOT / mutant.path)
    changed = mutant.source(Path(path).read_text("utf-8"))
    plain = importlib.machinery.SourceFileLoader.get_code

    def get_code(self: Any, name: str) -> Any:
        if self.path == path:
            return compile(changed, path, "exec", dont_inherit=True)
        return plain(self, name)

    importlib.machinery.SourceFileLoader.get_code = get_code  # the only place a mutant lives
    for name in [n for n in sys.modules if n.partition(".")[0] == "fitup"]:
        del sys.modules[name]
    return run_tests(tests, Watch(), "-x")


def interval(caught: int, of: int) -> tuple[float, float]:
    """Return the 95 % interval of a share (Wilson, J. Am. Stat. Assoc. 22, 1927, 209-212)."""
    if not of:
        return 0.0, 1.0
    z, share = 1.959964, caught / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * (share * (1 - share) / of + z * z / (4 * of * of)) ** 0.5
    return max(0.0, middle - half), min(1.0, middle + half)


def sample(package: str, seed: int, only: str = "") -> list[Mutant]:
    """Return all mutants of a package in an order that the seed draws."""
    paths = sorted((ROOT / "fitup" / package).rglob("*.py"))
    found = [m for p in paths for m in mutants_of(p, ROOT) if only in m.path]
    random.Random(seed).shuffle(found)
    return found


def score(package: str, options: argparse.Namespace) -> bool:
    """Run mutants of a package, print what became of them, and say whether the floor is kept."""
    reached = reach(package)
    start = time.monotonic()
    fates: Counter[str] = Counter()
    by_file: dict[str, Counter[str]] = {}
    drawn = sample(package, options.seed, options.only)
    for mutant in drawn[: options.mutants]:
        if time.monotonic() - start > options.budget:
            break
        tests = reached.tests(mutant)
        needed = sum(reached.seconds.get(name, 0.0) for name in tests)
        found = fate(mutant, tests, _TIMES * needed + _MORE)
        fates[found] += 1
        by_file.setdefault(mutant.path, Counter())[found] += 1
        if found in ("survived", "unreached"):
            print(f"  {found}: {mutant.words((ROOT / mutant.path).read_text('utf-8'))}", flush=True)
    total, caught = sum(fates.values()), fates["caught"] + fates["slow"]
    low, high = interval(caught, total)
    print(
        f"{package}: {caught} of {total} caught ({caught / max(total, 1):.0%}, "
        f"{low:.0%} to {high:.0%}), {fates['unreached']} in lines no test reaches; "
        f"{len(drawn)} mutants in all, seed {options.seed}"
    )
    if options.files:
        for path, own in sorted(by_file.items()):
            print(f"    {path}: {own['caught'] + own['slow']} of {sum(own.values())}")
    return total > 0 and high >= options.floor


def main() -> int:
    """Score packages and return 1 where a floor is not kept."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("packages", nargs="*", metavar="PACKAGE", help=", ".join(TESTS))
    parser.add_argument("--mutants", type=int, default=1 << 30, help="at most so many of each")
    parser.add_argument("--budget", type=float, default=1e9, metavar="SECONDS", help="for each")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--floor", type=float, default=0.0, help="share that must be caught")
    parser.add_argument("--only", default="", help="files whose path has this in it")
    parser.add_argument("--files", action="store_true", help="the score of each file too")
    options = parser.parse_args()
    unknown = [p for p in options.packages if p not in TESTS]
    if unknown:
        parser.error(f"no such package: {', '.join(unknown)}; one of {', '.join(TESTS)}")
    os.chdir(ROOT)
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    sys.dont_write_bytecode = True
    # what every child needs, imported once
    for name in ("numpy", "pytest", "scipy.optimize", "scipy.sparse.linalg"):
        importlib.import_module(name)
    kept = [score(package, options) for package in options.packages or TESTS]
    return 0 if all(kept) else 1


if __name__ == "__main__":
    sys.exit(main())
