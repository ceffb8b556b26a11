"""What must come right: quantities and their words, tolerances, aims, checks and their state."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final, Literal, get_args

import numpy as np

from fitup.frames import Array
from fitup.model.column import column

Quantity = Literal[
    "gap",
    "step",
    "offset",
    "kink_grade",
    "kink_plan",
    "twist",
    "level",
    "line",
    "station",
    "lean",
    "tension",
    "straightedge",
    "slope_change",
    "tilt_along",
    "tilt_across",
    "bore_step",
    "bore_offset",
    "bolt_along",
    "bolt_across",
    "bolt_up",
]
#: quantities that are lengths [m] and forces [N]; the others are slopes [m/m = rad]
LENGTHS: Final = frozenset(
    {"gap", "step", "offset", "level", "line", "station", "lean", "straightedge"}
    | {"bore_step", "bore_offset", "bolt_along", "bolt_across", "bolt_up"}
)
FORCES: Final = frozenset({"tension"})
QUANTITIES: Final[tuple[Quantity, ...]] = get_args(Quantity)
#: what a positive and a negative value of each quantity is called (docs/signs.md)
SIDES: Final[dict[Quantity, tuple[str, str]]] = {
    "gap": ("wide", "narrow"),
    "step": ("ahead high", "ahead low"),
    "offset": ("ahead left", "ahead right"),
    "kink_grade": ("dip", "crest"),
    "kink_plan": ("bends left", "bends right"),
    "twist": ("ahead left edge high", "ahead right edge high"),
    "level": ("high", "low"),
    "line": ("left", "right"),
    "station": ("ahead", "back"),
    "lean": ("leans ahead", "leans back"),
    "tension": ("pulls", "pushes"),
    "straightedge": ("bump", "hollow"),
    "slope_change": ("dip", "crest"),
    "tilt_along": ("ahead end high", "back end high"),
    "tilt_across": ("left edge high", "right edge high"),
    "bore_step": ("ahead high", "ahead low"),
    "bore_offset": ("ahead left", "ahead right"),
    "bolt_along": ("ahead", "back"),
    "bolt_across": ("left", "right"),
    "bolt_up": ("high", "low"),
}


def kind_of(quantity: str) -> Literal["length", "slope", "force"]:
    """Return the dimension in which a quantity is measured."""
    if quantity in LENGTHS:
        return "length"
    return "force" if quantity in FORCES else "slope"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Greatest deviation either way [m or m/m], where it comes from, and its weight."""

    value: float
    source: str
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Aim:
    """What one check should become where that is not the design: a preset, or better left.

    ``treat`` is ``preset`` (aim at ``amount``), ``leave`` (do not work on it, but keep it
    within ``amount`` either way) or ``tolerance`` (its own tolerance ``amount``).
    """

    joint: Annotated[str, column("id", "the joint")]
    pair: Annotated[
        str | None, column("id", "the pair; empty for all pairs of the joint", default=None)
    ]
    quantity: Annotated[Quantity, column("word", "which check", words=QUANTITIES[:6])]
    treat: Annotated[
        Literal["preset", "leave", "tolerance"],
        column(
            "word",
            "preset (aim at it), leave (do not work on it, keep within), tolerance (its own)",
            "; what is left is kept within the amount, or no worse than it is",
            words=("preset", "leave", "tolerance"),
        ),
    ]
    amount: Annotated[
        float,
        column(
            "length",
            "the amount of a length, without a sign",
            default=None,
            least=0.0,
            most=10.0,
        ),
        column(
            "slope",
            "the amount of a kink or twist, without a sign",
            name="angle",
            default=None,
            least=0.0,
            most=0.5,
        ),
        column(
            "text",
            "for a preset: which way, in the words of the joint table",
            " ([signs.md](signs.md))",
            name="side",
            default=None,
        ),
    ]
    reason: Annotated[str, column("text", "why, and who says so")]


@dataclass(frozen=True, slots=True)
class Check:
    """A number that must come right, in the sign convention of docs/signs.md."""

    id: str
    """``joint/pair/quantity``, ``joint/quantity``, ``level/point`` or ``tension/cable``."""
    quantity: Quantity
    joint: str
    """Joint it belongs to; empty for a watched point away from joints."""
    pair: str | None
    point: str | None
    target: float
    """What it should become [m, m/m or N]; zero is the design."""
    tolerance: float | None
    """None: reported only."""
    weight: float
    source: str
    leave_within: float | None = None
    """Better left: not worked on, but kept within this either way."""
    reason: str = ""
    subject: str = ""
    """Tower, cable or segment it belongs to, where it belongs to neither joint nor point."""
    item: str | None = None
    """Wheel path, bore or bolt group it belongs to."""
    spot: str = ""
    """Where on that: the ``back`` or ``ahead`` face, the ``near`` or ``far`` end."""

    @property
    def is_length(self) -> bool:
        """True for metres, false for metres per metre and newtons."""
        return self.quantity in LENGTHS

    @property
    def kind(self) -> Literal["length", "slope", "force"]:
        """The dimension in which it is measured."""
        return kind_of(self.quantity)


@dataclass(frozen=True, eq=False)
class CheckState:
    """All checks at the reference temperature: values (m,) and covariance (m, m).

    ``at_survey`` (m,) is what the steel of the survey adds to each, ``per_kelvin`` (m,) what one
    kelvin more of all steel does; None stands for nothing.
    """

    checks: tuple[Check, ...]
    values: Array
    covariance: Array
    at_survey: Array | None = None
    per_kelvin: Array | None = None

    def least_change(self, i: int, apart: float) -> float:
        """Return the least that temperature adds to check i [m].

        Over the steel temperatures for which a plan is valid, and at the reference temperature.

        Parameters
        ----------
        i : int
            Index of the check, a length.
        apart : float
            How far the steel may be from the survey's, either way [K].

        Returns
        -------
        float
            Never above zero: at the reference temperature nothing is added.
        """
        if self.at_survey is None or self.per_kelvin is None:
            return 0.0
        swing = abs(float(self.per_kelvin[i])) * apart
        return min(0.0, float(self.at_survey[i]) - swing)

    @property
    def uncertainties(self) -> Array:
        """Standard uncertainties (m,)."""
        return np.sqrt(np.clip(np.diag(self.covariance), 0.0, None))
