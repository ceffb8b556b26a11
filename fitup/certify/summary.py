"""How good the printed plan is, from what its packs do: worst ratio, squares, work, stages."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from fitup.certify.facts import CheckFact, SeatFact, SummaryFact
from fitup.certify.limits import Work
from fitup.frames import Array

#: what moves themselves add to the squares: this much for a seat moved by so many metres
#: (docs/model.md, section 5)
_STILL, _FAR = 0.01, 0.010
#: stated and recomputed values may differ by this, and by what the two paths differ in the checks
_CARE = 1e-5


def summarise(work: Work, checks: Sequence[CheckFact], seats: Sequence[SeatFact]) -> SummaryFact:
    """Return how good the printed plan is.

    Parameters
    ----------
    work : Work
    checks : sequence of CheckFact
        As they are after the plan, in the order of the state.
    seats : sequence of SeatFact
    """
    ratios = [r for r, _ in _weighted(work, checks)]
    squares = sum(w * r**2 for r, w in _weighted(work, checks))
    packed = [s for s in seats if Counter(s.pack_now) != Counter(s.build_up)]
    turned = [s for s in seats if s.held_by == "nut" and s.setting != 0.0]
    return SummaryFact(
        worst_ratio=max(ratios, default=0.0),
        least_squares=squares + sum(_STILL * (s.setting / _FAR) ** 2 for s in seats),
        seats_disturbed=len(packed) + len(turned),
        plates_handled=sum(len(s.out) + len(s.put_in) for s in packed),
        plates_in_new_packs=sum(len(s.build_up) for s in packed),
        stages=len({stage.number for stage in work.plan.stages}),
    )


def _weighted(work: Work, checks: Sequence[CheckFact]) -> list[tuple[float, float]]:
    """Return deviation over tolerance and weight of every check that is worked on."""
    return [
        (abs(fact.after - fact.target) / fact.tolerance, check.weight)
        for check, fact in zip(work.state.checks, checks, strict=True)
        if fact.tolerance is not None and check.weight > 0.0
    ]


def stated_otherwise(
    work: Work, summary: SummaryFact, checks: Sequence[CheckFact], apart: Array
) -> list[str]:
    """Return where the plan states another value than what was recomputed, in words.

    Parameters
    ----------
    work : Work
    summary : SummaryFact
    checks : sequence of CheckFact
    apart : Array (m,)
        By how much the linear influence and the recomputation differ in every check.
    """
    near = _nearness(work, checks, apart)
    wrong = []
    for objective in work.plan.objectives:
        try:
            value = summary.of(objective.name)
        except KeyError:
            wrong.append(f"the plan states '{objective.name}', which nothing recomputes")
            continue
        if not abs(objective.upper - value) <= near.get(objective.name, 0.0):
            wrong.append(
                f"the plan states {objective.name} {objective.upper:.4g}, "
                f"its packs give {value:.4g}"
            )
    return wrong


def _nearness(work: Work, checks: Sequence[CheckFact], apart: Array) -> dict[str, float]:
    """Return how far a stated value may be off; counts may not be off at all."""
    off = [
        abs(float(a)) / fact.tolerance
        for a, check, fact in zip(apart, work.state.checks, checks, strict=True)
        if fact.tolerance is not None and check.weight > 0.0
    ]
    both = zip(_weighted(work, checks), off, strict=True)
    squares = sum(w * d * (2.0 * r + d) for (r, w), d in both)
    total = sum(w * r**2 for r, w in _weighted(work, checks))
    return {
        "worst ratio": max(off, default=0.0) + _CARE,
        "least squares": squares + _CARE * max(1.0, total),
    }
