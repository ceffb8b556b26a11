"""The exact search against a general mixed-integer solver, side by side in one run.

The job is the shipped closure joint with its pushes in plan held, so that eight packs are to be
chosen: least squares of the checks, limits and stock kept, the same choices for both. The general
solver (SCIP, from ``pip install -e '.[bench]'``) gets the time limit given; what it then knows
is its gap. Times are of this machine: read the ratio.

    python benchmarks/closure.py --limit 60
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from fitup.jobfolder import read_job
from fitup.joints import joint_state
from fitup.optimize.improve import improve
from fitup.optimize.problem import FitProblem, build_problem
from fitup.optimize.relax import least_squares
from fitup.optimize.rings import cluster_tree, search_rings
from fitup.optimize.wishes import space_of, squares_goal
from fitup.structure import rigid_influence
from fitup.survey import read_survey

EXAMPLE = Path(__file__).parents[1] / "examples" / "skerrin-closure"


def closure(spread: float) -> FitProblem:
    """The shipped joint with eight packs; ``spread`` keeps choices this near the ideal [m]."""
    job = read_job(EXAMPLE)
    survey = read_survey(EXAMPLE, job)
    seats = {n: replace(s, hold=s.pushes != "up") for n, s in job.seats.items()}
    job = replace(job, seats=seats)
    problem = build_problem(job, joint_state(job, survey), rigid_influence(job, survey))
    relaxed = least_squares(problem, None)
    assert relaxed is not None
    keep = [
        [k for k, c in enumerate(own) if abs(c.setting - x) <= spread]
        for own, x in zip(problem.choices, relaxed.x, strict=True)
    ]
    return replace(
        problem,
        choices=tuple(
            tuple(own[k] for k in kept) for own, kept in zip(problem.choices, keep, strict=True)
        ),
        counts=tuple(u[kept] for u, kept in zip(problem.counts, keep, strict=True)),
    )


def ours(problem: FitProblem) -> tuple[float, float, bool]:
    """Seconds, optimum and proof of the exact search, its own start included."""
    begin = time.perf_counter()
    relaxed = least_squares(problem, None)
    assert relaxed is not None
    space, goal = space_of(problem, relaxed.x, None), squares_goal(problem)
    _, value = improve(space, goal, 8)
    tree = cluster_tree(goal, [np.array(c, dtype=np.int64) for c in problem.clusters if c])
    found = search_rings(space, goal, tree, best=value)
    return time.perf_counter() - begin, found.score, found.proven


def general(problem: FitProblem, limit: float) -> tuple[float, float, float]:
    """Seconds, best value and lower bound of SCIP on the same problem."""
    from pyscipopt import Model, quicksum

    goal = squares_goal(problem)
    model = Model()
    model.hideOutput()
    model.setParam("limits/time", limit)
    picks = [[model.addVar(vtype="B") for _ in own] for own in problem.choices]
    for row in picks:
        model.addCons(quicksum(row) == 1)
    x = [
        quicksum(1e3 * c.setting * p for c, p in zip(own, row, strict=True))
        for own, row in zip(problem.choices, picks, strict=True)
    ]
    for k, capacity in enumerate(problem.stock):
        used = [
            int(u[i, k]) * p
            for u, row in zip(problem.counts, picks, strict=True)
            for i, p in enumerate(row)
        ]
        model.addCons(quicksum(used) <= int(capacity))
    size = np.abs(problem.L).max(axis=1)
    for row, b in zip(problem.L / size[:, None], problem.b / size, strict=True):
        model.addCons(quicksum(float(a) * v for a, v in zip(row, x, strict=True)) <= 1e3 * float(b))
    misses = []
    for row, h in zip(goal.M, goal.h, strict=True):
        miss = model.addVar(lb=None)
        terms = (float(a) * 1e-3 * v for a, v in zip(row, x, strict=True) if a)
        model.addCons(miss == quicksum(terms) - float(h))
        misses.append(miss)
    total = model.addVar(lb=0.0)
    model.addCons(quicksum(m * m for m in misses) <= total)
    model.setObjective(total)
    begin = time.perf_counter()
    model.optimize()
    seconds = time.perf_counter() - begin
    best = model.getObjVal() if model.getNSols() else np.inf
    return seconds, best, model.getDualbound()


def main() -> None:
    """Print one line a case."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--limit", type=float, default=60.0, help="seconds for the general solver")
    parser.add_argument("--spread", type=float, nargs="*", default=[2.0, 4.0], help="mm")
    options = parser.parse_args()
    ours(closure(1e-3))  # compile before the clock runs
    print(
        "spread_mm  choices  fitup_s  fitup_best  proven  "
        "general_s  general_best  general_bound  ratio"
    )
    for spread in options.spread:
        problem = closure(spread * 1e-3)
        seconds, best, proven = ours(problem)
        line = f"{spread:9.1f}  {sum(len(c) for c in problem.choices):7d}  {seconds:7.2f}"
        line += f"  {best:10.5f}  {'yes' if proven else 'no':>6}"
        try:
            other, value, bound = general(problem, options.limit)
        except ImportError:
            print(f"{line}  (general solver not installed)")
            continue
        print(f"{line}  {other:9.2f}  {value:12.5f}  {bound:13.5f}  {other / seconds:5.0f}")


if __name__ == "__main__":
    main()
