"""Tolerances written in standards and specifications, to be chosen by name and never otherwise.

Each rule says its clause and edition. A row whose numbers were not seen in the published text says
so: it must be held against the standard before anyone relies on it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

from fitup.model.checks import Quantity

#: what a rule is stated: thickness of plate, tube or surfacing, throat of a weld, or nothing [m]
Needs = Literal["thickness", "throat", ""]
_MM: Final = 1e-3
_INCH: Final = 25.4 * _MM
#: what is said of a row that was not seen in the published text
MEMORY: Final = "from memory, to be confirmed against the standard"
#: size [m], length of the straightedge [m], what the job is printed in -> tolerance [m]
Amount = Callable[[float, float, str], float]


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of a standard.

    Parameters
    ----------
    name : str
        As it is chosen in ``job.toml``.
    clause : str
        Standard, edition, table or clause.
    quantities : tuple of str
        Checks it may be chosen for.
    needs : {'thickness', 'throat', ''}
    amount : callable
        Raises ValueError with what is allowed, in words, where the standard has no such row.
    memory : bool
        The numbers were not seen in the published text.
    """

    name: str
    clause: str
    quantities: tuple[Quantity, ...]
    needs: Needs
    amount: Amount
    memory: bool = False

    def source(self, size: float) -> str:
        """Return clause, edition and size, as they stand beside the tolerance."""
        stated = f", {self.needs} {size / _MM:g} mm" if self.needs else ""
        return f"{self.clause}{stated}" + (f" ({MEMORY})" if self.memory else "")


def _capped(share: float, most: float) -> Amount:
    """Plates of ISO 5817: a share of the thickness, at most so much; thin ones 0.2 mm more."""

    def amount(t: float, edge: float, units: str) -> float:
        if t < 0.5 * _MM:
            raise ValueError("0.5 mm or more")
        return 0.2 * _MM + share * t if t <= 3.0 * _MM else min(share * t, most * _MM)

    return amount


def _half(most: float) -> Amount:
    """Tubes of ISO 5817: half the thickness, at most so much."""

    def amount(t: float, edge: float, units: str) -> float:
        if t < 0.5 * _MM:
            raise ValueError("0.5 mm or more")
        return min(0.5 * t, most * _MM)

    return amount


def _root(share: float, plus: float, most: float) -> Amount:
    return lambda a, edge, units: min(share * a + plus * _MM, most * _MM)


def _fixed(metric: float, us: float) -> Amount:
    """Return a rule written in both systems: millimetres, inches."""
    return lambda size, edge, units: metric * _MM if units == "metric" else us * _INCH


def _ten_feet(inches: float) -> Amount:
    def amount(size: float, edge: float, units: str) -> float:
        if abs(edge - 3.048) > 0.05:
            raise ValueError("a straightedge of 10 ft (3.05 m) in [ride]")
        return inches * _INCH

    return amount


def _deck_step(t: float, edge: float, units: str) -> float:
    return (2.0, 5.0, 8.0)[bisect_left((10.0 * _MM, 70.0 * _MM), t)] * _MM


def _deck_edge(t: float, edge: float, units: str) -> float:
    rows = {1.0: 3.0, 3.0: 4.0, 5.0: 5.0} if t <= 10.0 * _MM else {3.0: 5.0}
    if 10.0 * _MM < t <= 70.0 * _MM:
        raise ValueError("a surfacing up to 10 mm or above 70 mm")
    length = next((known for known in rows if abs(known - edge) < 0.05), None)
    if length is None:
        raise ValueError("a straightedge in [ride] of " + " or ".join(f"{k:g} m" for k in rows))
    return rows[length] * _MM


def _thinner(t: float, edge: float, units: str) -> float:
    return min(0.1 * t, 3.0 * _MM if units == "metric" else 0.125 * _INCH)


_ISO: Final = "ISO 5817:2023, Table 1"
_FHWA: Final = "FHWA bridge construction inspection list, deck (fhwa.dot.gov, revdeck5)"
_FP96: Final = "FP-96, section 552"
_EN1090: Final = "EN 1090-2:2018, deck plates after erection"
RULES: Final[tuple[Rule, ...]] = (
    *(
        Rule(
            f"ISO 5817 5071 {level}",
            f"{_ISO}, 507, linear misalignment of plates (5071), level {level}",
            ("step", "offset"),
            "thickness",
            _capped(share, most),
        )
        for level, share, most in (("B", 0.10, 3.0), ("C", 0.15, 4.0), ("D", 0.25, 5.0))
    ),
    *(
        Rule(
            f"ISO 5817 5072 {level}",
            f"{_ISO}, 507, linear misalignment of tubes (5072), level {level}",
            ("step", "offset"),
            "thickness",
            _half(most),
        )
        for level, most in (("B", 2.0), ("C", 3.0), ("D", 4.0))
    ),
    *(
        Rule(
            f"ISO 5817 617 {level}",
            f"{_ISO}, 617, root gap of fillet welds, plates above 3 mm, level {level}",
            ("gap",),
            "throat",
            _root(share, plus, most),
        )
        for level, share, plus, most in (
            ("B", 0.1, 0.5, 2.0),
            ("C", 0.2, 0.5, 3.0),
            ("D", 0.3, 1.0, 4.0),
        )
    ),
    Rule(
        "EN 1090-2 deck step",
        f"{_EN1090}, level difference by thickness of the surfacing",
        ("step",),
        "thickness",
        _deck_step,
        memory=True,
    ),
    Rule(
        "EN 1090-2 deck straightedge",
        f"{_EN1090}, flatness by thickness of the surfacing and length of the straightedge",
        ("straightedge",),
        "thickness",
        _deck_edge,
        memory=True,
    ),
    Rule("FHWA deck step", f"{_FHWA}, step at deck ends", ("step",), "", _fixed(5.0, 0.1875)),
    Rule(
        "FHWA deck straightedge",
        f"{_FHWA}, under a straightedge",
        ("straightedge",),
        "",
        _fixed(4.0, 0.125),
    ),
    Rule(
        "FP-96 552", f"{_FP96}, under a 10 ft straightedge", ("straightedge",), "", _ten_feet(0.125)
    ),
    Rule(
        "FP-96 552 overlaid",
        f"{_FP96}, under a 10 ft straightedge, deck to be overlaid",
        ("straightedge",),
        "",
        _ten_feet(0.25),
    ),
    Rule(
        "AWS D1.5 offset",
        "AWS D1.5 3.3.3, offset of butt joints, thinner plate",
        ("step", "offset"),
        "thickness",
        _thinner,
        memory=True,
    ),
    Rule(
        "EN 1337-11 level",
        "EN 1337-11, level of bearings, 3 per mille",
        ("tilt_along", "tilt_across"),
        "",
        lambda size, edge, units: 0.003,
        memory=True,
    ),
)


def rule_named(name: str) -> Rule | None:
    """Return the rule of a name, None where there is none."""
    return next((rule for rule in RULES if rule.name == name), None)


#: upper ends of the ranges of nominal thickness in EN 10029 [m]
_RANGES: Final = tuple(t * _MM for t in (5.0, 8.0, 15.0, 25.0, 40.0, 80.0, 150.0))
#: edition -> (lower, upper) limit of class A in each range [mm], and whether from memory
_CLASS_A: Final[dict[str, tuple[tuple[tuple[float, float], ...], bool]]] = {
    "1991": (
        (
            (0.4, 0.8),
            (0.4, 1.1),
            (0.5, 1.2),
            (0.6, 1.3),
            (0.8, 1.4),
            (1.0, 1.8),
            (1.0, 2.2),
            (1.2, 2.4),
        ),
        False,
    ),
    "2010": (
        (
            (0.3, 0.7),
            (0.4, 0.8),
            (0.5, 0.9),
            (0.6, 1.0),
            (0.7, 1.3),
            (0.9, 1.7),
            (1.1, 2.1),
            (1.2, 2.4),
        ),
        True,
    ),
}
#: what ``made_to`` in plates.csv may say
PLATE_CLASSES: Final = tuple(f"EN 10029:{edition} {k}" for edition in _CLASS_A for k in "ABCD")


@dataclass(frozen=True, slots=True)
class PlateLimits:
    """Least and greatest thickness of a plate [m], and where that is written."""

    least: float
    most: float
    source: str

    def spread_about(self, thickness: float) -> float:
        """Return the standard uncertainty of a thickness that rests on these limits alone [m].

        Evenly spread between them: their distance over the root of twelve, and how far the
        thickness stated is from their middle.

        Examples
        --------
        >>> limits = plate_limits("EN 10029:1991 D", 0.030)
        >>> round(limits.spread_about(0.030) * 1e3, 3)
        0.635
        """
        off = thickness - 0.5 * (self.least + self.most)
        return float(((self.most - self.least) ** 2 / 12.0 + off**2) ** 0.5)


def plate_limits(made_to: str, nominal: float) -> PlateLimits | None:
    """Return the limits of the thickness of a plate by EN 10029.

    All classes of a thickness are as wide as class A: B is 0.3 mm below nominal, C nothing, D as
    much below as above.

    Parameters
    ----------
    made_to : str
        One of :data:`PLATE_CLASSES`.
    nominal : float
        Nominal thickness [m].

    Returns
    -------
    PlateLimits or None
        None outside 3 to 250 mm.

    Examples
    --------
    >>> limits = plate_limits("EN 10029:1991 A", 0.020)
    >>> round(limits.least * 1e3, 3), round(limits.most * 1e3, 3)
    (19.4, 21.3)
    """
    if not 3.0 * _MM <= nominal <= 250.0 * _MM:
        return None
    standard, kind = made_to.rsplit(" ", 1)
    rows, memory = _CLASS_A[standard.split(":")[1]]
    lower, upper = rows[bisect_right(_RANGES, nominal * (1.0 + 1e-12))]
    width = lower + upper
    below = {"A": lower, "B": 0.3, "C": 0.0, "D": 0.5 * width}[kind]
    stated = f"{standard}, class {kind}" + (f" ({MEMORY})" if memory or kind != "A" else "")
    return PlateLimits(nominal - below * _MM, nominal + (width - below) * _MM, stated)
