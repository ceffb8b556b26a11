"""The instances of the benchmarks as they were first made, with their proven optima.

Every instance is made by seed (``instances.py``) or from a shipped example (``closure.py``), and
stored: small ones whole, in ``made/*.json``, all of them by a checksum in ``made/optima.json``. A
change of the seed's sequence, of the example, or of a solver that would come to another optimum
shows as a difference.

    python benchmarks/stored.py            hold all of it against what is stored
    python benchmarks/stored.py --write    store anew
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from closure import closure, ours
from decks import continuous, shared_stock
from instances import continuous_problem, line_problem

from fitup.frames import Array
from fitup.problem.packs import Choice
from fitup.problem.problem import FitProblem, LimitRow

HERE = Path(__file__).parent / "made"
OPTIMA = HERE / "optima.json"
#: the checksum counts numbers to so many decimals: machines differ in the last few of a double
DECIMALS = 6
#: how far an optimum found again may be off, relative
SAME = 1e-8


@dataclass(frozen=True)
class Instance:
    """How an instance is made, how it is solved, and whether it is small enough to store whole."""

    make: Callable[[], FitProblem]
    solve: Callable[[], tuple[float, bool]]
    whole: bool = False


def _line(segments: int, seed: int, share: float, *, whole: bool = False) -> Instance:
    def solve() -> tuple[float, bool]:
        _, best, _, proven = shared_stock(segments, seed, share)
        return best, proven

    return Instance(lambda: line_problem(segments, seed, share=share), solve, whole)


def _deck(seats: int, seed: int, *, whole: bool = False) -> Instance:
    def solve() -> tuple[float, bool]:
        _, best, _, proven = continuous(seats, seed, 600.0)
        return best, proven

    return Instance(lambda: continuous_problem(seats, seed), solve, whole)


def _joint(spread: float, *, whole: bool = False) -> Instance:
    return Instance(lambda: closure(spread), lambda: ours(closure(spread))[1:], whole)


#: plenty of plates
PLENTY = 50.0
INSTANCES = {
    "joint-2mm": _joint(2e-3, whole=True),
    "joint": _joint(np.inf),
    "line-3": _line(3, 1, 1.05, whole=True),
    "line-4": _line(4, 2, 1.0, whole=True),
    "line-28-scarce": _line(28, 1, 1.05),
    "line-28": _line(28, 3, PLENTY),
    "line-100": _line(100, 3, PLENTY),
    "deck-8": _deck(8, 1, whole=True),
    "deck-16": _deck(16, 1),
}
#: those that are solved again in a few seconds
SMALL = tuple(name for name, own in INSTANCES.items() if own.whole)


def content(problem: FitProblem) -> dict[str, Any]:
    """All that a solver sees of a problem, as JSON."""
    tables = sorted({_choices(c, u) for c, u in zip(problem.choices, problem.counts, strict=True)})
    own = [
        tables.index(_choices(c, u)) for c, u in zip(problem.choices, problem.counts, strict=True)
    ]
    return {
        "seats": list(problem.seats),
        "rows": list(problem.rows),
        "F": problem.F.tolist(),
        "g": problem.g.tolist(),
        "weights": problem.weights.tolist(),
        "L": problem.L.tolist(),
        "b": problem.b.tolist(),
        "limits": [row.text for row in problem.limits],
        "tables": [json.loads(t) for t in tables],
        "choices": own,
        "marks": list(problem.marks),
        "stock": problem.stock.tolist(),
        "windows": problem.windows.tolist(),
        "clusters": [list(c) for c in problem.clusters],
        "move_price": problem.move_price,
    }


def _choices(choices: tuple[Choice, ...], counts: Array) -> str:
    """Return the choices of a seat as text: setting, marks, disturbed, plates changed, taken."""
    rows = [
        [c.setting, list(c.marks), c.disturbed, c.plates_changed, taken]
        for c, taken in zip(choices, counts.tolist(), strict=True)
    ]
    return json.dumps(rows)


def problem_of(stored: dict[str, Any]) -> FitProblem:
    """Return the problem that was stored."""
    tables = [
        (
            tuple(Choice(x, tuple(marks), moved, changed) for x, marks, moved, changed, _ in rows),
            np.array([row[-1] for row in rows], dtype=np.int64).reshape(len(rows), -1),
        )
        for rows in stored["tables"]
    ]
    n = len(stored["seats"])
    return FitProblem(
        seats=tuple(stored["seats"]),
        rows=tuple(stored["rows"]),
        F=np.array(stored["F"]),
        g=np.array(stored["g"]),
        weights=np.array(stored["weights"]),
        L=np.array(stored["L"]).reshape(-1, n),
        b=np.array(stored["b"]),
        limits=tuple(LimitRow("", "", text) for text in stored["limits"]),
        choices=tuple(tables[k][0] for k in stored["choices"]),
        marks=tuple(stored["marks"]),
        counts=tuple(tables[k][1] for k in stored["choices"]),
        stock=np.array(stored["stock"], dtype=np.int64),
        windows=np.array(stored["windows"]),
        clusters=tuple(tuple(c) for c in stored["clusters"]),
        move_price=stored["move_price"],
    )


def checksum(problem: FitProblem) -> str:
    """Return a hash over a problem, its numbers to six decimals (lengths in mm, limits to one)."""
    mm, size = 1e3, np.abs(problem.L).max(axis=1, initial=0.0)
    settings = [[c.setting * mm for c in own] for own in problem.choices]
    numbers = [
        problem.F,
        problem.g,
        problem.weights,
        problem.L / size[:, None],
        problem.b / size * mm,
    ]
    numbers += [problem.windows * mm, *(np.array(s) for s in settings)]
    digest = hashlib.sha256()
    for values in numbers:
        digest.update((np.round(values, DECIMALS) + 0.0).tobytes())
    for whole in (*problem.counts, problem.stock):
        digest.update(np.ascontiguousarray(whole, dtype=np.int64).tobytes())
    digest.update(repr((problem.seats, problem.marks, problem.clusters)).encode())
    return digest.hexdigest()


def stored(name: str) -> FitProblem:
    """Return an instance as it was stored whole."""
    return problem_of(json.loads((HERE / f"{name}.json").read_text("utf-8")))


def optima() -> dict[str, dict[str, Any]]:
    """Return checksum and optimum of every instance."""
    known: dict[str, dict[str, Any]] = json.loads(OPTIMA.read_text("utf-8"))
    return known


def write() -> None:
    """Store every instance anew; only what is proven is stored."""
    HERE.mkdir(exist_ok=True)
    known = {}
    for name, own in INSTANCES.items():
        problem = own.make()
        best, proven = own.solve()
        assert proven, name
        known[name] = {"checksum": checksum(problem), "optimum": best}
        print(f"{name}: {best:.10g}", flush=True)
        if own.whole:
            (HERE / f"{name}.json").write_text(json.dumps(content(problem)) + "\n", "utf-8")
    OPTIMA.write_text(json.dumps(known, indent=2) + "\n", "utf-8")


def compare() -> list[str]:
    """Make and solve every instance again; return what differs from what is stored."""
    differs = []
    for name, known in optima().items():
        own = INSTANCES[name]
        if checksum(own.make()) != known["checksum"]:
            differs.append(f"{name}: made otherwise than it was")
        best, proven = own.solve()
        print(f"{name}: {best:.10g}", flush=True)
        if not proven or abs(best - known["optimum"]) > SAME * known["optimum"]:
            differs.append(f"{name}: {best:.10g}, was {known['optimum']:.10g}")
    return differs


def main() -> None:
    """Store, or compare and say what differs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="store anew")
    if parser.parse_args().write:
        write()
        return
    differs = compare()
    print("\n".join(differs) or "all as stored")
    sys.exit(1 if differs else 0)


if __name__ == "__main__":
    main()
