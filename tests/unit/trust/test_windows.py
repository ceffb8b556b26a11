"""Windows: exact crossings, guard bands, when to survey, and what the steel does by itself."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.checks import joint_state
from fitup.jobfolder.series import SteelSeries
from fitup.model import LockOff, Tolerance, Uncertainties
from fitup.sheets.trust_words import window_words
from fitup.structure import rigid_influence
from fitup.survey import CoordinateList, reduce_survey
from fitup.trust import make_budget
from fitup.trust.conformity import accepted
from fitup.trust.waiting import at_temperature, gap_temperature, jack_and_wait, option_of
from fitup.trust.windows import Window, course_of, even_steel, steel_in, survey_times, windows

START = dt.datetime(2031, 4, 3, 6, 0)


def series_of(job, kelvin, hours, shared="s.csv"):
    mean = np.repeat(np.array(kelvin)[:, None], len(job.segments), axis=1) + 273.15
    return SteelSeries(
        "s.csv", START, np.array(hours) * 3600.0, mean, np.zeros_like(mean),
        (shared,) * len(job.segments), "steel in s.csv",
    )  # fmt: skip


def found_apart(case):
    """Where a survey without noise finds the points when A lies 15.8 mm too far north."""
    for point in case.job.points.values():
        away = np.array([0.0, 0.0158 if point.segment == "A" else 0.0, 0.0])
        yield replace(case.survey.points[point.id], position=point.design + away)


@pytest.fixture(scope="module")
def case(small):
    """A gap 15.8 mm too wide at 15 C that closes by 2.64 mm for one kelvin."""
    made = small(seed=2, size=0.0)
    segments = {
        n: replace(
            s,
            expansion=12e-6,
            fixed_point=s.centre + np.array([0.0, -100.0 if n == "B" else 100.0, 0.0]),
        )
        for n, s in made.job.segments.items()
    }
    tolerances = {"gap": Tolerance(0.003, "by hand"), "step": Tolerance(0.002, "by hand")}
    job = replace(made.job, segments=segments, tolerances=tolerances)
    survey = reduce_survey(job, [CoordinateList("made.csv", tuple(found_apart(made)), (), ())])
    state = joint_state(job, survey)
    assert state.values == pytest.approx(
        [0.0158 if c.id.endswith("gap") or c.id.startswith("station/A") else 0.0
         for c in state.checks], abs=1e-9,
    )  # fmt: skip
    return replace(
        made, job=job, survey=survey, state=state, influence=rigid_influence(job, survey)
    )


def budget_of(case, **changes):
    job = replace(case.job, **changes)
    return job, make_budget(job, case.survey, case.state, case.influence)


def test_a_window_by_hand(case):
    """Inside from 12.8 to 18.8 mm of closing: 4.848 to 7.121 K above 15 C; 3 K an hour from 14."""
    job, budget = budget_of(case)
    series = series_of(job, [14.0, 26.0], [0.0, 4.0])
    course = course_of(job, case.survey, budget, series, "K")
    (window,) = course.windows
    assert window.start == pytest.approx((12.8 / 2.64 + 1.0) * 1200.0)
    assert window.end == pytest.approx((18.8 / 2.64 + 1.0) * 1200.0)
    assert window.opens.endswith("gap") and window.closes.endswith("gap")
    assert window_words(series, window) == "2031-04-03 07:57 to 08:42"
    even = even_steel(job, budget, "K")
    assert even.least == pytest.approx(288.15 + 12.8 / 2.64)
    assert even.most == pytest.approx(288.15 + 18.8 / 2.64)
    assert even.best == pytest.approx(288.15 + 15.8 / 2.64, abs=0.02)
    assert gap_temperature(job, budget, ["K"]) == pytest.approx(288.15 + 15.8 / 2.64)


def test_sure_windows_are_narrower_by_the_guard_band(case):
    job, budget = budget_of(case)
    series = series_of(job, [14.0, 26.0], [0.0, 4.0])
    course = course_of(job, case.survey, budget, series, "K")
    (sure,) = course.surely
    u = {c.id: s for c, s in zip(budget.checks, budget.u, strict=True)}
    kept = min(accepted(u[f"K/P{k}/gap"], 0.003, 0.05) for k in (1, 2, 3))
    assert sure.start == pytest.approx(((15.8 - 1e3 * kept) / 2.64 + 1.0) * 1200.0)
    assert sure.end == pytest.approx(((15.8 + 1e3 * kept) / 2.64 + 1.0) * 1200.0)


def test_doubts_of_a_course_are_those_of_a_budget_at_that_steel(case):
    uncertainties = Uncertainties(steel=0.7, expansion=0.08)
    job = replace(case.job, uncertainties=uncertainties)
    then = {n: replace(s, u_mean=0.7, shared="e") for n, s in case.survey.steel.items()}
    survey = replace(case.survey, steel=then)
    at_reference = make_budget(job, survey, case.state, case.influence)
    series = series_of(job, [14.0, 26.0], [0.0, 4.0])
    course = course_of(job, survey, at_reference, series, "K")
    for i, seconds in enumerate(series.seconds):
        steel = steel_in(job, series, seconds)
        there = make_budget(job, survey, case.state, case.influence, steel=steel)
        rows = there.judged("K")
        assert course.u[i] == pytest.approx(there.u[rows], rel=1e-9)
        assert course.values[i] == pytest.approx(there.values[rows], abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.lists(st.integers(-6, 6), min_size=3, max_size=3), min_size=2, max_size=6),
    st.lists(st.integers(1, 4), min_size=3, max_size=3),
)
def test_windows_agree_with_a_fine_comb(rows, most):
    deviations = np.array(rows, dtype=float) + 1e-3
    allowed = np.array(most, dtype=float)
    seconds = np.arange(len(rows)) * 100.0
    found = windows(seconds, deviations, np.tile(allowed, (len(rows) - 1, 1)), "abc")
    for t in np.arange(0.37, seconds[-1], 0.731):
        at = np.array([np.interp(t, seconds, d) for d in deviations.T])
        inside = bool(np.all(np.abs(at) <= allowed))
        near = np.min(np.abs(np.abs(at) - allowed)) < 1e-6
        stated = any(w.start <= t <= w.end for w in found)
        assert near or stated == inside


def test_windows_join_across_rows_and_name_what_bounds_them():
    seconds = np.array([0.0, 10.0, 20.0, 30.0])
    deviations = np.array([[2.0, 0.0], [0.0, 0.0], [0.0, 0.0], [0.0, 4.0]])
    found = windows(seconds, deviations, np.full((3, 2), 1.0), ["gap", "step"])
    assert found == (Window(5.0, 22.5, "gap", "step"),)


def test_never_where_no_value_could_be_called_inside():
    at = np.array([0.0, 1.0])
    assert windows(at, np.zeros((2, 1)), np.array([[-1.0]]), ["gap"]) == ()


def test_survey_while_the_steel_is_even(case):
    """1 mm in an hour is 0.379 K an hour at 2.64 mm/K."""
    job, budget = budget_of(case, lockoff=LockOff(survey_takes=3600.0, survey_change=0.001))
    checks = tuple(budget.checks[i] for i in budget.judged("K"))
    series = series_of(job, [14.0, 14.3, 14.6, 15.1, 15.1], [0.0, 1.0, 2.0, 3.0, 3.5])
    assert survey_times(job, series, checks) == (Window(0.0, 7200.0, "", ""),)


def test_targets_for_a_temperature(case):
    shifted = at_temperature(case.job, case.state, 290.15)
    gap = next(c for c in shifted.checks if c.quantity == "gap")
    # 2 K warmer the gap is 5.28 mm less: at the reference it must be wide by as much
    assert gap.target == pytest.approx(0.00528, rel=1e-3)
    assert all(c.target == 0.0 for c in shifted.checks if c.point is not None)


def test_jack_less_and_wait(case):
    """No seat pushes along in the small job: only the steel can close its gap."""
    job, budget = budget_of(case)
    series = series_of(job, [14.0, 26.0], [0.0, 4.0])
    closes = gap_temperature(job, budget, ["K"])
    both = jack_and_wait(job, case.survey, case.state, case.influence, series, closes)
    assert both is not None
    assert both.temperature == pytest.approx(closes)
    (course,) = both.courses
    moment = (closes - 287.15) / 3.0 * 3600.0
    assert any(w.start < moment < w.end for w in course.windows)
    alone = option_of(job, case.survey, case.state, case.influence, series, None)
    assert alone.work.seats == 0 and alone.name == "wait"
