"""Readings and bands of a procedure in words: sides, stops, and the bands a part shares."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Final

from fitup.model import Job
from fitup.model.procedure import Band, ExpectedReading
from fitup.sheets.crew_lines import Bands
from fitup.sheets.numbers import Number, rounded
from fitup.units import DISPLAY, DisplayUnits, Shown

#: instrument and place -> the stop band of most lines: its ends, or how far off each reading
Shared = Mapping[tuple[str, str], tuple[str, float, float]]
#: how a band is said, before its ends
_HOWS: Final = ("ABOVE", "BELOW", "outside", "off by more than", "more than")


def shown_of(instrument: str, units: DisplayUnits, resolution: float = 1.0) -> Shown:
    """Return how readings of an instrument are printed.

    Parameters
    ----------
    instrument : str
        A ``gauge`` is printed as a pressure, all others as lengths.
    units : DisplayUnits
    resolution : float
        Step of a length [m]; below the last digit of a move it is printed as finely as a plate.
    """
    if instrument == "gauge":
        return units.pressure
    fine = resolution < 0.9 * 2.0 * units.move.half_step
    return units.plate if fine else units.move


def side_of(job: Job, reading: ExpectedReading, number: Number, *, short: bool = False) -> str:
    """Return the side of a reading in words; empty where it has none.

    Parameters
    ----------
    job, reading
    number : Number
        What is said: the value of the reading or an end of its band.
    short : bool
        Leaves out the mark at which a ram reads zero, as ``at START``.
    """
    if reading.instrument in ("gauge", "feeler", "calliper", "tape") or number.value == 0.0:
        return (
            f"at {reading.zero}"
            if reading.instrument == "ram" and reading.zero and not short
            else ""
        )
    seat = reading.at if reading.at in job.seats else None
    if reading.at in job.jacks:
        seat = job.jacks[reading.at].seat
    if seat is None:
        return ""
    pushes, out = job.seats[seat].pushes, number.value > 0.0
    if reading.instrument == "dial":
        words = {"up": ("up", "down"), "ahead": ("AHEAD", "BACK"), "back": ("BACK", "AHEAD")}
        words |= {"left": ("LEFT", "RIGHT"), "right": ("RIGHT", "LEFT")}
        return words.get(pushes, ("out", "back"))[0 if out else 1]
    side = ("above", "below") if pushes == "up" else ("beyond", "short of")
    return side[0 if out else 1]


def band_words(job: Job, reading: ExpectedReading, band: Band, shown: Shown) -> str:
    """Say where work stops or holds: ``ABOVE 195 bar``, ``outside 0.6 down to 1.9 mm up``.

    Parameters
    ----------
    job : Job
    reading : ExpectedReading
        Its instrument and place give the words for the sides.
    band : Band
    shown : Shown
        From :func:`shown_of`.
    """

    def say(value: float) -> str:
        number = rounded(value, shown)
        side = side_of(job, reading, number, short=True)
        return f"{number.size} {number.unit} {side}".strip()

    if math.isinf(band.low) or math.isinf(band.high) or reading.instrument == "gauge":
        return _outside(band.low, band.high, shown, say)
    low, high = rounded(band.low, shown), rounded(band.high, shown)
    sides = [side_of(job, reading, n, short=True) for n in (low, high)]
    if low.value < 0.0 and high.value < 0.0:
        low, high = high, low
    if sides[0] in ("", sides[1]) or high.value == 0.0:
        side = sides[1] or sides[0]
        return f"outside {low.size} to {high.size} {low.unit} {side}".strip()
    return f"outside {low.size} {sides[0]} to {high.size} {high.unit} {sides[1]}"


def _outside(low: float, high: float, shown: Shown, say: Callable[[float], str]) -> str:
    if math.isinf(low) or low <= 0.0:
        return f"ABOVE {say(high)}" if math.isfinite(high) else ""
    if math.isinf(high):
        return f"BELOW {say(low)}"
    return f"outside {rounded(low, shown).size} to {say(high)}"


def bands(meaning: str, said: Sequence[str], instrument: str = "") -> Bands | None:
    """Return the bands of one instrument at every jack as one row.

    Parameters
    ----------
    meaning : {'STOP', 'HOLD'}
    said : sequence of str
        One for each jack, in words; empty where it has no band.
    instrument : str
        Name of the row; empty beside readings, where the row has it already.

    Returns
    -------
    Bands or None
        None where no jack has a band.
    """
    if not any(said):
        return None
    how = next((h for h in _HOWS if all(w.startswith(f"{h} ") for w in said if w)), "")
    words = tuple(w.removeprefix(f"{how} ") if how else w for w in said)
    same = words[0] if len(words) > 1 and len(set(words)) == 1 else ""
    return Bands(meaning, instrument, how, words, same)


def shared_bands(readings: Iterable[ExpectedReading]) -> Shared:
    """Return the stop bands that most lines of a part share, where several do."""
    found: dict[tuple[str, str], list[ExpectedReading]] = {}
    for reading in readings:
        # of feelers only the gap that a nut is run back to stands in several lines alike
        if reading.band("STOP") is not None and (reading.instrument != "feeler" or reading.aim):
            found.setdefault((reading.instrument, reading.at), []).append(reading)
    shared: dict[tuple[str, str], tuple[str, float, float]] = {}
    for key, own in found.items():
        how = _SHARED.get(key[0])
        if how is None:
            continue
        (band, times), *_ = Counter(_WAYS[how](r) for r in own).most_common(1)
        if times > 1 or key[0] == "ram":
            shared[key] = (how, *band)
    return shared


def is_shared(reading: ExpectedReading, shared: Shared) -> bool:
    """Say whether the head of the part says the stop band of a reading.

    Parameters
    ----------
    reading : ExpectedReading
    shared : mapping
        From :func:`shared_bands`, of the part that the reading belongs to.
    """
    band = shared.get((reading.instrument, reading.at))
    if band is None or (reading.instrument == "feeler" and not reading.aim):
        return False
    return band[1:] == _WAYS[band[0]](reading)


def _ends(reading: ExpectedReading) -> tuple[float, float]:
    band = reading.band("STOP") or Band("STOP")
    return (round(band.low, 9), round(band.high, 9))


def _off(reading: ExpectedReading) -> tuple[float, float]:
    low, high = _ends(reading)
    return (round(reading.value - low, 6), round(high - reading.value, 6))


def _nut(reading: ExpectedReading) -> tuple[float, float]:
    """Say how far under its reading a gap of a nut may be, and its greatest at all."""
    return (_off(reading)[0], _ends(reading)[1])


#: instrument -> how its bands are compared from line to line
_SHARED: Final = {"gauge": "ends", "ram": "off", "dial": "off", "feeler": "nut"}
_WAYS: Final = {"ends": _ends, "off": _off, "nut": _nut}


def head_bands(job: Job, jacks: Sequence[str], shared: Shared) -> tuple[Bands, ...]:
    """Return the bands that hold through a part, a row for each instrument.

    Parameters
    ----------
    job : Job
    jacks : sequence of str
        Those of the crew, in the order of the columns.
    shared : mapping
        From :func:`shared_bands`.
    """
    rows = []
    for instrument in _SHARED:
        said = []
        for jack in jacks:
            places = (jack, job.jacks[jack].seat)
            own = [b for (i, at), b in shared.items() if i == instrument and at in places]
            said.append(_head_words(instrument, own[0], DISPLAY[job.units]) if own else "")
        rows.append(bands("STOP", said, "nut gap" if instrument == "feeler" else instrument))
    return tuple(row for row in rows if row is not None)


def _head_words(instrument: str, band: tuple[str, float, float], units: DisplayUnits) -> str:
    """Say a stop band that holds through a part: ``ABOVE 471 bar``, ``off by more than 0.5 mm``."""
    how, low, high = band
    shown = shown_of(instrument, units)
    if how == "ends":
        return _outside(low, high, shown, shown.text)
    if how == "off" and low == high:
        return f"off by more than {shown.text(low)}"
    under = rounded(low, shown).size
    if how == "nut":
        return f"more than {under} under or ABOVE {shown.text(high)}"
    return f"more than {under} under, {shown.text(high)} over"
