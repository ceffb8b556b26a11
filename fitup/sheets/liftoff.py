"""The measured lift-off: what each jack should read, step by step, until its seat opens."""

from __future__ import annotations

from itertools import groupby

from fitup.certify.facts import Certificate, LiftOffFact
from fitup.model import Job
from fitup.sheets.numbers import rounded
from fitup.sheets.places import place_words, sheet_of
from fitup.sheets.work import LiftOffJack, LiftOffSheet, LoadStep
from fitup.units import DISPLAY


def build_lift_offs(job: Job, certificate: Certificate) -> tuple[LiftOffSheet, ...]:
    """Return the lift-off of every group that lifts, in the order of work.

    Parameters
    ----------
    job, certificate
    """
    sheets = []
    for group, facts in groupby(certificate.lift_offs, key=lambda f: f.group):
        own = list(facts)
        sheets.append(
            LiftOffSheet(
                sheet=sheet_of(job, own[0].segment),
                segment=own[0].segment,
                group=group,
                jacks=tuple(_jack(job, fact) for fact in own),
                creep=rounded(own[0].creep, DISPLAY[job.units].move),
                measured=all(fact.measured for fact in own),
            )
        )
    return tuple(sheets)


def _jack(job: Job, fact: LiftOffFact) -> LiftOffJack:
    units = DISPLAY[job.units]
    return LiftOffJack(
        jack=fact.jack,
        seat=fact.seat,
        place=place_words(job, job.seats[fact.seat]),
        steps=tuple(
            LoadStep(
                f"{round(100.0 * share)} %",
                rounded(load, units.force),
                rounded(pressure, units.pressure),
            )
            for (share, _), load, pressure in zip(
                fact.steps, fact.loads, fact.pressures, strict=True
            )
        ),
        load_stop=rounded(fact.load_stop, units.force),
        pressure_stop=rounded(fact.pressure_stop, units.pressure),
        rise=rounded(fact.rise, units.move),
        rise_stop=rounded(fact.rise_stop, units.move),
    )
