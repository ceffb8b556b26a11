"""The certificate: it agrees with good plans and refuses every kind of bad one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.certify import PrintedNumber, certify, confirm
from fitup.errors import CertificateRefused
from fitup.model import Plan, SeatPlan
from fitup.plan import make_plan
from fitup.sheets import build_sheets

Small = Callable[..., Any]


@pytest.fixture(scope="module")
def planned(small: Small) -> tuple[Any, Plan]:
    case = small()
    return case, make_plan(case.job, case.state, case.influence)


def refusal(case: Any, plan: Plan) -> str:
    with pytest.raises(CertificateRefused) as refused:
        certify(case.job, case.survey, case.state, case.influence, plan)
    return str(refused.value)


def with_seat(plan: Plan, index: int, **changes: Any) -> Plan:
    seats = list(plan.seats)
    seats[index] = replace(seats[index], **changes)
    return replace(plan, seats=tuple(seats))


def disturbed(plan: Plan) -> int:
    return next(i for i, s in enumerate(plan.seats) if s.disturbed)


def test_a_good_plan_is_certified_and_every_printed_number_confirmed(planned: Any) -> None:
    case, plan = planned
    certificate = certify(case.job, case.survey, case.state, case.influence, plan)
    assert certificate.inside
    assert certificate.plan_id == plan.id
    sheets = build_sheets(case.job, case.survey, plan, certificate)
    assert confirm(certificate, sheets.printed()) == len(sheets.printed()) > 100


def test_checks_after_are_before_plus_influence(planned: Any) -> None:
    case, plan = planned
    certificate = certify(case.job, case.survey, case.state, case.influence, plan)
    linear = case.state.values + case.influence.A @ plan.settings()
    after = np.array([c.after for c in certificate.checks])
    assert np.abs(after - linear).max() < 2e-5


def test_reactions_carry_the_weight(planned: Any) -> None:
    case, plan = planned
    certificate = certify(case.job, case.survey, case.state, case.influence, plan)
    for segment in case.job.segments.values():
        carried = sum(s.reaction_after for s in certificate.seats if s.segment == segment.id)
        assert carried == pytest.approx(segment.weight, rel=1e-9)


def test_stock_adds_up(planned: Any) -> None:
    case, plan = planned
    certificate = certify(case.job, case.survey, case.state, case.influence, plan)
    for fact in certificate.stock:
        assert fact.before - fact.taken + fact.returned == fact.after >= 0


def test_a_setting_that_the_plates_do_not_give_is_refused(planned: Any) -> None:
    case, plan = planned
    i = disturbed(plan)
    text = refusal(case, with_seat(plan, i, setting=plan.seats[i].setting + 0.0005))
    assert f"seat {plan.seats[i].seat}: its plates give" in text


def test_a_build_up_other_than_plates_in_and_out_is_refused(planned: Any) -> None:
    case, plan = planned
    i = disturbed(plan)
    seat: SeatPlan = plan.seats[i]
    text = refusal(case, with_seat(plan, i, build_up=(*seat.build_up, "P1")))
    assert "plates out and in do not make the build-up" in text


def test_a_plate_that_is_not_there_is_refused(planned: Any) -> None:
    case, plan = planned
    used = next(m for s in plan.seats for m in s.put_in)
    plates = {**case.job.plates, used: replace(case.job.plates[used], count=0)}
    for mark in ("P20", "P10", "P5", "P2", "P1"):
        plates[mark] = replace(plates[mark], count=0)
    bare = replace(case, job=replace(case.job, plates=plates))
    assert "too few in store" in refusal(bare, plan)


def test_a_changed_seat_without_a_stage_is_refused(planned: Any) -> None:
    case, plan = planned
    text = refusal(case, replace(plan, stages=()))
    assert "changes but stands in no stage" in text


def test_a_stage_that_ends_elsewhere_is_refused(planned: Any) -> None:
    case, plan = planned
    stage = plan.stages[0]
    wrong = tuple(v + 0.001 for v in stage.down[-1])
    stages = (replace(stage, down=(*stage.down[:-1], wrong)), *plan.stages[1:])
    assert "its pack gives" in refusal(case, replace(plan, stages=stages))


def test_a_stage_that_twists_on_the_way_is_refused(planned: Any) -> None:
    case, plan = planned
    stage = plan.stages[0]
    twisted = tuple(v + (0.01 if i == 0 else 0.0) for i, v in enumerate(stage.up[0]))
    stages = (replace(stage, up=(twisted, *stage.up[1:])), *plan.stages[1:])
    text = refusal(case, replace(plan, stages=stages))
    assert "stage 1, increment 1: warp" in text
    assert "outside its limits" in text


def test_a_jack_without_stroke_is_refused(planned: Any) -> None:
    case, plan = planned
    jacks = {k: replace(j, stroke=j.stroke_used + 0.002) for k, j in case.job.jacks.items()}
    bare = replace(case, job=replace(case.job, jacks=jacks))
    assert "do not fit its stroke" in refusal(bare, plan)


def test_a_jack_without_reserve_is_refused(planned: Any) -> None:
    case, plan = planned
    jacks = {k: replace(j, capacity=6.0e5) for k, j in case.job.jacks.items()}
    bare = replace(case, job=replace(case.job, jacks=jacks))
    assert "leaves less than the reserve of 1.5 on 600 kN" in refusal(bare, plan)


def test_a_plan_that_claims_to_be_inside_is_refused_when_it_is_not(planned: Any) -> None:
    case, plan = planned
    checks = tuple(
        replace(c, tolerance=1e-6) if c.quantity == "step" else c for c in case.state.checks
    )
    strict = replace(case, state=replace(case.state, checks=checks))
    assert "the plan says every check is inside, but" in refusal(strict, plan)


def test_a_wrong_influence_is_refused(planned: Any) -> None:
    case, plan = planned
    flipped = replace(case, influence=replace(case.influence, A=-case.influence.A))
    assert "the influence moves it by" in refusal(flipped, plan)


def test_a_moved_held_seat_is_refused(planned: Any) -> None:
    case, plan = planned
    i = disturbed(plan)
    name = plan.seats[i].seat
    seats = {**case.job.seats, name: replace(case.job.seats[name], hold=True)}
    held = replace(case, job=replace(case.job, seats=seats))
    assert f"seat {name} is held, but the plan moves it" in refusal(held, plan)


def test_a_push_in_plan_that_comes_back_is_refused(planned: Any) -> None:
    case, plan = planned
    turned = {
        n: replace(s, direction=np.array([0.0, 0.9, 0.4]) / np.hypot(0.9, 0.4), pushes="axis")
        for n, s in case.job.seats.items()
    }
    assert "a push in plan may not go back, the ram cannot pull" in refusal(
        replace(case, job=replace(case.job, seats=turned)), plan
    )


def test_what_is_left_beyond_what_is_allowed_is_refused(planned: Any) -> None:
    case, plan = planned
    checks = tuple(
        replace(c, leave_within=1e-6) if c.id == "K/P1/offset" else c for c in case.state.checks
    )
    left = replace(case, state=replace(case.state, checks=checks))
    assert "K/P1/offset is left at" in refusal(left, plan)


def test_a_printed_number_off_by_a_digit_is_refused(planned: Any) -> None:
    case, plan = planned
    certificate = certify(case.job, case.survey, case.state, case.influence, plan)
    printed = list(build_sheets(case.job, case.survey, plan, certificate).printed())
    for i in range(0, len(printed), 37):
        number = printed[i]
        wrong = replace(number, value_si=number.value_si + (2.2 * number.half_step or 1.0))
        with pytest.raises(CertificateRefused, match="would be printed as"):
            confirm(certificate, [*printed[:i], wrong, *printed[i + 1 :]])


def test_a_number_nobody_recomputes_is_refused(planned: Any) -> None:
    case, plan = planned
    certificate = certify(case.job, case.survey, case.state, case.influence, plan)
    stray = PrintedNumber(("stages", 1, "jacks", "J-none", "load_stop"), 1.0, 0.5)
    with pytest.raises(CertificateRefused) as refused:
        confirm(certificate, [stray])
    assert str(refused.value) == (
        "'stages 1 jacks J-none load_stop' would be printed, but nothing recomputes it"
    )


def test_certify_shares_no_code_with_the_optimiser() -> None:
    import ast
    from pathlib import Path

    import fitup.certify

    for path in Path(fitup.certify.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                names.append(node.module or "")
            assert not any(
                n.startswith(("fitup.problem", "fitup.solve", "fitup.plan", "fitup.procedure"))
                for n in names
            ), path
