"""Gross mistakes that spoil the start: a unit of the whole file, or of one set-up."""

from __future__ import annotations

from collections import Counter
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
    findings = _feet(start.joins)
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


def _feet(joins: Sequence[Join]) -> list[str]:
    """Tell of distances that come out by the ratio of foot and metre.

    A cluster is fitted onto another, not onto the control: which of the two is wrong follows from
    the way to the control, or where there is none from what most of them have.
    """
    onto = {join.cluster: join for join in joins}
    power = {name: _power(name, onto) for name in onto}
    if not any(join.base == "" for join in joins):
        power |= {join.base: 0 for join in joins if join.base not in onto}
        usual = Counter(power.values()).most_common(1)[0][0] if power else 0
        power = {name: n - usual for name, n in power.items()}
    wrong = {name: n for name, n in power.items() if n in (-1, 1)}
    if len(wrong) > 1 and len(set(wrong.values())) == 1 and len(wrong) == len(power):
        return [_said("all set-ups", "their", *_feet_words(next(iter(wrong.values()))))]
    return [_said(f"set-up {name}", "its", *_feet_words(n)) for name, n in wrong.items()]


def _power(name: str, onto: Mapping[str, Join]) -> int:
    """Return how often a foot was taken for a metre on the way from a cluster to the control."""
    total, seen = 0, set[str]()
    while name in onto and name not in seen:
        seen.add(name)
        join = onto[name]
        for n, factor in ((1, 1.0 / FOOT), (-1, FOOT)):
            total += n * (abs(join.fit.scale / factor - 1.0) < 0.02)
        name = join.base
    return total


def _feet_words(power: int) -> tuple[float, str, str]:
    return (1.0 / FOOT, "feet", "metres") if power > 0 else (FOOT, "metres", "feet")


def _said(who: str, whose: str, scale: float, meant: str, found: str) -> str:
    return (
        f"{who}: against the control {whose} distances come out {scale:.3f} times as long; "
        f"{meant} written under {found}? Correct the unit in the header"
    )
