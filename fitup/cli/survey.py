"""``fitup survey``: from what was read on site to coordinates, and how far to believe them."""

from __future__ import annotations

from math import degrees, isnan
from pathlib import Path
from typing import Any

import click

from fitup.checks import joint_state
from fitup.checks.reliability import Unseen, unseen_at_joints
from fitup.cli.text import (
    job_argument,
    json_option,
    progress,
    say_json,
    text_table,
    verdict_json,
)
from fitup.errors import EXIT_BAD_INPUT, EXIT_OK, FitupError, InputError, SurveyRefused
from fitup.jobfolder import read_job
from fitup.model import Job
from fitup.network.report import ellipse_lines, residual_lines, setup_lines
from fitup.network.solve import Solved, solve_epochs
from fitup.network.words import network_lines
from fitup.sheets.survey_words import (
    KINDS,
    SurveyReportWords,
    changes_words,
    reading_words,
    residual_words,
    unseen_words,
)
from fitup.structure import with_thermal_response
from fitup.survey import read_survey
from fitup.survey.verdict import REFUSED, Verdict, refused
from fitup.units import DISPLAY, DisplayUnits


@click.command("survey")
@job_argument
@click.option(
    "--to",
    "target",
    type=click.Path(path_type=Path, readable=False),
    help="Folder for the report as PDF, its figures and the coordinates.",
)
@click.option(
    "--since",
    "earlier",
    type=click.Path(path_type=Path, readable=False),
    help="Folder of an earlier job with observations: what has moved since.",
)
@json_option
def command(job: Path, target: Path | None, earlier: Path | None, as_json: bool) -> int:
    """Say how far to believe a survey: raw observations are adjusted, lists are tested.

    Shows set-ups, what was corrected, the tests, residuals that stand out, error ellipses, what
    was left out and why, and the verdict: use, use with these reservations, or do not use. The
    exit code is 2 when the survey must not be used as it is.

    \b
    Example:
      fitup survey closure-k1
      fitup survey closure-k1-b --since closure-k1 --to report
    """
    loaded = read_job(job)
    progress("adjusting")
    solved = solve_epochs(job, loaded)
    since: tuple[Solved, ...] = ()
    if earlier is not None:
        since = tuple(solve_epochs(earlier, read_job(earlier)).values())
    unseen, verdict, story = _at_the_joints(job, loaded, solved)
    all_ = SurveyReportWords(solved, since, unseen, verdict)
    written: tuple[Path, ...] = ()
    if target is not None:
        from fitup.sheets.survey_report import write_report

        progress("writing")
        written = write_report(loaded, all_, target)
    if as_json:
        say_json(as_json_result(loaded, all_, written))
    else:
        for one in solved.values():
            _show(loaded, one)
        if not solved:
            for line in story:
                click.echo(line)
        _show_end(loaded, all_, written)
    return EXIT_BAD_INPUT if verdict.word == REFUSED else EXIT_OK


def _at_the_joints(
    folder: Path, job: Job, solved: dict[int, Solved]
) -> tuple[tuple[Unseen, ...], Verdict, tuple[str, ...]]:
    """External reliability at the joints, the verdict, and what was understood."""
    try:
        job = with_thermal_response(job)
        survey = read_survey(folder, job, solved)
        unseen = unseen_at_joints(job, survey, joint_state(job, survey))
    except InputError:
        raise
    except SurveyRefused as error:
        return (), refused(error.findings), ()
    except FitupError as error:
        return (), refused(str(error).split("\n")), ()
    return unseen, survey.verdict, survey.story


def _show(job: Job, solved: Solved) -> None:
    units = DISPLAY[job.units]
    click.echo(f"Survey {solved.epoch.file}, taken {solved.epoch.taken.replace('T', ' ')}")
    for line in network_lines(solved, job.units):
        click.echo(f"  {line.removeprefix(f'{solved.epoch.file}: ')}")
    click.echo("\nSet-ups")
    click.echo(_setups(solved, units))
    click.echo("\nResiduals that stand out most (at the target; w: over its own uncertainty)")
    click.echo(_residuals(solved, units))
    click.echo("\nError ellipses (standard)")
    click.echo(_ellipses(solved, units))
    click.echo("")


def _setups(solved: Solved, units: DisplayUnits) -> str:
    rows = []
    for line in setup_lines(solved):
        errors = [reading_words(value, units) for value in (line.collimation, line.index)]
        rows.append(
            [
                line.id,
                line.over or "free",
                str(line.sights),
                units.move.text(line.u),
                *errors,
                f"{line.worst:.1f} to {line.worst_target}" if line.worst_target else "-",
            ]
        )
    header = ["set-up", "over", "sights", "u in plan", "collimation", "index", "largest w"]
    return text_table(header, rows, right=[2, 3, 4, 5])


def _residuals(solved: Solved, units: DisplayUnits) -> str:
    rows = [
        [
            line.id,
            KINDS[line.kind],
            residual_words(line, units),
            f"{abs(line.w):.1f}",
            "-" if isnan(line.redundancy) else f"{line.redundancy:.2f}",
            "-" if isnan(line.detectable_at_target) else units.move.text(line.detectable_at_target),
            "DOES NOT FIT" if line.odd else "",
        ]
        for line in residual_lines(solved)
    ]
    header = ["observation", "what", "residual", "w", "checked", "unseen below", ""]
    return text_table(header, rows, right=[2, 3, 4, 5])


def _ellipses(solved: Solved, units: DisplayUnits) -> str:
    rows = [
        [
            line.id,
            units.move.text(line.large),
            units.move.text(line.small),
            f"{degrees(line.azimuth):.0f}°",
            units.move.text(line.height),
        ]
        for line in ellipse_lines(solved)
    ]
    header = ["point", "large axis", "small axis", "azimuth", "u of height"]
    return text_table(header, rows, right=[1, 2, 3, 4])


def _show_end(job: Job, all_: SurveyReportWords, written: tuple[Path, ...]) -> None:
    if all_.solved:
        click.echo("What has moved")
    for line in changes_words(job, all_.solved, all_.since):
        click.echo(f"  {line}")
    lines = unseen_words(job, all_.unseen)
    if lines:
        click.echo("What would have gone unseen")
        for line in lines:
            click.echo(f"  {line}")
    for line in all_.verdict.lines:
        click.echo(line)
    for path in written:
        click.echo(f"written: {path}")


def as_json_result(job: Job, all_: SurveyReportWords, written: tuple[Path, ...]) -> dict[str, Any]:
    """Return the survey with documented keys (docs/json.md), in SI."""
    return {
        "job": job.name,
        **verdict_json(all_.verdict),
        "surveys": [_one_json(job, one) for one in all_.solved.values()],
        "unseen": [
            {
                "check": u.check.id,
                "observation": u.observation,
                "error_at_target": u.at_target,
                "effect_si": u.effect,
            }
            for u in all_.unseen
        ],
        "changes": list(changes_words(job, all_.solved, all_.since)),
        "written": [str(p) for p in written],
    }


def _number(value: float) -> float | None:
    return None if isnan(value) else value


def _one_json(job: Job, solved: Solved) -> dict[str, Any]:
    tested = solved.outcome.tested
    return {
        "file": solved.epoch.file,
        "taken": solved.epoch.taken,
        "understood": list(network_lines(solved, job.units)),
        "findings": list(solved.findings),
        "excluded": [{"observation": o, "reason": r} for o, r in solved.excluded.items()],
        "test": {
            "squares": tested.squares,
            "redundancy": tested.freedom,
            "limit": tested.limit,
            "critical_w": tested.critical,
        },
        "setups": [
            {
                "id": s.id,
                "over": s.over,
                "sights": s.sights,
                "u": s.u,
                "collimation": s.collimation,
                "index": s.index,
            }
            for s in setup_lines(solved)
        ],
        "observations": [
            {
                "id": r.id,
                "value": r.value,
                "residual": r.residual,
                "residual_at_target": r.at_target,
                "w": _number(r.w),
                "redundancy": _number(r.redundancy),
                "detectable_at_target": _number(r.detectable_at_target),
                "fits": not r.odd,
            }
            for r in residual_lines(solved, None)
        ],
        "points": [
            {
                "id": p.id,
                "E": p.east,
                "N": p.north,
                "H": _number(float(solved.position(p.id)[2])),
                "ellipse_large": p.large,
                "ellipse_small": p.small,
                "ellipse_azimuth": p.azimuth,
                "u_H": p.height,
            }
            for p in ellipse_lines(solved)
        ],
    }
