"""Whole deck lines and continuous decks: proven optima, their time, memory and growth.

Every case runs in a process of its own, one after the other; times are of this machine: read the
ratios and the exponents. The instances are made by seed (``instances.py``).

    python benchmarks/decks.py --limit 60 --plot docs/pictures/decks.png
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from closure import general
from instances import continuous_problem, line_problem

from fitup.frames import Array
from fitup.optimize.banded import solve_banded
from fitup.optimize.deckline import deck_line
from fitup.optimize.improve import improve
from fitup.optimize.problem import FitProblem
from fitup.optimize.relax import least_squares
from fitup.optimize.search import search
from fitup.optimize.stock import solve_deck_line
from fitup.optimize.sweep import solve_line
from fitup.optimize.wishes import space_of, squares_goal


@dataclass(frozen=True)
class Outcome:
    """Seconds, best value, lower bound, proof, peak memory [MB]."""

    seconds: float
    best: float
    lower: float
    proven: bool
    memory: float


def on_its_own(work: Callable[..., tuple[float, float, float, bool]], *given: Any) -> Outcome:
    """Run one case in a fresh process, compiled code loaded before the clock runs."""
    context = multiprocessing.get_context("spawn")
    with context.Pool(1) as pool:
        return pool.apply(_measured, (work, given))


def _measured(work: Callable[..., tuple[float, float, float, bool]], given: Any) -> Outcome:
    plain_line(3, 0)
    seconds, best, lower, proven = work(*given)
    return Outcome(seconds, best, lower, proven, _peak_memory())


def _peak_memory() -> float:
    """Peak memory of this process [MB]; what the kernel counts from its own start, where it can."""
    status = Path("/proc/self/status")
    if status.exists():
        lines = dict(line.split(":", 1) for line in status.read_text().splitlines())
        return float(lines["VmHWM"].split()[0]) / 1024.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def plain_line(segments: int, seed: int) -> tuple[float, float, float, bool]:
    """A line with plenty of plates."""
    deck = deck_line(line_problem(segments, seed), None)
    assert deck is not None
    begin = time.perf_counter()
    found = solve_line(deck.line)
    seconds = time.perf_counter() - begin
    assert found is not None
    return seconds, found.score, found.lower, found.proven


def shared_stock(segments: int, seed: int, share: float) -> tuple[float, float, float, bool]:
    """A line whose packs want more plates of some marks than there are."""
    problem = line_problem(segments, seed, share=share)

    def repair(pick: Array) -> Array | None:
        space = space_of(problem, problem.settings(pick), None)
        return improve(space, squares_goal(problem), 1, begin=pick)[0]

    begin = time.perf_counter()
    found = solve_deck_line(problem, None, repair)
    seconds = time.perf_counter() - begin
    assert found is not None
    return seconds, found.score, found.lower, found.proven


def continuous(seats: int, seed: int, limit: float) -> tuple[float, float, float, bool]:
    """A continuous deck, by bands; few seats by the search over all of them."""
    problem = continuous_problem(seats, seed)
    begin = time.perf_counter()
    relaxed = least_squares(problem, None)
    assert relaxed is not None
    space, goal = space_of(problem, relaxed.x, None), squares_goal(problem)
    pick, score = improve(space, goal, 2)
    assert pick is not None
    if seats < 20:
        found = search(space, goal, best=score * (1.0 + 1e-9))
    else:
        bands = solve_banded(problem, None, pick, time.monotonic() + limit)
        assert bands is not None
        found = bands
    return time.perf_counter() - begin, min(score, found.score), found.lower, found.proven


def other(problem: FitProblem, limit: float) -> tuple[float, float, float] | None:
    """The general solver on the same problem, where it is installed."""
    try:
        return general(problem, limit)
    except ImportError:
        return None


def by_hand(jobs: int, segments: int) -> dict[str, float]:
    """What rounding every pack to the nearest does, over many jobs, beside the proven optimum.

    Where a mark runs out, packs take the nearest build-up that is left, seat by seat.
    """
    broken = outside = ours_outside = 0
    ratios = []
    for seed in range(jobs):
        problem = line_problem(segments, seed, share=1.1)
        found = solve_deck_line(problem, None, lambda pick: None)
        if found is None or found.pick is None:
            continue
        pick = _rounded(problem)
        x, ours = problem.settings(pick), problem.settings(found.pick)
        broken += not problem.feasible(pick)
        outside += problem.worst_ratio(x) > 1.0
        ours_outside += problem.worst_ratio(ours) > 1.0
        ratios.append(problem.worst_ratio(x) / problem.worst_ratio(ours))
    count = len(ratios)
    return {
        "jobs": count,
        "break a limit": broken / count,
        "outside tolerance": outside / count,
        "proven optimum outside": ours_outside / count,
        "worst ratio, times the optimum's (median)": float(np.median(ratios)),
        "worst ratio, times the optimum's (one in ten)": float(np.quantile(ratios, 0.9)),
    }


def _rounded(problem: FitProblem) -> Array:
    """Plates of any thickness first, then the nearest pack that the stock still has."""
    relaxed = least_squares(problem, None)
    assert relaxed is not None
    left = problem.stock.copy()
    pick = []
    for own, uses, x in zip(problem.choices, problem.counts, relaxed.x, strict=True):
        order = np.argsort([abs(c.setting - x) for c in own], kind="stable")
        at = next((k for k in order if np.all(uses[k] <= left)), int(order[0]))
        left = left - uses[at]
        pick.append(int(at))
    return np.array(pick)


def exponent(sizes: list[int], amounts: list[float]) -> float:
    """Return p of amount ~ size^p."""
    return float(np.polyfit(np.log(sizes), np.log(amounts), 1)[0])


def line_of(name: str, found: Outcome, beside: tuple[float, float, float] | None) -> str:
    gap = 0.0 if found.proven else (found.best - found.lower) / found.best
    text = f"| {name} | {found.seconds:.1f} | {found.best:.4f} | {gap:.2%} | {found.memory:.0f} |"
    if beside is None:
        return f"{text} - | - | - |"
    seconds, best, bound = beside
    shown = "none" if not np.isfinite(best) else f"{best:.4f}"
    return f"{text} {seconds:.0f} | {shown} | {bound:.4f} |"


def plot(path: Path, sizes: list[int], found: list[Outcome]) -> None:
    """Draw time and memory against segments."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(1, 2, figsize=(7.0, 2.8), layout="constrained")
    for axis, amounts, label in (
        (axes[0], [o.seconds for o in found], "time to the proof [s]"),
        (axes[1], [o.memory for o in found], "peak memory [MB]"),
    ):
        axis.loglog(sizes, amounts, "ko-", markersize=4)
        axis.set_xlabel("segments, four packs each")
        axis.set_ylabel(label)
        axis.grid(visible=True, which="both", linewidth=0.3)
    figure.savefig(path, dpi=130, metadata={"Software": ""})


def sieve(path: Path) -> None:
    """Draw how many settings each segment has, and how many the sweep keeps."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt

    deck = deck_line(line_problem(12, 1), None)
    assert deck is not None
    found = solve_line(deck.line)
    assert found is not None
    packs = [np.prod([float(len(v)) for v in space.values]) for space in deck.line.spaces]
    at = np.arange(1, len(packs) + 1)
    figure, axis = plt.subplots(figsize=(7.0, 2.6), layout="constrained")
    axis.bar(at - 0.2, packs, 0.4, color="white", edgecolor="black", label="packs allow")
    kept = [max(1, len(k.x)) for k in found.kept]
    axis.bar(at + 0.2, kept, 0.4, color="0.4", edgecolor="black", hatch="//", label="kept")
    axis.set_yscale("log")
    axis.set_xticks(at)
    axis.set_xlabel("segment")
    axis.set_ylabel("settings")
    figure.legend(loc="outside upper right", ncols=2, frameon=False)
    figure.savefig(path, dpi=130, metadata={"Software": ""})


def main() -> None:
    """Print the table, and draw it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--limit", type=float, default=60.0, help="seconds for the general solver")
    parser.add_argument("--segments", type=int, nargs="*", default=[28, 100, 250, 1000])
    parser.add_argument("--shared", type=int, nargs="*", default=[28])
    parser.add_argument("--seats", type=int, nargs="*", default=[16, 40, 100])
    parser.add_argument("--jobs", type=int, default=1000, help="jobs rounded by hand")
    parser.add_argument("--plot", type=Path, help="draw time and memory here")
    parser.add_argument("--sieve", type=Path, help="draw what a sweep keeps here")
    options = parser.parse_args()
    print("| case | seconds | best | gap | MB | general s | general best | general bound |")
    print("|---|---|---|---|---|---|---|---|", flush=True)
    for segments in options.shared:
        found = on_its_own(shared_stock, segments, 1, 1.05)
        beside = other(line_problem(segments, 1, share=1.05), options.limit)
        print(line_of(f"{segments} segments, shared stock", found, beside), flush=True)
    grown = []
    for segments in options.segments:
        grown.append(on_its_own(plain_line, segments, 3))
        print(line_of(f"{segments} segments", grown[-1], None), flush=True)
    for seats in options.seats:
        found = on_its_own(continuous, seats, 1, options.limit)
        beside = other(continuous_problem(seats, 1), options.limit)
        print(line_of(f"continuous deck, {seats} seats", found, beside), flush=True)
    if len(grown) > 1:
        times = exponent(options.segments, [o.seconds for o in grown])
        memory = exponent(options.segments, [o.memory for o in grown])
        print(f"\ngrowth with segments: time ^{times:.2f}, memory ^{memory:.2f}", flush=True)
    if options.plot:
        plot(options.plot, options.segments, grown)
    if options.sieve:
        sieve(options.sieve)
    if options.jobs:
        print("\nrounded by hand, beside the proven optimum, 3 segments:")
        for name, value in by_hand(options.jobs, 3).items():
            print(f"  {name}: {value:.3g}", flush=True)


if __name__ == "__main__":
    main()
