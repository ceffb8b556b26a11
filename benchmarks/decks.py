"""Whole deck lines and continuous decks: proven optima, their time, memory and growth.

Every case runs in a process of its own, one after the other. Seconds are of the processor, which
other work on the machine does not lengthen; limits are by the clock. Read the ratios and the
exponents. The instances are made by seed (``instances.py``).

    python benchmarks/decks.py --limit 60 --plot docs/pictures/decks.png
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from closure import General, general, header
from instances import continuous_problem, line_problem, twin_problem

from fitup.frames import Array
from fitup.plan.search_space import space_of, squares_goal
from fitup.problem.continuous import least_squares
from fitup.problem.problem import FitProblem
from fitup.solve.banded import solve_banded
from fitup.solve.branches import solve_branched
from fitup.solve.deckline import deck_line
from fitup.solve.effort import SECOND, Effort
from fitup.solve.exact import search
from fitup.solve.general_solvers import solvers
from fitup.solve.local_search import improve
from fitup.solve.stock import solve_deck_line
from fitup.solve.sweep import solve_line


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
    deck = deck_line(line_problem(segments, seed, thin=True), None)
    assert deck is not None
    begin = time.process_time()
    found = solve_line(deck.line)
    seconds = time.process_time() - begin
    assert found is not None
    return seconds, found.score, found.lower, found.proven


def shared_stock(segments: int, seed: int, share: float) -> tuple[float, float, float, bool]:
    """A line whose packs want more plates of some marks than there are."""
    problem = line_problem(segments, seed, share=share)
    begin = time.process_time()
    found = solve_deck_line(problem, None, lambda selection: _repaired(problem, selection))
    seconds = time.process_time() - begin
    assert found is not None
    return seconds, found.score, found.lower, found.proven


def continuous(seats: int, seed: int, limit: float) -> tuple[float, float, float, bool]:
    """A continuous deck, by bands; few seats by the search over all of them."""
    problem = continuous_problem(seats, seed)
    begin = time.process_time()
    relaxed = least_squares(problem, None)
    assert relaxed is not None
    space, goal = space_of(problem, relaxed.x, None), squares_goal(problem)
    selection, score = improve(space, goal, 2)
    assert selection is not None
    if seats < 20:
        found = search(space, goal, best=score * (1.0 + 1e-9))
    else:
        bands = solve_banded(problem, None, selection, Effort(limit * SECOND))
        assert bands is not None
        found = bands
    return time.process_time() - begin, min(score, found.score), found.lower, found.proven


def side_by_side(segments: int, seed: int, limit: float) -> tuple[float, float, float, bool]:
    """Two lines of segments with a cross beam at every third."""
    problem = twin_problem(segments, seed, tuple(range(1, segments, 3)))
    begin = time.process_time()
    relaxed = least_squares(problem, None)
    assert relaxed is not None
    selection, _ = improve(space_of(problem, relaxed.x, None), squares_goal(problem), 2)
    assert selection is not None
    found = solve_branched(problem, None, selection, Effort(limit * SECOND))
    assert found is not None
    return time.process_time() - begin, found.score, found.lower, found.proven


#: how much of the plates that packs rounded to the nearest would take is in the store
SHARES = (0.95, 1.0, 1.1, 1.3)
#: seconds for the proof of one such job
HAND_LIMIT = 20.0


@dataclass(frozen=True)
class ByHand:
    """What rounding came to in one job: limits broken, tolerance missed, ratio to the optimum's."""

    broken: bool
    outside: bool
    ours_outside: bool
    times: float


def by_hand(seed: int, segments: int, share: float) -> ByHand | None:
    """Round every pack to the nearest, beside the proven optimum; None where there is no plan.

    Where a mark runs out, packs take the nearest build-up that is left, seat by seat.
    """
    problem = line_problem(segments, seed, share=share)
    found = solve_deck_line(
        problem, None, lambda selection: _repaired(problem, selection), Effort(HAND_LIMIT * SECOND)
    )
    if found is None or found.selection is None or not found.proven:
        return None
    selection = _rounded(problem)
    x, best = problem.settings(selection), problem.settings(found.selection)
    worst, ours = problem.worst_ratio(x), problem.worst_ratio(best)
    return ByHand(not problem.feasible(selection), worst > 1.0, ours > 1.0, worst / ours)


def by_hand_table(jobs: int, segments: int) -> None:
    """Print what rounding does, a line for each store."""
    print(f"\n| plates in store | jobs of {segments} segments | {' | '.join(_HAND)} |")
    print(f"|{'---|' * (2 + len(_HAND))}")
    every: list[ByHand] = []
    for k, share in enumerate(SHARES):
        own = [by_hand(seed, segments, share) for seed in range(k, jobs, len(SHARES))]
        known = [h for h in own if h is not None]
        every += known
        print(_hand_line(f"{share:.0%} of what rounding takes", known), flush=True)
    print(_hand_line("all", every))
    print(f"\n{jobs - len(every)} of {jobs} jobs have no plan, or none that is proven")


_HAND = (
    "break a limit or the stock",
    "outside tolerance",
    "proven optimum outside",
    "worst joint, times the optimum's: half of the jobs",
    "one in ten",
    "worst",
)


def _hand_line(name: str, known: list[ByHand]) -> str:
    if not known:
        return f"| {name} | 0 |{' - |' * len(_HAND)}"
    times = [h.times for h in known]
    shares = [
        float(np.mean([getattr(h, what) for h in known]))
        for what in ("broken", "outside", "ours_outside")
    ]
    cells = [f"{v:.1%}" for v in shares]
    cells += [f"{np.quantile(times, q):.1f}" for q in (0.5, 0.9, 1.0)]
    return f"| {name} | {len(known)} | {' | '.join(cells)} |"


def _repaired(problem: FitProblem, selection: Array) -> Array | None:
    """Bring a selection that overdraws the stock back within it, two seats at a time."""
    space = space_of(problem, problem.settings(selection), None)
    return improve(space, squares_goal(problem), 1, begin=selection)[0]


def _rounded(problem: FitProblem) -> Array:
    """Plates of any thickness first, then the nearest pack that the stock still has."""
    relaxed = least_squares(problem, None)
    assert relaxed is not None
    left = problem.stock.copy()
    selection = []
    for own, uses, x in zip(problem.choices, problem.counts, relaxed.x, strict=True):
        order = np.argsort([abs(c.setting - x) for c in own], kind="stable")
        at = next((k for k in order if np.all(uses[k] <= left)), int(order[0]))
        left = left - uses[at]
        selection.append(int(at))
    return np.array(selection)


def exponent(sizes: list[int], amounts: list[float]) -> float:
    """Return p of amount ~ size^p."""
    return float(np.polyfit(np.log(sizes), np.log(amounts), 1)[0])


def line_of(name: str, found: Outcome, beside: Sequence[General]) -> str:
    """A line of the table: ours, then every general solver's."""
    gap = 0.0 if found.proven else (found.best - found.lower) / found.best
    cells = [name, f"{found.seconds:.1f}", f"{found.best:.4f}", f"{gap:.2%}", f"{found.memory:.0f}"]
    for other in beside:
        cells += other.cells(found.seconds)
    if not beside:
        cells += ["-"] * (4 * len(solvers()))
    return f"| {' | '.join(cells)} |"


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
    parser.add_argument("--limit", type=float, default=60.0, help="seconds for general solvers")
    parser.add_argument("--segments", type=int, nargs="*", default=[28, 100, 250, 1000])
    parser.add_argument("--shared", type=int, nargs="*", default=[28])
    parser.add_argument("--seats", type=int, nargs="*", default=[16, 40, 100])
    parser.add_argument("--twins", type=int, nargs="*", default=[4, 14])
    parser.add_argument("--jobs", type=int, default=1000, help="jobs rounded by hand")
    parser.add_argument("--plot", type=Path, help="draw time and memory here")
    parser.add_argument("--sieve", type=Path, help="draw what a sweep keeps here")
    options = parser.parse_args()
    print(header(["case", "seconds", "best", "gap", "MB"], solvers()), flush=True)
    for segments in options.shared:
        found = on_its_own(shared_stock, segments, 1, 1.05)
        beside = general(line_problem(segments, 1, share=1.05), options.limit)
        print(line_of(f"{segments} segments, shared stock", found, beside), flush=True)
    grown = []
    for segments in options.segments:
        grown.append(on_its_own(plain_line, segments, 3))
        print(line_of(f"{segments} segments", grown[-1], ()), flush=True)
    for segments in options.twins:
        found = on_its_own(side_by_side, segments, 1, options.limit)
        print(line_of(f"two decks side by side, {segments} segments each", found, ()), flush=True)
    for seats in options.seats:
        found = on_its_own(continuous, seats, 1, options.limit)
        beside = general(continuous_problem(seats, 1), options.limit)
        print(line_of(f"continuous deck, {seats} seats", found, beside), flush=True)
    if len(grown) > 1:
        idle = on_its_own(plain_line, 3, 0).memory
        times = exponent(options.segments, [o.seconds for o in grown])
        memory = exponent(options.segments, [max(o.memory - idle, 1.0) for o in grown])
        print(
            f"\ngrowth with segments: time ^{times:.2f}, memory above {idle:.0f} MB of the program "
            f"^{memory:.2f}",
            flush=True,
        )
    if options.plot:
        plot(options.plot, options.segments, grown)
    if options.sieve:
        sieve(options.sieve)
    if options.jobs:
        by_hand_table(options.jobs, 3)


if __name__ == "__main__":
    main()
