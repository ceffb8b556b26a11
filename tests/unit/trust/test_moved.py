"""Uncertainties of the moves: what rounds taught, tables on trust, plates of a class."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.certify import certify
from fitup.checks import joint_state
from fitup.checks.thermal import apart_rates
from fitup.jobfolder import read_job, start_job
from fitup.jobfolder.series import SteelSeries
from fitup.model import Learned, Uncertainties
from fitup.model.rules import plate_limits
from fitup.plan import make_plan
from fitup.structure import influence_of, rigid_influence, with_thermal_response
from fitup.survey import read_survey
from fitup.trust import Source, make_budget
from fitup.trust.montecarlo import simulate
from fitup.trust.robust import robust_plan
from fitup.trust.windows import course_of


@pytest.fixture(scope="module")
def case(small):
    return small(seed=4, size=0.002)


@pytest.fixture(scope="module")
def plan(case):
    return make_plan(case.job, case.state, case.influence)


def budget_of(case, plan, influence=None, **changes):
    job = replace(case.job, **changes)
    args = (job, case.survey, case.state, influence or case.influence, plan)
    return make_budget(*args, effect=lambda j: rigid_influence(j, case.survey)), args


def columns_of(budget, kind):
    return {
        budget.sources[k].name: column
        for k, column in zip(budget.owner, budget.columns.T, strict=True)
        if budget.sources[k].kind == kind
    }


def table(case):
    """What an engineer would have computed of the same rigid segments, as a table."""
    return replace(case.influence, origin="table", exact=None)


def test_learned_corrections_take_the_place_of_doubts_beforehand(case, plan):
    moved = next(s.seat for s in plan.seats if s.disturbed)
    stated = (
        Learned("stiffness", "A1", 1.0, 0.04, (), "round 1"),
        Learned("bedding", moved, 2e-4, 1e-4, (0.6,), "round 1"),
        Learned("expansion", "steel", 1.0, 0.03, (0.0, 0.0), "round 1"),
    )
    uncertainties = Uncertainties(stiffness=0.3, bedding=5e-4, expansion=0.1)
    plain, _ = budget_of(case, plan, uncertainties=uncertainties)
    taught, _ = budget_of(case, plan, uncertainties=uncertainties, learned=stated)
    soft, bed = columns_of(plain, "stiffness"), columns_of(plain, "bedding")
    own = {**columns_of(taught, "stiffness"), **columns_of(taught, "bedding")}
    assert set(own) == set(soft) | set(bed)
    for name in set(soft) - {"A1"}:
        assert columns_of(taught, "stiffness")[name] == pytest.approx(soft[name])
    # A1's stiffness and the bedding of the moved seat err together: a pack that loses more is lower
    one, other = soft["A1"] * 0.04 / 0.3, -bed[moved] * 1e-4 / 5e-4
    together = np.outer(one, one) + np.outer(other, other)
    together += 0.6 * (np.outer(one, other) + np.outer(other, one))
    two = [columns_of(taught, "stiffness")["A1"], columns_of(taught, "bedding")[moved]]
    assert np.array(two).T @ np.array(two) == pytest.approx(together, abs=1e-15)


def test_learned_expansion_counts_over_the_way_of_the_steel(case, plan):
    segments = {
        n: replace(s, expansion=12e-6, fixed_point=s.centre + np.array([0.0, 100.0, 0.0]))
        for n, s in case.job.segments.items()
    }
    steel = {n: replace(s, mean=s.mean - 4.0) for n, s in case.survey.steel.items()}
    cold = replace(case, survey=replace(case.survey, steel=steel))
    uncertainties = Uncertainties(expansion=0.1)
    stated = (Learned("expansion", "steel", 1.0, 0.03, (), "round 1"),)
    plain, _ = budget_of(cold, plan, segments=segments, uncertainties=uncertainties)
    taught, args = budget_of(
        cold, plan, segments=segments, uncertainties=uncertainties, learned=stated
    )
    before, after = columns_of(plain, "expansion")[""], columns_of(taught, "expansion")[""]
    assert np.abs(before).max() > 1e-4
    assert after == pytest.approx(0.3 * before)
    drawn = simulate(*args, draws=40_000)
    assert drawn.u == pytest.approx(taught.u, rel=0.02)


def test_draws_know_which_way_corrections_err_together(case, plan):
    """A pack that loses more, in draws and in the budget alike, is lower: the rest follows."""
    moved = [s.seat for s in plan.seats if s.disturbed][:2]
    stated = (
        Learned("bedding", moved[0], 2e-4, 1.5e-3, (), "round 1"),
        Learned("stiffness", moved[0], 1.0, 0.3, (0.95,), "round 1"),
    )
    exact = {n: replace(p, uncertainty=1e-9 * p.uncertainty) for n, p in case.survey.points.items()}
    sharp = replace(case, survey=replace(case.survey, points=exact))
    budget, args = budget_of(sharp, plan, table(case), learned=stated)
    other, _ = budget_of(
        sharp, plan, table(case), learned=(stated[0], replace(stated[1], correlations=(-0.95,)))
    )
    drawn = simulate(*args, draws=40_000)
    rows = np.abs(budget.u / other.u - 1.0) > 0.02
    assert rows.any()
    both = np.corrcoef(drawn.values[:, rows].T)
    said = budget.covariance[np.ix_(rows, rows)] / np.outer(budget.u[rows], budget.u[rows])
    assert both == pytest.approx(said, abs=0.02)
    assert drawn.u[rows] == pytest.approx(budget.u[rows], rel=0.015)


def test_a_learned_movement_counts_over_the_way(case, plan):
    seats = {n: replace(s, held_by="nut") for n, s in case.job.seats.items()}
    seat = next(s for s in plan.seats if s.disturbed)
    stated = (Learned("movement", seat.seat, 1.0, 0.02, (), "round 1"),)
    budget, _ = budget_of(case, plan, seats=seats, learned=stated)
    i = case.influence.seats.index(seat.seat)
    expected = case.influence.A[:, i] * seat.setting * 0.02
    assert columns_of(budget, "movement")[seat.seat] == pytest.approx(expected)


def test_draws_agree_where_rounds_taught(case, plan):
    stated = (
        Learned("stiffness", "A1", 1.0, 0.1, (), "round 1"),
        Learned("stiffness", "A2", 1.0, 0.1, (0.9,), "round 1"),
        Learned("bedding", "A2", 2e-4, 3e-4, (0.3, 0.3), "round 1"),
    )
    budget, args = budget_of(case, plan, learned=stated, uncertainties=Uncertainties(bedding=2e-4))
    drawn = simulate(*args, draws=40_000)
    assert drawn.u == pytest.approx(budget.u, rel=0.02)


def test_a_table_bears_doubt_of_its_seats_as_rigid_segments_do(case, plan):
    """The table was computed with the stiffnesses of seats.csv: moves act through other ones."""
    uncertainties = Uncertainties(stiffness=0.2)
    rigid, _ = budget_of(case, plan, uncertainties=uncertainties)
    by_table, args = budget_of(case, plan, table(case), uncertainties=uncertainties)
    one, other = columns_of(rigid, "stiffness"), columns_of(by_table, "stiffness")
    scale = max(np.abs(c).max() for c in one.values())
    assert scale > 1e-5
    for name, column in one.items():
        assert other[name] == pytest.approx(column, abs=2e-3 * scale)
    drawn = simulate(*args, draws=40_000)
    assert drawn.u == pytest.approx(by_table.u, rel=0.02)
    assert not any("stiffness" in line for line in by_table.not_counted)


def test_a_table_taken_on_trust(case, plan):
    """uncertainty.influence is a share of what each seat's move does."""
    bare, _ = budget_of(case, plan, table(case))
    assert "influence table (uncertainty.influence)" in bare.not_counted
    stated, args = budget_of(case, plan, table(case), uncertainties=Uncertainties(influence=0.1))
    assert "influence table (uncertainty.influence)" not in stated.not_counted
    x = {s.seat: s.setting for s in plan.seats}
    for i, name in enumerate(case.influence.seats):
        column = columns_of(stated, "influence").get(name, 0.0)
        assert column == pytest.approx(0.1 * x[name] * case.influence.A[:, i])
    drawn = simulate(*args, draws=40_000)
    assert drawn.u == pytest.approx(stated.u, rel=0.02)
    # rigid segments have no table to be wrong
    assert not columns_of(
        budget_of(case, plan, uncertainties=Uncertainties(influence=0.1))[0], "influence"
    )
    source = Source("influence", "A1")
    assert source.text == "influence table, what a move of A1 does"


def test_robust_plans_see_the_doubt_of_the_table(case):
    """Moves cost certainty where the table is doubtful: less is moved, or it is said."""
    job = replace(case.job, uncertainties=Uncertainties(influence=0.3))
    args = (job, case.survey, case.state, table(case), 0.05)
    method = robust_plan(*args).method
    plain = robust_plan(case.job, *args[1:]).method
    assert "all checks inside at once with" in method
    assert method != plain


def test_a_frame_in_draws_as_in_the_budget(tmp_path):
    start_job(tmp_path / "job", frame=True)
    job = replace(read_job(tmp_path / "job"), uncertainties=Uncertainties(stiffness=0.2))
    survey = read_survey(tmp_path / "job", job)
    state = joint_state(job, survey)

    def effect(changed):
        return influence_of(changed, survey, tmp_path / "job")

    influence = effect(job)
    plan = make_plan(job, state, influence)
    args = (job, survey, state, influence, plan)
    budget = make_budget(*args, effect=effect)
    assert columns_of(budget, "stiffness")
    drawn = simulate(*args, effect=effect, draws=40_000)
    assert drawn.u == pytest.approx(budget.u, rel=0.03)
    # without it the draws would not know
    less = simulate(*args, draws=40_000)
    assert (less.u < 0.99 * budget.u).any()


def test_cables_may_be_warmer_than_the_deck():
    """Their own: at the survey for every check, at locking for what is between two sides."""
    folder = Path(__file__).parents[3] / "examples" / "quillgate-hung"
    job = read_job(folder)
    cables = {n: replace(c, expansion=12e-6) for n, c in job.frame.cables.items()}
    job = with_thermal_response(replace(job, frame=replace(job.frame, cables=cables)))
    survey = read_survey(folder, job)
    state = joint_state(job, survey)
    influence = influence_of(job, survey, folder)
    apart = apart_rates(job, state.checks)
    across = np.array([c.point is None for c in state.checks])
    assert np.abs(apart[across]).max() > 1e-5
    (line,) = (t for t in make_budget(job, survey, state, influence).not_counted if "cables" in t)
    assert line == "temperature of cables (uncertainty.cables)"
    doubtful = replace(job, uncertainties=Uncertainties(cables=3.0))
    args = (doubtful, survey, state, influence)
    there = dict(survey.steel)
    budget = make_budget(*args, steel=there)
    assert not any("cables" in t for t in budget.not_counted)
    assert columns_of(budget, "cables then")[""] == pytest.approx(3.0 * apart)
    assert columns_of(budget, "cables now")[""] == pytest.approx(3.0 * apart * across)
    drawn = simulate(*args, steel=there, draws=20_000)
    assert drawn.u == pytest.approx(budget.u, rel=0.03)
    rows = budget.judged("V3")
    mean = np.full((2, 3), survey.steel["V"].mean)
    series = SteelSeries(
        "day.csv",
        dt.datetime(2031, 5, 1, 6),
        np.array([0.0, 3600.0]),
        mean,
        np.zeros_like(mean),
        ("day.csv",) * 3,
        "steel",
    )
    course = course_of(doubtful, survey, make_budget(*args), series, "V3")
    # at the survey's own steel there is nothing else beside the two
    assert course.u[0] == pytest.approx(budget.u[rows], rel=1e-9)


def by_class(case):
    plates = {
        mark: replace(p, spread=limits.spread_about(p.measured), alike=True)
        if (limits := plate_limits("EN 10029:1991 A", p.nominal))
        else p
        for mark, p in case.job.plates.items()
    }
    return replace(case.job, plates=plates)


def test_plates_of_a_class_err_alike(case, plan):
    """What goes out and comes in again of one mark does not count; two of them count twice."""
    job = by_class(case)
    budget, args = budget_of(case, plan, plates=job.plates)
    own = columns_of(budget, "plate class")
    assert own
    for mark, column in own.items():
        expected = np.zeros(len(case.state.checks))
        for s in plan.seats:
            i = case.influence.seats.index(s.seat)
            gained = s.put_in.count(mark) - s.out.count(mark)
            expected += gained * job.plates[mark].spread * case.influence.A[:, i]
        assert column == pytest.approx(expected)
    certificate = certify(job, case.survey, case.state, case.influence, plan)
    stated = {c.id: c.uncertainty for c in certificate.checks}
    assert budget.u == pytest.approx([stated[c.id] for c in budget.checks], rel=1e-9)
    drawn = simulate(*args, draws=40_000)
    assert drawn.u == pytest.approx(budget.u, rel=0.02)
