"""Draws through the chain against the additive models of GUM Supplement 1.

JCGM 101:2008, Evaluation of measurement data - Supplement 1 to the GUM - Propagation of
distributions using a Monte Carlo method, 9.2: Y is the sum of four independent quantities of
expectation 0, normal (9.2.2), rectangular (9.2.3), and rectangular with one ten times as wide
(9.2.4); tables 2 to 4, from memory, the first two recomputed: the sum of four rectangular
quantities of unit standard deviation is within 2 sqrt(3) (2 - (3/5)^(1/4)) with 95 %.

Four nuts that carry one check stand for the four quantities: the setting of a nut is evenly spread
over the resolution of its jack, or normal by its dial. Tolerances: half of the last printed digit
and three standard deviations of a quantile of 400,000 draws.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.checks import joint_state
from fitup.jobfolder import read_job
from fitup.model import Influence, Job, Plan, SeatPlan, Uncertainties
from fitup.survey import Survey, read_survey
from fitup.trust import make_budget
from fitup.trust.montecarlo import simulate

MM = 1e-3
DRAWS = 400_000
FOUR = ("A-S1", "A-S2", "B-S1", "B-S2")


@pytest.fixture(scope="module")
def exact(
    small_job_writer: Callable[..., Path], tmp_path_factory: pytest.TempPathFactory
) -> tuple[Job, Survey]:
    """The small job with a survey without error, its four front seats on nuts."""
    folder = small_job_writer(tmp_path_factory.mktemp("gum") / "job")
    job = read_job(folder)
    survey = read_survey(folder, job)
    points = {n: replace(p, uncertainty=np.zeros(3)) for n, p in survey.points.items()}
    seats = {n: replace(s, held_by="nut") if n in FOUR else s for n, s in job.seats.items()}
    return replace(job, seats=seats), replace(survey, points=points)


def summed(
    exact: tuple[Job, Survey], steps: dict[str, float], dial: float
) -> tuple[float, np.ndarray]:
    """Standard uncertainty and draws [mm] of a check that is the sum of four settings."""
    job, survey = exact
    jacks = {n: replace(j, resolution=steps.get(j.seat, 1e-9)) for n, j in job.jacks.items()}
    job = replace(job, jacks=jacks, uncertainties=Uncertainties(dial=dial))
    state = joint_state(job, survey)
    names = tuple(job.seats)
    A = np.array([[1.0 if n in FOUR else 0.0 for n in names]] * len(state.checks))
    ids = tuple(c.id for c in state.checks)
    influence = Influence(ids, names, A, np.zeros((6, 6)), np.zeros(6), "table")
    rows = tuple(SeatPlan(n, (), (), (), 0.0, n in FOUR) for n in names)
    plan = Plan(rows, (), (), "", (0.0,) * len(rows), inside=True)
    budget = make_budget(job, survey, state, influence, plan)
    drawn = simulate(job, survey, state, influence, plan, draws=DRAWS)
    return float(budget.u[0]) / MM, (drawn.values[:, 0] - state.values[0]) / MM


def interval(draws: np.ndarray) -> tuple[float, float]:
    low, high = np.quantile(draws, [0.025, 0.975])
    return float(low), float(high)


def test_four_normal_quantities(exact: tuple[Job, Survey]) -> None:
    """Table 2: u(y) = 2.00, [-3.92, 3.92]."""
    u, draws = summed(exact, {}, dial=1.0 * MM)
    assert u == pytest.approx(2.0, abs=0.005)
    assert draws.mean() == pytest.approx(0.0, abs=0.01)
    assert draws.std() == pytest.approx(2.0, abs=0.01)
    assert interval(draws) == pytest.approx((-3.92, 3.92), abs=0.03)


def test_four_rectangular_quantities(exact: tuple[Job, Survey]) -> None:
    """Table 3: u(y) = 2.00, [-3.88, 3.88]; the linear way says 3.92."""
    step = np.sqrt(12.0) * MM
    u, draws = summed(exact, dict.fromkeys(FOUR, step), dial=0.0)
    assert u == pytest.approx(2.0, abs=0.005)
    assert 1.96 * u == pytest.approx(3.92, abs=0.005)
    within = 2.0 * np.sqrt(3.0) * (2.0 - 0.6**0.25)
    assert within == pytest.approx(3.88, abs=0.005)
    assert interval(draws) == pytest.approx((-within, within), abs=0.03)


def test_one_quantity_ten_times_as_wide(exact: tuple[Job, Survey]) -> None:
    """Table 4: u(y) = 10.1, [-17.0, 17.0]; the linear way says 19.9."""
    step = np.sqrt(12.0) * MM
    steps = dict.fromkeys(FOUR, step) | {"B-S2": 10.0 * step}
    u, draws = summed(exact, steps, dial=0.0)
    assert u == pytest.approx(10.1, abs=0.05)
    assert 1.96 * u == pytest.approx(19.9, abs=0.05)
    assert draws.std() == pytest.approx(10.1, abs=0.08)
    assert interval(draws) == pytest.approx((-17.0, 17.0), abs=0.08)
