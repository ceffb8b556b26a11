"""The lock-off record on paper: what was found, what is decided, and room to sign."""

from __future__ import annotations

import datetime as dt
import hashlib
from typing import Any, Final, Literal

from fitup.checks.items import place_of
from fitup.jobfolder.series import SteelSeries
from fitup.model import Job
from fitup.record.check_code import check_code, spoken
from fitup.sheets.cautions import STRIP
from fitup.sheets.model import OF_POINTS, Header
from fitup.sheets.numbers import rounded
from fitup.sheets.pdf import compile_pdf
from fitup.sheets.trust_words import (
    hours,
    percent,
    reason_of,
    risk_words,
    steel_words,
    verdict_word,
    windows_words,
)
from fitup.sheets.words import NAMES, shown_for, value_words
from fitup.survey.points import Survey
from fitup.trust.joint import CheckTrust, risk_of
from fitup.trust.lockoff import LockOffDecision, taken
from fitup.units import DISPLAY

CAUTIONS: Final = (
    "Nothing is welded, bolted, pinned or grouted before the engineer in charge has signed here.",
    "Read the steel and the joint now: a forecast or an old survey locks nothing.",
    "Lock first what holds the joint still, read it again, then connect for good. Jacks and packs "
    "carry until the engineer lets the load go over.",
    "STOP when the joint, the steel or the load on the deck is no longer as stated here.",
    "Nobody works or reaches under a load that stands on jacks alone.",
)


def lockoff_pdf(
    job: Job,
    survey: Survey,
    when: dt.datetime,
    decided: tuple[LockOffDecision, ...],
    series: SteelSeries | None,
    figures: dict[str, bytes],
) -> bytes:
    """Return the record of all joints.

    Parameters
    ----------
    job, survey
    when : datetime
        Local time at which the joints are to be locked.
    decided : tuple of LockOffDecision
        One for each joint.
    series : SteelSeries or None
        Steel temperatures against time, where they were given.
    figures : dict of str to bytes
        Joint -> :func:`fitup.sheets.figure_windows.windows_svg`, for joints with a course.
    """
    return compile_pdf(
        "lockoff.typ",
        _header(job, when, decided),
        STRIP,
        id_word="Record",
        when=f"{when:%Y-%m-%d %H:%M}",
        risk=risk_words(risk_of(job)),
        stated="" if series is None else series.stated,
        joints=[_joint(job, survey, own, series) for own in decided],
        figures={name: svg.decode("utf-8") for name, svg in figures.items()},
        cautions=list(CAUTIONS),
    )


def _header(job: Job, when: dt.datetime, decided: tuple[LockOffDecision, ...]) -> Header:
    units = DISPLAY[job.units]
    said = [f"{o.trust.joint} {o.decision} {o.trust.probability:.6f}" for o in decided]
    body = "\0".join([job.digest, when.isoformat(), *said])
    digest = hashlib.sha256(body.encode()).hexdigest()
    lock = all(o.decision == "LOCK" for o in decided)
    paper: Literal["a4", "us-letter"] = "a4" if job.units == "metric" else "us-letter"
    return Header(
        job=job.name,
        plan_id=digest,
        check_code=check_code(digest),
        spoken=spoken(check_code(digest)),
        status=", ".join(f"{o.trust.joint}: {o.decision}" for o in decided),
        approved=lock,
        decided="",
        since=(),
        paper=paper,
        length_unit=units.move.word,
        force_unit=units.force.word,
        pressure_unit=units.pressure.word,
        reference=rounded(job.reference_temperature, units.temperature),
        inputs=job.digest,
        valid=(),
    )


def _joint(
    job: Job, survey: Survey, own: LockOffDecision, series: SteelSeries | None
) -> dict[str, Any]:
    joint = job.joints[own.trust.joint]
    sure = [c for c in own.trust.checks if _summed(c)]
    listed = [c for c in own.trust.checks if not _summed(c)]
    least = percent(min(c.probability for c in sure)) if sure else ""
    surveys = dict.fromkeys(survey.epoch_of[s] for s in (joint.back, joint.ahead))
    return {
        "id": joint.id,
        "back": joint.back,
        "ahead": joint.ahead,
        "decision": own.decision,
        "reason": reason_of(job, own, series),
        "whole": percent(own.trust.probability),
        "steel": steel_words(job, own.steel),
        "window": "" if series is None or own.course is None else _window(series, own),
        "surveys": [
            f"{epoch.file}, {taken(survey, joint.back):%Y-%m-%d %H:%M}" for epoch in surveys
        ],
        "age": f"{hours(own.age)} old, at most {hours(job.lockoff.survey_age)}",
        "holds": list(own.open_holds),
        "checks": [_line(job, c) for c in listed],
        "points": f"{len(sure)} levels, lines and stations of points: inside, the least sure "
        f"with {least}."
        if sure
        else "",
        "pairs": [f"{p.id} {p.place}" for p in job.pairs_of(joint.id)],
        "unit": DISPLAY[job.units].move.word,
    }


def _summed(stated: CheckTrust) -> bool:
    return stated.check.quantity in OF_POINTS and stated.conformity == "inside"


def _window(series: SteelSeries, own: LockOffDecision) -> str:
    assert own.course is not None
    sure = windows_words(series, own.course.surely)
    return f"surely inside {sure}; within tolerance {windows_words(series, own.course.windows)}"


def _line(job: Job, stated: CheckTrust) -> dict[str, str]:
    units = DISPLAY[job.units]
    check = stated.check
    shown = shown_for(check.quantity, units)
    return {
        "what": NAMES[check.quantity],
        "place": place_of(job, check) or "whole joint",
        "value": value_words(check.quantity, stated.value, units, check.target).words,
        "u": rounded(stated.u, shown).full,
        "allowed": rounded(stated.allowed, shown).full,
        "inside": percent(stated.probability),
        "verdict": verdict_word(stated.conformity),
    }
