"""When a joint may be locked: steel temperatures against time, and the times all checks are inside.

Between two rows of the series temperatures, and so gaps, steps and kinks, go straight; the times
at which a check passes a limit are therefore exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitup.checks.thermal import apart_rates
from fitup.frames import Array
from fitup.jobfolder.series import SteelSeries
from fitup.model import Check, Job
from fitup.survey.points import Survey
from fitup.survey.steel import Steel
from fitup.trust.budget import Budget, moving_rates
from fitup.trust.conformity import accepted
from fitup.trust.joint import limits_of, risk_of
from fitup.trust.moved import expansion_uncertainty


@dataclass(frozen=True, slots=True)
class Window:
    """From when to when [s from the start of the series], and which checks open and close it.

    A check's id, or empty where the series itself begins or ends.
    """

    start: float
    end: float
    opens: str
    closes: str


@dataclass(frozen=True, eq=False)
class TemperatureCourse:
    """How the judged checks of one joint go with the temperature of the steel.

    Parameters
    ----------
    joint : str
    checks : tuple of Check
        m checks.
    values : Array (t, m)
        At each row of the series [m or m/m].
    u : Array (t, m)
        Standard uncertainties.
    windows : tuple of Window
        Every check within its tolerance.
    surely : tuple of Window
        Every check inside at the risk of the job.
    """

    joint: str
    checks: tuple[Check, ...]
    values: Array
    u: Array
    windows: tuple[Window, ...]
    surely: tuple[Window, ...]


def steel_in(job: Job, series: SteelSeries, seconds: float) -> dict[str, Steel]:
    """Return the steel of every segment at a time of the series.

    Parameters
    ----------
    job, series
    seconds : float
        Since the start of the series [s].

    Returns
    -------
    dict of str to Steel
        By segment; its uncertainty is the job's, zero where the segment states no expansion.
    """
    mean, difference = series.at(seconds)
    return {
        name: Steel(
            float(mean[k]),
            job.uncertainties.steel if segment.expansion is not None else 0.0,
            float(difference[k]),
            shared=series.shared[k],
        )
        for k, (name, segment) in enumerate(job.segments.items())
    }


def course_of(
    job: Job, survey: Survey, budget: Budget, series: SteelSeries, joint: str
) -> TemperatureCourse:
    """Return how a joint goes through a series of temperatures.

    Parameters
    ----------
    job : Job
    survey : Survey
    budget : Budget
        Of the reference temperature.
    series : SteelSeries
    joint : str
    """
    rows = budget.judged(joint)
    checks = tuple(budget.checks[i] for i in rows)
    mean, bent = moving_rates(job, checks)
    rates = np.hstack([mean, bent])
    warm = np.hstack([series.mean - job.reference_temperature, series.difference])
    values = budget.values[rows] + warm @ rates.T
    u = _uncertainties(job, survey, budget, series, rows, rates)
    aims, allowed = limits_of(checks)
    narrowed = _narrowed(u, allowed, risk_of(job))
    names = [c.id for c in checks]
    wide = np.broadcast_to(allowed, (len(values) - 1, len(allowed)))
    return TemperatureCourse(
        joint,
        checks,
        values,
        u,
        windows(series.seconds, values - aims, wide, names),
        windows(series.seconds, values - aims, narrowed, names),
    )


def _uncertainties(
    job: Job, survey: Survey, budget: Budget, series: SteelSeries, rows: Sequence[int], rates: Array
) -> Array:
    """Standard uncertainties (t, m); the coefficient counts over the way from the survey's steel.

    Checks of points stay at the reference, and so do their uncertainties.
    """
    stays = ~np.any(rates, axis=1)
    moves = np.array([budget.sources[k].kind != "expansion" for k in budget.owner], dtype=bool)
    squares = budget.columns[list(rows)] ** 2
    rest = np.where(stays, squares.sum(axis=1), squares[:, moves].sum(axis=1))
    then = survey.steel.values()
    away = np.hstack(
        [series.mean - [s.mean for s in then], series.difference - [s.difference for s in then]]
    )
    variance = rest + (away @ rates.T * expansion_uncertainty(job)) ** 2
    now: dict[str, Array] = {}
    for k, name in enumerate(job.segments):
        key = series.shared[k] or name
        now[key] = now.get(key, np.zeros(len(rows))) + rates[:, k] * job.uncertainties.steel
    for column in now.values():
        variance = variance + column**2
    if job.uncertainties.cables > 0.0:
        apart = apart_rates(job, tuple(budget.checks[i] for i in rows)) * job.uncertainties.cables
        variance = variance + np.where(stays, 0.0, apart**2)
    return np.sqrt(variance)


def _narrowed(u: Array, allowed: Array, risk: float) -> Array:
    """Return allowed deviations (t - 1, m) less guard bands, the narrower of both ends of a piece.

    Below zero where no value could be called inside.
    """
    result = np.empty_like(u)
    for k, most in enumerate(allowed.tolist()):
        known: dict[float, float] = {}
        for i, own in enumerate(u[:, k].tolist()):
            if own not in known:
                kept = accepted(own, most, risk)
                known[own] = -1.0 if kept is None else kept
            result[i, k] = known[own]
    return np.minimum(result[:-1], result[1:])


def windows(
    seconds: Array, deviations: Array, allowed: Array, names: Sequence[str]
) -> tuple[Window, ...]:
    """Return the times at which every deviation is within its limit, exact for straight pieces.

    Parameters
    ----------
    seconds : Array (t,)
    deviations : Array (t, m)
    allowed : Array (t - 1, m)
        For every piece; below zero is never.
    names : sequence of str
        Of the m checks.

    Examples
    --------
    >>> at = np.array([0.0, 10.0])
    >>> windows(at, np.array([[3.0], [-2.0]]), np.array([[1.0]]), ["gap"])
    (Window(start=4.0, end=8.0, opens='gap', closes='gap'),)
    """
    found: list[Window] = []
    for i in range(len(seconds) - 1):
        piece = _piece(deviations[i], deviations[i + 1], allowed[i])
        if piece is None:
            continue
        low, high, opens, closes = piece
        length = seconds[i + 1] - seconds[i]
        window = Window(
            float(seconds[i] + low * length),
            float(seconds[i] + high * length),
            "" if opens is None else names[opens],
            "" if closes is None else names[closes],
        )
        if found and found[-1].end == window.start:
            window = Window(found[-1].start, window.end, found[-1].opens, window.closes)
            found.pop()
        found.append(window)
    return tuple(found)


def _piece(
    before: Array, after: Array, allowed: Array
) -> tuple[float, float, int | None, int | None] | None:
    """Return the shares of a piece between which all are inside, and which check bounds it."""
    low, high = 0.0, 1.0
    opens: int | None = None
    closes: int | None = None
    for k, (a, b, most) in enumerate(zip(before, after, allowed, strict=True)):
        if most < 0.0:
            return None
        if a == b:
            if abs(a) > most:
                return None
            continue
        ends = sorted(((-most - a) / (b - a), (most - a) / (b - a)))
        if ends[0] > low:
            low, opens = float(ends[0]), k
        if ends[1] < high:
            high, closes = float(ends[1]), k
    return None if low > high else (low, high, opens, closes)


def lifted_off(
    job: Job, survey: Survey, series: SteelSeries, may_lift: frozenset[str], reactions: Array
) -> tuple[tuple[float, str], ...]:
    """Return when the steel would lift a frame off each of its seats first [s], earliest first.

    From then on other seats carry, and what is said of temperatures no longer holds.

    Parameters
    ----------
    job, survey, series
    may_lift : frozenset of str
        Seats that can only push.
    reactions : Array (n,)
        Of all seats at the steel of the survey [N].
    """
    if job.thermal is None:
        return ()
    then = survey.steel.values()
    away = np.hstack(
        [series.mean - [s.mean for s in then], series.difference - [s.difference for s in then]]
    )
    loads = reactions + away @ job.thermal.reactions.T
    found = []
    for i, name in enumerate(job.seats):
        if name not in may_lift or reactions[i] <= 0.0:
            continue
        gone = np.flatnonzero(loads[:, i] < 0.0)
        if len(gone):
            k = int(gone[0])
            share = loads[k - 1, i] / (loads[k - 1, i] - loads[k, i]) if k else 1.0
            step = series.seconds[k] - series.seconds[k - 1] if k else 0.0
            found.append((float(series.seconds[k] - (1.0 - share) * step), name))
    return tuple(sorted(found))


def survey_times(job: Job, series: SteelSeries, checks: tuple[Check, ...]) -> tuple[Window, ...]:
    """Return when the joint holds still long enough for a survey.

    While a survey takes ``survey_takes``, no gap, step or offset may go further than
    ``survey_change``.

    Parameters
    ----------
    job, series
    checks : tuple of Check
        Of the joint; those that belong to no pair of points are not looked at.

    Returns
    -------
    tuple of Window
        In order; no check opens or closes them.
    """
    across = tuple(c for c in checks if c.pair is not None)
    mean, bent = moving_rates(job, across)
    warm = np.hstack([series.mean, series.difference])
    speed = np.diff(warm @ np.hstack([mean, bent]).T, axis=0) / np.diff(series.seconds)[:, None]
    most = job.lockoff.survey_change / job.lockoff.survey_takes
    still = np.abs(speed).max(axis=1, initial=0.0) <= most
    found: list[Window] = []
    for i in np.flatnonzero(still):
        start, end = float(series.seconds[i]), float(series.seconds[i + 1])
        if found and found[-1].end == start:
            start = found.pop().start
        found.append(Window(start, end, "", ""))
    return tuple(w for w in found if w.end - w.start >= job.lockoff.survey_takes)


@dataclass(frozen=True, slots=True)
class EvenSteel:
    """Even steel temperatures [K] between which a joint is inside, and the one nearest its aims."""

    least: float
    most: float
    best: float


def even_steel(job: Job, budget: Budget, joint: str) -> EvenSteel | None:
    """Return at which even steel temperature a joint comes right by itself; None where at none.

    ``best`` is the least-squares temperature of deviations over tolerances.

    Parameters
    ----------
    job
    budget : Budget
        At the reference temperature.
    joint : str
        Its id.
    """
    rows = budget.judged(joint)
    checks = tuple(budget.checks[i] for i in rows)
    mean, _ = moving_rates(job, checks)
    aims, allowed = limits_of(checks)
    ratio = (budget.values[rows] - aims) / allowed
    rate = mean.sum(axis=1) / allowed
    if not np.any(rate):
        return None
    if np.any(np.abs(ratio[rate == 0.0]) > 1.0):
        return None
    moved = rate != 0.0
    ends = np.sort(np.array([-1.0 - ratio[moved], 1.0 - ratio[moved]]) / rate[moved], axis=0)
    low, high = float(ends[0].max()), float(ends[1].min())
    if low > high:
        return None
    best = float(np.clip(-(rate @ ratio) / (rate @ rate), low, high))
    reference = job.reference_temperature
    return EvenSteel(reference + low, reference + high, reference + best)
