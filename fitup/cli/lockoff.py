"""``fitup lockoff``: lock, wait or move again, with the reason in a sentence."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from fitup.cli.budget import check_json, trust_table
from fitup.cli.recording import now, own_key, tell
from fitup.cli.text import job_argument, json_option, progress, say_json
from fitup.cli.windows import window_json
from fitup.cli.writing import write_files
from fitup.errors import EXIT_OUTSIDE, InputError, Problem
from fitup.jobfolder.series import SteelSeries, read_series
from fitup.jobfolder.table import parse_local_time
from fitup.model import Job
from fitup.openjob import OpenJob, open_job
from fitup.record.acts import lock_off
from fitup.record.contents import job_files
from fitup.record.events import Event
from fitup.record.store import Record, has_record
from fitup.sheets.trust_words import (
    hours,
    percent,
    reason_of,
    risk_words,
    steel_words,
    windows_words,
)
from fitup.survey.points import Survey
from fitup.survey.steel import Steel
from fitup.trust import make_budget, trust_of
from fitup.trust.confirm import confirm_lockoff
from fitup.trust.joint import risk_of
from fitup.trust.lockoff import LockOffDecision, decide, taken
from fitup.trust.montecarlo import simulate
from fitup.trust.windows import steel_in


@dataclass(frozen=True, eq=False)
class Decided:
    """What is decided for a time, joint by joint, and how many numbers were confirmed."""

    when: dt.datetime
    series: SteelSeries | None
    joints: tuple[LockOffDecision, ...]
    confirmed: int


@click.command("lockoff")
@job_argument
@click.option(
    "--temperatures",
    "file",
    type=click.Path(path_type=Path, readable=False),
    help="CSV of steel or air temperatures against time; else only the survey's own time.",
)
@click.option("--at", help="Time of locking, 2031-04-03T11:30; else the first there is.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, readable=False),
    help="Folder for the printed record; none is written when not given.",
)
@click.option(
    "--key",
    "key_file",
    type=click.Path(path_type=Path, dir_okay=False, readable=False),
    help="Your key file: write the lock-off into the record, where every joint is to be locked.",
)
@json_option
def command(
    job: Path,
    file: Path | None,
    at: str | None,
    out: Path | None,
    key_file: Path | None,
    as_json: bool,
) -> int:
    """Say for every joint, as surveyed, whether to lock it, wait, or move again.

    Looks at each check at the steel of the time of locking, at the age of the survey, at the
    windows to come and at open hold points. The exit code is 0 only where every joint is to be
    locked, else 3.

    \b
    Example:
      fitup lockoff closure-k1 --temperatures forecast.csv --at 2031-04-03T11:30 --out night-15
    """
    opened = open_job(job, report=progress)
    series = None if file is None else read_series(file, str(file), opened.job)
    when = _when(opened.survey, at, series)
    holds = [f"{h.id} {h.what}" for h in opened.job.holds if not h.signed]
    if has_record(job):
        with Record(job) as record:
            holds += record.whole().work.open_holds
    decided = decided_for(opened, series, when, tuple(holds))
    documents = {} if out is None and key_file is None else _documents(opened, decided)
    entry = None if key_file is None else _recorded(opened, decided, documents, key_file)
    written = [] if out is None else write_files(out, documents)
    if as_json:
        say_json({**as_json_result(opened.job, decided), "written": written})
    else:
        _show(opened.job, decided)
        for name in written:
            click.echo(f"wrote {name}")
        if entry is not None:
            tell(job, entry, as_json=False)
    return 0 if all(o.decision == "LOCK" for o in decided.joints) else EXIT_OUTSIDE


def _recorded(
    opened: OpenJob, decided: Decided, documents: dict[str, bytes], key_file: Path
) -> Event:
    """Sign the lock-off into the record of the job."""
    key = own_key(key_file)
    files = job_files(opened.folder, opened.job)
    joints = {own.trust.joint: own.decision for own in decided.joints}
    with Record(opened.folder) as record:
        return lock_off(record, key, now(), files, documents, joints)


def _when(survey: Survey, at: str | None, series: SteelSeries | None) -> dt.datetime:
    """Return the time of locking: as stated, else the first after the survey."""
    latest = max(taken(survey, name) for name in survey.epoch_of)
    if at is None:
        return latest if series is None else max(latest, series.start)

    def refuse(allowed: str, do: str) -> InputError:
        return InputError([Problem("--at", f"'{at}'", allowed, do)])

    when = parse_local_time(at)
    if when is None:
        raise refuse("a local time such as 2031-04-03T11:30", "correct it")
    if when < latest:
        raise refuse(f"not before the survey of {latest:%Y-%m-%d %H:%M}", "give a later time")
    if series is None:
        if when > latest:
            raise refuse(
                f"with --temperatures, for any time after the survey of {latest:%Y-%m-%d %H:%M}",
                "give the steel of that time, or leave --at out to ask for the time of the survey",
            )
        return when
    end = series.clock(series.seconds[-1])
    if not series.start <= when <= end:
        raise refuse(
            f"within the temperatures, {series.start:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M}",
            "give another time, or more temperatures",
        )
    return when


def decided_for(
    opened: OpenJob, series: SteelSeries | None, when: dt.datetime, holds: tuple[str, ...]
) -> Decided:
    """Decide at every joint with judged checks, and hold every number against a second path."""
    job, survey, state = opened.job, opened.survey, opened.state
    moves = opened.influence
    steel = dict(survey.steel)
    if series is not None:
        seconds = series.since_start(when)
        if not 0.0 <= seconds <= float(series.seconds[-1]):
            end = series.clock(series.seconds[-1])
            raise InputError(
                [
                    Problem(
                        series.file,
                        f"temperatures that end {end:%Y-%m-%d %H:%M}",
                        "temperatures that go on after the survey",
                        "give newer ones",
                    )
                ]
            )
        steel = steel_in(job, series, seconds)
    reference = make_budget(job, survey, state, moves)
    there = make_budget(job, survey, state, moves, steel=steel)
    decided = tuple(
        decide(job, survey, reference, there, trust, steel, when, holds, series)
        for trust in trust_of(job, there)
        if trust.joint
    )
    progress("second path")
    draws = simulate(job, survey, state, moves, steel=steel)
    count = confirm_lockoff(job, survey, state, steel, decided, draws, series)
    return Decided(when, series, decided, count)


def _documents(opened: OpenJob, decided: Decided) -> dict[str, bytes]:
    from fitup.sheets.figure_windows import windows_svg
    from fitup.sheets.lockoff import lockoff_pdf

    figures = {}
    for own in decided.joints:
        if decided.series is not None and own.course is not None:
            title = f"Joint {own.trust.joint}, as surveyed"
            figures[own.trust.joint] = windows_svg(opened.job, decided.series, own.course, title)
    pdf = lockoff_pdf(
        opened.job, opened.survey, decided.when, decided.joints, decided.series, figures
    )
    return {"lockoff.pdf": pdf}


def _show(job: Job, decided: Decided) -> None:
    click.echo(f"For locking at {decided.when:%Y-%m-%d %H:%M}")
    for own in decided.joints:
        joint = job.joints[own.trust.joint]
        click.echo(f"\nJoint {joint.id}: back {joint.back}, ahead {joint.ahead}: {own.decision}")
        click.echo(reason_of(job, own, decided.series))
        click.echo(trust_table(job, own.trust, "measured"))
        click.echo(f"All of them inside at once: {percent(own.trust.probability)}")
        click.echo(f"Steel at locking: {steel_words(job, own.steel)}")
        if decided.series is not None and own.course is not None:
            click.echo(f"Surely inside: {windows_words(decided.series, own.course.surely)}")
            click.echo(f"Within tolerance: {windows_words(decided.series, own.course.windows)}")
        click.echo(f"Survey: {hours(own.age)} old, at most {hours(job.lockoff.survey_age)}")
        click.echo(f"Open hold points: {'; '.join(own.open_holds) or 'none'}")
    click.echo(
        f"\nInside and OUTSIDE are said at a risk of {risk_words(risk_of(job))}; UNDECIDED in "
        f"between. {decided.confirmed} numbers confirmed by a second path."
    )
    click.echo("An aid to a competent engineer: nobody locks before the engineer has signed.")


def as_json_result(job: Job, decided: Decided) -> dict[str, Any]:
    """Return the decisions with documented keys (docs/json.md), in SI."""
    return {
        "job": job.name,
        "at": decided.when.isoformat(),
        "risk": risk_of(job),
        "confirmed": decided.confirmed,
        "joints": [_joint_json(job, own, decided.series) for own in decided.joints],
    }


def _joint_json(job: Job, own: LockOffDecision, series: SteelSeries | None) -> dict[str, Any]:
    windows = []
    if series is not None and own.course is not None:
        windows = [window_json(series, w) for w in own.course.surely]
    return {
        "joint": own.trust.joint,
        "decision": own.decision,
        "cause": own.cause,
        "reason": reason_of(job, own, series),
        "probability": own.trust.probability,
        "survey_age": own.age,
        "open_holds": list(own.open_holds),
        "steel": [_steel_json(name, s) for name, s in own.steel.items()],
        "surely": windows,
        "checks": [check_json(c) for c in own.trust.checks],
    }


def _steel_json(segment: str, steel: Steel) -> dict[str, Any]:
    return {"segment": segment, "mean": steel.mean, "difference": steel.difference}
