"""Before going out: uncertainties as a network written by itself gives them, and what is missed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.checks import joint_state
from fitup.checks.preanalysis import preanalysis, sights_to_add, sights_to_leave_out
from fitup.errors import InputError, SurveyRefused
from fitup.jobfolder import read_job, start_job
from fitup.model import Job
from fitup.network.planned import PlannedSetup, places_of, read_planned
from fitup.survey import read_survey

Plan = tuple[Path, Job, tuple[PlannedSetup, ...]]


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    folder = tmp_path_factory.mktemp("plan") / "night"
    start_job(folder, observations=True)
    job = read_job(folder)
    return folder, job, read_planned(folder / "setups.csv", job)


def u_of(found, name: str) -> float:
    names = [check.id for check in found.state.checks]
    return float(found.u[names.index(name)])


def by_hand(job: Job, planned: tuple[PlannedSetup, ...]) -> dict[str, np.ndarray]:
    """Covariance of points by dense normal equations, slopes by differences of the geometry."""
    places = places_of(job)
    names = [*places, *(s.id for s in planned)]
    start = np.concatenate([*places.values(), *(s.place for s in planned), np.zeros(len(planned))])
    at = {name: 3 * i for i, name in enumerate(names)}
    instrument = planned[0].instrument
    u_pointing = (instrument.u_hz, instrument.u_v)

    def predicted(x: np.ndarray) -> np.ndarray:
        rows = []
        for k, setup in enumerate(planned):
            for target in setup.targets:
                step = x[at[target] : at[target] + 3] - x[at[setup.id] : at[setup.id] + 3]
                flat = np.hypot(step[0], step[1])
                rows += [
                    (np.arctan2(step[0], step[1]) - x[3 * len(names) + k]) / u_pointing[0],
                    np.arctan2(flat, step[2]) / u_pointing[1],
                    np.linalg.norm(step) / (instrument.u_sd + instrument.u_sd_share * flat),
                ]
        control = [x[at[c] : at[c] + 3] / 0.001 for c in job.control]
        return np.concatenate([rows, *control])

    slopes = np.column_stack(
        [
            (predicted(start + step) - predicted(start - step)) / 2e-4
            for step in 1e-4 * np.eye(len(start))
        ]
    )
    # distances change the weights by nothing that matters here
    covariance = np.linalg.inv(slopes.T @ slopes)
    return {n: covariance[at[n] : at[n] + 3] for n in places} | {"whole": covariance}


def test_uncertainties_are_those_of_a_network_set_up_by_itself(plan: Plan):
    _, job, planned = plan
    plain = tuple(
        replace(s, instrument=replace(s.instrument, target_centring=0.0)) for s in planned
    )
    found = preanalysis(job, plain)
    own = by_hand(job, plain)
    at = {name: 3 * i for i, name in enumerate(places_of(job))}
    for name in ("A1-L", "B1-T2"):
        assert u_of(found, f"level/{name}") == pytest.approx(
            own["whole"][at[name] + 2, at[name] + 2] ** 0.5, rel=1e-3
        )
    # the joint runs east: a gap is the difference of two eastings
    back, ahead = at["A1-L"], at["B1-L"]
    rows = np.zeros(len(own["whole"]))
    rows[[back, ahead]] = -1.0, 1.0
    gap = float(rows @ own["whole"] @ rows) ** 0.5
    assert u_of(found, "J1/P1/gap") == pytest.approx(gap, rel=0.01)


def test_the_night_that_was_planned_is_as_sure_as_was_said(plan: Plan):
    folder, job, planned = plan
    found = preanalysis(job, planned)
    measured = replace(
        job, readings=(), epochs=tuple(replace(e, levelling=None) for e in job.epochs)
    )
    state = joint_state(measured, read_survey(folder, measured))
    u = np.sqrt(np.diag(state.covariance))
    assert found.u == pytest.approx(u, rel=0.02)


def test_one_set_up_leaves_every_reading_unchecked(plan: Plan):
    _, job, planned = plan
    alone = preanalysis(job, planned[:1])
    assert set(alone.unchecked) == set(job.points)
    assert preanalysis(job, planned).unchecked == ()
    # nothing that is sighted once is proposed for leaving out
    assert sights_to_leave_out(job, planned[:1]) == ()


def test_control_that_is_sighted_twice_or_less_cannot_be_tested(plan: Plan):
    _, job, planned = plan
    few = tuple(
        replace(s, targets=tuple(n for n in s.targets if n not in ("CP3", "CP4"))) for s in planned
    )
    found = preanalysis(job, few)
    assert found.control == {}
    assert found.untested == ("CP1", "CP2")
    whole = preanalysis(job, planned)
    assert set(whole.control) == set(job.control)
    # a movement below its own standard uncertainty is never found, one of ten times surely
    assert all(0.002 < size < 0.010 for size in whole.control.values())


def test_the_sight_that_is_missing_is_found(plan: Plan):
    """All to one target but one sight: that one checks what nothing else does."""
    _, job, planned = plan
    first, second = planned
    missing = (first, replace(second, targets=tuple(n for n in second.targets if n != "A1-L")))
    assert preanalysis(job, missing).unchecked == ("A1-L",)
    best = sights_to_add(job, missing)[0]
    assert (best.setup, best.target) == ("ST2", "A1-L")
    assert best.gain > 0.0
    back = next(s for s in sights_to_leave_out(job, planned) if s.target == "A1-L")
    assert back.worse == np.inf


def test_a_plan_that_does_not_reach_a_segment_is_refused(plan: Plan):
    _, job, planned = plan
    short = tuple(
        replace(s, targets=tuple(n for n in s.targets if not n.startswith("B1"))) for s in planned
    )
    with pytest.raises(SurveyRefused, match="B1"):
        preanalysis(job, short)


HEAD = "id,E_m,N_m,H_m,over,targets\n"


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("", "setups.csv: found no set-up; allowed: a row for each; write them down"),
        (
            "S1,97,214,,,\n",
            "setups.csv, row 2, E_m: found no place; allowed: E, N and H, or over; take them from "
            "a map, or name the point it stands over",
        ),
        (
            "S1,,,,CP9,\n",
            "setups.csv, row 2, over: found 'CP9'; allowed: an id of points.csv, or of control.csv "
            "with coordinates; correct it",
        ),
        (
            "S1,97,214,31,,A1-L A9\n",
            "setups.csv, row 2, targets: found 'A9'; allowed: an id of points.csv, or of "
            "control.csv with coordinates; correct it",
        ),
        (
            "S1,97,214,31,,\nS1,90,214,31,,\n",
            "setups.csv, row 3, id: found 'S1' again; allowed: each set-up once; rename it",
        ),
    ],
)
def test_what_is_wrong_with_a_plan(plan: Plan, tmp_path: Path, rows: str, message: str):
    path = tmp_path / "setups.csv"
    path.write_text(HEAD + rows, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_planned(path, plan[1])
    assert str(caught.value) == message


def test_a_set_up_over_a_point(plan: Plan, tmp_path: Path):
    path = tmp_path / "setups.csv"
    path.write_text("id,over,instrument_height_m\nS1,CP1,1.5\nS2,CP2,\n", encoding="utf-8")
    first, second = read_planned(path, plan[1])
    assert first.place == pytest.approx([70.0, 228.0, 33.5])
    assert second.height == 1.6
    assert "CP1" not in first.targets and "CP2" in first.targets
    assert preanalysis(plan[1], (first, second)).unchecked == ()
