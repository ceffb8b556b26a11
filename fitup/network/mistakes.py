"""Gross mistakes that spoil the start: a unit of the whole file, or of one set-up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from fitup.errors import SurveyRefused
from fitup.model import ControlPoint
from fitup.network.observations import ObservationSet, Sight
from fitup.network.start import Join, Start, find_start

#: shared points that fit this badly call for an explanation [m]
BAD: Final = 0.3
#: an explanation must bring the misfit down to this share
SHARPER: Final = 0.05
#: feet written as metres make a cluster this much too large, or the other way round
FOOT: Final = 0.3048


def find_start_or_mistake(
    read: ObservationSet, sights: Sequence[Sight], control: Mapping[str, ControlPoint]
) -> Start:
    """Find approximate coordinates; where they do not fit at all, name the likely mistake.

    Parameters
    ----------
    read : ObservationSet
    sights : sequence of Sight
        Corrected readings.
    control : mapping of str to ControlPoint
        Control and tie points by id.

    Raises
    ------
    SurveyRefused
        With the mistake, or with what keeps the network from being one.
    """
    start = find_start(read.setups, sights, read.levels, control)
    findings = [line for join in start.joins if (line := _feet(join))]
    if findings:
        raise SurveyRefused(findings)
    worst = _worst(start)
    if worst <= BAD:
        return start
    for factor, found, meant in ((0.9, "degrees", "gon"), (10.0 / 9.0, "gon", "degrees")):
        turned = [_angles_times(s, factor) for s in sights]
        try:
            other = find_start(read.setups, turned, read.levels, control)
        except SurveyRefused:
            continue
        if _worst(other) < SHARPER * worst:
            raise SurveyRefused(
                [
                    f"if the angles are {meant} written under {found}, shared points that were "
                    f"{worst:.2f} m apart are {_worst(other):.2f} m apart; correct the unit in "
                    "the header"
                ]
            )
    return start


def _worst(start: Start) -> float:
    return max((j.fit.misfit for j in start.joins), default=0.0)


def _angles_times(sight: Sight, factor: float) -> Sight:
    return replace(
        sight,
        hz=None if sight.hz is None else sight.hz * factor,
        v=None if sight.v is None else sight.v * factor,
    )


def _feet(join: Join) -> str:
    """Tell of distances that come out by the ratio of foot and metre."""
    for factor, found, meant in ((1.0 / FOOT, "metres", "feet"), (FOOT, "feet", "metres")):
        if abs(join.fit.scale / factor - 1.0) < 0.02:
            who, other = join.cluster, join.base or "the control"
            return (
                f"set-up {who}: against {other} its distances come out {join.fit.scale:.3f} times "
                f"as long; {meant} written under {found}? Correct the unit in the header"
            )
    return ""
