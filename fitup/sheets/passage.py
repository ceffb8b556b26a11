"""What slides and bolts across the joints, for the report: room in bores, holes that match."""

from __future__ import annotations

from fitup.certify.facts import Certificate
from fitup.model import Job
from fitup.sheets.model import BoltLine, BoreLine
from fitup.sheets.numbers import Number, rounded, uncertified
from fitup.units import DISPLAY


def bore_lines(job: Job, certificate: Certificate) -> tuple[BoreLine, ...]:
    """Return one line for each bore of the job.

    Parameters
    ----------
    job, certificate
    """
    shown = DISPLAY[job.units].move
    lines = []
    for fact in certificate.bores:
        before, after = rounded(fact.room_before, shown), rounded(fact.room_after, shown)
        words = room_words(before), room_words(after)
        lines.append(BoreLine(fact.bore, fact.joint, fact.place, before, after, *words))
    return tuple(lines)


def room_words(room: Number) -> str:
    """Say how much room there is all round a member.

    Examples
    --------
    >>> from fitup.units import METRIC
    >>> room_words(rounded(-0.0012, METRIC.move)), room_words(rounded(0.002, METRIC.move))
    ('TOO TIGHT by 1.2 mm', '2.0 mm free')
    """
    if room.value < 0.0:
        return f"TOO TIGHT by {room.size} {room.unit}"
    return f"{room.size} {room.unit} free"


def bolt_lines(job: Job, certificate: Certificate) -> tuple[BoltLine, ...]:
    """Return one line for each group of bolt holes of the job.

    Parameters
    ----------
    job, certificate
    """
    shown = DISPLAY[job.units].move
    return tuple(
        BoltLine(
            group=fact.group,
            joint=fact.joint,
            place=fact.place,
            holes=fact.holes,
            clearance=uncertified(job.bolts[fact.group].clearance, shown),
            passing_before=fact.passing_before,
            worst_before=rounded(fact.worst_before, shown),
            passing_after=fact.passing_after,
            worst_after=rounded(fact.worst_after, shown),
            fitted_after=rounded(fact.fitted_after, shown),
        )
        for fact in certificate.bolts
    )
