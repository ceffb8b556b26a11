"""Uncertainty and joint probability, fast way and plain way, side by side in one run.

Linear propagation beside random draws through the same chain; the probability of a whole joint
by this tool's box beside the general multivariate normal integral of SciPy at the same accuracy.
The job: the shipped closure joint as surveyed, every uncertainty stated. Times are of this machine:
read the ratios.

    python benchmarks/trust.py --draws 100000 --checks 18
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import multivariate_normal

from fitup.checks import joint_state
from fitup.jobfolder import read_job
from fitup.model import Uncertainties
from fitup.structure import rigid_influence
from fitup.survey import read_survey
from fitup.trust import make_budget
from fitup.trust.box import box_probability
from fitup.trust.montecarlo import simulate

EXAMPLE = Path(__file__).parents[1] / "examples" / "skerrin-closure"
DOUBTS = Uncertainties(steel=0.2, expansion=0.03, bedding=1e-4, stiffness=0.1)


def timed(call: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds and result of a call."""
    begin = time.perf_counter()
    result = call()
    return time.perf_counter() - begin, result


def main() -> None:
    """Print one line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--draws", type=int, default=100_000)
    parser.add_argument("--checks", type=int, default=18)
    options = parser.parse_args()
    job = replace(read_job(EXAMPLE), uncertainties=DOUBTS)
    survey = read_survey(EXAMPLE, job)
    state, influence = joint_state(job, survey), rigid_influence(job, survey)
    linear, budget = timed(lambda: make_budget(job, survey, state, influence))
    drawing, draws = timed(lambda: simulate(job, survey, state, influence, draws=options.draws))
    known = budget.u > 0.0
    apart = float(np.abs(draws.u[known] / budget.u[known] - 1.0).max())
    rows = budget.judged("K1")[: options.checks]
    columns = budget.columns[rows]
    covariance, most = columns @ columns.T, 2.0 * budget.u[rows]
    zero = np.zeros(len(rows))
    box, p = timed(lambda: box_probability(zero, covariance, most))
    general, q = timed(
        lambda: multivariate_normal.cdf(
            most, zero, covariance, lower_limit=-most, abseps=5e-4, releps=5e-4, allow_singular=True
        )
    )
    print("draws  linear_s  draws_s  ratio  apart  checks  box_s  scipy_s  ratio  box_p  scipy_p")
    print(
        f"{options.draws}  {linear:.3f}  {drawing:.3f}  {drawing / linear:.1f}  {apart:.4f}  "
        f"{len(rows)}  {box:.4f}  {general:.4f}  {general / box:.1f}  {p:.4f}  {float(q):.4f}"
    )


if __name__ == "__main__":
    main()
