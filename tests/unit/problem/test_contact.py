"""Plans of a structure that may leave its seats: a straight line is not believed beyond a piece."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from fitup.errors import NoPlan
from fitup.frames import Array
from fitup.model import CheckState, Influence, ObjectiveResult, Plan, SeatPlan
from fitup.model.influence import Stay
from fitup.problem.contact import _Tried, plan_with_contact

STATE = CheckState((), np.array([0.010]), np.zeros((1, 1)))


class Rocker:
    """One check; raising seat S lowers it by half, until S comes free at -4 mm and all stops."""

    may_lift = frozenset({"S"})

    def state(self, x: Array) -> tuple[Array, Array]:
        move = max(float(x[0]), -0.004)
        return np.array([0.5 * move]), np.array([1e5 + 25e6 * move])

    def about(self, x: Array) -> Influence:
        held = 1.0 if x[0] > -0.004 else 0.0
        slope, stiff = np.array([[0.5 * held]]), np.array([[25e6 * held]])
        change, r = self.state(x)
        shift = change - slope @ x
        return Influence(
            ("C",), ("S",), slope, stiff, r - stiff @ x, "frame", (), shift, exact=self
        )

    def stays(self, x: Array) -> tuple[Stay, ...]:
        carries = x[0] > -0.004
        row = np.array([25e6 if carries else -1.0])
        return (Stay("S", bool(carries), 1e5 if carries else -0.004, row),)


def plan(setting: float, miss: float) -> Plan:
    seat = SeatPlan("S", (), (), (), setting, True)
    objective = ObjectiveResult("worst ratio", miss, miss, True, "least")
    return Plan((seat,), (), (objective,), "by hand", (setting,), True)


def maker(travel: float) -> Callable[[CheckState, Influence, bool], Plan]:
    """Bring the check to zero as the influence says, within the travel and what has to stay."""

    def make(state: CheckState, influence: Influence, explain: bool) -> Plan:
        y, slope = float(state.values[0]), float(influence.A[0, 0])
        x = max(-y / slope if slope else 0.0, -travel)
        for stay in influence.stays:
            limit = -stay.now / float(stay.row[0])
            x = max(x, limit) if stay.row[0] > 0.0 else min(x, limit)
        return plan(x, abs(y + slope * x))

    return make


def test_straight_line_that_holds_is_kept() -> None:
    made = plan_with_contact(STATE, Rocker().about(np.zeros(1)), maker(0.003), print)
    assert (made.seats[0].setting, made.method) == (-0.003, "by hand")
    assert made.objectives[0].proven


def test_line_that_is_too_long_is_cut_where_the_seat_comes_free() -> None:
    stated: list[str] = []
    made = plan_with_contact(STATE, Rocker().about(np.zeros(1)), maker(0.030), stated.append)
    assert made.seats[0].setting == pytest.approx(-0.004)
    # 10 mm less the 2 mm that can be had
    assert made.objectives[0].upper == pytest.approx(0.008)
    assert (made.objectives[0].lower, made.objectives[0].proven) == (0.0, False)
    assert made.objectives[0].text == "least, while the same seats carry"
    # it would have gone down by 20 mm: a reaction of -400 kN, and a check 8 mm from where it is
    assert made.method == (
        "by hand; the best of 2 plans, for the first would change which seats carry, and a "
        "straight line miss a check by 8.0 mm or mm/m and a load by 400 kN: S left free"
    )
    assert stated == [
        "the moves change which seats carry: plan with those that carry now",
        "plan with the seats that carry then",
        "the moves change which seats carry: plan with those that carry now",
    ]


def test_no_plan_that_holds() -> None:
    def make(state: CheckState, influence: Influence, explain: bool) -> Plan:
        if influence.stays or not influence.A.any():
            raise NoPlan("none")
        return plan(-0.020, 0.0)

    with pytest.raises(NoPlan) as caught:
        plan_with_contact(STATE, Rocker().about(np.zeros(1)), make, lambda line: None)
    assert str(caught.value) == (
        "every plan changes which seats carry, and none was found that keeps the limits then; "
        "give seats that must stay in contact a least bearing above zero, or more travel"
    )


@pytest.mark.parametrize(
    ("worst", "squares", "score"),
    [(0.6, 0.3, (1.0, 0.3)), (1.0, 0.5, (1.0, 0.5)), (1.4, 2.0, (1.4, 2.0))],
)
def test_ratios_inside_count_alike(
    worst: float, squares: float, score: tuple[float, float]
) -> None:
    """Below one the worst ratio says nothing more; the squares then decide."""
    made = plan(0.0, worst)
    second = ObjectiveResult("least squares", squares, squares, True, "least")
    made = replace(made, objectives=(*made.objectives, second))
    assert _Tried(made, Rocker().about(np.zeros(1)), 0.0, 0.0).score == score
