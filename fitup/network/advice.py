"""Plain words for the crew: what does not fit, why most likely, what to measure again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import chdtri

from fitup.errors import SurveyRefused
from fitup.frames import Array
from fitup.network.adjust import adjust
from fitup.network.causes import Cause, causes, score
from fitup.network.equations import KINDS, Network
from fitup.network.reliability import ALPHA, reliability
from fitup.network.robust import CleanedNetwork, without_some
from fitup.network.wrong_target import by_sight, exchanged_sights, really
from fitup.units import DISPLAY, DisplayUnits

#: how much worse the rest may fit with a rival: 0.1 % of chi-square, one degree of freedom
RIVAL: Final = 10.8276
_NAMES: Final = {"hz": "direction", "v": "zenith angle", "sd": "distance"}


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing that does not fit: the observations it is about, its cause in a word, the line."""

    observations: tuple[str, ...]
    cause: str
    text: str


def advise(
    network: Network, outcome: CleanedNetwork, used: Array, units: str, datum: Sequence[str] = ()
) -> tuple[Advice, ...]:
    """Say what does not fit and what to do about it.

    Parameters
    ----------
    network : Network
    outcome : CleanedNetwork
        With the odd observations found.
    used : Array (m,)
        Which observations the engineer left in.
    units : str
        ``metric`` or ``US``.
    datum : sequence of str
        Of a free network.

    Returns
    -------
    tuple of Advice
        Empty when everything fits.
    """
    shown = DISPLAY[units]
    left, counted = list(outcome.odd), used.copy()
    result: list[Advice] = []
    while len(left) > 1:
        found = _common_cause(network, outcome, counted, left, datum)
        if found is None:
            break
        cause, amount, explained = found
        result.append(_say_cause(network, cause, amount, explained, shown))
        left = [i for i in left if i not in explained]
        counted[explained] = False
    sights = by_sight(network, left)
    for one, other in exchanged_sights(network, outcome.adjusted.state, sights):
        result.append(_say_exchanged(network, one, other))
        sights = [s for s in sights if s not in (one, other)]
    for sight in sights:
        kinds = {network.observations[i].kind for i in sight}
        say = _say_sight if len(kinds) > 1 else _say_one
        result.append(say(network, outcome, sight, shown))
    if not outcome.odd and not outcome.tested.passed:
        result.append(_global(outcome))
    return tuple(result)


def _common_cause(
    network: Network, outcome: CleanedNetwork, used: Array, odd: list[int], datum: Sequence[str]
) -> tuple[Cause, Array, list[int]] | None:
    """Return the cause that leaves fewest observations given up, if it explains two or more."""
    state = outcome.adjusted.state
    try:
        whole = adjust(network, state, used=used, datum=datum)
    except SurveyRefused:
        return None
    best: tuple[int, Cause, Array, list[int]] | None = None
    for cause in causes(network, whole, odd):
        explained = [i for i in odd if cause.touches[i]]
        # one cause for one odd observation explains nothing
        if len(explained) < 2 and cause.kind not in ("turned", "moved"):
            continue
        kept = used.copy()
        kept[[i for i in odd if not cause.touches[i]]] = False
        tried = _tried(network, outcome, kept, cause, datum)
        if tried is None and cause.kind == "turned":
            # a turn bends the rest too: what seemed odd elsewhere may fit with it
            kept, explained = used, list(odd)
            tried = _tried(network, outcome, kept, cause, datum)
        if tried is None:
            continue
        given_up = len(odd) - len(explained) + 1
        if given_up < len(odd) and (best is None or given_up < best[0]):
            best = (given_up, cause, tried, explained)
    return None if best is None else best[1:]


def _tried(
    network: Network, outcome: CleanedNetwork, kept: Array, cause: Cause, datum: Sequence[str]
) -> Array | None:
    """Return the size of a cause (e,) where everything fits with it, else None.

    What the cause lets in again must fit by itself too: among many good observations a few bad
    ones pass the test of the whole.
    """
    state = outcome.adjusted.state
    try:
        tried = adjust(network, state, used=kept, extra=cause.effects, datum=datum)
    except SurveyRefused:
        return None
    tested = reliability(tried)
    freedom = tested.freedom - outcome.tested.freedom
    worse = tested.squares - outcome.tested.squares
    alone = freedom <= 0 or worse <= float(chdtri(freedom, ALPHA))
    return tried.extra if tested.passed and alone else None


def _say_cause(
    network: Network, cause: Cause, amount: Array, explained: list[int], units: DisplayUnits
) -> Advice:
    names = tuple(network.observations[i].id for i in explained)
    value = float(amount[0])
    much = units.move.text(abs(value))
    who = cause.subject[0]
    long = "long" if value > 0.0 else "short"
    if cause.kind == "prism":
        text = (
            f"every distance to {who} is {much} too {long}, from all set-ups alike: the prism "
            f"constant of {who} is wrong or forgotten; correct column prism for {who}"
        )
    elif cause.kind == "distances":
        text = (
            f"every distance from set-up {who} is {much} too {long}: the prism constant set in the "
            f"instrument is wrong; correct column prism for set-up {who}"
        )
    elif cause.kind == "scale":
        text = (
            f"all distances from set-up {who} are {abs(value) * 1e6:.0f} ppm too {long}: check "
            f"temperature and pressure of set-up {who}, and whether they were applied twice"
        )
    elif cause.kind == "index":
        down = "low" if value > 0.0 else "high"
        text = (
            f"every sight from set-up {who} points {units.small_angle.text(abs(value))} too "
            f"{down}: index error or compensator; check both, and measure set-up {who} again in "
            "both faces"
        )
    elif cause.kind == "turned":
        text = (
            f"set-up {who}: from row {cause.subject[1]} on, every direction is "
            f"{units.small_angle.text(abs(value))} too {'large' if value > 0.0 else 'small'}: the "
            "instrument was knocked or turned there; measure again from that row, or give those "
            "rows a set-up of their own"
        )
    elif cause.kind == "moved":
        text = _say_moved(cause, amount, units)
    else:
        text = _say_group(cause, value, units)
    return Advice(names, cause.kind, text)


_GROUPS: Final = {
    "all": "every distance of the survey",
    "deck": "every distance to a target on the deck",
    "control": "every distance to a point beside the deck",
    "instrument": "every distance by instrument {}",
    "prism of": "every distance with a prism constant of {} mm written",
}


def _say_group(cause: Cause, value: float, units: DisplayUnits) -> str:
    """Say what many set-ups or targets share."""
    kind, name = cause.subject[0], cause.subject[-1]
    much, long = units.move.text(abs(value)), "long" if value > 0.0 else "short"
    if cause.kind == "distances of":
        return (
            f"{_GROUPS[kind].format(name)} is {much} too {long}, from all set-ups alike: their "
            "prism constant is wrong or forgotten; correct column prism"
        )
    if cause.kind == "scale of":
        return (
            f"{_GROUPS[kind].format(name)} is {abs(value) * 1e6:.0f} ppm too {long}: check air and "
            "the reference of the instrument, projection scale and the unit of the distances"
        )
    if cause.kind == "index of":
        who = f"by instrument {name}" if kind == "instrument" else "of the survey"
        down = "low" if value > 0.0 else "high"
        return (
            f"every sight {who} points {units.small_angle.text(abs(value))} too {down}: index "
            "error or compensator; check both, and measure in both faces"
        )
    large = "large" if value > 0.0 else "small"
    what = (
        "instrument_height of set-up" if cause.kind == "instrument height" else "target_height at"
    )
    return (
        f"{what} {name} is {much} too {large}: with that everything measured there fits; correct "
        "it by the book, or measure the height again"
    )


def say_shared(
    network: Network, found: Sequence[tuple[Cause, Array]], units: DisplayUnits
) -> Advice:
    """Say which shared cause explains everything, and what explains it as well.

    Parameters
    ----------
    network : Network
    found : sequence of (Cause, Array (e,))
        Causes that fit, best first, each with the amounts of its effects [m, rad or 1].
    units : DisplayUnits
    """
    said = [_say_cause(network, cause, amount, [], units) for cause, amount in found]
    touched = np.flatnonzero(found[0][0].touches)
    text = said[0].text
    if len(said) > 1:
        text += "; or, fitting as well: " + "; or ".join(one.text for one in said[1:3])
    return Advice(tuple(network.observations[i].id for i in touched), said[0].cause, text)


def _say_moved(cause: Cause, amount: Array, units: DisplayUnits) -> str:
    """Say where a control point is now, seen from where control.csv has it."""
    words = {"E": ("west", "east"), "N": ("south", "north"), "H": ("down", "up")}
    who, axes = cause.subject
    parts = [
        f"{units.move.text(abs(float(value)))} {words[kind][value < 0.0]}"
        for kind, value in zip(axes, amount.tolist(), strict=True)
        if units.move.number(float(value)) != 0.0
    ]
    return (
        f"control point {who} is not where control.csv has it, but {', '.join(parts)} of there: "
        f"it has moved, or its coordinates or name are wrong; check {who}, or exclude it in "
        "job.toml [exclude] with the reason"
    )


def _rows(network: Network, sight: Sequence[int]) -> str:
    """Return the rows of observations: row 4, or rows 4 and 30."""
    rows = sorted({network.observations[i].row for i in sight})
    return f"row{'s' if len(rows) > 1 else ''} {' and '.join(str(r) for r in rows)}"


def _say_one(
    network: Network, outcome: CleanedNetwork, sight: Sequence[int], units: DisplayUnits
) -> Advice:
    """One kind of reading is off, in one set or in several."""
    i = sight[0]
    observation = network.observations[i]
    off = float(outcome.off[i])
    where = f"set-up {observation.setup}, target {observation.to} ({_rows(network, sight)})"
    again = f"measure {observation.to} again from {observation.setup}"
    name = observation.id if len(sight) == 1 else "/".join(observation.id.split("/")[:3])
    drop = f"exclude {name} in job.toml [exclude] with the reason"
    much = _as_length(network, outcome, i, off, units)
    if observation.kind == "hz":
        side = "right" if off > 0.0 else "left"
        text = f"{where}: the direction points {much} to the {side} of where the others put it"
        why = "wrong target, or a prism knocked?"
    elif observation.kind == "v":
        side = "low" if off > 0.0 else "high"
        text = f"{where}: the zenith angle points {much} too {side}"
        why = f"was the target height of {observation.to} noted rightly?"
    elif observation.kind == "sd":
        side = "long" if off > 0.0 else "short"
        text = f"{where}: the distance is {much} too {side}"
        why = "prism constant, or a distance to something in front?"
    elif observation.kind == "dh":
        side = "high" if off > 0.0 else "low"
        text = (
            f"levelling {observation.at} to {observation.to} (row {observation.row}): "
            f"{observation.to} comes out {much} too {side}"
        )
        why, again = "a reading or a turning point?", "level it again"
    else:
        return Advice((observation.id,), "control", _one_coordinate(network, outcome, i, much))
    text = f"{text}; {why} {again[:1].upper()}{again[1:]}, or {drop}"
    rivals = [network.observations[k].id for k in _rivals(network, outcome, sight)]
    if rivals:
        text += f"; {' or '.join(rivals)} wrong in its place would explain it nearly as well"
    return Advice(tuple(network.observations[k].id for k in sight), observation.kind, text)


def _rivals(network: Network, outcome: CleanedNetwork, sight: Sequence[int]) -> list[int]:
    """Return observations of the same target that may be the wrong one instead.

    One that leaves the others fitting worse by no more than the 0.1 % point of chi-square.
    """
    node, i = int(network.to[sight[0]]), sight[0]
    odd = {k for k in outcome.odd if network.to[k] == node}
    if len(sight) > 1 or len(odd) > 1 or not network.observations[i].setup:
        return []
    counted = outcome.adjusted.used | np.isin(np.arange(len(network.to)), [i])
    rows = np.flatnonzero(counted & (network.to == node))
    ranked = without_some(network, outcome.adjusted.state, node, rows, 1) or []
    own = next((squares for squares, out in ranked if out == (i,)), None)
    if own is None:
        return []
    return [out[0] for squares, out in ranked if out != (i,) and squares <= own + RIVAL]


def _say_exchanged(network: Network, one: Sequence[int], other: Sequence[int]) -> Advice:
    """Two sights of a set-up are each other's: one cause, two rows."""
    observations = network.observations
    a, b = observations[one[0]], observations[other[0]]
    return Advice(
        tuple(observations[i].id for i in (*one, *other)),
        "target",
        f"set-up {a.setup}: targets {a.to} ({_rows(network, one)}) and {b.to} "
        f"({_rows(network, other)}) are exchanged, each has the readings of the other: exchange "
        f"the two names there in every set, or exclude {a.setup}/{a.to} and {b.setup}/{b.to} in "
        "job.toml [exclude] with the reason",
    )


def _say_sight(
    network: Network, outcome: CleanedNetwork, sight: Sequence[int], units: DisplayUnits
) -> Advice:
    """Several readings of one sight are off: most likely it was another target."""
    observations = network.observations
    first = observations[sight[0]]
    parts = [
        f"{_NAMES[observations[i].kind]} by "
        f"{_as_length(network, outcome, i, float(outcome.off[i]), units)}"
        for i in {observations[i].kind: i for i in reversed(sight)}.values()
    ]
    other = really(network, outcome.adjusted.state, sight)
    why = (
        f"they are the readings of {other}: correct the name, or measure"
        if other
        else "another target, or a reflection? Measure"
    )
    rivals = _rival_sights(network, outcome, sight)
    doubt = f"; {' or '.join(rivals)} wrong in its place would explain it nearly as well"
    return Advice(
        tuple(observations[i].id for i in sight),
        "target",
        f"set-up {first.setup}, target {first.to} ({_rows(network, sight)}): {', '.join(parts)} "
        f"off the others; {why} {first.to} again from {first.setup}, or exclude "
        f"{first.setup}/{first.to} in job.toml [exclude] with the reason{doubt if rivals else ''}",
    )


def _rival_sights(network: Network, outcome: CleanedNetwork, sight: Sequence[int]) -> list[str]:
    """Return sights of other set-ups to the same target that may be the wrong one instead.

    Judged as :func:`_rivals`, all readings of a set-up to the target together.
    """
    node, first = int(network.to[sight[0]]), network.observations[sight[0]]
    if any(network.to[k] == node and k not in sight for k in outcome.odd):
        return []
    counted = outcome.adjusted.used | np.isin(np.arange(len(network.to)), sight)
    rows = np.flatnonzero(counted & (network.to == node))
    left: dict[str, float] = {}
    for setup in dict.fromkeys(network.observations[i].setup for i in rows):
        group = tuple(int(i) for i in rows if network.observations[i].setup == setup)
        ranked = without_some(network, outcome.adjusted.state, node, rows, len(group)) or []
        squares = next((s for s, out in ranked if out == group), None)
        if setup and squares is not None:
            left[setup] = squares
    own = left.get(first.setup, -np.inf)
    return [
        f"{setup}/{first.to}"
        for setup, squares in left.items()
        if setup != first.setup and squares <= own + RIVAL
    ]


def _one_coordinate(network: Network, outcome: CleanedNetwork, i: int, much: str) -> str:
    """Say which coordinate of control does not fit, or which points may be the wrong one."""
    observation = network.observations[i]
    others = _other_control(network, outcome, i)
    if others:
        names = " and ".join(sorted({observation.to, *others}))
        return (
            f"control points {names} contradict each other in control.csv, and the observations "
            "cannot tell which of them is wrong or has moved; sight one control point more, or "
            "have them measured again and correct control.csv"
        )
    words = {"E": ("east", "west"), "N": ("north", "south"), "H": ("high", "low")}
    side = words[observation.kind][bool(outcome.off[i] < 0.0)]
    return (
        f"control point {observation.to}: its coordinate {observation.kind} in control.csv is "
        f"{much} too far {side} against the observations; has it moved? Check it, or exclude "
        f"{observation.id} in job.toml [exclude] with the reason"
    )


def _other_control(network: Network, outcome: CleanedNetwork, i: int) -> list[str]:
    """Return other control points of which a coordinate would explain the misfit as well."""
    counted = outcome.adjusted.used | np.isin(np.arange(len(network.to)), [i])
    control = np.flatnonzero(counted & (network.kind >= KINDS.index("E")))
    whole = adjust(network, outcome.adjusted.state, used=counted)
    effects = np.zeros((len(counted), len(control)))
    effects[control, np.arange(len(control))] = 1.0
    gains = score(whole, effects)
    own = float(gains[control == i][0])
    nodes = {network.observations[k].to for k in control[gains >= own - RIVAL]}
    return sorted(nodes - {network.observations[i].to})


def at_target(network: Network, outcome: CleanedNetwork, i: int) -> float:
    """Return how far an observation that does not fit is off at its target [m].

    Parameters
    ----------
    network, outcome
    i : int
        Place of the observation in the network.
    """
    return float(outcome.off[i]) * _reach(network, outcome, i)


def _reach(network: Network, outcome: CleanedNetwork, i: int) -> float:
    """Return what turns an observation into a length at its target: a distance, or 1."""
    kind = network.observations[i].kind
    if kind not in ("hz", "v"):
        return 1.0
    places = outcome.adjusted.state.positions
    step = places[network.to[i]] - places[network.at[i]]
    reach = np.hypot(step[0], step[1]) if kind == "hz" else np.linalg.norm(step)
    return float(np.nan_to_num(reach, nan=0.0))


def _as_length(
    network: Network, outcome: CleanedNetwork, i: int, off: float, units: DisplayUnits
) -> str:
    """Return an error as what it comes to at the target: nobody sees an angle."""
    off *= _reach(network, outcome, i)
    shown = units.move if abs(off) < 1.0 else units.coordinate
    return shown.text(abs(off))


def _global(outcome: CleanedNetwork) -> Advice:
    factor = outcome.tested.factor
    return Advice(
        (),
        "global",
        f"the residuals are {np.sqrt(factor):.1f} times as large as the stated uncertainties "
        "allow, and no single observation stands out; check the instrument's uncertainties in "
        "instruments.csv, whether the deck moved during the survey, and the control",
    )
