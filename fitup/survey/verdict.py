"""One verdict on a survey, and what it rests on in order of weight.

Every command shows the same verdict in the same words: it is made here and nowhere else. What
refuses a survey comes first, then what the engineer must know before using it, then what speaks
for it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

from fitup.errors import SurveyRefused

Weight = Literal["refuses", "reserves", "supports"]

USE: Final = "use"
RESERVED: Final = "use with these reservations"
REFUSED: Final = "do not use"
_ORDER: Final[tuple[Weight, ...]] = ("refuses", "reserves", "supports")
_LABEL: Final[dict[Weight, str]] = {
    "refuses": "against it",
    "reserves": "reservation",
    "supports": "for it",
}


@dataclass(frozen=True, slots=True)
class Ground:
    """One thing a verdict rests on.

    Parameters
    ----------
    weight : {'refuses', 'reserves', 'supports'}
    about : str
        What was looked at: network, control, shape, datum, faces, time, steel or air.
    text : str
    """

    weight: Weight
    about: str
    text: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a survey may be used, and why; the grounds are in order of weight."""

    grounds: tuple[Ground, ...] = ()

    @property
    def word(self) -> str:
        """The verdict itself, in the words of every command and sheet."""
        found = {ground.weight for ground in self.grounds}
        if "refuses" in found:
            return REFUSED
        return RESERVED if "reserves" in found else USE

    @property
    def headline(self) -> str:
        """The verdict as one line."""
        return SurveyRefused.headline if self.word == REFUSED else f"survey verdict: {self.word}"

    @property
    def reservations(self) -> tuple[str, ...]:
        """What must be known before the survey is used."""
        return tuple(g.text for g in self.grounds if g.weight == "reserves")

    @property
    def lines(self) -> tuple[str, ...]:
        """The verdict and what it rests on, in order of weight."""
        return (self.headline, *(f"{_LABEL[g.weight]}: {g.text}" for g in self.grounds))

    @property
    def brief(self) -> tuple[str, ...]:
        """The verdict and its reservations: what nobody may miss who goes on from the survey."""
        return (self.headline, *(f"{_LABEL['reserves']}: {text}" for text in self.reservations))


def verdict_of(grounds: Iterable[Ground]) -> Verdict:
    """Return the verdict on grounds in any order; equal ones count once.

    Examples
    --------
    >>> verdict_of([Ground("supports", "shape", "fits"), Ground("reserves", "faces", "two")]).lines
    ('survey verdict: use with these reservations', 'reservation: two', 'for it: fits')
    """
    once = dict.fromkeys(grounds)
    return Verdict(tuple(sorted(once, key=lambda g: _ORDER.index(g.weight))))


def refused(findings: Iterable[str], about: str = "survey") -> Verdict:
    """Return the verdict on a survey with findings that must be settled first.

    Parameters
    ----------
    findings : iterable of str
    about : str
        What each ground is about.
    """
    return verdict_of(Ground("refuses", about, line) for line in findings)
