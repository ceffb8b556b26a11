"""External reliability against brute force: the error planted, everything computed again."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from fitup.checks import joint_state
from fitup.checks import reliability as module
from fitup.checks.reliability import unseen_at_joints
from fitup.checks.state import uncertainties_apart
from fitup.frames import displacement_rows
from fitup.jobfolder import read_job
from fitup.network.adjust import adjust
from fitup.survey import Survey, read_survey
from fitup.survey.points import SurveyedPoint

EXAMPLE = Path(__file__).parents[3] / "examples" / "skerrin-observed"


@pytest.fixture(scope="module")
def night() -> tuple:
    job = read_job(EXAMPLE)
    survey = read_survey(EXAMPLE, job)
    return job, survey, joint_state(job, survey)


def spoiled(survey: Survey, index: int, error: float) -> Survey:
    """The survey with one observation changed; the thermal shift of each point stays."""
    solved = survey.solved[0]
    network = solved.network
    value = network.value.copy()
    value[index] += error
    again = adjust(replace(network, value=value), solved.outcome.adjusted.state)
    shift = again.state.positions - solved.outcome.adjusted.state.positions

    def moved(point: SurveyedPoint) -> SurveyedPoint:
        return replace(point, position=point.position + shift[network.index(point.id)])

    return replace(survey, points={n: moved(p) for n, p in survey.points.items()})


def test_the_effect_is_what_the_error_really_does(night: tuple):
    job, survey, state = night
    rows = {c.id: i for i, c in enumerate(state.checks)}
    network = survey.solved[0].network
    tested = survey.solved[0].outcome.tested
    found = {u.check.id: u for u in unseen_at_joints(job, survey, state)}
    for name in ("K1/P4/gap", "K1/P1/offset", "level/W7-T5"):
        worst = found[name]
        i = [o.id for o in network.observations].index(worst.observation)
        after = joint_state(job, spoiled(survey, i, float(tested.detectable[i])))
        effect = float(after.values[rows[name]] - state.values[rows[name]])
        # a check of points alone: poses do not enter
        assert effect == pytest.approx(worst.effect, rel=1e-3)


def test_poses_of_a_network_are_fitted_with_what_its_points_share(night: tuple):
    """Covariance and tests of a pose, by the normal equations with the whole covariance."""
    job, survey, _ = night
    names = list(survey.points)
    for segment, pose in survey.poses.items():
        at = np.concatenate([3 * names.index(n) + np.arange(3) for n in pose.points])
        weights = np.linalg.inv(survey.covariance[np.ix_(at, at)])
        design = np.array([job.points[n].design for n in pose.points])
        motion = pose.design2site
        rows = displacement_rows((design - motion.centre) @ motion.turn.T, np.zeros(3))
        assert pose.covariance == pytest.approx(np.linalg.inv(rows.T @ weights @ rows), rel=1e-6)
        left = pose.residuals.ravel()
        assert pose.variance_factor == pytest.approx(left @ weights @ left / pose.redundancy)
        tested = weights - weights @ rows @ pose.covariance @ rows.T @ weights
        w = (weights @ left) / np.sqrt(np.diag(tested))
        assert pose.ratio == pytest.approx(np.abs(w).max(), rel=1e-4), segment
        # a clean night: with 27 to spare the factor is known to about 0.27
        assert 0.4 < pose.variance_factor < 1.9


def test_no_other_observation_does_more(night: tuple):
    job, survey, state = night
    rows = {c.id: i for i, c in enumerate(state.checks)}
    tested = survey.solved[0].outcome.tested
    found = {u.check.id: u for u in unseen_at_joints(job, survey, state)}
    worst = abs(found["K1/P2/gap"].effect)
    for i in range(0, len(tested.w), 37):
        if np.isnan(tested.detectable[i]):
            continue
        after = joint_state(job, spoiled(survey, i, float(tested.detectable[i])))
        change = after.values[rows["K1/P2/gap"]] - state.values[rows["K1/P2/gap"]]
        assert abs(float(change)) <= worst * 1.001


def test_uncertainty_with_and_without_what_points_share(night: tuple):
    job, survey, state = night
    apart = uncertainties_apart(job, survey, state.checks)
    assert apart is not None
    rows = {c.id: i for i, c in enumerate(state.checks)}
    u = state.uncertainties
    # two faces seen from the same set-ups: the step is better known than its heights say
    for name in ("K1/P4/step", "K1/P5/step", "K1/P4/gap"):
        assert u[rows[name]] < 0.8 * apart[rows[name]]
    # a single level hangs on the control alike in both
    assert u[rows["level/W7-T5"]] == pytest.approx(apart[rows["level/W7-T5"]])
    assert uncertainties_apart(job, replace(survey, shared=()), state.checks) is None


def test_the_worst_of_several_epochs_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """An error of -3 outweighs one of 2, whichever epoch comes first; nothing is no error."""
    by_epoch = {1: np.array([[-3.0, 0.0]]), 2: np.array([[2.0, 0.0]])}
    monkeypatch.setattr(module, "surveyed_checks", lambda *rest: (None, np.zeros((2, 3))))
    monkeypatch.setattr(module, "used_readings", lambda job: ())
    monkeypatch.setattr(module, "reach_of", lambda solved, worst: 2.0)
    monkeypatch.setattr(module, "_effects", lambda s, survey, j, epoch: by_epoch[epoch])

    def solved(name: str) -> SimpleNamespace:
        seen = SimpleNamespace(id=name, kind="hz")
        tested = SimpleNamespace(detectable=np.array([0.5]))
        return SimpleNamespace(
            network=SimpleNamespace(observations=[seen]), outcome=SimpleNamespace(tested=tested)
        )

    for order in ((1, 2), (2, 1)):
        survey: Any = SimpleNamespace(solved={e: solved(f"night {e}") for e in order})
        state: Any = SimpleNamespace(checks=("first", "second"))
        (found,) = module.unseen_at_joints(cast(Any, None), survey, state)
        assert (found.observation, found.effect, found.at_target) == ("night 1", -3.0, 1.0)
