"""``fitup joints``: every joint as surveyed, in words."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fitup.checks import side_of
from fitup.checks.bolts import bolts_as_surveyed
from fitup.checks.bores import bores_as_surveyed
from fitup.checks.items import place_of
from fitup.checks.ride import ride_as_surveyed
from fitup.checks.state import not_measured, uncertainties_apart
from fitup.checks.tilt import TILTS
from fitup.cli.crossing import as_surveyed
from fitup.cli.text import job_argument, json_option, say_json, text_table, verdict_json
from fitup.model import Check, Job
from fitup.openjob import OpenJob, open_job
from fitup.sheets.model import OF_STRUCTURE
from fitup.sheets.words import NAMES, NOT_MEASURED, grouped, shown_for, value_words
from fitup.units import DISPLAY


@click.command("joints")
@job_argument
@json_option
def command(job: Path, as_json: bool) -> None:
    """Show every joint as surveyed: gap, step, offset, kink, twist, against tolerance.

    The two sides of a joint are called back and ahead, the sides of the deck LEFT and RIGHT,
    looking ahead. u is the standard uncertainty. Where the coordinates come from observations,
    'u apart' is what it would be if the points shared no set-up and no control.

    \b
    Example:
      fitup joints closure-k1
    """
    opened = open_job(job)
    if as_json:
        say_json(as_json_result(opened))
        return
    for line in opened.survey.understood:
        click.echo(line)
    if not_measured(opened.job, opened.survey):
        click.echo(f"{NOT_MEASURED}: rests on points carried by the design shape, not surveyed")
    for joint in opened.job.joints.values():
        click.echo(f"\nJoint {joint.id}: back {joint.back}, ahead {joint.ahead}, looking ahead")
        own = [c for c in opened.state.checks if c.joint == joint.id]
        click.echo(_table(opened, own))
    say_sources(opened.job)
    for title, table in as_surveyed(opened.job, opened.survey):
        click.echo(f"\n{title}")
        click.echo(table)
    rest = [c for c in opened.state.checks if not c.joint and c.tolerance is not None]
    for title, own in (
        ("Watched points", [c for c in rest if c.point is not None]),
        ("Towers and cables", [c for c in opened.state.checks if c.quantity in OF_STRUCTURE]),
        ("Segments", [c for c in rest if c.quantity in TILTS]),
    ):
        if own:
            click.echo(f"\n{title}")
            click.echo(_table(opened, own))


def say_sources(job: Job) -> None:
    """Print where the tolerances of a job are written, clause and edition."""
    sources = [(NAMES[q], f"{t.source}") for q, t in job.tolerances.items()]
    for names, text in grouped(sources):
        click.echo(f"tolerance of {names}: {text}")


def _table(opened: OpenJob, checks: list[Check]) -> str:
    units = DISPLAY[opened.job.units]
    index = {c.id: i for i, c in enumerate(opened.state.checks)}
    sigma = opened.state.uncertainties
    apart = uncertainties_apart(opened.job, opened.survey, opened.state.checks)
    carried = not_measured(opened.job, opened.survey)
    rows = []
    for check in checks:
        value = float(opened.state.values[index[check.id]])
        shown = shown_for(check.quantity, units)
        tolerance = "-" if check.tolerance is None else shown.text(check.tolerance)
        rows.append(
            [
                place_of(opened.job, check) or "whole joint",
                NAMES[check.quantity],
                value_words(check.quantity, value, units, check.target).words,
                shown.text(float(sigma[index[check.id]])),
                *([] if apart is None else [shown.text(float(apart[index[check.id]]))]),
                tolerance,
                " ".join(
                    w for w in (verdict(check, value), NOT_MEASURED * (check.id in carried)) if w
                ),
            ]
        )
    header = ["where", "what", "as surveyed", "u", "tolerance", ""]
    if apart is not None:
        header.insert(4, "u apart")
    return text_table(header, rows, right=list(range(3, len(header) - 1)))


def verdict(check: Check, value: float) -> str:
    """Return inside or OUTSIDE, how a check is treated, or nothing where it is only reported."""
    if check.leave_within is not None:
        return "left as it is" if abs(value) <= check.leave_within else "left, but TOO FAR"
    if check.tolerance is None:
        return ""
    return "inside" if abs(value - check.target) <= check.tolerance else "OUTSIDE"


def as_json_result(opened: OpenJob) -> dict[str, Any]:
    """Return the joints as surveyed with documented keys (docs/json.md), in SI."""
    sigma = opened.state.uncertainties
    apart = uncertainties_apart(opened.job, opened.survey, opened.state.checks)
    carried = not_measured(opened.job, opened.survey)
    return {
        "job": opened.job.name,
        "verdict": verdict_json(opened.survey.verdict),
        "understood": list(opened.survey.understood),
        "checks": [
            {
                "id": check.id,
                "quantity": check.quantity,
                "joint": check.joint,
                "pair": check.pair,
                "point": check.point,
                "subject": check.subject,
                "item": check.item,
                "spot": check.spot,
                "value_si": float(value),
                "side": side_of(check.quantity, float(value)),
                "uncertainty_si": float(u),
                "uncertainty_apart_si": None if apart is None else float(apart[i]),
                "not_measured": list(carried.get(check.id, ())),
                "target_si": check.target,
                "tolerance_si": check.tolerance,
                "leave_within_si": check.leave_within,
                "source": check.source,
                "reason": check.reason,
                "inside": None
                if check.tolerance is None
                else bool(abs(value - check.target) <= check.tolerance),
            }
            for i, (check, value, u) in enumerate(
                zip(opened.state.checks, opened.state.values, sigma, strict=True)
            )
        ],
        "ride": [
            {"path": r.path, "gap_si": r.gap, "roughness_si": r.roughness}
            for r in ride_as_surveyed(opened.job, opened.survey)
        ],
        "bores": [
            {
                "bore": b.bore,
                "room_si": b.room,
                "rings": [
                    {
                        "centre_si": [float(v) for v in c.centre],
                        "axis": [float(v) for v in c.normal],
                        "radius_si": c.radius,
                        "off_si": float(c.off.max()),
                        "centre_u_si": u,
                    }
                    for c, u in zip(b.circles, b.centre_u, strict=True)
                ],
            }
            for b in bores_as_surveyed(opened.job, opened.survey)
        ],
        "bolts": [
            {
                "group": g.group,
                "holes": g.holes,
                "passing": g.passing,
                "worst_si": g.worst,
                "fitted_si": g.fitted,
            }
            for g in bolts_as_surveyed(opened.job, opened.survey)
        ],
    }
