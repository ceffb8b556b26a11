"""Probabilities, uncertainties and times in words, the same on the screen and on paper."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping

from fitup.checks.items import place_of
from fitup.jobfolder.series import SteelSeries
from fitup.model import Job
from fitup.sheets.words import NAMES, value_words
from fitup.survey.steel import Steel
from fitup.trust.conformity import Conformity
from fitup.trust.joint import CheckTrust, JointTrust
from fitup.trust.lockoff import LockOffDecision
from fitup.trust.shots import PlannedShot
from fitup.trust.windows import Window
from fitup.units import DISPLAY, DisplayUnits, from_si


def percent(probability: float) -> str:
    """Say a probability; never quite certain, never quite impossible.

    Examples
    --------
    >>> percent(0.7315), percent(0.9962), percent(0.99997), percent(0.0002)
    ('73 %', '99.6 %', 'over 99.9 %', 'under 0.1 %')
    """
    if probability > 0.999:
        return "over 99.9 %"
    if probability < 0.001:
        return "under 0.1 %"
    if 0.1 <= probability <= 0.9:
        return f"{100.0 * probability:.0f} %"
    return f"{100.0 * probability:.1f} %"


def risk_words(risk: float) -> str:
    """Say a risk as it was chosen.

    Examples
    --------
    >>> risk_words(0.05), risk_words(0.001)
    ('5 %', '0.1 %')
    """
    return f"{100.0 * risk:g} %"


def verdict_word(said: Conformity) -> str:
    """Return the word for a conformity, in capitals where something must be done."""
    return {"inside": "inside", "outside": "OUTSIDE", "undecided": "UNDECIDED"}[said]


def main_source_line(trust: JointTrust) -> str:
    """Say where most of the uncertainty at a joint comes from, and what to do about it."""
    if not trust.shares:
        return "nothing is in doubt"
    most = trust.shares[0]
    return f"{percent(most.share)} of the uncertainty is {most.source.text}: {most.source.remedy}"


def shot_line(shot: PlannedShot, units: DisplayUnits) -> str:
    """Say the next most useful measurement and what it would do.

    Parameters
    ----------
    shot, units
    """
    if shot.kind == "steel":
        suffix = units.temperature.suffix
        u = f"{from_si(shot.u, 'temperature_step', suffix):.1f} {units.temperature.word}"
    else:
        u = units.move.text(shot.u)
    line = f"{shot.text} (u {u})"
    if percent(shot.probability) != percent(shot.probability_now):
        return (
            f"{line}: the whole joint inside with {percent(shot.probability)} "
            f"instead of {percent(shot.probability_now)}"
        )
    if f"{shot.worst:.2f}" == f"{shot.worst_now:.2f}":
        return line
    return (
        f"{line}: the worst uncertainty is {shot.worst:.2f} instead of {shot.worst_now:.2f} of its "
        "tolerance"
    )


def window_words(series: SteelSeries, window: Window) -> str:
    """Say a window in whole minutes within it: ``2031-04-03 11:40 to 12:25``.

    Parameters
    ----------
    series : SteelSeries
        Its first row is the time from which ``window`` counts.
    window : Window

    Returns
    -------
    str
        With ``under a minute about`` where no full minute of the clock falls within.
    """
    first = _minute(series, window.start, math.ceil)
    last = _minute(series, window.end, math.floor)
    if last < first:
        return f"{first:%Y-%m-%d} under a minute about {first:%H:%M}"
    end = f"{last:%H:%M}" if last.date() == first.date() else f"{last:%Y-%m-%d %H:%M}"
    return f"{first:%Y-%m-%d %H:%M} to {end}"


def _minute(series: SteelSeries, seconds: float, rounding: Callable[[float], int]) -> dt.datetime:
    minute = dt.timedelta(minutes=1)
    start = series.start.replace(second=0, microsecond=0)
    exact = series.start + dt.timedelta(seconds=seconds)
    return start + rounding((exact - start) / minute) * minute


def windows_words(series: SteelSeries, windows: tuple[Window, ...]) -> str:
    """Say all windows, or that there is none.

    Parameters
    ----------
    series : SteelSeries
        As for :func:`window_words`.
    windows : tuple of Window
    """
    return "; ".join(window_words(series, w) for w in windows) if windows else "never"


def found_words(job: Job, stated: CheckTrust) -> str:
    """Say what a check is: ``gap at P1 LEFT edge: 3.1 mm too wide``.

    Parameters
    ----------
    job, stated
    """
    check = stated.check
    words = value_words(check.quantity, stated.value, DISPLAY[job.units], check.target).words
    return f"{NAMES[check.quantity].lower()} at {place_of(job, check) or 'whole joint'}: {words}"


def hours(seconds: float) -> str:
    """Say a time span in hours."""
    return f"{from_si(seconds, 'time', 'h'):.1f} h"


def steel_words(job: Job, steel: Mapping[str, Steel]) -> str:
    """Say the steel of segments; once where all are alike.

    Parameters
    ----------
    job : Job
    steel : mapping of str to Steel
        Segment to its mean and its difference of top less bottom [K].
    """
    shown = DISPLAY[job.units].temperature
    said = {}
    for name, own in steel.items():
        words = shown.text(own.mean)
        if own.difference:
            side = "top" if own.difference > 0.0 else "bottom"
            by = from_si(abs(own.difference), "temperature_step", shown.suffix)
            words += f", {side} warmer by {by:.{shown.decimals}f} {shown.word}"
        said[name] = words
    if len(set(said.values())) == 1:
        return next(iter(said.values()))
    return "; ".join(f"{name} {words}" for name, words in said.items())


def reason_of(job: Job, own: LockOffDecision, series: SteelSeries | None) -> str:
    """Say in a sentence why a joint is locked, waited for, or moved again.

    Parameters
    ----------
    job : Job
    own : LockOffDecision
    series : SteelSeries or None
        The series it was decided with, None where there was none.
    """
    if own.cause == "survey age":
        most = hours(job.lockoff.survey_age)
        return f"The survey is {hours(own.age)} old, at most {most} are allowed: survey again."
    if own.worst is None:
        if own.open_holds:
            return f"Every check is inside, but not released: {'; '.join(own.open_holds)}."
        sure = f"Every check is inside, the whole joint with {percent(own.trust.probability)}"
        if own.window is None or series is None:
            return f"{sure}."
        return f"{sure}; lock within {window_words(series, own.window)}."
    steel = steel_words(job, own.steel)
    found = found_words(job, own.worst)
    found = f"{found[0].upper()}{found[1:]} with the steel at {steel}"
    units = DISPLAY[job.units]
    better = "" if own.shot is None else f" Measure first: {shot_line(own.shot, units)}."
    if own.cause == "window later" and own.window is not None and series is not None:
        return f"{found}; every check is surely inside {window_words(series, own.window)}: wait."
    if own.cause == "undecided":
        sure = percent(own.worst.probability)
        return f"{found}: within tolerance, but inside with {sure} only.{better}"
    if own.cause == "other steel":
        if series is not None and own.course is not None:
            when = windows_words(series, own.course.windows)
            first = "" if own.shot is None else f", and {own.shot.text}"
            return f"{found}; within tolerance {when}, but never surely: wait{first}."
        assert own.even is not None
        shown = DISPLAY[job.units].temperature
        return (
            f"{found}; within tolerance with the steel evenly at {shown.text(own.even.least)} to "
            f"{shown.text(own.even.most)}: wait for it, or move again."
        )
    which = "no temperature of the series" if series is not None else "no steel temperature"
    return f"{found}, and {which} brings every check inside: move again."
