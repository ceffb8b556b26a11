"""``fitup others``: the best plans that work at other seats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import click

from fitup.certify import Certificate
from fitup.cli.text import (
    finishing_on_ctrl_c,
    job_argument,
    json_option,
    progress,
    say_json,
    stop_asked,
    text_table,
)
from fitup.errors import EXIT_INTERRUPTED, CertificateRefused, NoPlan, NoSafeOrder
from fitup.model import Plan
from fitup.openjob import OpenJob, open_job

#: where not every check can be inside, other plans may be worse by this share
_WORSE: Final = 1.1
_END: Final = (
    "No more were found: either every other plan leaves a check outside or breaks a limit, or the "
    "search was over (search_effort {effort:g})."
)


@dataclass(frozen=True, eq=False)
class _PlanRow:
    """One plan with its certificate, the seats left alone for it, and what is proven of it."""

    plan: Plan
    certificate: Certificate
    left_alone: tuple[str, ...]
    """What has to be left alone for it."""
    squares: float
    least: float
    """No plan that leaves alone a seat of each plan above has a smaller sum of squares."""

    @property
    def disturbed(self) -> tuple[str, ...]:
        return tuple(s.seat for s in self.plan.seats if s.disturbed)

    def of(self, objective: str) -> float:
        """Return the certified value of an objective."""
        return self.certificate.summary.of(objective)


@click.command("others")
@job_argument
@click.option("--plans", "count", type=click.IntRange(2, 20), default=5, show_default=True)
@json_option
def command(job: Path, count: int, as_json: bool) -> int:
    """Show the best plans that work at other seats than the plan does.

    Each leaves alone at least one seat of every plan above it, and of all such plans has the
    least sum of squares. Each is certified. To have one of them, write the line that stands below
    the table into job.toml. Nothing is written; Ctrl-C ends the search and shows what was found.

    \b
    Example:
      fitup others closure-k1 --plans 4
    """
    opened = open_job(job, report=progress, stop=stop_asked, explain=False)
    with finishing_on_ctrl_c():
        rows, more = _rows(opened, count)
        stopped = stop_asked()
    if as_json:
        say_json(_as_json(opened, rows, more, stopped))
    else:
        _show(opened, rows, more, stopped)
    return EXIT_INTERRUPTED if stopped else 0


def _rows(opened: OpenJob, count: int) -> tuple[list[_PlanRow], bool]:
    """Return the plan and the others, and whether there may be more."""
    from fitup.plan.alternatives import Elsewhere, other_places
    from fitup.plan.priorities import effort_of
    from fitup.problem import build_problem

    job, effect = opened.job, opened.influence
    problem = build_problem(job, opened.state, effect)

    def row(other: OpenJob, alone: tuple[str, ...], least: float) -> _PlanRow:
        made, certified = other.plan, other.certificate
        squares = certified.summary.least_squares
        # where seats may lift off, a straight line bounds nothing
        return _PlanRow(
            made, certified, alone, squares, min(least, squares) if effect.exact is None else 0.0
        )

    plan = opened.plan
    least = next(w.lower for w in plan.objectives if w.name == "least squares")
    first = row(opened, (), least)
    rows = [first]
    if not first.disturbed:
        return rows, False
    column = {name: i for i, name in enumerate(problem.seats)}

    def settle(found: Elsewhere) -> frozenset[int] | None:
        alone = (*job.objectives.leave_alone, *found.left_alone)
        objectives = replace(job.objectives, leave_alone=alone)
        try:
            other = opened.changed(replace(job, objectives=objectives))
            rows.append(row(other, found.left_alone, found.lower))
        except (NoPlan, NoSafeOrder, CertificateRefused) as error:
            progress(f"leaving alone {', '.join(found.left_alone)} gives no plan: {error}")
            return None
        return frozenset(column[s] for s in rows[-1].disturbed)

    worst = first.of("worst ratio")
    goal = job.objectives.worst_ratio_goal
    cap = goal * (1.0 + 1e-9) if worst <= goal else worst * _WORSE
    effort = effort_of(job.objectives, stop_asked)
    start = frozenset(column[s] for s in first.disturbed)
    for _ in other_places(problem, cap, start, settle, effort, progress):
        if len(rows) == count:
            return rows, True
    return rows, False


def _show(opened: OpenJob, rows: Sequence[_PlanRow], more: bool, stopped: bool) -> None:
    click.echo(_table(rows))
    click.echo(
        "\nPlan 1 is that of fitup plan. Every other leaves alone at least one seat of each plan "
        "above it; of all such plans none has a sum of squares below the number in its row. Every "
        "plan is certified."
    )
    if stopped:
        click.echo("STOPPED BY HAND: there may be more.")
    elif not more:
        click.echo(_END.format(effort=opened.job.objectives.search_effort))
    if len(rows) > 1:
        click.echo("\nTo have one of them, write its line into job.toml under [objectives]:")
        own = opened.job.objectives.leave_alone
        for number, row in enumerate(rows[1:], 2):
            names = ", ".join(f'"{name}"' for name in (*own, *row.left_alone))
            click.echo(f"  plan {number}: leave_alone = [{names}]")


def _table(rows: Sequence[_PlanRow]) -> str:
    body = []
    for number, row in enumerate(rows, 1):
        first = rows[0].disturbed
        body.append(
            [
                str(number),
                f"{row.of('worst ratio'):.2f}",
                "inside" if row.plan.inside else "OUTSIDE",
                f"{row.squares:.3f}",
                f"{row.least:.3f}" if row.least > 0.0 else "-",
                str(len(row.disturbed)),
                f"{row.of('plates handled'):.0f}",
                f"{row.of('stages'):.0f}",
                ", ".join(s for s in first if s not in row.disturbed) or "-",
                ", ".join(s for s in row.disturbed if s not in first) or "-",
            ]
        )
    header = ["plan", "worst ratio", "", "squares", "none below", "seats", "plates", "stages"]
    header += ["not at (of plan 1)", "but also at"]
    return text_table(header, body, right=[0, 1, 3, 4, 5, 6, 7])


def _as_json(
    opened: OpenJob, rows: Sequence[_PlanRow], more: bool, stopped: bool
) -> dict[str, Any]:
    return {
        "job": opened.job.name,
        "stopped": stopped,
        "more": more,
        "plans": [
            {
                "worst_ratio": row.of("worst ratio"),
                "inside": row.plan.inside,
                "squares": row.squares,
                "squares_least": row.least,
                "seats": list(row.disturbed),
                "plates_handled": int(row.of("plates handled")),
                "stages": int(row.of("stages")),
                "leave_alone": [*opened.job.objectives.leave_alone, *row.left_alone],
            }
            for row in rows
        ],
    }
