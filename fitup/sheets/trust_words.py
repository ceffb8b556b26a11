"""Probabilities, doubts and times in words, the same on the screen and on paper."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable

from fitup.jobfolder.series import SteelSeries
from fitup.trust.conformity import Conformity
from fitup.trust.joint import JointTrust
from fitup.trust.shots import Shot
from fitup.trust.windows import Window
from fitup.units import DisplayUnits, from_si


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


def verdict_word(said: Conformity) -> str:
    """Return the word for a conformity, in capitals where something must be done."""
    return {"inside": "inside", "outside": "OUTSIDE", "undecided": "UNDECIDED"}[said]


def doubt_line(trust: JointTrust) -> str:
    """Say where most of the doubt at a joint comes from, and what to do about it."""
    if not trust.shares:
        return "nothing is in doubt"
    most = trust.shares[0]
    kind = most.source.kind
    do = {
        "target": "measure it again",
        "reading": "read it again",
        "tension": "measure it again",
        "plates": "measure the plates again",
        "nut": "set it by a finer dial",
        "bedding": "measure the bedding of a pack",
        "stiffness": "measure reactions while it moves",
        "steel then": "put thermometers on the steel, or measure again",
        "steel now": "put thermometers on the steel",
        "expansion": "survey nearer the temperature of locking",
    }[kind]
    return f"{percent(most.share)} of the doubt is {most.source.text}: {do}"


def shot_line(shot: Shot, units: DisplayUnits) -> str:
    """Say the next most useful measurement and what it would do."""
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
    return (
        f"{line}: the worst doubt is {shot.worst:.2f} instead of {shot.worst_now:.2f} of its "
        "tolerance"
    )


def window_words(series: SteelSeries, window: Window) -> str:
    """Say a window in whole minutes within it: ``2031-04-03 11:40 to 12:25``."""
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
    """Say all windows, or that there is none."""
    return "; ".join(window_words(series, w) for w in windows) if windows else "never"
