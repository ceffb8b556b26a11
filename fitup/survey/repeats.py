"""A point measured several times in one list: its mean, after a test of the spread."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.special import chdtri

from fitup.survey.points import SurveyedPoint
from fitup.units import Shown

#: share of clean lists that are refused for their repeats
ALPHA: Final = 0.001


@dataclass(frozen=True, slots=True)
class Repeated:
    """One point measured several times, by its rows."""

    id: str
    rows: tuple[int, ...]
    spread: float
    """Greatest distance of a measurement from the mean [m]."""
    most: float
    """What the uncertainties allow, about [m]."""
    apart: bool
    """The measurements contradict each other."""
    said: str


def once_each(
    points: Sequence[SurveyedPoint], shown_in: Shown
) -> tuple[list[SurveyedPoint], list[Repeated]]:
    """Return every point once, those measured several times by their mean.

    Parameters
    ----------
    points : sequence of SurveyedPoint
        In the order of the list.
    shown_in : Shown
        How lengths are printed.

    Returns
    -------
    points : list of SurveyedPoint
        In the order of their first rows.
    repeated : list of Repeated

    Notes
    -----
    Weights are those of the stated uncertainties. Residuals from the mean are tested by chi-square
    with three degrees of freedom for each measurement beyond the first, as if measurements were
    independent. The mean keeps the uncertainty it has when all of them err alike: set-up and
    control of one list are common to its repeats, so that repeating does not make it surer.
    """
    groups: dict[str, list[SurveyedPoint]] = {}
    for point in points:
        groups.setdefault(point.id, []).append(point)
    several = sum(len(same) > 1 for same in groups.values())
    result, repeated = [], []
    for same in groups.values():
        if len(same) == 1:
            result.append(same[0])
            continue
        mean, one = _mean(same, ALPHA / several, shown_in)
        result.append(mean)
        repeated.append(one)
    return result, repeated


def _mean(
    same: Sequence[SurveyedPoint], alpha: float, shown_in: Shown
) -> tuple[SurveyedPoint, Repeated]:
    places = np.array([p.position for p in same])
    u = np.array([p.uncertainty for p in same])
    share = u**-2 / (u**-2).sum(axis=0)
    mean = (share * places).sum(axis=0)
    off = places - mean
    limit = float(chdtri(3 * (len(same) - 1), alpha))
    spread = float(np.linalg.norm(off, axis=1).max())
    # of two measurements alike in all coordinates each is half their distance off
    most = float(np.sqrt(limit / len(same)) * u.max())
    rows = tuple(p.row for p in same)
    said = (
        f"{same[0].id}: {len(same)} measurements (rows {', '.join(map(str, rows))}), at most "
        f"{shown_in.text(spread)} from their mean, which counts with the uncertainty of one"
    )
    apart = float(((off / u) ** 2).sum()) > limit
    one = Repeated(same[0].id, rows, spread, most, apart, said)
    return replace(same[0], position=mean, uncertainty=(share * u).sum(axis=0)), one
