"""``fitup compare``: the re-survey against what was predicted for the moves as done."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fitup.checks import joint_state, side_of
from fitup.checks.items import place_of
from fitup.cli.text import job_argument, json_option, say_json, text_table
from fitup.jobfolder import read_job
from fitup.loop import Comparison, Round, as_assumed, compare, one_round
from fitup.loop.compare import CheckDifference, LoadDifference
from fitup.loop.words import whole_words
from fitup.model import Job
from fitup.openjob import open_job
from fitup.sheets.words import NAMES, plain_value, shown_for
from fitup.structure import with_thermal_response
from fitup.survey import read_survey
from fitup.units import DISPLAY

later_argument = click.argument("later", metavar="NEWJOB", type=click.Path(path_type=Path))


@click.command("compare")
@job_argument
@later_argument
@json_option
def command(job: Path, later: Path, as_json: bool) -> None:
    """Hold the re-survey of NEWJOB against what JOB and the moves as done predicted for it.

    NEWJOB is the job after the moves, as ``fitup next`` writes it. Each difference stands beside
    its standard uncertainty u, from both surveys and the plates or jacks.

    \b
    Example:
      fitup compare closure-k1 closure-k1-b
    """
    one = load_round(job, later)
    comparison = compare(one)
    if as_json:
        say_json(as_json_result(one, comparison))
        return
    show(one.job, comparison)


def load_round(job: Path, later: Path) -> Round:
    """Load the two jobs of one round."""
    first = open_job(job)
    after = as_assumed(with_thermal_response(read_job(later)), first.job)
    state = joint_state(after, read_survey(later, after))
    return one_round(first.job, first.state, first.influence, after, state)


def show(job: Job, comparison: Comparison) -> None:
    """Print every check and every measured load against its prediction."""
    for joint in job.joints.values():
        own = [d for d in comparison.checks if d.check.joint == joint.id]
        click.echo(f"\nJoint {joint.id}: back {joint.back}, ahead {joint.ahead}, looking ahead")
        click.echo(_table(job, own))
    rest = [d for d in comparison.checks if not d.check.joint]
    if rest:
        click.echo("\nWatched points, towers and cables")
        click.echo(_table(job, rest))
    if comparison.loads:
        click.echo("\nReactions measured before and after: how they changed")
        click.echo(_loads(job, comparison.loads))
    reference = DISPLAY[job.units].temperature.text(job.reference_temperature)
    click.echo(f"\nAll values at {reference}; on site = at the steel of the new survey.")
    for verdict in ("NOT as predicted", "doubtful"):
        named = [d.check.id for d in comparison.checks if d.verdict == verdict]
        named += [f"load of {d.seat}" for d in comparison.loads if d.verdict == verdict]
        if named:
            click.echo(f"{verdict}: {', '.join(named)}")
    click.echo(whole_words(comparison))


def _table(job: Job, differences: list[CheckDifference]) -> str:
    units = DISPLAY[job.units]
    rows = []
    for one in differences:
        shown = shown_for(one.check.quantity, units)
        rows.append(
            [
                place_of(job, one.check) or "whole joint",
                NAMES[one.check.quantity],
                *(
                    plain_value(one.check.quantity, value, units).words
                    for value in (one.predicted, one.found, one.predicted_there)
                ),
                shown.text(abs(one.difference)),
                shown.text(one.uncertainty),
                f"{abs(one.ratio):.1f}",
                one.verdict,
            ]
        )
    header = ["where", "what", "predicted", "found", "predicted on site"]
    header += ["apart", "u", "apart/u", ""]
    return text_table(header, rows, right=[5, 6, 7])


def _loads(job: Job, loads: tuple[LoadDifference, ...]) -> str:
    force = DISPLAY[job.units].force
    rows = [
        [
            one.seat,
            _change(job, one.predicted),
            _change(job, one.found),
            force.text(abs(one.found - one.predicted)),
            force.text(one.uncertainty),
            f"{abs(one.ratio):.1f}",
            one.verdict,
        ]
        for one in loads
    ]
    return text_table(["seat", "predicted", "found", "apart", "u", "apart/u", ""], rows, [3, 4, 5])


def _change(job: Job, value: float) -> str:
    force = DISPLAY[job.units].force
    if force.number(value) == 0.0:
        return "no change"
    return f"{force.text(abs(value))} {'more' if value > 0.0 else 'less'}"


def as_json_result(one: Round, comparison: Comparison) -> dict[str, Any]:
    """Return a comparison with documented keys (docs/json.md), in SI."""
    return {
        "job": one.job.name,
        "checks": [
            {
                "id": d.check.id,
                "quantity": d.check.quantity,
                "predicted_si": d.predicted,
                "found_si": d.found,
                "predicted_on_site_si": d.predicted_there,
                "found_on_site_si": d.found_there,
                "side": side_of(d.check.quantity, d.difference),
                "uncertainty_si": d.uncertainty,
                "ratio": d.ratio,
                "verdict": d.verdict,
            }
            for d in comparison.checks
        ],
        "loads": [
            {
                "seat": d.seat,
                "predicted_change_si": d.predicted,
                "found_change_si": d.found,
                "uncertainty_si": d.uncertainty,
                "ratio": d.ratio,
                "verdict": d.verdict,
            }
            for d in comparison.loads
        ],
        "chi_square": comparison.chi_square,
        "degrees": comparison.degrees,
        "limit": comparison.limit,
        "probability": comparison.probability,
        "as_predicted": comparison.as_predicted,
        "single": list(comparison.single),
    }
