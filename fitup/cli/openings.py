"""``fitup openings``: what a joint must be set to at the steel temperature of the day."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
import numpy as np

from fitup.certify.temperature import as_designed, second_thermal_path
from fitup.checks.opening import gaps_of, openings_at
from fitup.cli.text import job_argument, json_option, say_json, text_table
from fitup.errors import CertificateRefused, InputError, Problem
from fitup.frames import Array
from fitup.jobfolder import read_job
from fitup.model import Job
from fitup.sheets.numbers import rounded
from fitup.structure import with_thermal_response
from fitup.units import DISPLAY, DisplayUnits, to_si

#: either way from the reference, and the step [K]
_REACH, _STEP = 20.0, 5.0
#: two ways to one opening may differ by this [m]
_ALIKE = 1e-6


@click.command("openings")
@job_argument
@click.option("--joint", help="One joint; all of them if left out.")
@click.option("--at", type=float, help="Steel temperature, in the job's unit; a table if left out.")
@json_option
def command(job: Path, joint: str | None, at: float | None, as_json: bool) -> None:
    """Show what each joint should be set to at the steel temperature of the day.

    For even steel, measured on the steel, in the shade: not the air.

    \b
    Examples:
      fitup openings closure-k1
      fitup openings closure-k1 --joint K1 --at 8.5
    """
    read = with_thermal_response(read_job(job))
    if joint is not None and joint not in read.joints:
        known = ", ".join(read.joints)
        raise InputError([Problem("--joint", f"'{joint}'", known, "name one of them")])
    names = [joint] if joint is not None else list(read.joints)
    shown = DISPLAY[read.units]
    if at is None:
        steps = np.arange(-_REACH, _REACH + 0.5 * _STEP, _STEP)
        temperatures = [read.reference_temperature + float(s) for s in steps]
    else:
        temperatures = [to_si(at, "temperature", shown.temperature.suffix)]
    tables = {name: _checked(read, name, temperatures) for name in names}
    if as_json:
        say_json(as_json_result(read, temperatures, tables))
        return
    for name, openings in tables.items():
        click.echo(f"\nJoint {name}: opening to set, by steel temperature")
        pairs = [read.pairs[str(c.pair)] for c in gaps_of(read, name)]
        rows = [
            [rounded(t, shown.temperature).full, *(_words(float(v), shown) for v in row)]
            for t, row in zip(temperatures, openings, strict=True)
        ]
        header = ["steel", *(f"{p.id} {p.place}" for p in pairs)]
        click.echo(text_table(header, rows, right=range(len(header))))
    how = (
        "from the fixed points of both segments" if read.thermal is None else "as the frame lets it"
    )
    click.echo(f"\nEven steel, {how}, presets included.")
    click.echo("Measure the steel, not the air. The designer says what must stay free.")


def _words(opening: float, units: DisplayUnits) -> str:
    number = rounded(opening, units.move)
    return f"shut, {number.size} {number.unit} short" if number.value < 0.0 else number.full


def _checked(job: Job, joint: str, temperatures: list[float]) -> Array:
    """Return openings (n, pairs) [m] that a second path agrees with."""
    openings = openings_at(job, joint, temperatures)
    heat, gaps = second_thermal_path(job, as_designed(job)), gaps_of(job, joint)
    even = dict.fromkeys(job.segments, 0.0)
    wrong = []
    for row, temperature in zip(openings, temperatures, strict=True):
        warmer = dict.fromkeys(job.segments, temperature - job.reference_temperature)
        grown = heat.change(gaps, warmer, even)
        for gap, value, more in zip(gaps, row, grown, strict=True):
            again = float(more) + job.pairs[str(gap.pair)].opening + gap.target
            if abs(again - value) > max(_ALIKE, heat.near):
                wrong.append(f"opening of {gap.pair}: two ways to it differ")
    if wrong:
        raise CertificateRefused(wrong)
    return openings


def as_json_result(job: Job, temperatures: list[float], tables: dict[str, Array]) -> dict[str, Any]:
    """Return the openings with documented keys (docs/json.md), in SI."""
    return {
        "job": job.name,
        "openings": [
            {
                "joint": name,
                "pair": gap.pair,
                "steel_K": temperature,
                "opening_si": float(value),
            }
            for name, table in tables.items()
            for temperature, row in zip(temperatures, table, strict=True)
            for gap, value in zip(gaps_of(job, name), row, strict=True)
        ],
    }
