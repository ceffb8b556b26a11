"""One round put together: what was to be found, and what does not belong together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.errors import InputError
from fitup.loop import as_assumed, one_round, predict
from fitup.model import Moved


def moved(case, setting=0.0, **changes):
    return tuple(
        replace(Moved(name, setting, 1e-4, None, None, "made"), **changes)
        for name in case.job.seats
    )


def refusals(call) -> list[str]:
    with pytest.raises(InputError) as refused:
        call()
    return [str(p) for p in refused.value.problems]


def test_prediction_is_what_the_influence_says(rounds):
    one = rounds(1)
    said = predict(one)
    x = one.moves
    assert said.values == pytest.approx(one.before.values + one.influence.A @ x)
    assert said.reactions == pytest.approx(one.influence.r0 + one.influence.R @ x)
    # moves that are exact add nothing to the covariance of the survey
    assert said.covariance == pytest.approx(one.before.covariance)


def test_doubtful_moves_widen_the_prediction(rounds):
    one = replace(rounds(1), variances=np.full(8, 1e-6))
    wider = predict(one).covariance - one.before.covariance
    assert wider == pytest.approx(1e-6 * one.influence.A @ one.influence.A.T)
    assert np.diag(one.covariance)[-1] > np.diag(rounds(1).covariance)[-1]


def test_raising_a_segment_evenly_is_predicted_by_hand(small):
    case = small()
    later = replace(case.job, moved=tuple(
        Moved(n, 0.003 if n.startswith("B") else 0.0, 0.0, None, None, "made")
        for n in case.job.seats
    ))  # fmt: skip
    one = one_round(case.job, case.state, case.influence, later, case.state)
    change = predict(one).values - case.state.values
    for check, size in zip(case.state.checks, change, strict=True):
        if check.quantity == "level":
            segment = case.job.points[check.point].segment
            assert size == pytest.approx(0.003 if segment == "B" else 0.0, abs=1e-9)
        if check.quantity == "step":
            assert size == pytest.approx(-0.003)


def test_only_loads_measured_on_both_sides_count(small):
    case = small()
    rows = list(moved(case))
    rows[0] = replace(rows[0], load_before=500e3, load_after=510e3)
    rows[1] = replace(rows[1], load_after=510e3)  # before only computed from the weight
    job = replace(case.job, seats={
        n: replace(s, reaction_now=490e3 if n == "B3" else None)
        for n, s in case.job.seats.items()
    })  # fmt: skip
    rows[2] = replace(rows[2], load_after=480e3)
    later = replace(job, moved=tuple(rows))
    one = one_round(job, case.state, case.influence, later, case.state)
    assert [one.influence.seats[i] for i in one.loaded] == ["B1", "B3"]
    assert one.load_change == pytest.approx([10e3, -10e3])
    # a load that the last job only computed is none
    carried = replace(job, moved=moved(case))
    again = one_round(carried, case.state, case.influence, later, case.state)
    assert [again.influence.seats[i] for i in again.loaded] == ["B1"]


def test_learned_expansion_does_not_hide_what_it_was_learned_from(small):
    case = small()
    grown = {n: replace(s, expansion=13e-6) for n, s in case.job.segments.items()}
    then = {n: replace(s, expansion=12e-6) for n, s in case.job.segments.items()}
    later = as_assumed(replace(case.job, segments=grown), replace(case.job, segments=then))
    assert {s.expansion for s in later.segments.values()} == {12e-6}


def test_jobs_of_different_rounds(small):
    case = small()

    def round_with(later, after=case.state):
        return refusals(lambda: one_round(case.job, case.state, case.influence, later, after))

    assert round_with(replace(case.job, moved=moved(case)[1:])) == [
        "moved.csv: found not the seats of the job before: B1; allowed: a row for every seat of "
        "it; name the two jobs of one round"
    ]
    other = replace(case.state, checks=case.state.checks[1:])
    assert round_with(replace(case.job, moved=moved(case)), other) == [
        "the two jobs: found different points, pairs or joints; allowed: the same in both; name "
        "the two jobs of one round"
    ]
    taller = {**case.job.seats, "B1": replace(case.job.seats["B1"], pack=("P20", "P10"))}
    # 20.01 + 10.02 - 25.01 - 0.2 bedding
    assert round_with(replace(case.job, seats=taller, moved=moved(case))) == [
        "moved.csv, move: found seat B1 moved 0.00 mm its way, but the packs of the two jobs "
        "differ by 4.82 mm; allowed: one story; name the two jobs of one round, or correct the "
        "pack in seats.csv"
    ]
