"""What the length of the segments says of the temperature of their steel.

Points were brought to the reference temperature with the stated temperature of the steel. Where
that is wrong, every segment of the survey comes out too long or too short by its expansion: too
little to be seen in a segment of 30 m, and several times as much at a joint far from the fixed
point. By least squares the temperature is one more unknown beside the six of each segment.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.errors import SurveyRefused
from fitup.frames import Array, displacement_rows
from fitup.model import Job
from fitup.survey.hypotheses import Observed
from fitup.survey.pose import fit_pose
from fitup.survey.shape import with_scatter
from fitup.survey.steel import Steel, thermal_shift
from fitup.survey.verdict import Ground
from fitup.units import DISPLAY, from_si, to_si

#: Baarda's 0.1 % for one unknown, on both sides
CRITICAL: Final = 3.2905
_SCALES: Final = (("C", "F"), ("F", "C"))


@dataclass(frozen=True, eq=False)
class Stretch:
    """The steel of the segments of one survey as their length has it.

    Parameters
    ----------
    segments : tuple of str
    steel : float
        Temperature that fits the lengths best, in the mean of the segments [K].
    stated : float
        Temperature they were reduced with, in the mean of the segments [K].
    u : float
        Standard uncertainty of the difference [K], with what does not fit counted in.
    at_joints : float
        Greatest movement of a check point of a joint by one kelvin [m/K].
    """

    segments: tuple[str, ...]
    steel: float
    stated: float
    u: float
    at_joints: float

    @property
    def significant(self) -> bool:
        """Whether chance alone gives such a difference in 0.1 % of surveys at most."""
        return abs(self.steel - self.stated) > CRITICAL * self.u

    def fits(self, steel: float) -> bool:
        """Tell whether another temperature [K] fits the lengths, and the stated one does not."""
        return self.significant and abs(self.steel - steel) <= CRITICAL * self.u


def stretch_of(
    job: Job, steel: Mapping[str, Steel], observed: Sequence[Observed]
) -> Stretch | None:
    """Find the steel temperature that the lengths of segments ask for.

    Parameters
    ----------
    job : Job
    steel : mapping of str to Steel
        What the points were brought to the reference temperature with, by segment.
    observed : sequence of Observed
        The segments of one survey, at the reference temperature.

    Returns
    -------
    Stretch or None
        None where no segment expands, or nothing is left to tell by.

    Raises
    ------
    SurveyRefused
        If the points of a segment cannot be fitted at all.
    """
    warmer = _warmer(steel, [o.segment for o in observed], 1.0)
    scatter = job.uncertainties.fabrication or 0.0
    seen = [_one(job, with_scatter(o, scatter), steel, warmer) for o in observed]
    weight = sum(own for own, _, _, _ in seen)
    freedom = sum(free for _, _, _, free in seen) - 1
    if not weight > 0.0 or freedom < 1:
        return None
    by = sum(pull for _, pull, _, _ in seen) / weight
    left = sum(squares for _, _, squares, _ in seen) - by**2 * weight
    u = float(weight**-0.5) * max(1.0, float(np.sqrt(max(left, 0.0) / freedom)))
    names = tuple(o.segment for o in observed)
    stated = float(np.mean([steel[n].mean for n in names]))
    joint_points = {
        p
        for pair in job.pairs.values()
        for p in (pair.back_point, pair.ahead_point)
        if job.points[p].segment in names
    }
    moved = [float(np.linalg.norm(_field(job, steel, warmer, p))) for p in joint_points]
    return Stretch(names, stated + float(by), stated, u, max(moved, default=0.0))


def _warmer(steel: Mapping[str, Steel], segments: Sequence[str], by: float) -> dict[str, Steel]:
    """Return the steel of all segments, that of some warmer by an amount [K]."""
    return {n: replace(s, mean=s.mean + by) if n in segments else s for n, s in steel.items()}


def _field(job: Job, steel: Mapping[str, Steel], warmer: Mapping[str, Steel], point: str) -> Array:
    moved: Array = thermal_shift(job, warmer, point) - thermal_shift(job, steel, point)
    return moved


def _one(
    job: Job, o: Observed, steel: Mapping[str, Steel], warmer: Mapping[str, Steel]
) -> tuple[float, float, float, int]:
    """Return weight, weight times temperature, squares and freedom of one segment."""
    pose = fit_pose(o.segment, o.ids, o.design, o.surveyed, o.u, o.covariance)
    there = pose.design2site.apply(o.design)
    covariance = np.diag(o.u.ravel() ** 2) if o.covariance is None else o.covariance
    field = np.array([_field(job, steel, warmer, name) for name in o.ids])
    both = np.column_stack(
        [
            displacement_rows(there, there.mean(axis=0)),
            field.ravel(),
            (o.surveyed - there).ravel(),
        ]
    )
    white = np.linalg.solve(np.linalg.cholesky(covariance), both)
    motion, rest = white[:, :6], white[:, 6:]
    rest = rest - motion @ np.linalg.lstsq(motion, rest, rcond=None)[0]
    grown, off = rest.T
    return float(grown @ grown), float(grown @ off), float(off @ off), o.surveyed.size - 6


def other_scale(stretch: Stretch) -> tuple[str, str, float] | None:
    """Return the temperature scale stated, the one meant and what it then is [K], if that fits.

    Parameters
    ----------
    stretch : Stretch
    """
    for read, meant in _SCALES:
        steel = to_si(from_si(stretch.stated, "temperature", read), "temperature", meant)
        if stretch.fits(steel):
            return read, meant, steel
    return None


def scale_finding(job: Job, file: str, stretch: Stretch, where: str) -> str:
    """Say that the steel temperature stands in another scale; an empty text where it does not.

    Parameters
    ----------
    job : Job
    file : str
        Of the survey.
    stretch : Stretch
    where : str
        Where the temperature stands.
    """
    found = other_scale(stretch)
    if found is None:
        return ""
    read, meant, steel = found
    shown = DISPLAY[job.units].temperature
    number = from_si(stretch.stated, "temperature", read)
    return (
        f"{file}: the steel temperature stands under °{read} and was read in °{meant}: "
        f"{number:.1f} °{meant} is {shown.text(steel)}, and the length of "
        f"{_names(stretch)} asks for {shown.text(stretch.steel)} (u {_step(job, stretch.u)}); "
        f"correct {where}"
    )


def stretch_ground(job: Job, file: str, stretch: Stretch) -> Ground | None:
    """Return what must be known of the length of the segments before the survey is used.

    Parameters
    ----------
    job : Job
    file : str
        Of the survey.
    stretch : Stretch
    """
    if not stretch.significant:
        return None
    move, shown = DISPLAY[job.units].move, DISPLAY[job.units].temperature
    off = abs(stretch.steel - stretch.stated)
    return Ground(
        "reserves",
        "steel",
        f"{file}: the length of {_names(stretch)} asks for steel at {shown.text(stretch.steel)} "
        f"(u {_step(job, stretch.u)}), not at {shown.text(stretch.stated)} as stated, which makes "
        f"up to {move.text(off * stretch.at_joints)} at a joint; read the steel again, and check "
        "the scale of the survey, grid or ground, and the lengths from the shop",
    )


def _names(stretch: Stretch) -> str:
    many = len(stretch.segments) > 1
    return f"segment{'s' if many else ''} {', '.join(stretch.segments)}"


def _step(job: Job, kelvin: float) -> str:
    shown = DISPLAY[job.units].temperature
    return f"{from_si(kelvin, 'temperature_step', shown.suffix):.1f} {shown.word}"


def by_survey(
    job: Job, steel: Mapping[str, Steel], observed: Mapping[str, Observed], files: Mapping[str, str]
) -> dict[str, Stretch]:
    """Return what the lengths say, by survey file.

    Parameters
    ----------
    job : Job
    steel : mapping of str to Steel
    observed : mapping of str to Observed
        By segment, at the reference temperature.
    files : mapping of str to str
        Survey of each segment.
    """
    found = {}
    for file in dict.fromkeys(files.values()):
        own = [
            o
            for name, o in observed.items()
            if files[name] == file and job.segments[name].expansion is not None
        ]
        try:
            stretch = stretch_of(job, steel, own) if own else None
        except SurveyRefused:
            # the test of the shape says what is wrong with it
            stretch = None
        if stretch is not None:
            found[file] = stretch
    return found
