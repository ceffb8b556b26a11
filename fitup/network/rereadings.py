"""What was read, read otherwise: mistakes of the whole file, a set-up or one control row.

Each is tried on the whole way from readings to adjusted coordinates, so that a mistake that
spoils the start values is found as well. It explains the survey when everything fits with it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

from fitup.errors import SurveyRefused
from fitup.frames import Array
from fitup.model import ControlPoint
from fitup.network.adjust import Adjusted
from fitup.network.observations import ObservationSet, Setup, Shot
from fitup.network.reliability import reliability

#: set-ups and control rows that are tried one by one
MOST: Final = 24
#: with other mistakes beside it, it must bring the weighted squares down to this share
SHARE: Final = 1e-4
#: explanations that bring the deck about as near to its design are as good [m]
NEAR: Final = 0.25
_TURN: Final = 2.0 * math.pi

Control = Mapping[str, ControlPoint]
#: from readings and control to an adjusted network, and how far the deck then is off design [m]
Solve = Callable[[ObservationSet, Control], tuple[Adjusted, float]]


@dataclass(frozen=True, eq=False)
class Rereading:
    """Something that may have been written wrongly: ``if {what}, everything fits; {do}``."""

    what: str
    do: str
    read: ObservationSet
    control: Control


def reread(tries: Iterable[Rereading], solve: Solve, squares: float | None) -> tuple[str, ...]:
    """Return the mistakes that explain a survey that does not fit, one line each.

    Parameters
    ----------
    tries : iterable of Rereading
    solve : callable
        Adjusts readings and control; raises SurveyRefused where it cannot.
    squares : float or None
        Weighted squares as they were read; None where nothing could be adjusted.

    Notes
    -----
    Of explanations that fit alike, those that bring the deck nearest to its design are stated.
    """
    found: list[tuple[float, float, str]] = []
    for one in tries:
        try:
            adjusted, off = solve(one.read, one.control)
        except SurveyRefused:
            continue
        tested = reliability(adjusted)
        if tested.passed or (squares is not None and tested.squares < SHARE * squares):
            found.append((off, tested.squares, f"{one.what}: with that everything fits; {one.do}"))
    if not found:
        return ()
    # a mirror image has the same shape: the design says which of two explanations it is
    near = [(size, line) for off, size, line in found if off <= 2.0 * min(found)[0] + NEAR]
    best = min(near)[0]
    lines = [line for size, line in sorted(near) if size <= 2.0 * best + 10.0]
    if len(lines) == 1:
        return tuple(lines)
    return (" or ".join([lines[0].split(": with that")[0], *lines[1:]]),)


def rereadings(read: ObservationSet, control: Control, origin: Array) -> Iterator[Rereading]:
    """Yield what may have been written wrongly, the whole file first.

    Parameters
    ----------
    read : ObservationSet
        As it was written.
    control : mapping of str to ControlPoint
        With the origin taken off.
    origin : Array (3,)
        Added back before easting and northing are exchanged [m].
    """
    names = list(read.setups)
    groups = [("the whole file", set(names))]
    if len(names) > 1:
        groups += [(f"set-up {name}", {name}) for name in names[:MOST]]
    for where, own in groups:
        for what, do, change in _CHANGES:
            shots = [change(s) if s.setup in own else s for s in read.shots]
            kept = [s for s in shots if s is not None]
            if len(kept) == len(shots) and any(
                a is not b for a, b in zip(kept, read.shots, strict=True)
            ):
                yield Rereading(f"{where}: {what}", do, replace(read, shots=tuple(kept)), control)
    if len(control) > 1:
        turned = {n: _exchanged(c, origin) for n, c in control.items()}
        what = "easting and northing of control.csv are exchanged"
        yield Rereading(what, "correct its header", read, turned)
    placed = [n for n, c in control.items() if c.given[:2].all()]
    for name in placed[:MOST]:
        yield Rereading(
            f"control.csv: easting and northing of {name} are exchanged",
            "correct its row",
            read,
            {**control, name: _exchanged(control[name], origin)},
        )
    yield from _standings(read, control)


def _standings(read: ObservationSet, control: Control) -> Iterator[Rereading]:
    """Yield other points that a set-up may stand over."""
    for setup in _over(read):
        # nobody sights the point under the own instrument
        seen = {setup.over, *(s.target for s in read.shots if s.setup == setup.id)}
        for name in [n for n, c in control.items() if c.given.all() and n not in seen][:MOST]:
            moved = {**read.setups, setup.id: replace(setup, over=name)}
            yield Rereading(
                f"set-up {setup.id}: it stands over {name}, not over {setup.over}",
                "correct column over",
                replace(read, setups=moved),
                control,
            )


def standing_free(read: ObservationSet, control: Control) -> Iterator[Rereading]:
    """Yield that a set-up does not stand over its point: to be tried where nothing else fits.

    Parameters
    ----------
    read : ObservationSet
        As it was written.
    control : mapping of str to ControlPoint
        With the origin taken off.
    """
    for setup in _over(read):
        free = {**read.setups, setup.id: replace(setup, over=None, height=0.0)}
        yield Rereading(
            f"set-up {setup.id}: it does not stand over {setup.over} at the height written",
            "correct over or instrument_height, or leave both empty: a free set-up needs none",
            replace(read, setups=free),
            control,
        )


def _over(read: ObservationSet) -> list[Setup]:
    return [s for s in read.setups.values() if s.over is not None][:MOST]


def _exchanged(point: ControlPoint, origin: Array) -> ControlPoint:
    return replace(point, position=(point.position + origin)[[1, 0, 2]] - origin)


def _other_way(shot: Shot) -> Shot:
    return shot if shot.hz is None else replace(shot, hz=(_TURN - shot.hz) % _TURN)


def _horizontal(shot: Shot) -> Shot:
    """Take the distance for a horizontal one and return the slope distance."""
    if shot.sd is None or shot.v is None or abs(math.sin(shot.v)) < 0.1:
        return shot
    return replace(shot, sd=shot.sd / abs(math.sin(shot.v)))


def _packed(shot: Shot) -> Shot | None:
    """Read degrees with decimals as degrees, minutes and seconds; None where that cannot be."""
    hz, v = _unpacked(shot.hz), _unpacked(shot.v)
    if (hz is None) != (shot.hz is None) or (v is None) != (shot.v is None):
        return None
    return replace(shot, hz=hz, v=v)


def _unpacked(angle: float | None) -> float | None:
    if angle is None:
        return None
    degrees = math.degrees(angle)
    whole = math.floor(degrees + 1e-9)
    minutes = (degrees - whole) * 100.0
    full = math.floor(minutes + 1e-6)
    seconds = (minutes - full) * 100.0
    if full >= 60 or seconds >= 60.0 + 1e-3:
        return None
    return math.radians(whole + full / 60.0 + max(seconds, 0.0) / 3600.0)


def _elevation(shot: Shot) -> Shot:
    """Take the vertical angle for one from the horizon; face 2 counts on over the zenith."""
    if shot.v is None:
        return shot
    other = math.pi / 2.0 - shot.v if shot.face == 1 else 2.5 * math.pi - shot.v
    return replace(shot, v=other % _TURN)


#: what may be wrong with readings, what to do, and each reading as it was meant
_CHANGES: Final[tuple[tuple[str, str, Callable[[Shot], Shot | None]], ...]] = (
    (
        "its horizontal circle counts the other way, anticlockwise",
        "turn the readings round, or correct the setting of the instrument",
        _other_way,
    ),
    (
        "the distances are horizontal ones, written as slope distances",
        "write slope distances",
        _horizontal,
    ),
    (
        "the angles are degrees, minutes and seconds packed as ddd.mmss under decimal degrees",
        "write them as dms, 63-25-48.2, with the unit dms in the header",
        _packed,
    ),
    (
        "the vertical angles are from the horizon, not from the zenith",
        "write zenith angles",
        _elevation,
    ),
)
