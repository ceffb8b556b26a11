"""From a certified plan to the facts of its review page.

The numbers of the plan are the certificate's. What a changed pack does is added along the
influence: ``y = y(plan) + A (x - x(plan))``, so that the page and the sheets never differ where
nothing was changed by hand.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from fitup.certify.facts import Certificate, CheckFact, SeatFact
from fitup.frames import Array
from fitup.model import CheckState, Influence, Job, Seat
from fitup.openjob import OpenJob
from fitup.pages.film import film_of
from fitup.pages.limits import limits_about
from fitup.pages.review_facts import (
    CheckRow,
    DrawnJoint,
    DrawnPair,
    JackRow,
    Pack,
    PlateRow,
    ReviewFacts,
    ReviewSteel,
    SeatRow,
    Unit,
    UnitName,
)
from fitup.pages.wording import wording_of
from fitup.problem.packs import Choice
from fitup.problem.problem import FitProblem, build_problem
from fitup.record import check_code
from fitup.record.approval import OPEN, Standing
from fitup.sheets.cautions import STRIP
from fitup.sheets.model import OF_STRUCTURE
from fitup.sheets.places import place_words
from fitup.sheets.stages import quantity_of
from fitup.sheets.words import NAMES, directions
from fitup.structure import about_moves
from fitup.survey.points import Survey
from fitup.units import DISPLAY

_FACED: Final = ("step", "offset", "gap")
_KINDS: Final[dict[str, UnitName]] = {"length": "move", "slope": "slope", "force": "force"}
#: two settings nearer than this are one [m]; plans are rounded to a nanometre
_SAME: Final = 2e-9


def review_facts(opened: OpenJob, *, folder: str, stands: Standing = OPEN) -> ReviewFacts:
    """Return what the review page of a plan shows.

    Parameters
    ----------
    opened : OpenJob
        With its plan; the certificate's numbers are the ones shown.
    folder : str
        How the user named the job folder, for the command that is shown.
    stands : Standing
        Where the plan stands.
    """
    job, state = opened.job, opened.state
    plan, certificate = opened.plan, opened.certificate
    about = _about(job, opened.planned.influence, certificate)
    problem = build_problem(job, state, about, restock=plan.reuse)
    names = tuple(fact.id for fact in certificate.checks)
    return ReviewFacts(
        job=job.name,
        folder=folder,
        check_code=check_code(plan.id),
        status=stands.status,
        approved=stands.good,
        inside=certificate.inside,
        survey=opened.survey.verdict.brief,
        units=_units(job),
        checks=_checks(job, state, certificate),
        seats=_seats(job, problem, certificate),
        jacks=_jacks(job, problem),
        limits=limits_about(state, about, problem, certificate),
        plates=tuple(
            PlateRow(m, job.plates[m].nominal, job.plates[m].measured, int(count))
            for m, count in zip(problem.marks, problem.stock, strict=True)
        ),
        reuse=plan.reuse,
        settings=tuple(fact.setting for fact in certificate.seats),
        A=_rows(about.A),
        R=_rows(about.R),
        straight=about.exact is None,
        joints=_joints(job, names),
        film=film_of(plan, certificate),
        steel=_steel(job, opened.survey),
        caution=STRIP,
    )


def _about(job: Job, influence: Influence, certificate: Certificate) -> Influence:
    """Return the influence where the plan stands, with what keeps the same seats carrying."""
    x = np.array([fact.setting for fact in certificate.seats])
    near = about_moves(job, influence, x) or influence
    if near.exact is None:
        return near
    return replace(near.exact.about(x), stays=near.exact.stays(x))


def _rows(matrix: Array) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(float(v) for v in row) for row in matrix)


def _units(job: Job) -> dict[UnitName, Unit]:
    shown = DISPLAY[job.units]
    return {
        "move": Unit.of(shown.move),
        "plate": Unit.of(shown.plate),
        "force": Unit.of(shown.force),
        "slope": Unit.of(shown.slope),
        "pressure": Unit.of(shown.pressure),
        "temperature": Unit.of(shown.temperature),
        "moment": Unit.of(shown.moment),
        "stress": Unit.of(shown.stress),
    }


def _checks(job: Job, state: CheckState, certificate: Certificate) -> tuple[CheckRow, ...]:
    count = len(state.checks)
    warm = np.zeros(count) if state.at_survey is None else state.at_survey
    rate = np.zeros(count) if state.per_kelvin is None else state.per_kelvin
    reads = {r.check: r.expect for stage in certificate.stages for r in stage.expected}
    units, warmed = DISPLAY[job.units], bool(np.any(rate))
    rows = []
    for i, (check, fact) in enumerate(zip(state.checks, certificate.checks, strict=True)):
        quantity = quantity_of(fact)
        source = job.tolerances[quantity].source if quantity in job.tolerances else ""
        rows.append(
            CheckRow(
                id=fact.id,
                heading=_heading(fact),
                place=fact.place or "whole joint",
                what=NAMES[quantity],
                unit=_KINDS[check.kind],
                wording=wording_of(quantity, units, fact.target),
                before=fact.before,
                plan=fact.after,
                u=fact.uncertainty,
                target=fact.target,
                tolerance=fact.tolerance,
                leave_within=fact.leave_within,
                source=fact.reason or (source if fact.tolerance is not None else ""),
                reads=reads.get(fact.id, fact.after + float(warm[i])),
                read_wording=wording_of(quantity, units, 0.0 if warmed else fact.target),
                reads_before=fact.before + float(warm[i]),
                per_kelvin=float(rate[i]),
            )
        )
    return tuple(rows)


def _heading(fact: CheckFact) -> str:
    if fact.quantity in OF_STRUCTURE:
        return "Towers and cables"
    return f"Joint {fact.joint}" if fact.joint else "Watched points"


def _seats(job: Job, problem: FitProblem, certificate: Certificate) -> tuple[SeatRow, ...]:
    number = {mark: k for k, mark in enumerate(problem.marks)}
    facts = zip(certificate.seats, problem.choices, strict=True)
    return tuple(_seat(job, fact, own, number) for fact, own in facts)


def _seat(
    job: Job, fact: SeatFact, choices: tuple[Choice, ...], number: Mapping[str, int]
) -> SeatRow:
    seat = job.seats[fact.seat]
    if not any(_is_chosen(c, fact) for c in choices):
        # a plan of the record whose stock has changed since still shows what it is
        choices = (*choices, Choice(fact.setting, fact.build_up, fact.disturbed, 0))
    out, back = directions(fact.pushes)
    return SeatRow(
        id=fact.seat,
        segment=fact.segment,
        place=place_words(job, seat),
        raised=out,
        lowered=back,
        nut=fact.held_by == "nut",
        held=seat.hold,
        rule=_rule(job, seat),
        present=tuple(number[m] for m in seat.pack),
        packs=tuple(
            Pack(c.setting, tuple(number[m] for m in c.marks), c.disturbed) for c in choices
        ),
        chosen=next(k for k, c in enumerate(choices) if _is_chosen(c, fact)),
        stays=next((k for k, c in enumerate(choices) if not c.disturbed), -1),
        reaction_before=fact.reaction_before,
        reaction_plan=fact.reaction_after,
        reaction_least=_finite(fact.reaction_least),
        reaction_most=_finite(fact.reaction_most),
    )


def _rule(job: Job, seat: Seat) -> str:
    """Say which packs a seat may be given at all."""
    if seat.held_by == "nut":
        return "a nut, set in whole steps of its jack's resolution"
    shown = DISPLAY[job.units].plate
    parts = [
        f"{shown.text(seat.pack_least, unit=False)} to {shown.text(seat.pack_most)} high",
        f"at most {seat.most_plates} plates",
    ]
    if seat.thinnest > 0.0:
        parts.append(f"no plate thinner than {shown.text(seat.thinnest)}")
    if math.isfinite(seat.thickest):
        parts.append(f"no plate thicker than {shown.text(seat.thickest)}")
    return ", ".join(parts)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _is_chosen(choice: Choice, fact: SeatFact) -> bool:
    same = abs(choice.setting - fact.setting) < _SAME and choice.disturbed == fact.disturbed
    return same and sorted(choice.marks) == sorted(fact.build_up)


def _jacks(job: Job, problem: FitProblem) -> tuple[JackRow, ...]:
    return tuple(
        JackRow(jack.id, i, 1.0 / len(job.jacks_at(seat)), jack.capacity, jack.ram_area)
        for i, seat in enumerate(problem.seats)
        for jack in job.jacks_at(seat)
    )


def _joints(job: Job, checks: Sequence[str]) -> tuple[DrawnJoint, ...]:
    """Return the joints of which every drawn pair has a step, an offset and a gap."""
    row = {name: i for i, name in enumerate(checks)}
    drawn = []
    for joint in job.joints.values():
        pairs = [
            p
            for p in job.pairs_of(joint.id)
            if all(f"{joint.id}/{p.id}/{quantity}" in row for quantity in _FACED)
        ]
        if not pairs:
            continue
        across = joint.axes_in_grid[1:]
        where = np.array([job.points[p.back_point].design for p in pairs]) @ across.T
        where -= (where.max(axis=0) + where.min(axis=0)) / 2.0
        made = [
            DrawnPair(
                pair.id,
                pair.place,
                float(left),
                float(up),
                *(row[f"{joint.id}/{pair.id}/{quantity}"] for quantity in _FACED),
            )
            for pair, (left, up) in zip(pairs, where, strict=True)
        ]
        ordered = tuple(sorted(made, key=lambda p: -p.left))
        drawn.append(DrawnJoint(joint.id, joint.back, joint.ahead, ordered))
    return tuple(drawn)


def _steel(job: Job, survey: Survey) -> ReviewSteel:
    shown = DISPLAY[job.units].temperature
    found = [epoch.temperature for epoch in survey.epoch_of.values()]
    alike = len({shown.text(t) for t in found}) == 1
    return ReviewSteel(
        job.reference_temperature, found[0] if alike else None, job.gates.temperature_apart
    )
