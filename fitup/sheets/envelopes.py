"""What the procedure asks of seats and jacks, for the engineer's report: extremes beside limits."""

from __future__ import annotations

from dataclasses import dataclass

from fitup.certify.envelopes import JackEnvelope, SeatEnvelope
from fitup.certify.facts import Certificate
from fitup.model import Job
from fitup.sheets.numbers import Number, rounded
from fitup.sheets.words import least_words
from fitup.units import DISPLAY


@dataclass(frozen=True, slots=True)
class SeatEnvelopeLine:
    """One seat: least and most load of any event, with its line, and the greatest opening."""

    seat: str
    least: Number
    least_line: int
    most: Number
    most_line: int
    oil: Number
    opening: Number
    opening_line: int
    reaction_least: Number
    reaction_most: Number
    used: str
    """Share of the greatest reaction that is used: ``43 %``."""
    allowed_least: str
    """The least reaction in words: ``150 kN``, ``may pull 250 kN``."""


@dataclass(frozen=True, slots=True)
class JackEnvelopeLine:
    """One jack: the most that any event expects, where it stops, and its capacity."""

    jack: str
    seat: str
    most: Number
    most_line: int
    stop: Number
    capacity: Number
    used: str


def seat_envelope_lines(job: Job, certificate: Certificate) -> tuple[SeatEnvelopeLine, ...]:
    """Return the extremes of every seat that works.

    Parameters
    ----------
    job, certificate
    """
    return tuple(_seat(job, one) for one in certificate.seat_envelopes)


def jack_envelope_lines(job: Job, certificate: Certificate) -> tuple[JackEnvelopeLine, ...]:
    """Return the greatest load of every jack that works.

    Parameters
    ----------
    job, certificate
    """
    return tuple(_jack(job, one) for one in certificate.jack_envelopes)


def _seat(job: Job, one: SeatEnvelope) -> SeatEnvelopeLine:
    units = DISPLAY[job.units]
    return SeatEnvelopeLine(
        seat=one.seat,
        least=rounded(one.least, units.force),
        least_line=one.least_line,
        most=rounded(one.most, units.force),
        most_line=one.most_line,
        oil=rounded(one.oil, units.force),
        opening=rounded(one.opening, units.move),
        opening_line=one.opening_line,
        reaction_least=rounded(one.reaction_least, units.force),
        reaction_most=rounded(one.reaction_most, units.force),
        used=_share(one.used),
        allowed_least=least_words(rounded(one.reaction_least, units.force)),
    )


def _jack(job: Job, one: JackEnvelope) -> JackEnvelopeLine:
    force = DISPLAY[job.units].force
    return JackEnvelopeLine(
        jack=one.jack,
        seat=one.seat,
        most=rounded(one.most, force),
        most_line=one.most_line,
        stop=rounded(one.stop, force),
        capacity=rounded(one.capacity, force),
        used=_share(one.used),
    )


def _share(part: float) -> str:
    return f"{100.0 * part:.0f}\N{NO-BREAK SPACE}%"
