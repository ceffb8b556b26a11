"""From the certificate's stages to what the crew reads."""

from __future__ import annotations

from collections.abc import Mapping

from fitup.certify.facts import Certificate, CheckFact, ExpectedFact, JackFact, StageFact
from fitup.model import SIDES, Job, Quantity
from fitup.sheets.cautions import conditions, way_back
from fitup.sheets.model import OF_ITEMS, OF_STRUCTURE, Header, ValidFor
from fitup.sheets.numbers import rounded, uncertified
from fitup.sheets.places import place_words, sheet_of
from fitup.sheets.plates import back_steps, plates_order, reset_line, stage_cards
from fitup.sheets.words import (
    NAMES,
    directions,
    joined,
    plain_value,
    ram_reading,
    value_words,
)
from fitup.sheets.work import Expected, GapAtTemperature, JackLine, RamReading, SeatCard, StageSheet
from fitup.units import DISPLAY


def build_stages(
    job: Job, certificate: Certificate, header: Header, cards: tuple[SeatCard, ...]
) -> tuple[StageSheet, ...]:
    """Return one sheet per stage, in the order of work.

    Parameters
    ----------
    job, certificate
    header : Header
        Says for which surveys and steel the plan holds.
    cards : tuple of SeatCard
        Of every seat of the plan.
    """
    by_seat = {card.seat: card for card in cards}
    facts = {fact.id: fact for fact in certificate.checks}
    return tuple(
        _stage(job, stage, certificate, header, by_seat, facts) for stage in certificate.stages
    )


def _stage(
    job: Job,
    stage: StageFact,
    certificate: Certificate,
    header: Header,
    by_seat: Mapping[str, SeatCard],
    facts: Mapping[str, CheckFact],
) -> StageSheet:
    units = DISPLAY[job.units]
    cards = stage_cards(job, stage, by_seat)
    words = {card.seat: card.move.words for card in cards}
    valid = tuple(valid_words(v) for v in header.valid)
    return StageSheet(
        number=stage.number,
        of=max(s.number for s in certificate.stages),
        group=stage.group,
        segment=stage.segment,
        sheet=sheet_of(job, stage.segment),
        moves=tuple(f"{seat} {move}" for seat, move in words.items()),
        seats=stage.seats,
        conditions=conditions(*valid, *_hands(stage), _as_now(job, stage), _computed(job, stage)),
        jacks=tuple(_jack(job, stage, jack) for jack in stage.jacks),
        cards=cards,
        expected=_expected(job, stage, certificate, facts),
        steel=", ".join(dict.fromkeys(v.steel.full for v in header.valid)),
        gap_changes=_gap_changes(job, stage, certificate, header),
        move_band=uncertified(job.working.move_band, units.move),
        load_band=f"{100.0 * job.working.load_band:.0f}\N{NO-BREAK SPACE}%",
        follow_up=uncertified(job.working.follow_up, units.move),
        way_back=way_back(
            vertical=any(card.pushes == "up" for card in cards),
            nuts=all(card.held_by == "nut" for card in cards),
            returns=all(job.seats[seat].comes_back for seat in stage.seats),
        ),
        crew=stage.crew,
        crews=sum(s.number == stage.number for s in certificate.stages),
        window=stage.window,
        resets=tuple(reset_line(job, r) for r in stage.resets),
        plates_order=plates_order(stage),
        back=back_steps(job, stage, cards),
    )


def _as_now(job: Job, stage: StageFact) -> str:
    """Name the packs that must be in place before the stage, for the crew to compare."""
    before = {p.seat: p.before for p in stage.packs} or {s: job.seats[s].pack for s in stage.seats}
    packs = [s for s in stage.seats if job.seats[s].held_by == "packs"]
    named = "; ".join(f"{s} {'+'.join(before[s]) or 'no plates'}" for s in packs)
    # a word joiner keeps an id and a pack on one line
    for sign in "-+":
        named = named.replace(sign, f"\N{WORD JOINER}{sign}\N{WORD JOINER}")
    return f"Packs in place, bottom to top, are these: {named}." if packs else ""


def _hands(stage: StageFact) -> tuple[str, ...]:
    """Say the hours of a stage, its pumps, and what must be tight before it starts."""
    lines = []
    if stage.window:
        lines.append(f"Only in these hours: {stage.window}.")
    if stage.pumps:
        lines.append(
            f"Pump {joined(stage.pumps)} drives the jacks of this sheet; all other valves are shut."
        )
    return tuple(lines)


def _computed(job: Job, stage: StageFact) -> str:
    """Say which loads are computed: a gauge may differ, and then the engineer decides."""
    if job.influence_table is not None:
        return ""
    seats = [s for s in stage.seats if not job.load_measured(s)]
    if not seats:
        return ""
    return (
        f"Loads of {joined(tuple(seats))} are computed, not measured. If a gauge "
        "at lift-off is outside its band, stop and call the engineer."
    )


def _gap_changes(
    job: Job, stage: StageFact, certificate: Certificate, header: Header
) -> tuple[GapAtTemperature, ...]:
    """Say what gaps read where steel is not as at the survey, so that nobody has to reckon."""
    units = DISPLAY[job.units]
    apart = job.gates.temperature_apart
    steel = {s: v.steel.si for v in header.valid for s in v.segments}
    changes = []
    for fact in certificate.gaps:
        joint = fact.joint
        sides = (job.joints[joint].back, job.joints[joint].ahead)
        if stage.segment not in sides:
            continue
        for one in fact.changes:
            halves, number = one.half_steps, rounded(one.change, units.move)
            at = rounded(steel[stage.segment] + apart * halves / 2.0, units.temperature)
            if number.value == 0.0:
                continue
            side = "wider" if number.value > 0.0 else "narrower"
            words = f"{at.full}: {number.size} {number.unit} {side}"
            changes.append(GapAtTemperature(joint, halves, words, number))
    return tuple(changes)


def valid_words(valid: ValidFor) -> str:
    """Say for which survey, steel temperature and deck load the plan holds.

    Parameters
    ----------
    valid : ValidFor
    """
    return (
        f"Survey {valid.file}, {valid.taken}, of {joined(valid.segments)} is the latest. "
        f"Steel now between {valid.steel_from.text} and {valid.steel_to.full} "
        f"(at survey {valid.steel.full}). Load on deck as then: {valid.deck_load.full}."
    )


def _jack(job: Job, stage: StageFact, fact: JackFact) -> JackLine:
    units = DISPLAY[job.units]
    out_word, in_word = directions(fact.pushes)
    return JackLine(
        jack=fact.jack,
        seat=fact.seat,
        place=place_words(job, job.seats[fact.seat]),
        out_word=out_word,
        in_word=in_word,
        up=tuple(ram_reading(fact.pushes, v, units) for v in fact.up),
        down=tuple(ram_reading(fact.pushes, v, units) for v in fact.down),
        load_start=rounded(fact.load_start, units.force),
        load_raised=rounded(fact.load_raised, units.force),
        load_stop=rounded(fact.load_stop, units.force),
        pressure_start=rounded(fact.pressure_start, units.pressure),
        pressure_raised=rounded(fact.pressure_raised, units.pressure),
        pressure_stop=rounded(fact.pressure_stop, units.pressure),
        capacity=rounded(fact.capacity, units.force),
        stroke_free=rounded(fact.stroke_free, units.move),
        stroke_out=rounded(fact.stroke_out, units.move),
        lock_nut=fact.lock_nut,
        breaks_loose=fact.pushes != "up" and job.seats[fact.seat].breakaway > 0.0,
        load_low=rounded(fact.load_low, units.force),
        pressure_low=rounded(fact.pressure_low, units.pressure),
        load_end=rounded(fact.load_end, units.force),
        pressure_end=rounded(fact.pressure_end, units.pressure),
        pressures_up=tuple(rounded(v, units.pressure) for v in fact.pressures_up),
        pressures_down=tuple(rounded(v, units.pressure) for v in fact.pressures_down),
        move_band=rounded(fact.move_band, units.move),
        back=(
            *(ram_reading(fact.pushes, v, units) for v in fact.up[-2::-1]),
            RamReading("START", uncertified(0.0, units.move)),
        ),
        pump=", ".join(p for p in stage.pumps if fact.jack in job.pumps[p].jacks),
    )


def _expected(
    job: Job, stage: StageFact, certificate: Certificate, facts: Mapping[str, CheckFact]
) -> tuple[Expected, ...]:
    """Return what is read at the segment's joints, and the levels of its watched points.

    Line and station of single points wait for the re-survey: nobody reads them at the joint.
    """
    return tuple(
        _expect(job, facts[read.check], read, aimed=not any(g.per_kelvin for g in certificate.gaps))
        for read in stage.expected
        if _near(job, stage.segment, facts[read.check])
    )


def _near(job: Job, segment: str, fact: CheckFact) -> bool:
    """Tell whether a check is read at a joint of the segment, or is the level of its point.

    Leans and tensions are read after every stage: the whole structure answers.
    """
    if fact.quantity in OF_STRUCTURE:
        return True
    if not fact.is_length or fact.quantity in OF_ITEMS:
        return False
    point = job.points.get(fact.place)
    if point is not None:
        return fact.quantity == "level" and not fact.joint and point.segment == segment
    joint = job.joints.get(fact.joint)
    return joint is not None and segment in (joint.back, joint.ahead)


def _expect(job: Job, fact: CheckFact, read: ExpectedFact, *, aimed: bool) -> Expected:
    """Word one reading; an aim holds at the reference temperature and is left out elsewhere."""
    units = DISPLAY[job.units]
    quantity = quantity_of(fact)
    return Expected(
        id=fact.id,
        quantity=quantity,
        what=NAMES[quantity],
        place=f"{fact.joint} {fact.place}".strip(),
        nominal=_nominal(job, fact),
        expect=value_words(quantity, read.expect, units, fact.target if aimed else 0.0),
        low=plain_value(quantity, read.low, units),
        high=plain_value(quantity, read.high, units),
    )


def _nominal(job: Job, fact: CheckFact) -> str:
    """Return the opening a gap is wider or narrower than; empty for other checks."""
    pair = next((p for p in job.pairs.values() if fact.id == f"{p.joint}/{p.id}/gap"), None)
    return "" if pair is None else uncertified(pair.opening, DISPLAY[job.units].move).full


def quantity_of(fact: CheckFact) -> Quantity:
    """Return the quantity of a fact as one of the known words."""
    return next(q for q in SIDES if q == fact.quantity)
