"""Both faces meant: collimation and index error of each set-up, found from its own readings.

A mean of two faces is free of both. A pointing in one face is corrected by what the two-face
sets of its set-up say; where a set-up has none, nothing is known and nothing is corrected.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.errors import Problem
from fitup.network.observations import ObservationSet, Setup, Shot

#: two faces disagree when they are this many standard uncertainties off the set-up's usual amount
DISAGREE: Final = 5.0
_TURN: Final = 2.0 * math.pi


@dataclass(frozen=True, slots=True)
class FaceErrors:
    """What a set-up's two-face sets say of its instrument [rad]; None where there are none."""

    collimation: float | None
    """A reading in face 1 is too large by this over the sine of the zenith angle."""
    index: float | None
    """A zenith angle in face 1 is too large by this."""


@dataclass(frozen=True, slots=True)
class Pointing:
    """One set to a target with its faces meant; angles [rad], distance [m] as displayed."""

    shot: Shot
    hz: float | None
    v: float | None
    sd: float | None
    faces: int


def wrap(angle: float) -> float:
    """Return an angle [rad] between minus and plus half a turn.

    Examples
    --------
    >>> round(wrap(6.2), 4)
    -0.0832
    """
    return math.remainder(angle, _TURN)


def mean_faces(
    read: ObservationSet, *, correct: bool = True
) -> tuple[list[Pointing], dict[str, FaceErrors], list[str]]:
    """Mean the faces of every set.

    Parameters
    ----------
    read : ObservationSet
    correct : bool
        Correct pointings in one face by what the two-face sets of their set-up show.

    Returns
    -------
    pointings : list of Pointing
        One a set, in the order of the file.
    errors : dict
        Collimation and index error of each set-up.
    findings : list of str
        Sets whose two faces disagree: reading, target or face is wrong.
    """
    sets: dict[tuple[str, str, int], dict[int, Shot]] = {}
    for shot in read.shots:
        sets.setdefault((shot.setup, shot.target, shot.set), {})[shot.face] = shot
    errors = {name: _errors(name, sets) for name in read.setups}
    findings = [line for name in read.setups for line in _disagreeing(read, name, sets, errors)]
    taken = errors if correct else dict.fromkeys(errors, FaceErrors(None, None))
    return [_mean(s, taken[key[0]]) for key, s in sets.items()], errors, findings


def unit_problems(read: ObservationSet) -> list[Problem]:
    """Say where the two faces show that gon stand under degrees, or degrees under gon.

    The zenith angles of two faces add up to a full circle and their directions differ by half
    of one; in the wrong unit both are off by a ninth or a tenth.
    """
    ratios: dict[str, list[float]] = {}
    sets: dict[tuple[str, str, int], dict[int, Shot]] = {}
    for shot in read.shots:
        sets.setdefault((shot.setup, shot.target, shot.set), {})[shot.face] = shot
    for seen in sets.values():
        one, two = seen.get(1), seen.get(2)
        if one is None or two is None:
            continue
        if one.v is not None and two.v is not None:
            ratios.setdefault("v", []).append((one.v + two.v) / _TURN)
        if one.hz is not None and two.hz is not None:
            ratios.setdefault("hz", []).append(abs(one.hz - two.hz) / math.pi)
    problems = []
    for column, found in ratios.items():
        middle = float(np.median(found))
        for ratio, meant, under in ((10 / 9, "gon", "degrees"), (0.9, "degrees", "gon")):
            if abs(middle - ratio) < 0.005:
                what = "add up to" if column == "v" else "differ by"
                problems.append(
                    Problem(
                        read.file,
                        f"{meant} under a column of {under}: two faces {what} "
                        f"{middle * (360 if column == 'v' else 180):.1f} degrees",
                        "360 degrees" if column == "v" else "180 degrees",
                        "correct the unit in the header",
                        column=column,
                    )
                )
    return problems


def _pairs(
    name: str, sets: Mapping[tuple[str, str, int], Mapping[int, Shot]]
) -> list[tuple[Shot, Shot]]:
    return [(s[1], s[2]) for key, s in sets.items() if key[0] == name and len(s) == 2]


def _collimation(one: Shot, two: Shot) -> float | None:
    if one.hz is None or two.hz is None:
        return None
    steep = 1.0 if one.v is None else math.sin(one.v)
    return 0.5 * wrap(one.hz - two.hz - math.pi) * steep


def _index(one: Shot, two: Shot) -> float | None:
    if one.v is None or two.v is None:
        return None
    return 0.5 * wrap(one.v + two.v)


def _median(values: Sequence[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return float(np.median(known)) if known else None


def _errors(name: str, sets: Mapping[tuple[str, str, int], Mapping[int, Shot]]) -> FaceErrors:
    pairs = _pairs(name, sets)
    return FaceErrors(
        _median([_collimation(*pair) for pair in pairs]),
        _median([_index(*pair) for pair in pairs]),
    )


def _mean(faces: Mapping[int, Shot], errors: FaceErrors) -> Pointing:
    distances = [s.sd for s in faces.values() if s.sd is not None]
    sd = float(np.mean(distances)) if distances else None
    if len(faces) == 2:
        one, two = faces[1], faces[2]
        hz, v = _middle(one.hz, two.hz), _zenith(one.v, two.v)
        if (hz is None) == (one.hz is None and two.hz is None) and (v is None) == (
            one.v is None and two.v is None
        ):
            return Pointing(one, hz, v, sd, 2)
    shot = next(iter(faces.values()))
    return Pointing(shot, _one_hz(shot, errors), _one_v(shot, errors), sd, 1)


def _middle(one: float | None, two: float | None) -> float | None:
    if one is None or two is None:
        return None
    return (one + 0.5 * wrap(two - math.pi - one)) % _TURN


def _zenith(one: float | None, two: float | None) -> float | None:
    if one is None or two is None:
        return None
    return 0.5 * (one + _TURN - two)


def _one_hz(shot: Shot, errors: FaceErrors) -> float | None:
    if shot.hz is None:
        return None
    steep = 1.0 if shot.v is None else abs(math.sin(shot.v))
    off = (errors.collimation or 0.0) / max(steep, 1e-6)
    if shot.face == 1:
        return (shot.hz - off) % _TURN
    return (shot.hz + off - math.pi) % _TURN


def _one_v(shot: Shot, errors: FaceErrors) -> float | None:
    if shot.v is None:
        return None
    read = shot.v - (errors.index or 0.0)
    return read if shot.face == 1 else _TURN - read


def _disagreeing(
    read: ObservationSet,
    name: str,
    sets: Mapping[tuple[str, str, int], Mapping[int, Shot]],
    errors: Mapping[str, FaceErrors],
) -> list[str]:
    """Say which sets of a set-up are far off its usual collimation or index error."""
    setup = read.setups[name]
    lines = []
    usual = errors[name]
    for one, two in _pairs(name, sets):
        far = []
        for what, own, middle, u in (
            ("directions", _collimation(one, two), usual.collimation, setup.instrument.u_hz),
            ("zenith angles", _index(one, two), usual.index, setup.instrument.u_v),
        ):
            if own is None or middle is None:
                continue
            off = abs(own - middle)
            if off > DISAGREE * u:
                far.append((what, off / u))
        if far:
            lines.append(_disagreement(setup, one, two, far))
    return lines


def _disagreement(setup: Setup, one: Shot, two: Shot, far: Sequence[tuple[str, float]]) -> str:
    what = " and the ".join(name for name, _ in far)
    size = " and ".join(f"{ratio:.0f}" for _, ratio in far)
    return (
        f"set-up {setup.id}, target {one.target}: the {what} of the two faces (rows {one.row} and "
        f"{two.row}) disagree by {size} standard uncertainties more than those of the other "
        f"targets; one of them was pointed or written wrongly: measure {one.target} again from "
        f"{setup.id}, or take both rows out"
    )
