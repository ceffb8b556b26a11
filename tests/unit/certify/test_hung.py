"""The second path of a frame with cables: it agrees, and it notices."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.certify.hung import HungStates
from fitup.certify.limits import Work, hold_limits
from fitup.certify.lines import Lines
from fitup.checks import checks_of
from fitup.errors import CertificateRefused
from fitup.jobfolder import read_job
from fitup.model import CheckState, Influence, Job
from fitup.problem.problem import limit_rows
from fitup.structure import about_moves, frame_influence
from fitup.structure.cable.of_frame import cable_element
from fitup.survey import Survey, read_survey

EXAMPLE = Path(__file__).parents[3] / "examples" / "quillgate-hung"


@pytest.fixture(scope="module")
def hung() -> tuple[Job, Survey, Influence, HungStates]:
    job = read_job(EXAMPLE)
    survey = read_survey(EXAMPLE, job)
    return job, survey, frame_influence(job), HungStates(job, survey)


def test_cables_are_cut_and_pull_alike(hung):
    job = hung[0]
    lines = Lines(job.frame.cables.values(), dict(job.frame.nodes))
    pulls = lines.pulls(lines.apart)
    for n, own in enumerate(job.frame.cables.values()):
        element = cable_element(own, job.frame.nodes)
        assert lines.length[n] == pytest.approx(element.cable.length, rel=1e-11)
        pull = element.pull(np.zeros(6))
        size = np.linalg.norm(pull.at_j)
        assert pulls.at_j[n] == pytest.approx(pull.at_j, abs=1e-8 * size)
        assert pulls.at_i[n] == pytest.approx(pull.at_i, abs=1e-8 * size)
        most = np.abs(pull.stiffness).max()
        assert pulls.stiffness[n] == pytest.approx(pull.stiffness, abs=1e-8 * most)


def test_straight_cables_too(hung):
    job = hung[0]
    own = replace(job.frame.cables["H26"], form="straight", length=35.55, tension=None)
    lines = Lines([own], dict(job.frame.nodes))
    pulls, pull = lines.pulls(lines.apart), cable_element(own, job.frame.nodes).pull(np.zeros(6))
    half = 0.5 * own.weight * 35.55 * np.array([0.0, 0.0, 1.0])
    assert pulls.at_j[0] - half == pytest.approx(pull.at_j)
    assert pulls.at_i[0] + half == pytest.approx(pull.at_i)
    assert pulls.stiffness[0] == pytest.approx(pull.stiffness)


def test_surveyed_state_is_the_same(hung):
    job, _, influence, states = hung
    assert states.present == pytest.approx(influence.r0, rel=1e-6, abs=20.0)
    assert states.at(dict.fromkeys(job.seats, 0.0), checks_of(job)).change == pytest.approx(
        0.0, abs=1e-6
    )
    scale = np.sqrt(np.outer(np.diag(states.R), np.diag(states.R)))
    most = np.abs(states.R - states.R.T).max()
    assert most <= 1e-6 * scale.max()


@pytest.mark.parametrize("seat", ["SH14", "ST", "SP", "H5L", "H88R", "HA"])
def test_small_moves_do_what_the_influence_says(hung, seat):
    job, _, influence, states = hung
    checks, h = checks_of(job), 2e-4
    still = dict.fromkeys(job.seats, 0.0)
    more = states.at({**still, seat: h}, checks)
    column = influence.seats.index(seat)
    slope = more.change / h
    for check, found, stated in zip(checks, slope, influence.A[:, column], strict=True):
        # a tenth of a per cent of the largest of its kind: what the tangent leaves out
        kind = [abs(v) for c, v in zip(checks, influence.A[:, column], strict=True)
                if c.kind == check.kind]  # fmt: skip
        assert found == pytest.approx(stated, abs=1e-3 * max(kind) + 1e-9), check.id
    gained = np.array([more.reactions[s] for s in influence.seats]) - influence.r0
    most = 2e-3 * np.abs(influence.R[:, column]).max()
    assert gained / h == pytest.approx(influence.R[:, column], abs=most + 2e5)


def test_forces_are_those_of_the_structure(hung):
    job, _, influence, states = hung
    stated = {f.id: f.now for f in influence.forces}
    found = states.at(dict.fromkeys(job.seats, 0.0), checks_of(job)).forces
    assert set(found) == set(stated)
    for name, value in stated.items():
        assert found[name] == pytest.approx(value, rel=1e-5, abs=50.0), name


def test_far_moves_are_really_at_rest_again(hung):
    """A stay drawn by 20 mm, beyond the tangent: work and reciprocity still hold there."""
    job, _, influence, states = hung
    x = {**dict.fromkeys(job.seats, 0.0), "ST": 0.02}
    far = states.at(x, checks_of(job))
    column = influence.seats.index("ST")
    lean = next(i for i, c in enumerate(checks_of(job)) if c.quantity == "lean")
    linear = influence.A[lean, column] * 0.02
    assert far.change[lean] == pytest.approx(linear, rel=0.10)
    assert abs(far.change[lean] - linear) > 1e-5
    near = states.at({**x, "ST": 0.02 - 1e-4}, checks_of(job))
    after = states.at({**x, "ST": 0.02 + 1e-4}, checks_of(job))
    # the tension it finds is the slope of the work that drawing does: Maxwell, at a far state
    saddle = (after.reactions["SP"] - near.reactions["SP"]) / 2e-4
    back = states.at({**x, "SP": 1e-4}, checks_of(job)).reactions["ST"]
    before = states.at({**x, "SP": -1e-4}, checks_of(job)).reactions["ST"]
    assert (back - before) / 2e-4 == pytest.approx(saddle, rel=2e-3)


def test_a_cable_that_cannot_be_is_refused(hung):
    job = hung[0]
    heavy = replace(job.frame.cables["back"], tension=1e3, length=None)
    with pytest.raises(CertificateRefused, match="length of a cable was not found a second time"):
        Lines([heavy], dict(job.frame.nodes))


def test_the_tangent_about_far_moves_is_what_the_second_path_finds_there(hung):
    """Planning goes on from there: checks, reactions, tensions and grip about other moves."""
    job, _, influence, states = hung
    checks = checks_of(job)
    x = np.zeros(len(influence.seats))
    for seat, move in (("ST", 0.020), ("SH14", 0.020), ("H5L", 0.010), ("H88R", -0.004)):
        x[influence.seats.index(seat)] = move
    there = about_moves(job, influence, x)
    assert there is not None
    found = states.at(dict(zip(influence.seats, x.tolist(), strict=True)), checks)
    lengths = np.array([c.is_length for c in checks])
    assert np.abs(there.change(x) - found.change)[lengths].max() < 1e-5
    # along the first tangent it would have been several times as far off
    assert np.abs(influence.change(x) - found.change)[lengths].max() > 5e-5
    forces = np.array([c.kind == "force" for c in checks])
    assert np.abs(there.change(x) - found.change)[forces].max() < 20.0
    loads = np.array([found.reactions[s] for s in influence.seats])
    assert there.r0 + there.R @ x == pytest.approx(loads, abs=20.0)
    for force in there.forces:
        assert force.now + float(force.row @ x) == pytest.approx(
            found.forces[force.id], rel=1e-5, abs=100.0
        ), force.id


def test_small_moves_need_no_other_tangent(hung):
    job, _, influence, _ = hung
    x = np.zeros(len(influence.seats))
    x[influence.seats.index("SH14")] = 0.001
    assert about_moves(job, influence, x) is None


def limits_broken(job: Job, states: HungStates, **moves: float) -> list[str]:
    """What the certificate says of a state against the limits of a changed job."""
    checks = checks_of(job)
    zero = np.zeros(len(checks))
    work = Work(job, CheckState(checks, zero, np.diag(zero)), states, None, [], zero, zero)
    outcome = states.at({**dict.fromkeys(job.seats, 0.0), **moves}, checks)
    hold_limits(work, "here", moves, outcome, set())
    return work.wrong


def with_cable(job: Job, name: str, **changes: float) -> Job:
    cables = {**job.frame.cables, name: replace(job.frame.cables[name], **changes)}
    return replace(job, frame=replace(job.frame, cables=cables))


def test_a_tension_beyond_its_limits_is_refused(hung):
    job, _, _, states = hung
    assert limits_broken(job, states) == []
    assert limits_broken(with_cable(job, "H62", most=900e3), states) == [
        "here: cable H62 pulls 956 kN, outside its limits in frame_cables.csv"
    ]
    assert limits_broken(with_cable(job, "H62", least=990e3), states) == [
        "here: cable H62 pulls 956 kN, outside its limits in frame_cables.csv"
    ]
    # only a move brings it over
    tight = with_cable(job, "H14", most=760e3)
    assert limits_broken(tight, states) == []
    assert "cable H14 pulls" in " ".join(limits_broken(tight, states, SH14=0.02))


def test_a_slipping_saddle_is_refused(hung):
    job, survey, _, _ = hung
    rough = replace(job.frame.saddles["saddle"], friction=0.12)
    slippery = replace(job, frame=replace(job.frame, saddles={"saddle": rough}))
    assert "here: the cable slips back over saddle saddle" in limits_broken(
        slippery, HungStates(slippery, survey)
    )


def test_the_optimiser_knows_the_same_limits_in_words(hung):
    job, _, influence, _ = hung
    checks = checks_of(job)
    zero = np.zeros(len(checks))
    wide = np.array([[-0.2, 0.2]] * len(influence.seats))
    state = CheckState(checks, zero, np.diag(zero))
    rows, bounds, labels = limit_rows(job, state, influence, wide)
    text = {label.text: i for i, label in enumerate(labels)}
    i = text["greatest tension of cable H14"]
    now = next(f.now for f in influence.forces if f.id == "cable/H14")
    assert bounds[i] == pytest.approx(1900e3 - now)
    j = text["friction at saddle saddle before the cable slips back"]
    spare = next(f for f in influence.forces if f.id == "saddle/saddle/back")
    assert bounds[j] == pytest.approx(spare.now)
    assert rows[j] == pytest.approx(-spare.row)
