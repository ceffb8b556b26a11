"""``fitup windows``: when the joint may be locked, and waiting beside jacking."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fitup.cli.text import job_argument, json_option, progress, say_json, text_table
from fitup.cli.writing import write_files
from fitup.jobfolder.series import SteelSeries, read_series
from fitup.model import Job
from fitup.openjob import OpenJob, open_job
from fitup.sheets.trust_words import risk_words, windows_words
from fitup.sheets.words import plain_value
from fitup.sheets.write import file_names
from fitup.trust.budget import moving_rates
from fitup.trust.confirm import confirm_windows
from fitup.trust.joint import risk_of
from fitup.trust.waiting import Option, gap_temperature, jack_and_wait, option_of
from fitup.trust.windows import EvenSteel, Window, even_steel, survey_times
from fitup.units import DISPLAY, from_si

temperatures_option = click.option(
    "--temperatures",
    "file",
    type=click.Path(path_type=Path, readable=False),
    required=True,
    help="CSV of steel or air temperatures against time (docs/trust.md).",
)


@click.command("windows")
@job_argument
@temperatures_option
@click.option("--as-surveyed", is_flag=True, help="Only what the steel does by itself.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, readable=False),
    help="Folder for the figures; none are drawn when not given.",
)
@json_option
def command(job: Path, file: Path, as_surveyed: bool, out: Path | None, as_json: bool) -> None:
    """Show when every check of a joint is inside, from steel temperatures against time.

    Jacking as planned, waiting with nothing moved, and jacking what is left while the steel
    closes the gap stand beside each other, each with its work and its windows.

    \b
    Example:
      fitup windows closure-k1 --temperatures forecast.csv --out night-15
    """
    opened = open_job(job, report=progress)
    series = read_series(file, str(file), opened.job)
    options = options_of(opened, series, as_surveyed)
    progress("second path")
    stated = [(option.budget, option.courses) for option in options]
    confirmed = confirm_windows(opened.job, opened.survey, stated, series)
    written = [] if out is None else write_files(out, _figures(opened.job, series, options))
    if as_json:
        say_json(
            {
                **as_json_result(opened.job, series, options),
                "confirmed": confirmed,
                "written": written,
            }
        )
        return
    _show(opened.job, series, options)
    if confirmed:
        click.echo(f"{confirmed} values in these windows confirmed by a second path.")
    for name in written:
        click.echo(f"wrote {name}")


def options_of(opened: OpenJob, series: SteelSeries, as_surveyed: bool) -> list[Option]:
    """Return what can be done: jack, wait, jack and wait; those there are."""
    job, survey, state = opened.job, opened.survey, opened.state
    moves = opened.influence

    effect = opened.influence_of
    wait = option_of(job, survey, state, moves, series, None)
    if as_surveyed:
        return [wait]
    plan = opened.plan
    options = [option_of(job, survey, state, moves, series, plan, effect), wait]
    closes = gap_temperature(job, wait.budget, list(job.joints))
    moved = any(s.disturbed for s in plan.seats)
    if moved and closes is not None and series.mean.min() <= closes <= series.mean.max():
        progress("jacking less and waiting for the steel")
        both = jack_and_wait(
            job, survey, state, moves, series, closes, effect=effect, report=progress
        )
        options += [] if both is None else [both]
    return options


def _figures(job: Job, series: SteelSeries, options: list[Option]) -> dict[str, bytes]:
    from fitup.sheets.figure_windows import windows_svg

    names = file_names("windows-", tuple(job.joints))
    stated = {
        "jack": "after the planned moves",
        "wait": "as surveyed, nothing moved",
        "jack and wait": "jacked for a warmer or colder steel",
    }
    drawn = {}
    for option in options:
        suffix = option.name.replace(" ", "-")
        for course in option.courses:
            title = f"Joint {course.joint}, {stated[option.name]}"
            drawn[f"{names[course.joint]}-{suffix}.svg"] = windows_svg(job, series, course, title)
    return drawn


def _show(job: Job, series: SteelSeries, options: list[Option]) -> None:
    first, last = series.start, series.clock(series.seconds[-1])
    click.echo(f"{series.stated}, {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}")
    wait = next(o for o in options if o.name == "wait")
    for k, course in enumerate(wait.courses):
        joint = job.joints[course.joint]
        click.echo(f"\nJoint {joint.id}: back {joint.back}, ahead {joint.ahead}")
        click.echo(_left_alone(job, wait, joint.id))
        rows = [_option_row(series, option, k) for option in options]
        click.echo(text_table(["move", "work", "every check inside", "surely inside"], rows))
        still = survey_times(job, series, course.checks)
        move = DISPLAY[job.units].move.text(job.lockoff.survey_change)
        hours = from_si(job.lockoff.survey_takes, "time", "h")
        click.echo(
            f"Survey when the joint goes less than {move} in {hours:.1f} h: "
            f"{windows_words(series, still)}"
        )
    click.echo(f"\nSurely: each check inside at a risk of {risk_words(risk_of(job))}.")
    for option in options:
        if option.name == "jack and wait":
            click.echo(_how_to_wait(job, option))
    for option in options:
        if option.lifted:
            click.echo(_lifted_words(series, option))
    click.echo("A forecast is not a reading: read the steel before anybody locks.")


def _lifted_words(series: SteelSeries, option: Option) -> str:
    """Say from when on other seats carry, so that windows say nothing any more."""
    stated = ", ".join(f"{name} at {series.clock(s):%Y-%m-%d %H:%M}" for s, name in option.lifted)
    return (
        f"{option.name}: the steel would lift the deck off {stated}; from then on nothing said "
        "here holds."
    )


def _option_row(series: SteelSeries, option: Option, k: int) -> list[str]:
    work = option.work
    course = option.courses[k]
    said = (
        f"{work.seats} seats, {work.plates} plates, {work.stages} stages"
        if work.seats
        else "nothing moves"
    )
    return [
        option.name,
        said,
        windows_words(series, course.windows),
        windows_words(series, course.surely),
    ]


def _left_alone(job: Job, wait: Option, joint: str) -> str:
    """Say at which temperature the joint, or at least its gap, comes right by itself."""
    shown = DISPLAY[job.units].temperature
    even = even_steel(job, wait.budget, joint)
    if even is not None:
        return (
            f"Left alone it is inside with the steel evenly at {shown.text(even.least)} to "
            f"{shown.text(even.most)}, best at {shown.text(even.best)}."
        )
    closes = gap_temperature(job, wait.budget, [joint])
    if closes is None:
        return "Left alone no temperature changes its gap."
    return (
        f"Left alone its gap comes right with the steel at {shown.text(closes)}, but not every "
        "check with it."
    )


def _how_to_wait(job: Job, option: Option) -> str:
    """Say what to write into the job folder so that such sheets are made."""
    units = DISPLAY[job.units]
    assert option.temperature is not None
    checks = tuple(c for c in option.budget.checks if c.quantity == "gap")
    mean, _ = moving_rates(job, checks)
    away = option.temperature - job.reference_temperature
    said: dict[str, dict[str, str]] = {}
    for check, rate in zip(checks, mean.sum(axis=1), strict=True):
        words = plain_value("gap", check.target - float(rate) * away, units).words
        said.setdefault(check.joint, {})[check.pair or ""] = words
    aims = []
    for joint, own in said.items():
        if len(set(own.values())) == 1:
            aims.append(f"{joint} {next(iter(own.values()))}")
        else:
            aims += [f"{joint}/{pair} {words}" for pair, words in own.items()]
    return (
        f"To jack and wait for {units.temperature.text(option.temperature)}: preset the gaps in "
        f"aims.csv, at the reference {', '.join(aims)}."
    )


def as_json_result(job: Job, series: SteelSeries, options: list[Option]) -> dict[str, Any]:
    """Return the windows with documented keys (docs/json.md), in SI."""
    wait = next(o for o in options if o.name == "wait")
    return {
        "job": job.name,
        "stated": series.stated,
        "start": series.start.isoformat(),
        "end": series.clock(series.seconds[-1]).isoformat(),
        "risk": risk_of(job),
        "joints": [
            {
                "joint": course.joint,
                "gap_closes_at": gap_temperature(job, wait.budget, [course.joint]),
                "even": _even_json(even_steel(job, wait.budget, course.joint)),
                "survey": [
                    window_json(series, w) for w in survey_times(job, series, course.checks)
                ],
            }
            for course in wait.courses
        ],
        "options": [_option_json(series, option) for option in options],
    }


def _even_json(even: EvenSteel | None) -> list[dict[str, float]]:
    if even is None:
        return []
    return [{"least": even.least, "most": even.most, "best": even.best}]


def _option_json(series: SteelSeries, option: Option) -> dict[str, Any]:
    return {
        "move": option.name,
        "seats": option.work.seats,
        "plates": option.work.plates,
        "stages": option.work.stages,
        "temperature": option.temperature,
        "lifted": [
            {"seat": name, "from": series.clock(s).isoformat()} for s, name in option.lifted
        ],
        "joints": [
            {
                "joint": course.joint,
                "inside": [window_json(series, w) for w in course.windows],
                "surely": [window_json(series, w) for w in course.surely],
            }
            for course in option.courses
        ],
    }


def window_json(series: SteelSeries, window: Window) -> dict[str, str]:
    """Return a window with local times."""
    return {
        "from": series.clock(window.start).isoformat(),
        "to": series.clock(window.end).isoformat(),
        "opens": window.opens,
        "closes": window.closes,
    }
