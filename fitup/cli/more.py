"""``fitup more``: what binds the plan, and what a little more of it would buy."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitup.cli.plan import show_obstacles
from fitup.cli.text import job_argument, json_option, progress, say_json, text_table
from fitup.errors import EXIT_OUTSIDE
from fitup.model import Plan
from fitup.openjob import OpenJob, open_job

if TYPE_CHECKING:
    from fitup.plan.sensitivity import More


@click.command("more")
@job_argument
@json_option
def command(job: Path, as_json: bool) -> int:
    """Show what binds the plan, and what a little more of it would buy.

    Limits, strokes, loads, tolerances and plates that hold the plan back, and how far the sum of
    squares would fall with one step more of each: with plates of any thickness, and with whole
    plates, solved anew. Where tolerance cannot be met, what stands in the way is shown instead,
    and the exit code is 3. Nothing is written.

    \b
    Example:
      fitup more closure-k1
    """
    opened = open_job(job, report=progress)
    plan = opened.plan
    found = _more(opened, plan) if plan.inside else None
    if as_json:
        more = None if found is None else asdict(found)
        conflicts = [asdict(c) for c in plan.conflicts]
        obstacles = [asdict(o) for o in plan.obstacles]
        say_json(
            {
                "job": opened.job.name,
                "inside": plan.inside,
                "more": more,
                "conflicts": conflicts,
                "obstacles": obstacles,
            }
        )
    elif found is None:
        click.echo("TOLERANCE CANNOT BE MET with the job as it stands.")
        show_obstacles(plan)
    else:
        _show(found)
    return 0 if plan.inside else EXIT_OUTSIDE


def _more(opened: OpenJob, plan: Plan) -> More:
    from fitup.plan.priorities import effort_of
    from fitup.plan.sensitivity import what_more_buys
    from fitup.problem.contact import based
    from fitup.problem.relaxations import Case

    effect = opened.planned.influence
    if effect.exact is not None:
        # where seats may lift off, what binds is asked about the plan's own moves
        effect = effect.exact.about(plan.settings())
    case = Case(opened.job, based(opened.state, effect), effect)
    effort = effort_of(opened.job.objectives)
    return what_more_buys(case, plan, effort, progress)


def _show(found: More) -> None:
    click.echo(
        f"The sum of squares is {found.whole:.3f} with whole plates (none is below "
        f"{found.lower:.3f}) and would be {found.any_thickness:.3f} with plates cut to measure, "
        "every tolerance and limit kept."
    )
    if not found.gains:
        click.echo("Nothing that a step more would better binds: the rest comes of whole plates.")
        return
    rows = [
        [
            gain.what,
            gain.change,
            f"{gain.any_thickness:.3f}",
            f"{gain.whole:.3f}",
            f"{gain.lower:.3f}",
            f"{gain.worst:.2f}",
        ]
        for gain in found.gains
    ]
    header = ["what binds", "with a step more", "cut to measure", "whole plates", "none below"]
    click.echo(
        "\nSum of squares with one step more of what binds, each change alone and solved anew"
    )
    click.echo(text_table([*header, "worst ratio"], rows, right=[2, 3, 4, 5]))
    if not found.complete:
        click.echo("The search was over (search_effort): more may bind.")
