"""Orders of work that the crews cannot or may not carry out are refused, each in its words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from fitup.certify import certify
from fitup.errors import CertificateRefused
from fitup.model import GroupRule, Plan, Pump, Staging
from fitup.plan import make_plan

Small = Callable[..., Any]


@pytest.fixture(scope="module")
def planned(small: Small) -> tuple[Any, Plan]:
    case = small(staging=Staging(crews=2))
    return case, make_plan(case.job, case.state, case.influence)


def refusal(case: Any, plan: Plan, **changes: Any) -> str:
    job = replace(case.job, **changes)
    with pytest.raises(CertificateRefused) as refused:
        certify(job, case.survey, case.state, case.influence, plan)
    return str(refused.value)


def test_more_crews_than_there_are(planned: Any):
    assert "stage 1: 2 groups at once for 1" in refusal(*planned, staging=Staging())


def test_a_pump_for_two_groups_or_none(planned: Any):
    case, plan = planned
    pump = {"P": Pump("P", tuple(case.job.jacks))}
    both = replace(plan, stages=tuple(replace(s, pumps=("P",)) for s in plan.stages))
    assert "B-lift and A-lift need the same pump" in refusal(case, both, pumps=pump)
    assert "no pump of B-lift drives jack JB1" in refusal(case, plan, pumps=pump)


def test_a_group_before_the_one_it_waits_for(planned: Any):
    rules = {"B-lift": GroupRule("B-lift", after=("A-lift",))}
    assert "B-lift moves before A-lift is finished" in refusal(*planned, groups=rules)


def test_hours_that_are_not_named(planned: Any):
    rules = {"B-lift": GroupRule("B-lift", window="night")}
    assert "B-lift does not name its hours" in refusal(*planned, groups=rules)


def test_too_far_in_one_go(planned: Any):
    said = refusal(*planned, staging=Staging(crews=2, stage_lift=0.006))
    assert "mm in one go, at most 6.0 mm" in said


def test_jacks_out_of_step_twist_beyond_the_limit(planned: Any):
    said = refusal(*planned, staging=Staging(crews=2, out_of_step=0.002))
    assert "stage 1, increment 1 of B-lift: warp B-warp" in said
    assert "with jacks out of step, outside its limits" in said


def test_a_worst_load_beyond_the_capacity(planned: Any):
    case, plan = planned
    said = refusal(case, plan, staging=Staging(crews=2, friction=0.9, worst_reserve=1.4))
    assert "at worst leaves less than 1.4 on 1200 kN" in said


def test_plates_that_do_not_follow_where_no_nut_does(planned: Any):
    case, plan = planned
    jacks = {n: replace(j, lock_nut=False) for n, j in case.job.jacks.items()}
    assert "seat B1 has no lock nut that could follow" in refusal(case, plan, jacks=jacks)


def test_a_stage_that_does_not_start_where_the_last_one_ended(planned: Any):
    case, plan = planned
    first = replace(plan.stages[0], before=(("P20",), *plan.stages[0].before[1:]))
    said = refusal(case, replace(plan, stages=(first, *plan.stages[1:])))
    assert "seat B1 does not stand as the stage before left it" in said


def test_a_locked_joint_that_would_open(planned: Any):
    case, plan = planned
    joints = {n: replace(j, locked_within=1e-4) for n, j in case.job.joints.items()}
    assert "of a locked joint changes by" in refusal(case, plan, joints=joints)
