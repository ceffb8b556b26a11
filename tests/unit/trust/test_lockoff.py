"""Lock, wait or move again: every cause with its whole sentence, and the second path."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from fitup.checks import joint_state
from fitup.errors import CertificateRefused
from fitup.jobfolder.series import SteelSeries
from fitup.model import LockOff as Settings
from fitup.model import Tolerance
from fitup.sheets.trust_words import reason_of
from fitup.trust import make_budget, trust_of
from fitup.trust.confirm import confirm_lockoff
from fitup.trust.lockoff import decide
from fitup.trust.montecarlo import simulate
from fitup.trust.windows import steel_in

#: the small job's survey was taken at 2031-05-01T04:00
START = dt.datetime(2031, 5, 1, 4, 0)


@pytest.fixture(scope="module")
def case(small):
    """Gaps wide by 2 mm at 15 C, closing by 2.64 mm for one kelvin; all else on its aim."""
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
    state = joint_state(job, made.survey)
    values = np.array([0.002 if c.quantity == "gap" else 0.0 for c in state.checks])
    return replace(made, job=job, state=replace(state, values=values))


def series_of(job, celsius, hours):
    mean = np.repeat(np.array(celsius)[:, None], len(job.segments), axis=1) + 273.15
    seconds = np.array(hours) * 3600.0
    none = np.zeros_like(mean)
    return SteelSeries("s.csv", START, seconds, mean, none, ("", ""), "steel in s.csv")


def decided(case, hours=1.0, series=None, holds=(), **changes):
    job = replace(case.job, **changes)
    state = changes.pop("state", case.state)
    steel = case.survey.steel if series is None else steel_in(job, series, hours * 3600.0)
    reference = make_budget(job, case.survey, state, case.influence)
    there = make_budget(job, case.survey, state, case.influence, steel=steel)
    (trust,) = (t for t in trust_of(job, there) if t.joint == "K")
    when = START + dt.timedelta(hours=hours)
    own = decide(job, case.survey, reference, there, trust, steel, when, holds, series)
    return job, own, steel, reason_of(job, own, series)


def with_gap(case, gap):
    values = np.array([gap if c.quantity == "gap" else 0.0 for c in case.state.checks])
    return replace(case, state=replace(case.state, values=values))


def test_lock(case):
    job, own, _, reason = decided(with_gap(case, 0.0005))
    assert (own.decision, own.cause, own.worst) == ("LOCK", "none", None)
    assert reason == "Every check is inside, the whole joint with 98.5 %."
    series = series_of(job, [15.0, 17.0], [0.0, 2.0])
    _, own, _, reason = decided(with_gap(case, 0.0015), 0.5, series)
    assert own.decision == "LOCK"
    assert reason.startswith("Every check is inside, the whole joint with ")
    # guard band 1.645 of 0.707 mm: narrow by 1.837 mm at most, 1.264 h at 2.64 mm/K and 1 K/h
    assert reason.endswith("; lock within 2031-05-01 04:00 to 05:15.")


def test_old_survey_comes_first(case):
    _, own, _, reason = decided(case, 13.0, holds=("H1 packs",))
    assert (own.decision, own.cause) == ("WAIT", "survey age")
    assert reason == "The survey is 13.0 h old, at most 12.0 h are allowed: survey again."


def test_open_hold_points(case):
    _, own, _, reason = decided(with_gap(case, 0.0005), holds=("H1 packs bear", "H2 wedges"))
    assert (own.decision, own.cause) == ("WAIT", "hold points")
    assert reason == "Every check is inside, but not released: H1 packs bear; H2 wedges."


def test_wait_for_a_window(case):
    series = series_of(case.job, [12.0, 16.0], [0.0, 4.0])
    _, own, _, reason = decided(case, 1.0, series)
    assert (own.decision, own.cause) == ("WAIT", "window later")
    assert reason.startswith("Gap at P")
    assert ": 7.3 mm too wide with the steel at 13.0 °C; every check is surely inside " in reason
    assert reason.endswith(" to 08:00: wait.")


def test_undecided_measures_first(case):
    _, own, _, reason = decided(with_gap(case, 0.0025))
    assert (own.decision, own.cause) == ("WAIT", "undecided")
    assert (
        ": 2.5 mm too wide with the steel at 15.0 °C: within tolerance, but inside with " in reason
    )
    assert " only. Measure first: measure target " in reason


def test_outside_with_a_temperature_that_may_come(case):
    _, own, _, reason = decided(with_gap(case, 0.0066))
    assert (own.decision, own.cause) == ("WAIT", "other steel")
    assert reason.endswith(
        "within tolerance with the steel evenly at 16.4 °C to 18.6 °C: wait for it, or move again."
    )


def test_move_again(case):
    series = series_of(case.job, [12.0, 14.0], [0.0, 4.0])
    _, own, _, reason = decided(with_gap(case, 0.0066), 1.0, series)
    assert (own.decision, own.cause) == ("MOVE AGAIN", "outside")
    assert reason.endswith(
        "and no temperature of the series brings every check inside: move again."
    )
    steps = np.array([0.02 if c.quantity == "step" else 0.0 for c in case.state.checks])
    wrong = replace(case, state=replace(case.state, values=steps))
    _, own, _, reason = decided(wrong)
    assert own.decision == "MOVE AGAIN"
    assert reason.endswith("and no steel temperature brings every check inside: move again.")


def test_within_tolerance_but_never_surely(case):
    series = series_of(case.job, [12.0, 16.0], [0.0, 4.0])
    narrow = {"gap": Tolerance(0.0009, "by hand"), "step": Tolerance(0.002, "by hand")}
    job = replace(case.job, tolerances=narrow)
    state = replace(joint_state(job, case.survey), values=case.state.values)
    _, own, _, reason = decided(replace(case, job=job, state=state), 1.0, series)
    assert (own.decision, own.cause) == ("WAIT", "other steel")
    assert "; within tolerance 2031-05-01 " in reason
    assert ", but never surely: wait, and measure target " in reason


def test_survey_age_may_be_chosen(case):
    _, own, _, _ = decided(with_gap(case, 0.0), 13.0, lockoff=Settings(survey_age=14 * 3600.0))
    assert own.decision == "LOCK"


def test_second_path_confirms_and_refuses(case):
    series = series_of(case.job, [12.0, 16.0], [0.0, 4.0])
    job, own, steel, _ = decided(case, 2.5, series)
    draws = simulate(job, case.survey, case.state, case.influence, steel=steel, draws=20_000)
    assert confirm_lockoff(job, case.survey, case.state, steel, (own,), draws, series) > 20
    wrong = replace(own.trust.checks[0], value=own.trust.checks[0].value + 1e-4, probability=0.5)
    trust = replace(own.trust, checks=(wrong, *own.trust.checks[1:]))
    with pytest.raises(CertificateRefused) as refused:
        confirm_lockoff(
            job, case.survey, case.state, steel, (replace(own, trust=trust),), draws, series
        )
    assert len(refused.value.disagreements) == 2
    assert refused.value.disagreements[0].startswith("K/P1/gap is ")
    assert "are too large to be carried linearly" in refused.value.disagreements[1]
    shifted = replace(case.state, values=case.state.values + 1e-3)
    with pytest.raises(CertificateRefused) as refused:
        confirm_lockoff(job, case.survey, shifted, steel, (own,), draws, series)
    assert any("of a window" in line for line in refused.value.disagreements)
