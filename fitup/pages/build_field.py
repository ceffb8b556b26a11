"""From the sheets of a plan to the field page of one crew: the same lines, one at a time."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator

from fitup.model import Job
from fitup.pages.field_facts import FieldEntry, FieldFacts, FieldStage, FieldStep, FormRow
from fitup.pages.review_facts import Unit, UnitName
from fitup.record.asdone import Asked, asked_of
from fitup.sheets.as_done import as_done
from fitup.sheets.cautions import BAND_PASSED, HOLD
from fitup.sheets.model import SheetSet
from fitup.sheets.tables import json_bytes
from fitup.sheets.work import JackLine, RamReading, SeatCard, StageSheet
from fitup.units import DISPLAY


def crews_of(sheets: SheetSet) -> tuple[int, ...]:
    """Return the crews of a plan by their number."""
    return tuple(sorted({stage.crew for stage in sheets.stages}))


def field_facts(job: Job, sheets: SheetSet, crew: int) -> FieldFacts:
    """Return what the field page of one crew shows.

    Parameters
    ----------
    job : Job
    sheets : SheetSet
        Confirmed by the certificate: its numbers are the ones shown.
    crew : int
    """
    shown, head = DISPLAY[job.units], sheets.header
    printed = json.loads(json_bytes(sheets, ()))
    return FieldFacts(
        job=head.job,
        check_code=head.check_code,
        spoken=head.spoken,
        status=head.status,
        approved=head.approved,
        crew=crew,
        crews=len(crews_of(sheets)),
        units={
            "move": Unit.of(shown.move),
            "pressure": Unit.of(shown.pressure),
            "force": Unit.of(shown.force),
        },
        stages=tuple(
            _stage(job, sheets, stage, asked_of(printed, job, stage.number))
            for stage in sheets.stages
            if stage.crew == crew
        ),
        stop=BAND_PASSED,
        hold=HOLD,
        caution=sheets.caution_strip,
    )


def _stage(job: Job, sheets: SheetSet, stage: StageSheet, asked: tuple[Asked, ...]) -> FieldStage:
    own = _own_names(stage)
    mine = {a.name: a for a in asked if a.name in own}
    title = f"Stage {stage.number} of {stage.of}: {stage.group}, segment {stage.segment}"
    return FieldStage(
        number=stage.number,
        title=title,
        steps=tuple(_steps(job, stage, mine)),
        form=tuple(_form(sheets, stage.number, mine)),
    )


def _own_names(stage: StageSheet) -> set[str]:
    """Return what this crew reads of a stage that another crew may share."""
    jacks = {f"{what} {jack.jack}" for jack in stage.jacks for what in ("ram", "load")}
    packs = {f"pack {card.seat}" for card in stage.cards}
    return jacks | packs | {line.id for line in stage.expected}


def _steps(job: Job, stage: StageSheet, asked: dict[str, Asked]) -> Iterator[FieldStep]:
    yield FieldStep("Before the first stroke", stage.moves, stage.conditions)
    for reset in stage.resets:
        way = "goes in" if reset.add else "comes out"
        said = (
            f"Packing under the jack {way}: {reset.base_now.full} now, {reset.base_new.full} then.",
            f"Ram out {reset.out_now.full} before, {reset.out_new.full} after.",
        )
        yield FieldStep(f"Set jack {reset.jack} anew, seat {reset.seat}", said, ("Set anew.",))
    up = max((len(jack.up) for jack in stage.jacks), default=0)
    down = max((len(jack.down) for jack in stage.jacks), default=0)
    for i in range(up):
        yield _reading(job, stage, "up", i, up)
    packs = [card for card in stage.cards if card.held_by == "packs"]
    if packs:
        yield _packs(stage, packs, asked)
    for i in range(down):
        yield _reading(job, stage, "down", i, down)
    checks = [a for a in asked.values() if a.what == "check"]
    if checks:
        yield _joint(stage, checks)


def _reading(job: Job, stage: StageSheet, way: str, i: int, count: int) -> FieldStep:
    """Return one increment: every jack to its reading, ram and gauge read."""
    before = [f for c in stage.cards for f in c.follow if f.startswith(f"before step {i + 1} down")]
    after = [f for c in stage.cards for f in c.follow if f.startswith(f"after step {i + 1} up")]
    moves = [_to(jack, way, i) for jack in stage.jacks]
    said = [*(before if way == "down" else ()), *(m for m in moves if m)]
    said.append(f"Nuts and packs follow the load, never more than {stage.follow_up.full} behind.")
    said += after if way == "up" else ()
    entries = [e for jack in stage.jacks for e in _entries(job, jack, way, i)]
    word = "Out" if way == "up" else "Back"
    return FieldStep(f"{word}, reading {i + 1} of {count}", tuple(said), (), tuple(entries))


def _at(jack: JackLine, way: str, i: int) -> RamReading | None:
    """Return the reading of a jack at an increment; one that is there already holds."""
    own = jack.up if way == "up" else jack.down
    return own[min(i, len(own) - 1)] if own else None


def _words(reading: RamReading) -> str:
    if reading.side == "START":
        return "START"
    return f"{reading.number.size} {reading.number.unit} {reading.side}"


def _to(jack: JackLine, way: str, i: int) -> str:
    reading = _at(jack, way, i)
    if reading is None:
        return f"{jack.jack}: HOLD, do not move"
    own = jack.up if way == "up" else jack.down
    if i >= len(own):
        return f"{jack.jack}: HOLD at {_words(reading)}"
    backwards = reading.side.startswith(("below", "short"))
    word = jack.in_word if (way == "down" or backwards) else jack.out_word
    return f"{jack.jack}, {jack.place}: {word} to {_words(reading)}"


def _entries(job: Job, jack: JackLine, way: str, i: int) -> Iterator[FieldEntry]:
    reading = _at(jack, way, i)
    if reading is None:
        return
    band = jack.move_band.si
    lifts = job.seats[jack.seat].pushes == "up"
    yield FieldEntry(
        name=f"ram {jack.jack} {way} {i + 1}",
        what="ram",
        label=f"Ram {jack.jack}",
        should=_words(reading),
        unit="move",
        sides=("above START", "below START") if lifts else ("beyond START", "short of START"),
        low=reading.number.si - band,
        high=reading.number.si + band,
        jack=jack.jack,
    )
    area = job.jacks[jack.jack].ram_area
    pressures = jack.pressures_up if way == "up" else jack.pressures_down
    should = pressures[min(i, len(pressures) - 1)].full if pressures else "as before"
    yield FieldEntry(
        name=f"gauge {jack.jack} {way} {i + 1}",
        what="gauge",
        label=f"Gauge {jack.jack}",
        should=f"about {should}",
        unit="pressure",
        low=jack.pressure_low.si if jack.pressure_low.value > 0.0 else None,
        high=_gauge_stop(jack, area),
        area=area,
        jack=jack.jack,
    )


def _gauge_stop(jack: JackLine, area: float) -> float:
    """Return the pressure that stops work [Pa]: by the gauge and by the load as printed.

    The two are rounded apart; the whole step of the gauge that keeps both is the one.
    """
    step = 2.0 * jack.pressure_stop.half_step
    by_load = math.floor(jack.load_stop.si / area / step + 1e-9) * step
    return min(jack.pressure_stop.si, by_load)


def _packs(stage: StageSheet, cards: list[SeatCard], asked: dict[str, Asked]) -> FieldStep:
    said = [stage.plates_order] if stage.plates_order else []
    for card in cards:
        out, put_in = ([p.mark for p in own] for own in (card.out, card.put_in))
        said.append(
            f"{card.seat}, {card.place}: OUT {', '.join(out) or 'none'}; "
            f"IN {', '.join(put_in) or 'none'}; then {card.height_new.full} high."
        )
    entries = tuple(
        FieldEntry(
            name=f"pack {card.seat}",
            what="pack",
            label=f"Pack as built at {card.seat}, bottom to top",
            should="+".join(p.mark for p in card.build_up) or "no plates",
            unit="move",
            pack=asked[f"pack {card.seat}"].pack,
        )
        for card in cards
        if f"pack {card.seat}" in asked
    )
    return FieldStep("Plates, by tool, never by hand", tuple(said), (), entries)


def _joint(stage: StageSheet, checks: list[Asked]) -> FieldStep:
    line = {e.id: e for e in stage.expected}
    entries = []
    for a in checks:
        e = line[a.name]
        nominal = f", {e.nominal} nominal" if e.nominal else ""
        entries.append(
            FieldEntry(
                name=a.name,
                what="check",
                label=f"{e.what}, {e.place}{nominal}",
                should=e.expect.words,
                unit="force" if a.dimension == "force" else "move",
                sides=a.sides,
                low=a.least,
                high=a.most,
                opening=a.opening,
            )
        )
    said = (f"Steel as at the survey: {stage.steel}.",) if stage.steel else ()
    return FieldStep("Read the joint", said, (), tuple(entries))


def _form(sheets: SheetSet, stage: int, asked: dict[str, Asked]) -> Iterator[FormRow]:
    table = as_done(sheets)
    at = {name: i for i, name in enumerate(table.columns)}
    for row in table.rows:
        name = str(row[at["name"]])
        if row[at["stage"]] != stage or name not in asked:
            continue
        a = asked[name]
        place, should, stop, other = (
            str(row[at[c]]) for c in ("place", "should_read", "stop_beyond", "or_beyond")
        )
        most = a.most if a.what == "load" else None
        unit: UnitName = "force" if a.dimension == "force" else "move"
        yield FormRow(name, a.what, place, should, stop, other, unit, a.pack, most)
