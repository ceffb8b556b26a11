"""Steel temperatures of a segment: the mean, the difference through its depth, and what they do.

Thermometers at top, middle and bottom read ``mean + difference * place`` with place +1/2, 0 and
-1/2; least squares with their own uncertainties give both. An even change of temperature moves
points away from the fixed point; a difference through the depth h bends the free segment to the
curvature ``alpha * difference / h`` (top warmer: middle up, ends down), and its vertical seats
bring it back to where they stand.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.frames import Array, heading, left_of
from fitup.model import Epoch, Job, Segment, SteelReading
from fitup.survey.temperature import growth
from fitup.units import DISPLAY

_PLACE: Final = {"top": 0.5, "middle": 0.0, "bottom": -0.5}
_UP: Final = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True)
class Steel:
    """Steel temperature of one segment at one time.

    Parameters
    ----------
    mean, u_mean : float
        Temperature at mid-depth [K] and its standard uncertainty.
    difference, u_difference : float
        Top less bottom [K]; zero without thermometers at top and bottom.
    thermometers : int
        How many it rests on; zero: one temperature told for several segments.
    shared : str
        What it was read from where its mean is stated for several segments: they err alike.
    """

    mean: float
    u_mean: float = 0.0
    difference: float = 0.0
    u_difference: float = 0.0
    thermometers: int = 0
    shared: str = ""


def steel_of(job: Job, segment: str, epoch: Epoch) -> Steel:
    """Return the steel of a segment at its survey: from its thermometers, else of the survey.

    Parameters
    ----------
    job : Job
    segment : str
        Its id.
    epoch : Epoch
        Of the survey of the segment.
    """
    readings = [r for r in job.thermometers if r.segment == segment]
    if readings:
        return steel_from(readings)
    uncertainty = job.uncertainties.steel if job.segments[segment].expansion is not None else 0.0
    return Steel(epoch.temperature, uncertainty, shared=epoch.file)


def steel_from(readings: list[SteelReading]) -> Steel:
    """Return mean and difference of a segment by weighted least squares.

    Readings at one place alone say nothing of the difference: it is taken as none.

    Examples
    --------
    >>> top, low = (SteelReading(p, "A", p, t, 0.5) for p, t in (("top", 298.0), ("bottom", 292.0)))
    >>> steel = steel_from([top, low])
    >>> round(steel.mean, 9), round(steel.difference, 9), round(steel.u_mean, 6)
    (295.0, 6.0, 0.353553)
    """
    u = np.array([r.uncertainty for r in readings])
    stated = np.array([r.temperature for r in readings])
    place = np.array([_PLACE[r.place] for r in readings])
    if len(set(place)) == 1:
        weight = u**-2.0 / (u**-2.0).sum()
        return Steel(float(weight @ stated), float((u**-2.0).sum() ** -0.5), 0.0, 0.0, len(u))
    rows = np.c_[np.ones(len(u)), place] / u[:, None]
    covariance = np.linalg.inv(rows.T @ rows)
    mean, difference = covariance @ rows.T @ (stated / u)
    spread = np.sqrt(np.diag(covariance))
    return Steel(float(mean), float(spread[0]), float(difference), float(spread[1]), len(u))


def bend_per_kelvin(job: Job, segment: Segment, points: Array) -> tuple[Array, Array]:
    """Return what one kelvin of difference does to points of a segment on its seats.

    The free curved segment is let down onto its vertical seats: up, roll and pitch that leave the
    seats' springs in balance. Along, across and turn stay with its centre of gravity.

    Parameters
    ----------
    job : Job
    segment : Segment
    points : Array (k, 3)
        Design coordinates [m].

    Returns
    -------
    moved : Array (k, 3)
        [m/K]
    turned : Array (k, 3)
        Turn of the section at each point [rad/K], right-handed.
    """
    if segment.depth is None or segment.expansion is None:
        return np.zeros_like(points), np.zeros_like(points)
    curvature = segment.expansion / segment.depth
    ahead, left = heading(segment.azimuth), left_of(segment.azimuth)
    seats = [s for s in job.seats_of(segment.id) if s.lifts]
    where = np.array([s.position for s in seats]).reshape(-1, 3)
    free, _ = _free_bend(segment, curvature, where)
    arms = where - segment.centre
    root = np.sqrt([s.stiffness for s in seats])
    # columns: up, roll about ahead, pitch about left; least motion where seats leave one free
    rows = np.c_[np.ones(len(seats)), np.cross(ahead, arms)[:, 2], np.cross(left, arms)[:, 2]]
    up, roll, pitch = np.linalg.lstsq(rows * root[:, None], -root * free[:, 2], rcond=None)[0]
    moved, turned = _free_bend(segment, curvature, points)
    turn = roll * ahead + pitch * left
    return moved + up * _UP + np.cross(turn, points - segment.centre), turned + turn


def _free_bend(segment: Segment, curvature: float, points: Array) -> tuple[Array, Array]:
    """A free segment bent about its centre of gravity: hogging where the top is warmer."""
    ahead, left = heading(segment.azimuth), left_of(segment.azimuth)
    arms = points - segment.centre
    along, above = arms @ ahead, arms[:, 2]
    moved = np.outer(curvature * along * above, ahead) - np.outer(0.5 * curvature * along**2, _UP)
    return moved, np.outer(curvature * along, left)


def thermal_shift(job: Job, steel: Mapping[str, Steel], name: str) -> Array:
    """Return how far a check point is from where the reference temperature has it.

    In a frame the steel of every segment moves it.

    Parameters
    ----------
    job : Job
    steel : mapping of str to Steel
        By segment; in a frame, of all segments.
    name : str
        Id of the check point.

    Returns
    -------
    Array (3,)
        In the grid [m].
    """
    if job.thermal is not None:
        means = [steel[n].mean - job.reference_temperature for n in job.segments]
        warm = np.array([*means, *(steel[n].difference for n in job.segments)])
        moved: Array = job.thermal.points[name] @ (np.tile(learned_expansion(job), 2) * warm)
        return moved
    point = job.points[name]
    segment, own = job.segments[point.segment], steel[point.segment]
    bent = bend_per_kelvin(job, segment, point.design[None, :])[0][0] * own.difference
    return growth(point.design, segment, own.mean - job.reference_temperature) + bent


def learned_expansion(job: Job) -> Array:
    """Return the coefficients of the segments (s,) over those their frame was computed with."""
    assert job.thermal is not None
    now = np.array([s.expansion or 0.0 for s in job.segments.values()])
    then = job.thermal.expansion
    return np.divide(now, then, out=np.ones_like(now), where=then > 0.0)


def steel_problems(
    job: Job, steel: Mapping[str, Steel], epoch_of: Mapping[str, Epoch]
) -> list[str]:
    """Say which thermometers contradict the steel temperature of their survey.

    Parameters
    ----------
    job : Job
    steel : mapping of str to Steel
        By segment.
    epoch_of : mapping of str to Epoch
        Survey of each segment.
    """
    shown = DISPLAY[job.units].temperature
    most = job.gates.temperature_apart
    return [
        f"segment {name}: its thermometers say {shown.text(own.mean)}, the survey "
        f"({epoch_of[name].file}) {shown.text(epoch_of[name].temperature)}; they may differ by "
        "temperature_apart of [gates]; read temperatures.csv again, or correct steel_temperature"
        for name, own in steel.items()
        if own.thermometers and abs(own.mean - epoch_of[name].temperature) > most
    ]
