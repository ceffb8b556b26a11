"""What may give way: its name, its step, and that nothing else gives way with it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from fitup.model import Check
from fitup.problem.relaxations import GIVES, Case, check_words, of_tolerance

PLAIN = Check("J/P/gap", "gap", "J", "P", None, 0.0, 0.002, 1.0, "s")


@pytest.fixture
def case(small: Callable[..., Any]) -> Case:
    own = small()
    return Case(own.job, own.state, own.influence)


@pytest.mark.parametrize(
    ("changes", "words", "key"),
    [
        ({}, "gap at P", "J/P/gap"),
        ({"pair": None}, "gap at J", "J/P/gap"),
        ({"item": "R1"}, "gap at R1", "J/P/gap"),
        ({"quantity": "kink_grade", "pair": None}, "kink in grade at J", "J/P/gap"),
        ({"quantity": "ride_bump", "item": "R1"}, "ride bump at R1", "J/P/gap"),
        ({"quantity": "level", "point": "A1"}, "level of A1", "all/level"),
        ({"quantity": "lean", "subject": "T"}, "lean of T", "all/lean"),
    ],
)
def test_a_check_in_words_and_what_shares_its_tolerance(
    changes: dict[str, Any], words: str, key: str
) -> None:
    """Points and towers share one tolerance by quantity; every joint has its own."""
    check = replace(PLAIN, **changes)
    assert check_words(check) == words
    assert of_tolerance(check) == ("tolerance", key)


def test_an_amount_is_rounded_up_to_a_printed_step(case: Case) -> None:
    """Moves are printed to 0.1 mm: less than a step is one step, and whole steps stay."""
    own = GIVES["tolerance"]
    subject = next(c.id for c in case.state.checks if c.tolerance is not None and c.pair)
    step = 2.0 * case.units.move.half_step * own.digits
    for amount, steps in ((0.0, 1), (0.4, 1), (1.0, 1), (1.2, 2), (7.0, 7)):
        found = own.rounded(case, subject, amount * step)
        assert found == pytest.approx(steps * step, rel=1e-9)


@pytest.mark.parametrize("amount", [0.001, math.inf])
def test_one_tolerance_gives_way_and_no_other(case: Case, amount: float) -> None:
    subject = next(c.id for c in case.state.checks if c.tolerance is not None and c.pair)
    reported = replace(case.state.checks[0], id="only shown", tolerance=None)
    state = replace(case.state, checks=(*case.state.checks, reported))
    case = replace(case, state=state)
    after = GIVES["tolerance"].loosen(case, subject, amount).state.checks
    for old, new in zip(state.checks, after, strict=True):
        if old.id != subject:
            assert new is old
        elif math.isinf(amount):
            assert new.tolerance is None
        else:
            assert old.tolerance is not None
            assert new.tolerance == pytest.approx(old.tolerance + amount)


def test_travel_and_plates_give_way_from_what_they_are(case: Case) -> None:
    seat = next(iter(case.job.seats))
    job = replace(
        case.job,
        seats={**case.job.seats, seat: replace(case.job.seats[seat], raise_most=None)},
    )
    open_ = replace(case, job=job)
    assert GIVES["raise"].loosen(open_, seat, 0.002).job.seats[seat].raise_most == 0.002
    jack = case.job.jacks_at(seat)[0]
    back = GIVES["back"].loosen(case, seat, 0.002).job.jacks[jack.id]
    assert back.stroke_used == pytest.approx(jack.stroke_used + 0.002)
    assert back.stroke - back.stroke_used == pytest.approx(jack.stroke - jack.stroke_used)
    mark, plate = next(iter(case.job.plates.items()))
    thick = case.units.plate.text(plate.nominal)
    assert GIVES["stock"].more(case, mark, 1) == f"1 more plate {mark} ({thick})"
    assert GIVES["stock"].more(case, mark, 2) == f"2 more plates {mark} ({thick})"
    assert GIVES["stock"].loosen(case, mark, 2).job.plates[mark].count == plate.count + 2


def test_an_opening_gives_way_downwards(case: Case) -> None:
    joint = next(iter(case.job.joints))
    for stated, least in ((None, -0.001), (0.012, 0.011)):
        joints = {joint: replace(case.job.joints[joint], least_opening=stated)}
        own = replace(case, job=replace(case.job, joints=joints))
        after = GIVES["opening"].loosen(own, joint, 0.001).job.joints[joint]
        assert after.least_opening == pytest.approx(least)


def test_what_may_be_left_and_a_locked_joint_in_words(case: Case) -> None:
    """The amount given, in the units of moves, stands in the sentence."""
    first, *rest = case.state.checks
    left = replace(first, tolerance=None, leave_within=0.004)
    joint = next(iter(case.job.joints))
    joints = {joint: replace(case.job.joints[joint], locked_within=0.003)}
    own = replace(
        case,
        state=replace(case.state, checks=(left, *rest)),
        job=replace(case.job, joints=joints),
    )
    text = own.units.move.text
    assert GIVES["leave"].more(own, left.id, 0.001) == (
        f"{text(0.001)} more left of {check_words(left)}"
    )
    assert GIVES["leave"].what(own, left.id) == (
        f"what is left of {check_words(left)}, within {text(0.004)}"
    )
    assert GIVES["locked"].what(own, joint) == f"joint {joint} locked within {text(0.003)}"
    assert GIVES["locked"].more(own, joint, 0.001) == (
        f"joint {joint} may change by {text(0.001)} more"
    )
