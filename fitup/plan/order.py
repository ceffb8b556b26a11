"""The order of a plan's moves: the fewest safe stages, or which limits forbid every order."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from fitup.errors import NoSafeOrder
from fitup.model import CheckState, Influence, Job, ObjectiveResult, SeatPlan, Stage
from fitup.plan.no_safe_order import explain
from fitup.procedure.course import Move
from fitup.procedure.layout import Laid
from fitup.procedure.plan_stages import best_order, stages_result
from fitup.procedure.readings import carried_out
from fitup.procedure.tell import loads_of, with_orders

Report = Callable[[str], None]


def order_stages(
    job: Job,
    state: CheckState,
    influence: Influence,
    seats: Sequence[SeatPlan],
    report: Report = lambda line: None,
) -> tuple[tuple[Stage, ...], ObjectiveResult]:
    """Return the stages of a plan, as few as can be, and how few that could be.

    Parameters
    ----------
    job, state, influence
        As the plan is made from.
    seats : sequence of SeatPlan
        Where every seat goes.
    report : callable, optional
        Called with progress, a line at a time.

    Raises
    ------
    NoSafeOrder
        If no order keeps every limit on the way; names what forbids it.
    """
    laid, outcome = best_order(job, state, influence, seats, report)
    if outcome.stages is None:
        raise NoSafeOrder(explain(job, state, influence, seats, laid, outcome))
    return stages_of_order(job, influence, laid, outcome.stages), stages_result(job, laid, outcome)


def stages_of_order(
    job: Job, influence: Influence, laid: Laid, order: Sequence[Sequence[Move]]
) -> tuple[Stage, ...]:
    """Return the stages of an order of moves with what every crew does, in the order of time.

    Parameters
    ----------
    job, influence
    laid : Laid
        The course that the moves belong to.
    order : sequence of sequence of Move
        The moves of every stage.
    """
    return with_orders(job, loads_of(job, influence), carried_out(job, laid, order))
