"""The order of work: from a plan to the fewest stages of which every state keeps every limit.

Groups of seats rise together to their new settings plus a common clearance, packs are changed,
and all come down together onto the new packs. A group may go a part of its way, onto whole plates
from the stock, where limits ask for it. What cannot be done at once is found by ``sequence``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction

from fitup.model import CheckState, Influence, Job, ObjectiveResult, SeatPlan
from fitup.procedure.bounds import Shares
from fitup.procedure.course import OrderFound
from fitup.procedure.layout import Laid, lay, least_moves, moving_groups
from fitup.procedure.levels import even, parts
from fitup.procedure.meetings import Meetings
from fitup.procedure.needs import Needs, Spend, endless
from fitup.procedure.rows import way_rows
from fitup.procedure.search import find_order

Report = Callable[[str], None]
#: a group is offered rests at all parts of its way up to sixths; many groups, up to quarters
FINE, COARSE, MANY = 6, 4, 12


def best_order(
    job: Job,
    state: CheckState,
    influence: Influence,
    seats: Sequence[SeatPlan],
    report: Report = lambda line: None,
    *,
    in_parts: bool = True,
    spend: Spend = endless,
) -> tuple[Laid, OrderFound]:
    """Return the course, what the search found, and whether parts of moves were offered.

    First only the parts that the greatest travel in one go asks for; where that does not reach a
    bound that holds for any rests, parts are offered to every group. A stage whose procedure lacks
    plates or stroke, or breaks a limit between two readings, is no stage.

    Parameters
    ----------
    job, state, influence
    seats : sequence of SeatPlan
        Where every seat goes.
    report : callable
    in_parts : bool
        Whether more parts may be offered at all.
    spend : callable
        Told what it takes to see whether a stage lacks anything; false: no more is looked at.

    Returns
    -------
    laid : Laid
    outcome : OrderFound
        Its ``stages`` are None where no order was found.
    """
    rows = way_rows(job, state, influence)
    groups = moving_groups(job, seats)
    meetings = Meetings.of(job, state, influence, rows)
    shares = [even(least_moves(job, g)) for g in groups]

    def found(shares: Sequence[Sequence[Fraction]]) -> tuple[Laid, OrderFound]:
        laid = lay(job, groups, rows, shares)
        laid = laid if meetings is None else meetings.tested(laid)
        return _found(laid, Needs(job, influence, laid, meetings, spend), report)

    laid, outcome = found(shares)
    if not in_parts or (outcome.stages is not None and len(outcome.stages) == any_rest_bound(laid)):
        return laid, outcome
    most = FINE if len(groups) <= MANY else COARSE
    finer = [tuple(sorted({*parts(most), *own})) for own in shares]
    fine, better = found(finer)
    if better.stages is None and outcome.stages is not None:
        return laid, replace(outcome, lower=better.lower, closed=False)
    if (
        better.stages is not None
        and outcome.stages is not None
        and len(outcome.stages) <= len(better.stages)
    ):
        # the same number with fewer rests is less work
        return laid, replace(outcome, lower=better.lower, closed=better.closed)
    return fine, better


def _found(laid: Laid, needs: Needs, report: Report) -> tuple[Laid, OrderFound]:
    """Find an order; where a stage of it cannot be worked, find it again, every stage tried."""
    outcome = find_order(laid.course, report=report)
    if outcome.stages is None or needs.met(outcome.stages):
        return laid, outcome
    report("order of stages: plates, strokes and loads followed through every stage")
    counted = find_order(needs.course(), report=report)
    if needs.stopped:
        counted = replace(counted, lower=outcome.lower, closed=False)
    return laid, counted


def any_rest_bound(laid: Laid) -> int:
    """Return a number of stages that no order has fewer of, wherever groups may rest."""
    need = [float(n) for n in laid.need]
    return Shares(laid.course, need).least(sum(need), need)


def stages_result(job: Job, laid: Laid, outcome: OrderFound) -> ObjectiveResult:
    """Say how few stages there are and what is known of fewer.

    Parameters
    ----------
    job : Job
    laid, outcome
        As :func:`best_order` returns them, with an order that was found.
    """
    assert outcome.stages is not None
    count = len(outcome.stages)
    crews = laid.course.crews
    hands = "one group at a time" if crews == 1 else f"at most {crews} groups at once"
    moves = sum(len(stage) for stage in outcome.stages)
    bound = any_rest_bound(laid)
    text = f"{moves} group moves, {hands}"
    if count == bound:
        text += "; no order has fewer, wherever the groups might rest between"
        return ObjectiveResult("stages", count, count, True, text)
    most = FINE if len(laid.groups) <= MANY else COARSE
    rests = f"groups may rest at whole plates near all parts of their way up to 1/{most}"
    text += f"; {rests}; with any rests no order has fewer than {bound}"
    lower = max(outcome.lower, bound)
    return ObjectiveResult("stages", count, lower, outcome.closed and lower == count, text)
