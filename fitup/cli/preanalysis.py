"""``fitup preanalysis``: before going out, what planned set-ups would give and what they miss."""

from __future__ import annotations

from math import isfinite
from pathlib import Path
from typing import Any

import click

from fitup.checks.definitions import parts_of
from fitup.checks.items import place_of
from fitup.checks.preanalysis import (
    Preanalysis,
    SightTried,
    preanalysis,
    sights_to_add,
    sights_to_leave_out,
)
from fitup.checks.reliability import Unseen
from fitup.cli.text import job_argument, json_option, progress, say_json, text_table
from fitup.jobfolder import read_job
from fitup.model import Job
from fitup.network.planned import read_planned
from fitup.sheets.survey_words import KINDS
from fitup.sheets.words import NAMES, shown_for
from fitup.structure import with_thermal_response
from fitup.trust.conformity import accepted, allowed_of
from fitup.trust.joint import risk_of
from fitup.units import DISPLAY

#: sights that are named as worth adding, or as least needed
_NAMED = 5
#: a sight that changes the score by less is not worth a walk
_WORTH = 0.02
#: one that may be left out makes no check worse by more than this share of its tolerance
_SPARE = 0.01


@click.command("preanalysis")
@job_argument
@click.argument("setups", metavar="SETUPS", type=click.Path(path_type=Path, readable=False))
@json_option
def command(job: Path, setups: Path, as_json: bool) -> None:
    """Say before going out how sure the set-ups of SETUPS would make every check.

    SETUPS is a table of planned set-ups: id, E, N, H of the instrument (or over and
    instrument_height), and targets, where not all are to be sighted. Uncertainties are those of
    instruments.csv and control.csv.

    \b
    Example:
      fitup preanalysis closure-k1 closure-k1/setups.csv
    """
    loaded = with_thermal_response(read_job(job))
    planned = read_planned(setups, loaded)
    found = preanalysis(loaded, planned)
    progress("trying sights")
    more, fewer = sights_to_add(loaded, planned), sights_to_leave_out(loaded, planned)
    if as_json:
        say_json(as_json_result(loaded, found, more, fewer))
        return
    _show(loaded, found)
    if found.unchecked:
        click.echo(
            f"\nNOTHING CHECKS {', '.join(found.unchecked)}: a reading there may be off by any "
            "amount and nobody would know; sight each from two set-ups"
        )
    for line in (*_control_lines(loaded, found), *_sight_lines(found, more, fewer)):
        click.echo(line)


def _show(job: Job, found: Preanalysis) -> None:
    units, unseen = DISPLAY[job.units], {one.check.id: one for one in found.unseen}
    rows = []
    for check, u, effect in zip(found.state.checks, found.u, found.effects, strict=True):
        allowed = allowed_of(check)
        if allowed is None:
            continue
        shown = shown_for(check.quantity, units)
        within = accepted(float(u), allowed, risk_of(job))
        alone = set(parts_of(job, check).points) & set(found.unchecked)
        rows.append(
            [
                place_of(job, check) or "whole joint",
                NAMES[check.quantity],
                shown.text(allowed),
                shown.text(float(u)),
                "NEVER" if within is None else f"up to {shown.text(within)}",
                "ANY" if alone else shown.text(float(effect)),
                "nothing checks it" if alone else _worst_words(job, unseen.get(check.id)),
            ]
        )
    header = ["where", "what", "tolerance", "u", "can be called inside", "unseen error makes", "it"]
    click.echo(text_table(header, rows, right=[2, 3, 4, 5]))
    never = [f"{row[0]} {row[1]}" for row in rows if row[4] == "NEVER"]
    if never:
        click.echo(
            f"\nNOT GOOD ENOUGH: whatever is found, {', '.join(never)} could not be called inside "
            f"at a risk of {100.0 * risk_of(job):g} %: sight more, or nearer, or with a better "
            "instrument."
        )


def _worst_words(job: Job, one: Unseen | None) -> str:
    if one is None:
        return ""
    setup, target, *kind = one.observation.split("/")
    size = DISPLAY[job.units].move.text(abs(one.at_target))
    if not kind:
        return f"{size} in the {KINDS[one.kind]} of {setup}"
    return f"{size} in the {KINDS[one.kind]} {setup} to {target}"


def _control_lines(job: Job, found: Preanalysis) -> list[str]:
    move = DISPLAY[job.units].move
    lines = ["\nControl"]
    sizes = sorted(found.control.items(), key=lambda item: -item[1])
    lines += [
        f"  {name}: a movement up to {move.text(size)} would pass unseen" for name, size in sizes
    ]
    if found.untested:
        lines.append(
            f"  {', '.join(found.untested)}: nothing would show a movement; sight three control "
            "points or more, each in direction, zenith angle and distance"
        )
    if len(lines) == 1:
        lines.append("  no control point with coordinates is sighted")
    return lines


def _sight_lines(
    found: Preanalysis, more: tuple[SightTried, ...], fewer: tuple[SightTried, ...]
) -> list[str]:
    lines = ["\nSights, each tried alone (worst u and unseen effect, as shares of a tolerance)"]
    useful = [one for one in more if one.gain >= _WORTH][:_NAMED]
    lines += [f"  add {_sight(one)}: {_shares(one)}" for one in useful]
    if not useful:
        lines.append("  no single sight more would make much of a difference")
    spare = [one for one in fewer if one.worse <= _SPARE][:_NAMED]
    lines += [f"  may be left out: {_sight(one)}: {_shares(one)}" for one in spare]
    if not spare:
        lines.append("  no sight to the deck could be left out without loss")
    return lines


def _sight(one: SightTried) -> str:
    return f"{one.setup} to {one.target}"


def _shares(one: SightTried) -> str:
    return f"u {one.u:.2f}, unseen {one.effect:.2f}"


def as_json_result(
    job: Job, found: Preanalysis, more: tuple[SightTried, ...], fewer: tuple[SightTried, ...]
) -> dict[str, Any]:
    """Return a preanalysis with documented keys (docs/json.md), in SI."""
    unseen = {one.check.id: one for one in found.unseen}
    return {
        "job": job.name,
        "checks": [
            {
                "id": check.id,
                "tolerance_si": check.tolerance,
                "uncertainty_si": float(u),
                "unseen_effect_si": float(effect),
                "unseen_observation": unseen[check.id].observation if check.id in unseen else None,
                "unseen_at_target": unseen[check.id].at_target if check.id in unseen else None,
            }
            for check, u, effect in zip(found.state.checks, found.u, found.effects, strict=True)
        ],
        "control": [{"id": name, "unseen": size} for name, size in found.control.items()],
        "untested": list(found.untested),
        "unchecked": list(found.unchecked),
        "add": [_sight_json(one) for one in more],
        "leave_out": [_sight_json(one) for one in fewer],
    }


def _sight_json(one: SightTried) -> dict[str, Any]:
    return {
        "setup": one.setup,
        "target": one.target,
        "gain": one.gain,
        "worse": one.worse if isfinite(one.worse) else None,
        "u_share": one.u,
        "unseen_share": one.effect,
    }
