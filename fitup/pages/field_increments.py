"""The steps of a stage as its move sheet has them: increments out, plates, increments back."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from fitup.model import Job
from fitup.pages.field_facts import FieldBand, FieldEntry, FieldStep
from fitup.record.asdone import Asked
from fitup.sheets.work import JackLine, RamReading, SeatCard, StageSheet


def increment_steps(job: Job, stage: StageSheet, asked: Mapping[str, Asked]) -> Iterator[FieldStep]:
    """Yield what the move sheet says between the conditions and the hold point.

    Parameters
    ----------
    job, stage
    asked : mapping of str to Asked
        What the crew of this stage enters, by name.
    """
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
        yield joint_step(stage, checks)


def _reading(job: Job, stage: StageSheet, way: str, i: int, count: int) -> FieldStep:
    """Return one increment: every jack to its reading, ram and gauge read."""
    moves = [_to(jack, way, i) for jack in stage.jacks]
    said = [m for m in moves if m]
    said.append(f"Nuts and packs follow the load, never more than {stage.follow_up.full} behind.")
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
        bands=(FieldBand("STOP", reading.number.si - band, reading.number.si + band),),
        jack=jack.jack,
        last=True,
    )
    area = job.jacks[jack.jack].ram_area
    pressures = jack.pressures_up if way == "up" else jack.pressures_down
    low = jack.pressure_low.si if jack.pressure_low.value > 0.0 else None
    should = pressures[min(i, len(pressures) - 1)].full if pressures else "as before"
    yield FieldEntry(
        name=f"gauge {jack.jack} {way} {i + 1}",
        what="gauge",
        label=f"Gauge {jack.jack}",
        should=f"about {should}",
        unit="pressure",
        bands=(FieldBand("STOP", low, _gauge_stop(jack, area)),),
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


def _packs(stage: StageSheet, cards: list[SeatCard], asked: Mapping[str, Asked]) -> FieldStep:
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


def joint_step(stage: StageSheet, checks: Sequence[Asked]) -> FieldStep:
    """Return the reading of the joint after a stage.

    Parameters
    ----------
    stage : StageSheet
    checks : sequence of Asked
        What is read, each one of ``stage.expected``.
    """
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
                bands=(FieldBand("STOP", a.least, a.most),),
                opening=a.opening,
            )
        )
    said = (f"Steel as at the survey: {stage.steel}.",) if stage.steel else ()
    return FieldStep("Read the joint", said, (), tuple(entries))
