"""``fitup budget``: where the uncertainty comes from, and what to measure next."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fitup.checks.items import place_of
from fitup.cli.text import job_argument, json_option, progress, say_json, text_table
from fitup.model import Job, Plan
from fitup.openjob import OpenJob, open_job
from fitup.record.check_code import check_code
from fitup.sheets.model import OF_POINTS
from fitup.sheets.trust_words import (
    main_source_line,
    percent,
    risk_words,
    shot_line,
    verdict_word,
)
from fitup.sheets.words import NAMES, shown_for, value_words
from fitup.trust import CheckTrust, JointTrust, PlannedShot
from fitup.trust.box import ERROR
from fitup.trust.joint import risk_of
from fitup.trust.montecarlo import DRAWS
from fitup.trust.trust_report import TrustReport
from fitup.units import DISPLAY

#: sources listed for each joint
_LISTED = 8


@click.command("budget")
@job_argument
@click.option("--as-surveyed", is_flag=True, help="The joints as they stand, without a plan.")
@json_option
def command(job: Path, as_surveyed: bool, as_json: bool) -> None:
    """Show how sure each check is, where the uncertainty comes from, and what to measure next.

    Checks are those after the plan, for the reference temperature. Uncertainties of survey,
    plates, nuts, bedding, stiffness and temperature are carried through the whole chain, and
    once more by random draws as a check.

    \b
    Example:
      fitup budget closure-k1
    """
    opened = open_job(job, report=progress)
    plan = None if as_surveyed else opened.plan
    stated = opened.trust(plan, DRAWS)
    if as_json:
        say_json(as_json_result(opened, plan, stated))
    else:
        _show(opened.job, plan, stated)


def _error_words(joint: JointTrust) -> str:
    """Say how far the integration may be off, where that could be seen."""
    return f", known within {100.0 * joint.error:.2f} %" if joint.error > ERROR else ""


def _show(job: Job, plan: Plan | None, stated: TrustReport) -> None:
    units = DISPLAY[job.units]
    when = "as surveyed" if plan is None else f"after plan {check_code(plan.id)}"
    for joint, shot in zip(stated.joints, stated.shots, strict=True):
        click.echo(f"\n{_title(job, joint.joint)}, {when}, at the reference temperature")
        click.echo(trust_table(job, joint))
        drawn = stated.drawn(joint)
        click.echo(
            f"All of them inside at once: {percent(joint.probability)}{_error_words(joint)} "
            f"(by {len(stated.draws.values)} draws: {percent(drawn)})"
        )
        if shot is None:
            continue
        click.echo("\nWhere the uncertainty comes from")
        rows = [[percent(s.share), s.source.text] for s in joint.shares[:_LISTED]]
        click.echo(text_table(["share", "source"], rows, right=[0]))
        click.echo(f"{main_source_line(joint)}.")
        click.echo(f"Next most useful measurement: {shot_line(shot, units)}.")
    click.echo("")
    if stated.budget.not_counted:
        left_out = ", ".join(stated.budget.not_counted)
        click.echo(f"Not counted, for job.toml says nothing: {left_out}")
    apart = stated.apart
    click.echo(
        f"Linear propagation and draws differ by at most {percent(apart)} in any uncertainty."
    )
    click.echo(
        f"Inside and OUTSIDE are said at a risk of {risk_words(risk_of(job))}; UNDECIDED between."
    )


def _title(job: Job, name: str) -> str:
    if not name:
        return "Watched points"
    joint = job.joints[name]
    return f"Joint {name}: back {joint.back}, ahead {joint.ahead}, looking ahead"


def trust_table(job: Job, joint: JointTrust, value: str = "expected") -> str:
    """Every check of the joint; points that are surely inside are summed up in a line."""
    sure = [c for c in joint.checks if c.check.quantity in OF_POINTS and c.conformity == "inside"]
    listed = [c for c in joint.checks if c not in sure]
    header = ["where", "what", value, "u", "allowed", "inside with", ""]
    table = text_table(header, [_row(job, c) for c in listed], right=[3, 4, 5]) if listed else ""
    if not sure:
        return table
    least = percent(min(c.probability for c in sure))
    line = f"{len(sure)} levels, lines and stations of points: inside, the least sure with {least}"
    return f"{table}\n{line}".lstrip()


def _row(job: Job, stated: CheckTrust) -> list[str]:
    units = DISPLAY[job.units]
    check = stated.check
    shown = shown_for(check.quantity, units)
    return [
        place_of(job, check) or "whole joint",
        NAMES[check.quantity],
        value_words(check.quantity, stated.value, units, check.target).words,
        shown.text(stated.u),
        shown.text(stated.allowed),
        percent(stated.probability),
        verdict_word(stated.conformity),
    ]


def as_json_result(opened: OpenJob, plan: Plan | None, stated: TrustReport) -> dict[str, Any]:
    """Return the budget with documented keys (docs/json.md), in SI."""
    return {
        "job": opened.job.name,
        "plan_id": None if plan is None else plan.id,
        "risk": risk_of(opened.job),
        "not_counted": list(stated.budget.not_counted),
        "draws": len(stated.draws.values),
        "apart": stated.apart,
        "joints": [
            {
                "joint": joint.joint,
                "probability": joint.probability,
                "probability_error": joint.error,
                "probability_drawn": stated.drawn(joint),
                "checks": [check_json(c) for c in joint.checks],
                "shares": [
                    {
                        "kind": s.source.kind,
                        "name": s.source.name,
                        "text": s.source.text,
                        "share": s.share,
                    }
                    for s in joint.shares
                ],
            }
            for joint in stated.joints
        ],
        "shots": [
            {"joint": joint.joint, **_shot_json(shot)}
            for joint, shot in zip(stated.joints, stated.shots, strict=True)
            if shot is not None
        ],
    }


def check_json(stated: CheckTrust) -> dict[str, Any]:
    """Return one check with what may be said of it."""
    return {
        "id": stated.check.id,
        "value_si": stated.value,
        "u_si": stated.u,
        "target_si": stated.check.target,
        "allowed_si": stated.allowed,
        "probability": stated.probability,
        "conformity": stated.conformity,
    }


def _shot_json(shot: PlannedShot) -> dict[str, Any]:
    return {
        "kind": shot.kind,
        "name": shot.name,
        "quantity": shot.quantity,
        "u_si": shot.u,
        "text": shot.text,
        "probability": shot.probability,
        "probability_now": shot.probability_now,
        "worst": shot.worst,
        "worst_now": shot.worst_now,
    }
