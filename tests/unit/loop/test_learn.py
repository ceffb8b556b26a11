"""What a round teaches: the right cause, what cannot be told apart, and no more than was seen."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.loop import learn
from fitup.loop.compare import whitener
from fitup.loop.fit import fit
from fitup.loop.hypotheses import assumptions_of
from fitup.loop.learn import corrections
from fitup.loop.words import correction_rows, name_of, usual_words, verdict_words
from fitup.model import Learned, Learning, Uncertainties


def names(lesson, one):
    return [name_of(lesson.explanations[i].kind, lesson.explanations[i].at) for i in one.same]


@pytest.fixture(scope="module")
def one(rounds):
    return rounds(1)


def test_nothing_wrong_is_nothing_learned(one):
    lesson = learn(one)
    assert lesson.as_assumed > 0.5
    assert lesson.explanations[0].evidence < 2.0
    assert lesson.explained
    assert next(verdict_words(one.job, lesson)) == (
        "No single assumption explains the differences better than chance."
    )


def test_a_seat_that_sank_is_named_with_what_predicts_the_same(rounds):
    one = rounds(1, sinks={"B2": 0.002})
    lesson = learn(one)
    best = lesson.explanations[0]
    assert (best.kind, best.at) == ("settlement", "B2")
    assert best.value == pytest.approx(0.002, abs=3.0 * best.uncertainty)
    assert names(lesson, best) == ["bedding of the pack at B2", "stiffness of seat B2"]
    said = list(verdict_words(one.job, lesson))
    assert said[0].startswith("seat B2 sank: 1.8")
    assert " mm down (u 0.12 mm); very strong evidence, probability 0.9" in said[0]
    assert said[-1] == (
        "Cannot tell apart: seat B2 sank and bedding of the pack at B2, stiffness of seat B2 "
        "predict the same at these points."
    )


@pytest.mark.parametrize("seed", [1, 2])
def test_a_soft_seat_that_was_unloaded_is_told_from_one_that_sank(rounds, seed):
    """A soft seat comes up as it is unloaded: none sinks upward, and no pack grows under load."""
    lesson = learn(rounds(seed, stiffness={"A1": 0.4}))
    best = lesson.explanations[0]
    assert (best.kind, best.at) == ("stiffness", "A1")
    assert np.exp(best.value) == pytest.approx(0.4, abs=0.05)
    assert best.probability > 0.99
    assert best.same == ()
    assert not any(e.kind == "settlement" and e.value < 0.0 for e in lesson.explanations[:5])
    # raised and pressed down, it is where a seat that sank would be
    pressed = learn(rounds(seed, stiffness={"B1": 0.4}))
    assert {"settlement", "stiffness"} <= {e.kind for e in pressed.explanations[:3] if e.at == "B1"}
    assert pressed.explanations[0].same


def test_bedding_that_contradicts_what_was_stated_is_said_and_not_carried(rounds):
    """Packs lose 1.2 mm more, the job allows 0.3 mm: by hand 1.2 / 0.225 beforehand.

    Half of 0.3 mm squared is common to all eight packs and half each one's own, so that their mean
    is known within 0.3 sqrt(1/2 + 1/16) = 0.225 mm.
    """
    one = rounds(1, bedding=dict.fromkeys(("B1", "B2", "B3", "B4", "A1", "A2", "A4"), 0.0012))
    narrow = replace(one.job, uncertainties=Uncertainties(stiffness=0.3, bedding=0.0003))
    lesson = learn(replace(one, job=narrow))
    (against,) = lesson.conflicts
    assert (against.kind, against.at) == ("bedding", "")
    assert against.prior == pytest.approx(0.000225)
    assert against.value == pytest.approx(0.0012, abs=2.0 * against.uncertainty)
    together = np.hypot(against.prior, against.uncertainty)
    assert against.ratio == pytest.approx(against.value / together)
    assert lesson.explained and not lesson.may_be_carried
    said = next(line for line in verdict_words(narrow, lesson) if line.startswith("CONTRADICTED"))
    assert said.startswith("CONTRADICTED: bedding of all new packs alike: this round alone says 1.")
    assert "the job beforehand no difference within u 0.23 mm: 4." in said
    assert said.endswith("state bedding in job.toml [uncertainty] as wide as it is, and run again.")
    wide = replace(narrow, uncertainties=Uncertainties(stiffness=0.3, bedding=0.0012))
    assert learn(replace(one, job=wide)).may_be_carried


def test_truths_within_their_priors_seldom_contradict_them(one, drawn):
    """One round in a hundred at most: of 120, more than 5 have a chance of 0.2 % (binomial)."""
    rng = np.random.default_rng(31)
    exact = replace(one, job=replace(
        one.job, uncertainties=Uncertainties(stiffness=0.1, bedding=0.0004),
        learning=Learning(settlement=0.0, gauge=0.03),
    ))  # fmt: skip
    model = assumptions_of(exact)
    root = np.linalg.cholesky(model.prior)
    found = 0
    for _ in range(120):
        theta = root @ rng.normal(size=len(model.parameters))
        found += bool(learn(drawn(exact, model.predicted(theta), rng)).conflicts)
    assert found <= 5


def test_all_packs_that_bed_more_are_told_from_one_that_does(rounds):
    one = rounds(1, bedding=dict.fromkeys(("B1", "B2", "B3", "B4", "A1", "A2", "A4"), 0.0008))
    lesson = learn(one)
    best = lesson.explanations[0]
    assert (best.kind, best.at) == ("bedding", "")
    assert best.value == pytest.approx(0.0008, abs=3.0 * best.uncertainty)
    assert best.probability > 0.95
    learned = {o.at: o for o in corrections(one.job, lesson, "s") if o.what == "bedding"}
    # 0.2 mm were assumed; what one pack teaches holds in part for A3, which was left alone
    assert learned["B1"].value == pytest.approx(0.001, abs=3.0 * learned["B1"].uncertainty)
    assert 0.0003 < learned["A3"].value < learned["B1"].value
    assert learned["A3"].uncertainty > 1.2 * learned["B1"].uncertainty


def test_soft_seats_show_in_measured_loads(rounds):
    one = rounds(1, stiffness=dict.fromkeys(("B1", "B2", "B3", "B4", "A1", "A2", "A3", "A4"), 0.6))
    lesson = learn(one)
    best = lesson.explanations[0]
    assert (best.kind, best.at) == ("stiffness", "")
    assert np.exp(best.value) == pytest.approx(0.6, abs=0.05)
    factors = [o.value for o in corrections(one.job, lesson, "s") if o.what == "stiffness"]
    assert len(factors) == 8
    assert np.mean(factors) == pytest.approx(0.6, abs=0.08)


def test_gauges_cannot_be_told_from_stiffness_by_loads_alone(rounds):
    one = rounds(1, gauge=1.15)
    lesson = learn(one)
    two = {(e.kind, e.at) for e in lesson.explanations[:2]}
    assert two == {("gauge", ""), ("stiffness", "")}
    assert names(lesson, lesson.explanations[0])


def test_a_cause_nobody_thought_of_is_said_and_nothing_is_written(one):
    """One point that jumped by 30 mm is no seat, no pack and no gauge."""
    row = next(i for i, c in enumerate(one.after.checks) if c.id == "line/A-F1")
    jumped = one.after.values.copy()
    jumped[row] += 0.03
    odd = replace(one, after=replace(one.after, values=jumped))
    lesson = learn(odd)
    assert not lesson.explained
    said = list(verdict_words(odd.job, lesson))[-1]
    assert said.startswith(
        "None of these assumptions, nor all together, can account for what was found (sum of "
        "squares "
    )
    assert said.endswith(
        "in 999 of 1000 rounds). Look for something else: a survey mistake, a deck that touches, "
        "a pack or a jack that is not what was written down."
    )


def test_all_assumptions_exact_leave_nothing_to_learn(one):
    exact = Learning(settlement=0.0, gauge=0.0)
    learned = tuple(
        Learned(what, at, value, 0.0, (0.0,) * row, "s")
        for row, (what, at, value) in enumerate(
            [("stiffness", n, 1.0) for n in one.influence.seats]
            + [("bedding", n, 0.0002) for n in one.influence.seats]
        )
    )
    lesson = learn(replace(one, job=replace(one.job, learning=exact, learned=learned)))
    assert not np.abs(lesson.mean).max(initial=0.0)
    assert lesson.explanations == ()
    assert list(verdict_words(one.job, lesson)) == [
        "Nothing was moved that would tell one assumption from another."
    ]


def test_the_fit_is_the_closed_solution(one, drawn):
    """Against least squares with the priors as further observations (Theil and Goldberger)."""
    rng = np.random.default_rng(11)
    model = assumptions_of(one)
    told = drawn(one, model.predicted(np.zeros(len(model.parameters))), rng)
    lesson = learn(told)
    keep = [model.parameters.index(p) for p in lesson.parameters]
    theta = np.zeros(len(model.parameters))
    theta[keep] = lesson.mean
    white = whitener(told.covariance)
    C = white @ model.columns(theta)[:, keep]
    d = white @ (told.found - model.predicted(theta)) + C @ lesson.mean
    root = np.linalg.inv(np.linalg.cholesky(lesson.prior))
    rows, right = np.vstack([C, root]), np.concatenate([d, np.zeros(len(keep))])
    solution = np.linalg.lstsq(rows, right, rcond=None)[0]
    size = np.sqrt(np.diag(lesson.prior))
    assert lesson.mean / size == pytest.approx(solution / size, abs=1e-5)
    spread = np.linalg.inv(rows.T @ rows)
    assert lesson.covariance / np.outer(size, size) == pytest.approx(
        spread / np.outer(size, size), abs=1e-6
    )


def test_one_seat_alone_is_the_fit_of_that_seat(rounds):
    """The short way for one stiffness is the long way of the whole model."""
    one = rounds(1, stiffness={"A1": 0.4})
    model = assumptions_of(one)
    white = whitener(one.covariance)
    for told in learn(one).explanations:
        if told.kind == "stiffness" and told.at:
            i = next(k for k, p in enumerate(model.parameters)
                     if (p.kind, p.at) == ("stiffness", told.at))  # fmt: skip
            basis = np.eye(len(model.parameters))[:, [i]]
            whole = fit(model, white, basis, model.prior[[i]][:, [i]])
            assert told.value == pytest.approx(whole.value[0], abs=1e-4)
            assert told.uncertainty == pytest.approx(np.sqrt(whole.covariance[0, 0]), rel=1e-3)
            assert told.evidence == pytest.approx(whole.evidence, abs=1e-3)


def test_what_a_round_cannot_see_stays_as_it_was(rounds, small):
    """Segment A is not moved and not measured: nothing of its seats may change."""
    still = {n: (0.005 if n == "B1" else 0.0) for n in small(1).job.seats}
    one = rounds(4, moves=still, sinks={"B1": 0.001})
    # no variance in common: what B teaches says nothing of A
    apart = tuple(Learned("stiffness", n, 1.0, 0.3, (0.0,) * i, "s") for i, n in enumerate(still))
    job = replace(one.job, learned=apart, learning=Learning(gauge=0.0))
    loaded = np.array([i for i in one.loaded if one.influence.seats[i].startswith("B")])
    one = replace(
        one, job=job, loaded=loaded, load_change=one.load_change[:4],
        load_shift=one.load_shift[:4], load_variances=one.load_variances[:4],
    )  # fmt: skip
    lesson = learn(one)
    for i, p in enumerate(lesson.parameters):
        if p.kind == "stiffness" and p.at.startswith("A"):
            assert lesson.mean[i] == pytest.approx(0.0, abs=1e-12)
            assert lesson.covariance[i, i] == pytest.approx(lesson.prior[i, i], rel=1e-9)
    assert any(e.at == "B1" for e in lesson.explanations[:3])
    assert not any(e.kind == "stiffness" and e.at.startswith("A") for e in lesson.explanations)


def test_posterior_is_never_wider_than_the_prior(one):
    lesson = learn(one)
    slack = lesson.prior - lesson.covariance
    assert np.linalg.eigvalsh(slack / lesson.prior.max()).min() > -1e-9
    assert ((lesson.seen > -1e-9) & (lesson.seen < 1.0)).all()


def test_names_and_order_of_seats_do_not_matter(rounds):
    one = rounds(1, sinks={"B2": 0.0015})
    order = np.array([3, 0, 7, 5, 1, 6, 2, 4])
    new = {n: f"X{n[::-1]}" for n in one.influence.seats}
    seats = {new[n]: replace(one.job.seats[n], id=new[n]) for n in one.influence.seats}
    swapped = replace(
        one,
        job=replace(one.job, seats=seats),
        influence=replace(
            one.influence,
            seats=tuple(new[one.influence.seats[i]] for i in order),
            A=one.influence.A[:, order],
            R=one.influence.R[np.ix_(order, order)],
            r0=one.influence.r0[order],
        ),
        moves=one.moves[order],
        variances=one.variances[order],
        loaded=np.argsort(order)[one.loaded],
    )
    told, other = learn(one), learn(swapped)
    assert other.chi_left == pytest.approx(told.chi_left, rel=1e-6)
    assert [(e.kind, e.at) for e in other.explanations[:3]] == [
        (e.kind, new.get(e.at, e.at)) for e in told.explanations[:3]
    ]
    mean = {(p.kind, new.get(p.at, p.at)): v for p, v in zip(told.parameters, told.mean,
                                                            strict=True)}  # fmt: skip
    for p, v in zip(other.parameters, other.mean, strict=True):
        assert v == pytest.approx(mean[p.kind, p.at], abs=1e-7)


def test_stated_uncertainty_covers_the_truth(one, drawn):
    """Truths drawn from the priors, rounds drawn from each: 95 in 100 within 1.96 u."""
    rng = np.random.default_rng(21)
    gentle = replace(one, job=replace(
        one.job, uncertainties=Uncertainties(stiffness=0.15, bedding=0.0004),
        learning=Learning(settlement=0.0, gauge=0.03),
    ))  # fmt: skip
    model = assumptions_of(gentle)
    root = np.linalg.cholesky(model.prior)
    ratios, left = [], []
    for _ in range(60):
        theta = root @ rng.normal(size=len(model.parameters))
        lesson = learn(drawn(gentle, model.predicted(theta), rng))
        ratios.append((lesson.mean - theta) / np.sqrt(np.diag(lesson.covariance)))
        left.append(lesson.chi_left / lesson.degrees)
    ratios = np.array(ratios)
    covered = np.mean(np.abs(ratios) < 1.96)
    # stiffness acts not quite linearly; the parameters of one round share their errors
    assert covered == pytest.approx(0.95, abs=0.02)
    assert ratios.std() == pytest.approx(1.0, abs=0.06)
    assert np.mean(left) == pytest.approx(1.0, abs=0.1)


def test_a_true_sinking_is_covered_too(one, drawn):
    rng = np.random.default_rng(8)
    model = assumptions_of(one)
    at = next(i for i, p in enumerate(model.parameters) if (p.kind, p.at) == ("settlement", "A2"))
    found = 0
    for _ in range(12):
        theta = np.zeros(len(model.parameters))
        theta[at] = 0.004
        lesson = learn(drawn(one, model.predicted(theta), rng))
        kinds = [(p.kind, p.at) for p in lesson.parameters]
        found += ("settlement", "A2") in kinds
        assert (lesson.explanations[0].kind, lesson.explanations[0].at) == ("settlement", "A2")
        assert lesson.explanations[0].value == pytest.approx(0.004, abs=5e-4)
    assert found == 12


def test_corrections_go_on_from_those_before(rounds):
    one = rounds(1, stiffness=dict.fromkeys(("B1", "B2", "B3", "B4", "A1", "A2", "A3", "A4"), 0.6))
    before = tuple(
        Learned("stiffness", n, 0.5, 0.3, (0.0,) * i, "s")
        for i, n in enumerate(one.influence.seats)
    )
    lesson = learn(replace(one, job=replace(one.job, learned=before)))
    told = {o.at: o for o in corrections(replace(one.job, learned=before), lesson, "now")
            if o.what == "stiffness"}  # fmt: skip
    i = next(k for k, p in enumerate(lesson.parameters) if (p.kind, p.at) == ("stiffness", "B1"))
    assert told["B1"].value == pytest.approx(0.5 * np.exp(lesson.mean[i]))
    assert told["B1"].source == "now"
    rows = corrections(one.job, lesson, "s")
    for i, row in enumerate(rows):
        assert len(row.correlations) == i
        assert max(map(abs, row.correlations), default=0.0) <= 1.0


def test_words_of_corrections_and_of_what_was_taken(one):
    lesson = learn(one)
    rows = correction_rows(one.job, lesson)
    assert rows and all(row[2].endswith(" %") for row in rows)
    assert usual_words(one.job, lesson) == (
        "Not stated in job.toml [uncertainty], the usual taken as standard uncertainty: stiffness "
        "30 %, bedding 0.50 mm."
    )
    stated = replace(one.job, uncertainties=Uncertainties(stiffness=0.2, bedding=0.0003))
    assert usual_words(stated, lesson) == ""
