"""The same content as data, with the unit in every column name.

Sheets of the workbook and CSV files share their tables:

``checks``
    Every check before and after in words and as a number; ``positive_means`` says what a
    number above zero is, so that no sign has to be known by heart.
``moves``
    Every seat: move in words and size, packs, heights, reactions.
``readings``
    Every jack reading, one row an increment, ``side`` says which side of the START mark.
``jacks``
    Loads and gauge pressures per jack and stage.
``expected``
    What each check should read after each stage, and the band outside which work stops.
``as-done``
    What is read after each stage, to be filled in and read back by ``fitup done``.
``ride``
    Straightedge and quarter car in each wheel path before and after, where the job has any.
``bores``, ``bolts``
    Room in bores and match of bolt holes before and after, where the job has any.
``stock``, ``proof``, ``obstacles``, ``valid_for``
    As on paper.
``conflicts``
    What cannot all be kept, a row for each part; only where a check stays outside.

Where move sheets are withheld, ``readings``, ``jacks``, ``expected`` and ``as-done`` are left out.
"""

from __future__ import annotations

from collections.abc import Iterable

from fitup.sheets.as_done import as_done
from fitup.sheets.confidence import CheckConfidence
from fitup.sheets.crew_lines import CrewSheet
from fitup.sheets.model import Cell, CheckLine, SheetSet, Table
from fitup.sheets.numbers import Number
from fitup.sheets.work import PlateLine, SeatCard, StageSheet


def tables(sheets: SheetSet) -> tuple[Table, ...]:
    """Return every table of a sheet set."""
    of_stages: tuple[Table, ...] = ()
    if sheets.stages:
        of_stages = (
            *([_procedure(sheets)] if sheets.crews else []),
            _readings(sheets),
            _jacks(sheets),
            _expected(sheets),
            as_done(sheets),
        )
    return (
        _checks(sheets),
        _moves(sheets),
        *of_stages,
        _stock(sheets),
        _proof(sheets),
        _obstacles(sheets),
        *([_conflicts(sheets)] if sheets.conflicts else []),
        _valid(sheets),
        *([_ride(sheets)] if sheets.ride else []),
        *([_bores(sheets)] if sheets.bores else []),
        *([_bolts(sheets)] if sheets.bolts else []),
    )


def _bores(sheets: SheetSet) -> Table:
    return _table(
        "bores",
        (
            {
                "joint": line.joint,
                "bore": line.bore,
                "place": line.place,
                "before": line.before_words,
                "after": line.after_words,
                **_col("room_before", line.before),
                **_col("room_after", line.after),
            }
            for line in sheets.bores
        ),
    )


def _bolts(sheets: SheetSet) -> Table:
    return _table(
        "bolts",
        (
            {
                "joint": line.joint,
                "group": line.group,
                "place": line.place,
                "holes": line.holes,
                **_col("clearance", line.clearance),
                "passing_before": line.passing_before,
                **_col("worst_before", line.worst_before),
                "passing_after": line.passing_after,
                **_col("worst_after", line.worst_after),
                **_col("fitted_after", line.fitted_after),
            }
            for line in sheets.bolts
        ),
    )


def _ride(sheets: SheetSet) -> Table:
    return _table(
        "ride",
        (
            {
                "joint": line.joint,
                "path": line.path,
                "place": line.place,
                **_col("straightedge", line.straightedge),
                **_col("gap_before", line.gap_before),
                **_col("gap_after", line.gap_after),
                **_col("roughness_before", line.roughness_before),
                **_col("roughness_after", line.roughness_after),
            }
            for line in sheets.ride
        ),
    )


def _table(name: str, rows: Iterable[dict[str, Cell]], empty: tuple[str, ...] = ()) -> Table:
    """Make a table of rows; a column missing in a row stays empty, ``empty`` heads no rows."""
    listed = list(rows)
    columns = tuple(dict.fromkeys(key for row in listed for key in row)) or empty
    return Table(name, columns, tuple(tuple(row.get(c) for c in columns) for row in listed))


def _col(name: str, number: Number | None, *, size: bool = False) -> dict[str, Cell]:
    """Return one number under a column name that carries its unit."""
    if number is None:
        return {}
    return {f"{name}_{number.suffix}": abs(number.value) if size else number.value}


def _marks(plates: tuple[PlateLine, ...]) -> str:
    return " ".join(p.mark for p in plates)


def _checks(sheets: SheetSet) -> Table:
    confidence = sheets.confidence
    return _table(
        "checks",
        (
            {
                **_check(j.id, line),
                **({} if confidence is None else _confidence(confidence.of_check(line.id))),
            }
            for j in sheets.joints
            for line in j.lines
        ),
    )


def _confidence(line: CheckConfidence | None) -> dict[str, Cell]:
    """Return how sure a check is, where it is listed in the report."""
    if line is None:
        return {}
    return {
        **_col("uncertainty", line.uncertainty),
        "inside_with": line.probability,
        "said": line.said,
    }


def _check(joint: str, line: CheckLine) -> dict[str, Cell]:
    return {
        "check": line.id,
        "joint": joint,
        "place": line.place,
        "quantity": line.quantity,
        "before": line.before.words,
        "after": line.after.words,
        "positive_means": line.positive_means,
        **_col("before", line.before.number),
        **_col("after", line.after.number),
        **_col("uncertainty", line.uncertainty),
        **_col("tolerance", line.tolerance),
        "aim": line.aim,
        "result": line.verdict,
        "source": line.source,
        "reason": line.note,
    }


def _moves(sheets: SheetSet) -> Table:
    return _table("moves", (_seat(card) for card in sheets.seats))


def _seat(card: SeatCard) -> dict[str, Cell]:
    return {
        "seat": card.seat,
        "segment": card.segment,
        "place": card.place,
        "move": card.move.side or "stays",
        **_col("move", card.move.number, size=True),
        "held_by": card.held_by,
        "plates_out": _marks(card.out),
        "plates_in": _marks(card.put_in),
        "build_up_bottom_first": _marks(card.build_up),
        **_heights(card),
        **_col("bedding", card.bedding),
        **_col("reaction_before", card.reaction_before),
        **_col("reaction_after", card.reaction_after),
        **_col("reaction_least", card.reaction_least),
        **_col("reaction_most", card.reaction_most),
    }


def _heights(card: SeatCard) -> dict[str, Cell]:
    """Pack heights; a seat held by a nut has none, and must not look as if it had."""
    heights = {
        **_col("height_now", card.height_now),
        **_col("height_new", card.height_new),
        **_col("required_height", card.needed),
        "against_required": card.error.words,
    }
    return dict.fromkeys(heights, "") if card.held_by == "nut" else heights


def _readings(sheets: SheetSet) -> Table:
    return _table("readings", (row for s in sheets.stages for row in _stage_readings(s)))


def _stage_readings(stage: StageSheet) -> Iterable[dict[str, Cell]]:
    for way in ("up", "down"):
        for jack in stage.jacks:
            for i, reading in enumerate(jack.up if way == "up" else jack.down):
                yield {
                    "stage": stage.number,
                    "part": "take load and move" if way == "up" else "onto the packs",
                    "step": i + 1,
                    "jack": jack.jack,
                    "seat": jack.seat,
                    "side": reading.side,
                    **_col("reading", reading.number, size=True),
                }


def _procedure(sheets: SheetSet) -> Table:
    """Return every reading of every line, in the order of time."""
    return _table("procedure", (row for crew in sheets.crews for row in _crew_rows(crew)))


def _crew_rows(crew: CrewSheet) -> Iterable[dict[str, Cell]]:
    for line in (line for part in crew.parts for line in part.lines):
        reads = [r for c in line.cells for r in c.reads] + [r for p in line.packs for r in p.reads]
        for read in reads:
            yield {
                "stage": crew.number,
                "crew": crew.crew,
                "line": line.number,
                "who": line.who,
                "asks": line.asks,
                "instrument": read.instrument,
                "at": read.key[-1],
                "should_read": read.said,
                "outside_it": read.meaning,
                "low": ""
                if read.low is None
                else f"{read.low.size} {read.low.unit} {read.sides[0]}".strip(),
                "high": ""
                if read.high is None
                else f"{read.high.size} {read.high.unit} {read.sides[1]}".strip(),
            }
    for row in crew.joint:
        for check in row.reads:
            yield {
                "stage": crew.number,
                "crew": crew.crew,
                "line": row.line,
                "who": "survey",
                "asks": "READ",
                "instrument": check.key[-2],
                "at": check.key[-1],
                "should_read": check.expect.words,
                "outside_it": check.meaning,
                "low": check.ends[0],
                "high": check.ends[1],
            }


def _jacks(sheets: SheetSet) -> Table:
    return _table(
        "jacks",
        (
            {
                "stage": stage.number,
                "sheet": stage.sheet,
                "jack": jack.jack,
                "seat": jack.seat,
                "place": jack.place,
                **_col("load_start", jack.load_start),
                **_col("pressure_start", jack.pressure_start),
                **_col("load_raised", jack.load_raised),
                **_col("pressure_raised", jack.pressure_raised),
                **_col("load_stop", jack.load_stop),
                **_col("pressure_stop", jack.pressure_stop),
                **_col("capacity", jack.capacity),
                **_col("stroke_free", jack.stroke_free),
                **_col("stroke_out_at_start", jack.stroke_out),
                "lock_nut": "yes" if jack.lock_nut else "no",
            }
            for stage in sheets.stages
            for jack in stage.jacks
        ),
    )


def _expected(sheets: SheetSet) -> Table:
    return _table(
        "expected",
        (
            {
                "stage": stage.number,
                "check": line.id,
                "read": line.what,
                "place": line.place,
                "should_read": line.expect.words,
                "stop_beyond": line.low.words,
                "or_beyond": line.high.words,
            }
            for stage in sheets.stages
            for line in stage.expected
        ),
    )


def _stock(sheets: SheetSet) -> Table:
    return _table(
        "stock",
        (
            {
                "mark": s.mark,
                **_col("nominal", s.nominal),
                **_col("measured", s.measured),
                "loose_before": s.before,
                "taken": s.taken,
                "given_back": s.returned,
                "loose_after": s.after,
            }
            for s in sheets.stock
        ),
        empty=("mark", "loose_before", "taken", "given_back", "loose_after"),
    )


def _proof(sheets: SheetSet) -> Table:
    columns = ("objective", "plan", "bound", "gap", "proof", "remark")
    rows = tuple((p.name, p.plan.size, p.bound, p.gap, p.proven, p.text) for p in sheets.proof)
    return Table("proof", columns, rows)


def _obstacles(sheets: SheetSet) -> Table:
    rows = tuple((o.what, o.change, o.tried) for o in sheets.obstacles)
    return Table("obstacles", ("obstacle", "smallest_change", "tried"), rows)


def _conflicts(sheets: SheetSet) -> Table:
    rows = tuple((n, c.text, p) for n, c in enumerate(sheets.conflicts, 1) for p in c.parts)
    return Table("conflicts", ("conflict", "meaning", "part"), rows)


def _valid(sheets: SheetSet) -> Table:
    return _table(
        "valid_for",
        (
            {
                "survey": v.file,
                "taken": v.taken,
                "segments": " ".join(v.segments),
                **_col("steel_at_survey", v.steel),
                **_col("steel_from", v.steel_from),
                **_col("steel_to", v.steel_to),
                **_col("deck_load", v.deck_load),
            }
            for v in sheets.header.valid
        ),
    )


def lift_off_table(sheets: SheetSet) -> Table:
    """Return the readings of the lift-off to be filled in, as docs/loop.md reads them."""
    head = sheets.header
    movement, pressure = f"movement_{head.length_unit}", f"pressure_{head.pressure_unit}"
    columns = ("stage", "moment", "seat", "jack", movement, "side", pressure, "who", "time")
    rows = tuple(
        (0, "lift-off", jack.seat, jack.jack, "", "above", "", "", "")
        for group in sheets.lift_offs
        for jack in group.jacks
    )
    return Table("lift-off", columns, rows)
