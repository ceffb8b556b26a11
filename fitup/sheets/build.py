"""From a job, its survey, plan and certificate to the sheet model."""

from __future__ import annotations

import math
from typing import Final, Literal

import numpy as np

from fitup.certify.certified import Path
from fitup.certify.facts import Certificate, CheckFact, SeatFact, SummaryFact
from fitup.checks.state import not_measured
from fitup.model import FORCES, SIDES, Epoch, Job, ObjectiveResult, Plan
from fitup.record import check_code, spoken
from fitup.record.approval import OPEN, Standing
from fitup.sheets.cautions import STRIP, cautions
from fitup.sheets.chart import build_chart
from fitup.sheets.confidence import confidence_sheet
from fitup.sheets.crew import crew_sheets
from fitup.sheets.envelopes import jack_envelope_lines, seat_envelope_lines
from fitup.sheets.liftoff import build_lift_offs
from fitup.sheets.model import (
    OF_STRUCTURE,
    Across,
    CheckLine,
    ConflictLine,
    Header,
    JointSheet,
    ObstacleLine,
    ProofLine,
    SheetSet,
    StockLine,
    ValidFor,
)
from fitup.sheets.numbers import Number, Worded, rounded, uncertified
from fitup.sheets.passage import bolt_lines, bore_lines
from fitup.sheets.places import place_words, plan_segments, segment_maps
from fitup.sheets.ride import ride_lines
from fitup.sheets.stages import build_stages, quantity_of
from fitup.sheets.words import (
    NAMES,
    NOT_MEASURED,
    conflict_words,
    move_words,
    plain_words,
    proof_words,
    shown_for,
    thickness_error,
    value_words,
)
from fitup.sheets.work import PlateLine, SeatCard
from fitup.survey.points import Survey
from fitup.trust.trust_report import TrustReport
from fitup.units import DISPLAY

#: what is drawn of a pair
_FACED: Final = ("step", "offset", "gap")
#: objectives that count things; the others are numbers without a unit
_COUNTS: Final = ("seats disturbed", "plates handled", "plates in new packs", "stages")


def build_sheets(
    job: Job,
    survey: Survey,
    plan: Plan,
    certificate: Certificate,
    *,
    stands: Standing = OPEN,
    stated: TrustReport | None = None,
) -> SheetSet:
    """Round a certified plan once, into everything that is printed.

    Parameters
    ----------
    job, survey, plan, certificate
        All in SI; the certificate's numbers are the ones printed.
    stands : Standing
        Where the plan stands: approved, void, rejected or open. Stands on every page.
    stated : TrustReport, optional
        How sure the plan is, for the report and the shim schedule.

    Raises
    ------
    ValueError
        If the certificate was not made for this plan.
    """
    if certificate.plan_id != plan.id:
        raise ValueError(
            f"certificate is for plan {certificate.plan_id!r}, plan is {plan.id!r}; certify again"
        )
    header = header_of(job, survey, plan, certificate, stands)
    cards = tuple(_card(job, fact) for fact in certificate.seats)
    joints = _joints(job, survey, certificate)
    after = {line.id: line.after.words.split(" (")[0] for j in joints for line in j.lines}
    return SheetSet(
        header=header,
        inside=plan.inside and certificate.inside,
        joints=joints,
        stages=build_stages(job, certificate, header, cards),
        seats=cards,
        stock=_stock(job, certificate),
        method=plan.method,
        proof=tuple(_proof(objective, certificate.summary) for objective in plan.objectives),
        obstacles=tuple(
            ObstacleLine(o.what, o.change, "tried: it works" if o.verified else "not tried")
            for o in plan.obstacles
        ),
        conflicts=tuple(ConflictLine(conflict_words(c), c.parts) for c in plan.conflicts),
        understood=survey.understood,
        statements=certificate.statements,
        segments=plan_segments(job, {c.seat: c.move.words for c in cards if c.disturbed}),
        cautions=cautions(job),
        caution_strip=STRIP,
        ride=ride_lines(job, certificate),
        bores=bore_lines(job, certificate),
        bolts=bolt_lines(job, certificate),
        chart=build_chart(job, plan, certificate),
        lift_offs=build_lift_offs(job, certificate),
        maps=segment_maps(
            job,
            (stage.segment for stage in certificate.stages),
            {c.seat: c.move.words for c in cards if c.disturbed},
        ),
        crews=crew_sheets(job, certificate),
        seat_envelopes=seat_envelope_lines(job, certificate),
        jack_envelopes=jack_envelope_lines(job, certificate),
        confidence=None if stated is None else confidence_sheet(job, stated, after),
    )


def header_of(
    job: Job, survey: Survey, plan: Plan, certificate: Certificate, stands: Standing
) -> Header:
    """Return what stands on every page of a plan.

    Parameters
    ----------
    job, survey, plan, certificate
    stands : Standing
        Gives status, decision and record.
    """
    units = DISPLAY[job.units]
    paper: Literal["a4", "us-letter"] = "a4" if job.units == "metric" else "us-letter"
    return Header(
        job=job.name,
        plan_id=plan.id,
        check_code=check_code(plan.id),
        spoken=spoken(check_code(plan.id)),
        status=stands.status,
        approved=stands.good,
        decided=stands.note,
        survey=survey.verdict.headline,
        reservations=survey.verdict.reservations,
        since=stands.why,
        paper=paper,
        length_unit=units.move.word,
        force_unit=units.force.word,
        pressure_unit=units.pressure.word,
        reference=uncertified(job.reference_temperature, units.temperature),
        inputs=job.digest,
        valid=_valid(job, survey, certificate),
        record=stands.head,
    )


def _valid(job: Job, survey: Survey, certificate: Certificate) -> tuple[ValidFor, ...]:
    """Return the surveys the plan rests on; steel may differ by the gate between two sides."""
    segments: dict[str, list[str]] = {}
    epochs: dict[str, Epoch] = {}
    for segment, epoch in survey.epoch_of.items():
        segments.setdefault(epoch.file, []).append(segment)
        epochs[epoch.file] = epoch
    shown = DISPLAY[job.units]
    facts = {fact.file: fact for fact in certificate.surveys}
    return tuple(
        ValidFor(
            file=file,
            taken=epoch.taken.replace("T", " "),
            segments=tuple(segments[file]),
            steel=rounded(facts[file].steel, shown.temperature),
            steel_from=rounded(facts[file].steel_from, shown.temperature),
            steel_to=rounded(facts[file].steel_to, shown.temperature),
            deck_load=uncertified(epoch.deck_load, shown.force),
        )
        for file, epoch in epochs.items()
    )


def _joints(job: Job, survey: Survey, certificate: Certificate) -> tuple[JointSheet, ...]:
    out = []
    carried = not_measured(job, survey)
    unit = DISPLAY[job.units].move.word
    for name in dict.fromkeys(_heading(fact) for fact in certificate.checks):
        facts = [fact for fact in certificate.checks if _heading(fact) == name]
        lines = tuple(_check(job, fact, carried.get(fact.id, ())) for fact in facts)
        joint = job.joints.get(name)
        if joint is None:
            out.append(JointSheet(name, "", "", lines, (), unit))
        else:
            across = _across(job, name, facts, lines)
            out.append(JointSheet(name, joint.back, joint.ahead, lines, across, unit))
    return tuple(out)


def _heading(fact: CheckFact) -> str:
    """Return the joint of a check, or what it is gathered under."""
    if fact.quantity in OF_STRUCTURE:
        return "Towers and cables"
    return fact.joint or "Watched points"


def _check(job: Job, fact: CheckFact, carried: tuple[str, ...]) -> CheckLine:
    units = DISPLAY[job.units]
    quantity = quantity_of(fact)
    shown = shown_for(quantity, units)
    aim = rounded(fact.target, shown)
    tolerance = None if fact.tolerance is None else rounded(fact.tolerance, shown)
    source = job.tolerances[quantity].source if quantity in job.tolerances else ""
    note = fact.reason
    if carried:
        stated = f"{NOT_MEASURED}: {', '.join(carried)} by the design shape"
        note = f"{stated}; {note}" if note else stated
    aimed = "design" if aim.value == 0.0 else plain_words(quantity, aim)
    if quantity in FORCES and aim.value == 0.0:
        aimed = "none"
    if fact.leave_within is not None:
        aimed = f"left, within {rounded(fact.leave_within, shown).full}"
    return CheckLine(
        id=fact.id,
        quantity=quantity,
        what=NAMES[quantity],
        place=fact.place or "whole joint",
        before=value_words(quantity, fact.before, units, fact.target),
        after=value_words(quantity, fact.after, units, fact.target),
        aim=aimed,
        uncertainty=rounded(fact.uncertainty, shown),
        tolerance=tolerance,
        source=source if fact.tolerance is not None else "",
        verdict=_verdict(fact),
        note=note,
        share_before=_share(fact, fact.before),
        share_after=_share(fact, fact.after),
        positive_means=SIDES[quantity][0],
    )


def _verdict(fact: CheckFact) -> str:
    if fact.leave_within is not None:
        return "left" if abs(fact.after - fact.target) <= fact.leave_within else "OUTSIDE"
    return {True: "inside", False: "OUTSIDE", None: "reported only"}[fact.inside]


def _share(fact: CheckFact, value: float) -> float | None:
    """Return the distance from the aim as a share of the tolerance, or of what may be left."""
    limit = fact.tolerance if fact.leave_within is None else fact.leave_within
    return None if not limit else abs(value - fact.target) / limit


def _across(
    job: Job, joint: str, facts: list[CheckFact], lines: tuple[CheckLine, ...]
) -> tuple[Across, ...]:
    """Return the pairs of a joint for its section figure, from LEFT to RIGHT."""
    pairs = [
        p
        for p in job.pairs_of(joint)
        if all(f"{joint}/{p.id}/{q}" in {f.id for f in facts} for q in _FACED)
    ]
    if not pairs:
        return ()
    axes = job.joints[joint].axes_in_grid[1:]
    where = np.array([job.points[p.back_point].design for p in pairs]) @ axes.T
    where -= (where.max(axis=0) + where.min(axis=0)) / 2.0
    fact = {f.id: f for f in facts}
    line = {entry.id: entry for entry in lines}
    out = []
    for pair, (left, up) in zip(pairs, where, strict=True):
        step, offset, gap = (f"{joint}/{pair.id}/{q}" for q in _FACED)
        out.append(
            Across(
                pair=pair.id,
                place=pair.place,
                left=float(left),
                up=float(up),
                step=(fact[step].before, fact[step].after),
                offset=(fact[offset].before, fact[offset].after),
                gap=(fact[gap].before, fact[gap].after),
                labels=(
                    (_face(line[step].before), _face(line[offset].before), _face(line[gap].before)),
                    (_face(line[step].after), _face(line[offset].after), _face(line[gap].after)),
                ),
            )
        )
    return tuple(sorted(out, key=lambda a: -a.left))


def _face(said: Worded) -> str:
    """Say a value of a face for a narrow column: ``high 14.6``, ``RIGHT 14.0``, ``0.0``."""
    return f"{said.side.removeprefix('ahead side ')} {said.number.size}".strip()


def _plates(job: Job, marks: tuple[str, ...]) -> tuple[PlateLine, ...]:
    shown = DISPLAY[job.units].plate
    return tuple(PlateLine(m, uncertified(job.plates[m].measured, shown)) for m in marks)


def _card(job: Job, fact: SeatFact) -> SeatCard:
    units = DISPLAY[job.units]
    plan_size, contact = _bearing_area(job, fact)
    return SeatCard(
        seat=fact.seat,
        segment=fact.segment,
        place=place_words(job, job.seats[fact.seat]),
        pushes=fact.pushes,
        held_by=fact.held_by,
        disturbed=fact.disturbed,
        move=move_words(fact.pushes, fact.move, units),
        pack_now=_plates(job, fact.pack_now),
        out=_plates(job, fact.out),
        put_in=_plates(job, fact.put_in),
        build_up=_plates(job, fact.build_up),
        height_now=rounded(fact.height_now, units.plate),
        height_new=rounded(fact.height_new, units.plate),
        needed=rounded(fact.needed, units.plate),
        error=thickness_error(fact.error, units),
        count=len(fact.build_up),
        most_plates=job.seats[fact.seat].most_plates,
        bedding=rounded(fact.bedding, units.move),
        room_behind=rounded(fact.room_behind, units.move) if fact.room_behind > 0.0 else None,
        insertion=uncertified(job.working.insertion, units.move)
        if job.seats[fact.seat].comes_back
        else None,
        plan_size=plan_size,
        contact=contact,
        reaction_before=rounded(fact.reaction_before, units.force),
        reaction_after=rounded(fact.reaction_after, units.force),
        reaction_least=rounded(fact.reaction_least, units.force),
        reaction_most=rounded(fact.reaction_most, units.force),
    )


def _bearing_area(job: Job, fact: SeatFact) -> tuple[str, Number | None]:
    """Return the plan size of the smallest plate of a pack and the pressure on it."""
    units = DISPLAY[job.units]
    plates = [job.plates[m] for m in fact.build_up]
    if not plates:
        return "", None
    smallest = min(plates, key=lambda p: p.length * p.width)
    sides = (f"{units.move.number(v):g}" for v in (smallest.length, smallest.width))
    loose = fact.contact is None or fact.room_behind > 0.0
    pressure = None if loose or fact.contact is None else rounded(fact.contact, units.pressure)
    return f"{' x '.join(sides)} {units.move.word}", pressure


def _stock(job: Job, certificate: Certificate) -> tuple[StockLine, ...]:
    shown = DISPLAY[job.units].plate
    return tuple(
        StockLine(
            mark=s.mark,
            nominal=rounded(s.nominal, shown),
            measured=rounded(s.measured, shown),
            before=s.before,
            taken=s.taken,
            returned=s.returned,
            after=s.after,
        )
        for s in certificate.stock
    )


def _proof(objective: ObjectiveResult, summary: SummaryFact) -> ProofLine:
    """Say how the printed plan came out in one objective, and what is known of better plans.

    The value is the certificate's; bound and proof are the optimiser's, of that objective alone:
    where later objectives were given slack, the plan may stand above a proven bound.
    """
    count = objective.name in _COUNTS
    value = summary.of(objective.name)
    lower = (
        math.ceil(objective.lower - 1e-6)
        if count and math.isfinite(objective.lower)
        else objective.lower
    )
    # the bound holds on the optimiser's straight line, the value is of the true motion
    lower = min(lower, value)
    gap = max(value - lower, 0.0)
    return ProofLine(
        name=objective.name,
        plan=_bare(value, ("summary", objective.name.replace(" ", "_")), count=count),
        bound=_plain(lower, count=count),
        gap=_plain(gap, count=count),
        proven=proof_words(objective.name, value, lower, proven=objective.proven),
        text=objective.text,
    )


def _plain(value: float, *, count: bool) -> str:
    if not math.isfinite(value):
        return "none found"
    return f"{round(value)}" if count else f"{value:z.3f}"


def _bare(value: float, path: Path, *, count: bool) -> Number:
    """Return a number without a unit, as it is printed."""
    decimals = 0 if count else 3
    shown = round(value, decimals)
    return Number(shown, decimals, "", "", shown, 0.0 if count else 0.5e-3, path)
