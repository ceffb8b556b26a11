"""The re-survey against its prediction: white where the truth is as assumed, loud where not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.loop.compare import compare, verdict_of, whitener
from fitup.loop.words import whole_words


@pytest.mark.parametrize(
    ("ratio", "verdict"),
    [
        (0.0, "as predicted"),
        (-1.96, "as predicted"),
        (2.5, "doubtful"),
        (-3.29, "doubtful"),
        (3.3, "NOT as predicted"),
    ],
)
def test_verdicts(ratio: float, verdict: str):
    assert verdict_of(ratio) == verdict


@given(st.integers(0, 10_000), st.integers(2, 6), st.integers(0, 3))
@settings(max_examples=30, deadline=None)
def test_whitening_leaves_independent_ones(seed: int, rank: int, copies: int):
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(rank, rank)) + 3.0 * np.eye(rank)
    # some checks are sums of others, in other units
    rows = np.vstack([np.eye(rank), rng.normal(size=(copies, rank))])
    scale = 10.0 ** rng.uniform(-6, 3, len(rows))
    covariance = scale[:, None] * (rows @ root @ root.T @ rows.T) * scale
    W = whitener(covariance)
    assert len(W) == rank
    assert W @ covariance @ W.T == pytest.approx(np.eye(rank), abs=1e-6)


def test_chi_square_does_not_hang_on_units(rounds):
    one = rounds(3, sinks={"B2": 0.001})
    inches = np.full(len(one.before.values), 1.0 / 0.0254)
    scaled = replace(
        one,
        before=replace(one.before, values=one.before.values * inches,
                       covariance=one.before.covariance * inches[0] ** 2),
        after=replace(one.after, values=one.after.values * inches,
                      covariance=one.after.covariance * inches[0] ** 2),
        influence=replace(one.influence, A=one.influence.A * inches[:, None]),
    )  # fmt: skip
    assert compare(scaled).chi_square == pytest.approx(compare(one).chi_square, rel=1e-6)
    assert compare(scaled).degrees == compare(one).degrees


def test_differences_are_white_where_all_is_as_assumed(rounds, drawn):
    """Mean of chi-square is its degrees of freedom; one in a hundred is above the limit."""
    one, rng = rounds(1), np.random.default_rng(5)
    stated = [compare(drawn(one, one.rows @ one.moves, rng)) for _ in range(200)]
    ratio = np.array([c.chi_square / c.degrees for c in stated])
    assert abs(ratio.mean() - 1.0) < 4.0 * np.sqrt(2.0 / stated[0].degrees / len(stated))
    assert 0 <= sum(not c.as_predicted for c in stated) <= 8
    singly = np.array([d.ratio for c in stated for d in c.checks])
    assert singly.std() == pytest.approx(1.0, abs=0.05)
    assert np.mean(np.abs(singly) > 1.96) == pytest.approx(0.05, abs=0.01)


def test_whole_surveys_of_a_true_deck_are_as_predicted(rounds):
    """Points moved by true rotations and surveyed with noise, reduced as any survey is."""
    stated = [compare(rounds(seed)) for seed in range(1, 13)]
    ratio = np.array([c.chi_square / c.degrees for c in stated])
    assert abs(ratio.mean() - 1.0) < 4.0 * np.sqrt(2.0 / stated[0].degrees / len(stated))


def test_a_seat_that_sank_is_seen_where_it_is(rounds):
    stated = compare(rounds(1, sinks={"B2": 0.003}))
    assert not stated.as_predicted
    wrong = [d.check.id for d in stated.checks if d.verdict == "NOT as predicted"]
    assert "level/B-R" in wrong
    assert not any(name.startswith("level/A") for name in wrong)
    ends = {d.check.id: d for d in stated.checks}
    # B2 stands under the near right corner: what is there came out low
    assert ends["level/B-R"].difference < -0.001
    assert ends["level/B-R"].found_there == pytest.approx(ends["level/B-R"].found)


def test_loads_are_held_against_the_moves(rounds):
    soft = dict.fromkeys(("B1", "B2", "B3", "B4"), 0.5)
    stated = compare(rounds(1, stiffness=soft))
    loads = {d.seat: d for d in stated.loads}
    assert loads["B1"].predicted == pytest.approx(2.0 * loads["B1"].found, rel=0.25)
    assert loads["B1"].verdict == "NOT as predicted"
    assert loads["A2"].verdict == "as predicted"


def test_a_single_check_far_off_is_said_though_the_whole_is_as_predicted(rounds):
    """3.6 u in one of many: chi-square does not see it, and its name stands in the last line."""
    one = rounds(1)
    quiet = compare(one)
    row = next(i for i, d in enumerate(quiet.checks) if d.check.id == "line/A-F1")
    values = one.after.values.copy()
    values[row] = quiet.checks[row].predicted + 3.6 * quiet.checks[row].uncertainty
    stated = compare(replace(one, after=replace(one.after, values=values)))
    assert stated.as_predicted
    assert stated.single == ("line/A-F1",)
    # two tails of the normal distribution beyond 3.6: 3.18e-4, for every independent difference
    assert stated.chance_of_worst == pytest.approx(3.182e-4 * stated.degrees, rel=1e-3)
    said = whole_words(stated)
    assert said.startswith("All together: as predicted as a whole, but not in every check. ")
    assert " line/A-F1 is farther off than chance brings any of them in 9" in said
    assert whole_words(quiet).startswith("All together: as predicted. ")
    assert quiet.single == ()
