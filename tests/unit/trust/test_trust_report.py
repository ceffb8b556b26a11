"""What the report says of uncertainty: linear where draws agree, by draws where they do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.model import Uncertainties
from fitup.plan import make_plan
from fitup.sheets.confidence import confidence_sheet
from fitup.structure import rigid_influence
from fitup.trust.trust_report import both_ways, tell

DRAWS = 8_000


@pytest.fixture(scope="module")
def stated(small):
    case = small(seed=4, size=0.002)
    job = replace(case.job, uncertainties=Uncertainties(bedding=4e-4, stiffness=0.1))
    plan = make_plan(job, case.state, case.influence)
    args = (job, case.survey, case.state, case.influence, plan)
    return job, tell(*args, lambda j: rigid_influence(j, case.survey), DRAWS)


def words(stated):
    return {c.id: "as planned" for c in stated.budget.checks}


def test_every_judged_check_is_there(stated):
    job, found = stated
    sheet = confidence_sheet(job, found, words(found))
    (joint,) = (j for j in sheet.joints if j.joint == "K")
    listed = {line.id for line in joint.lines}
    (trust,) = (j for j in found.joints if j.joint == "K")
    left = [c for c in trust.checks if c.check.id not in listed]
    assert all(c.check.point is not None and c.conformity == "inside" for c in left)
    assert joint.others.startswith(f"{len(left)} levels, lines and stations") == bool(left)
    assert sum(float(s.split()[0]) for s, _ in joint.shares) > 40.0
    assert joint.most.endswith(".") and joint.most.split(" % ")[1].startswith(
        "of the uncertainty is "
    )
    assert sheet.draws == DRAWS
    line = joint.lines[0]
    u = dict(zip((c.id for c in found.budget.checks), found.budget.u, strict=True))
    assert line.uncertainty.si == pytest.approx(u[line.id], abs=line.uncertainty.half_step)
    assert line.expected == "as planned"
    assert sheet.not_counted == found.budget.not_counted


def test_what_draws_do_not_confirm_is_told_by_draws(stated):
    job, found = stated
    wide = replace(found.draws, values=found.draws.values.mean(axis=0) + 3.0 * (
        found.draws.values - found.draws.values.mean(axis=0)
    ))  # fmt: skip
    other = replace(found, draws=wide)
    assert other.apart == pytest.approx(2.0, abs=0.1)
    (plain,) = (j for j in confidence_sheet(job, found, words(found)).joints if j.joint == "K")
    (joint,) = (j for j in confidence_sheet(job, other, words(found)).joints if j.joint == "K")
    steps = {line.id: line for line in joint.lines}
    before = {line.id: line for line in plain.lines}
    name = next(n for n in steps if n in before and before[n].uncertainty.si > 2e-4)
    assert steps[name].uncertainty.si == pytest.approx(3.0 * before[name].uncertainty.si, rel=0.25)
    assert any(line.probability.endswith(", by draws") for line in joint.lines)
    assert not any(line.probability.endswith(", by draws") for line in plain.lines)
    # what is said of a check follows from the probability printed beside it
    for line in joint.lines:
        share = float(line.probability.removeprefix("over ").removeprefix("under ").split(" %")[0])
        if line.probability.endswith(", by draws") and 5.5 < share < 94.5:
            assert line.said == "UNDECIDED"


def test_both_ways():
    assert both_ways(0.90, 0.909, 100_000)
    assert not both_ways(0.90, 0.915, 100_000)
    # few draws say little
    assert both_ways(0.90, 0.93, 1_000)


def test_very_many_checks_are_drawn_less_often(small):
    case = small(seed=4, size=0.002)
    checks = case.state.checks
    assert len(checks) * DRAWS < 20_000_000
    args = (case.job, case.survey, case.state, case.influence, None)
    found = tell(*args, lambda j: rigid_influence(j, case.survey), 30_000_000)
    assert found.draws.values.size <= 20_000_000
    assert np.isfinite(found.draws.u).all()
