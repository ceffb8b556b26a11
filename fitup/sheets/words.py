"""Values and moves in words, so that nothing on paper hangs on a plus or minus sign."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from fitup.model import FORCES, MOVE_WORDS, SIDES, Conflict, Quantity, kind_of
from fitup.sheets.numbers import Number, Worded, rounded
from fitup.sheets.work import RamReading
from fitup.units import DisplayUnits, Shown

#: what stands beside a check of points nobody surveyed
NOT_MEASURED: Final = "NOT MEASURED"
#: what a check is called on paper
NAMES: Final[dict[str, str]] = {
    "gap": "Gap",
    "step": "Step",
    "offset": "Offset",
    "kink_grade": "Kink in grade",
    "kink_plan": "Kink in plan",
    "twist": "Twist",
    "level": "Level",
    "line": "Line",
    "station": "Station",
    "lean": "Lean",
    "tension": "Tension",
    "straightedge": "Straightedge",
    "slope_change": "Change of slope",
    "tilt_along": "Tilt along",
    "tilt_across": "Tilt across",
    "bore_step": "Bore step",
    "bore_offset": "Bore offset",
    "bolt_along": "Holes along",
    "bolt_across": "Holes across",
    "bolt_up": "Holes up",
}
#: how a value against the design is said; ``side`` from SIDES, ``size`` with its unit
_PHRASES: Final[dict[str, str]] = {
    "gap": "{size} too {side}",
    "level": "{size} too {side}",
    "line": "{size} too far {side}",
    "station": "{size} too far {side}",
    "bolt_along": "{size} too far {side}",
    "bolt_across": "{size} too far {side}",
    "bolt_up": "{size} too {side}",
}
#: share by which value and bound may differ and be the same: what linearity and rounding do
_SAME: Final = 1e-3
_USUAL: Final = "{side} by {size}"
ON_TARGET: Final = "on target"


def shown_for(quantity: str, units: DisplayUnits) -> Shown:
    """Return how a check is printed: a length of move, a slope or a force.

    Parameters
    ----------
    quantity, units
    """
    return {"length": units.move, "slope": units.slope, "force": units.force}[kind_of(quantity)]


def side_word(quantity: Quantity, number: Number) -> str:
    """Return the side of a printed value in a word, empty where it rounds to zero.

    Parameters
    ----------
    quantity, number
    """
    if number.value == 0.0 or (quantity in FORCES and number.value > 0.0):
        # that a cable pulls goes without saying
        return ""
    side = SIDES[quantity][0 if number.value > 0.0 else 1]
    if quantity in {"step", "offset", "bore_step", "bore_offset"}:
        side = side.replace("ahead ", "ahead side ", 1)
    return re.sub(r"\b(left|right)\b", lambda m: m[0].upper(), side)


def conflict_words(conflict: Conflict) -> str:
    """Say what the parts of a conflict have in common."""
    if conflict.plates == "any thickness":
        cannot = "Not even plates of any thickness keep all of these together"
    else:
        # a pack's limit is given up as two plates more: what a hundred could do is not known
        cannot = (
            "No whole plates keep all of these together, even with two more in each pack not named"
        )
    return f"{cannot}; without any one of them the others can be"


def proof_words(objective: str, value: float, bound: float, *, proven: bool) -> str:
    """Say what is known of plans better than the printed one in an objective.

    Parameters
    ----------
    objective : str
    value : float
        Of the printed plan, from the certificate.
    bound : float
        No plan is below this.
    proven : bool
        The optimiser reached its goal, or showed that no plan is better.

    Examples
    --------
    >>> proof_words("plates handled", 28, 28, proven=True)
    'proven least'
    >>> proof_words("least squares", 1.84, 1.77, proven=True)
    'given up for less work'
    """
    if not proven:
        return "not proven"
    if value - bound <= _SAME * max(1.0, abs(value)):
        return "proven least"
    return "given up for less work" if objective == "least squares" else "met"


def value_words(quantity: Quantity, si: float, units: DisplayUnits, target: float = 0.0) -> Worded:
    """Say the value of a check in words.

    Parameters
    ----------
    si, target : float
        Value and what it should become [m or m/m], in the signs of docs/signs.md.

    Examples
    --------
    >>> from fitup.units import METRIC
    >>> value_words("step", 0.0042, METRIC).words
    'ahead side high by 4.2 mm'
    >>> value_words("gap", 0.0123, METRIC).words
    '12.3 mm too wide'
    >>> value_words("gap", 0.00002, METRIC).words
    'on target'
    >>> value_words("gap", 0.0123, METRIC, target=0.01).words
    'wide by 12.3 mm (aim: wide by 10.0 mm)'
    >>> value_words("lean", -0.118, METRIC, target=-0.12).words
    'leans back by 118.0 mm (aim: leans back by 120.0 mm)'
    >>> value_words("tension", 412e3, METRIC, target=420e3).words
    '412 kN (aim: 420 kN)'
    """
    number = rounded(si, shown_for(quantity, units))
    aim = rounded(target, shown_for(quantity, units))
    side = side_word(quantity, number)
    if aim.value != 0.0:
        said = plain_words(quantity, number)
        aimed = ON_TARGET if aim.value == number.value else f"aim: {plain_words(quantity, aim)}"
        return Worded(f"{said} ({aimed})", side, number)
    if number.value == 0.0:
        return Worded(ON_TARGET, "", number)
    if quantity in FORCES:
        return Worded(reaction_words(number), side, number)
    phrase = _PHRASES.get(quantity, _USUAL)
    return Worded(phrase.format(side=side, size=f"{number.size} {number.unit}"), side, number)


def plain_words(quantity: Quantity, number: Number) -> str:
    """Say a printed value without judging it: ``wide by 10.0 mm``, ``0.0 mm``.

    Parameters
    ----------
    quantity, number
    """
    if number.value == 0.0:
        return number.full
    if quantity in FORCES:
        return reaction_words(number)
    return _USUAL.format(side=side_word(quantity, number), size=f"{number.size} {number.unit}")


def plain_value(quantity: Quantity, si: float, units: DisplayUnits) -> Worded:
    """Say a value without judging it, for the ends of a band.

    Parameters
    ----------
    quantity : Quantity
    si : float
        In SI, with the sign of docs/signs.md.
    units : DisplayUnits
    """
    number = rounded(si, shown_for(quantity, units))
    return Worded(plain_words(quantity, number), side_word(quantity, number), number)


def directions(pushes: str) -> tuple[str, str]:
    """Return the words for a move with and against a seat's direction."""
    return MOVE_WORDS.get(pushes, ("PUSH OUT", "LET IN"))


def move_words(pushes: str, si: float, units: DisplayUnits) -> Worded:
    """Say a move of a seat in words.

    Parameters
    ----------
    pushes : str
        The seat's direction in a word, as ``Seat.pushes``.
    si : float
        Above zero in that direction [m].
    units : DisplayUnits

    Examples
    --------
    >>> from fitup.units import METRIC
    >>> move_words("up", 0.016, METRIC).words
    'RAISE 16.0 mm'
    >>> move_words("ahead", -0.004, METRIC).words
    'LET BACK 4.0 mm'
    >>> move_words("up", 0.00004, METRIC).words
    'stays'
    """
    number = rounded(si, units.move)
    if number.value == 0.0:
        return Worded("stays", "", number)
    word = directions(pushes)[0 if number.value > 0.0 else 1]
    return Worded(f"{word} {number.size} {number.unit}", word, number)


def ram_reading(pushes: str, si: float, units: DisplayUnits) -> RamReading:
    """Say a reading on a jack's scale against the mark where it touched.

    Parameters
    ----------
    pushes : str
        The direction of the jack's seat in a word, as ``Seat.pushes``.
    si : float
        Above zero where the ram is further out than at the mark [m].
    units : DisplayUnits

    Examples
    --------
    >>> from fitup.units import METRIC
    >>> ram_reading("up", -0.005, METRIC).side
    'below START'
    """
    number = rounded(si, units.move)
    if number.value == 0.0:
        return RamReading("START", number)
    # never OUT and IN: on a sheet in inches "0.7 IN" would read as the unit
    out, back = ("above", "below") if pushes == "up" else ("beyond", "short of")
    return RamReading(f"{out if number.value > 0.0 else back} START", number)


def thickness_error(si: float, units: DisplayUnits) -> Worded:
    """Say by how much a pack is thicker or thinner than the exact need.

    Parameters
    ----------
    si : float
        Height of the pack less the need [m].
    units : DisplayUnits
    """
    number = rounded(si, units.move)
    if number.value == 0.0:
        return Worded("as needed", "", number)
    side = "thick" if number.value > 0.0 else "thin"
    return Worded(f"{number.size} {number.unit} {side}", side, number)


def reaction_words(number: Number) -> str:
    """Say a reaction: ``1083 kN``, or ``pulls 12 kN`` where the seat holds the deck back."""
    return f"pulls {number.size} {number.unit}" if number.value < 0.0 else number.full


def least_words(number: Number) -> str:
    """Say a least reaction: what must stay, or what the seat may pull.

    Examples
    --------
    >>> from fitup.units import METRIC
    >>> least_words(rounded(-250e3, METRIC.force))
    'may pull 250 kN'
    """
    return f"may pull {number.size} {number.unit}" if number.value < 0.0 else number.full


def grouped(pairs: Iterable[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    """Gather names that share a text, in the order they come.

    Examples
    --------
    >>> grouped([("Step", "clause 7.3"), ("Gap", "clause 7.4"), ("Offset", "clause 7.3")])
    (('Step, Offset', 'clause 7.3'), ('Gap', 'clause 7.4'))
    """
    names: dict[str, list[str]] = {}
    for name, text in pairs:
        if name not in names.setdefault(text, []):
            names[text].append(name)
    return tuple((", ".join(listed), text) for text, listed in names.items())


def joined(words: tuple[str, ...]) -> str:
    """Join names for a sentence; ``none`` where there are none."""
    return ", ".join(words) if words else "none"
