"""The ride over the joints for the report: straightedge and quarter car before and after."""

from __future__ import annotations

from fitup.certify.facts import Certificate
from fitup.model import Job
from fitup.sheets.model import Profile, RideLine
from fitup.sheets.numbers import rounded, uncertified
from fitup.units import DISPLAY


def ride_lines(job: Job, certificate: Certificate) -> tuple[RideLine, ...]:
    """Return one line for each wheel path of the job.

    Parameters
    ----------
    job, certificate
    """
    units = DISPLAY[job.units]
    return tuple(
        RideLine(
            path=fact.path,
            joint=fact.joint,
            place=fact.place,
            straightedge=uncertified(job.straightedge, units.coordinate),
            edge=edge_words(job),
            gap_before=rounded(fact.gap_before, units.move),
            gap_after=rounded(fact.gap_after, units.move),
            roughness_before=rounded(fact.roughness_before, units.roughness),
            roughness_after=rounded(fact.roughness_after, units.roughness),
            before=_profile(job, fact.profile_before),
            after=_profile(job, fact.profile_after),
        )
        for fact in certificate.ride
    )


def edge_words(job: Job) -> str:
    """Return the length of the job's straightedge: ``3 m``, ``10 ft``."""
    shown = DISPLAY[job.units].coordinate
    return f"{shown.number(job.straightedge):g} {shown.word}"


def _profile(job: Job, points: tuple[tuple[float, float], ...]) -> Profile:
    """Return a profile in the units of the job: places in m or ft, heights in mm or in."""
    units = DISPLAY[job.units]
    return tuple((units.coordinate.number(x), units.move.number(z)) for x, z in points)
