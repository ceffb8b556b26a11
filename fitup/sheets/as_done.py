"""The form for what was read after each stage: printed empty, filled in, read back."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from fitup.record.readback import FORM
from fitup.sheets.model import Cell, SheetSet, Table
from fitup.sheets.work import JackLine, StageSheet

_HEAD: Final = ("plan", "stage", "name", "place", "should_read", "stop_beyond", "or_beyond")


def as_done(sheets: SheetSet) -> Table:
    """Return the form, its last columns empty; they carry the unit of the job."""
    head = sheets.header
    gauge = (f"read_{head.force_unit}", f"read_{head.pressure_unit}")
    blank = (f"read_{head.length_unit}", "side", *gauge, "pack")
    # what crews of one stage both read, the joint between them, is asked for once
    rows = dict.fromkeys(
        (head.check_code, stage.number, *row, *(None for _ in blank))
        for stage in sheets.stages
        for row in _rows(stage)
    )
    return Table(FORM, (*_HEAD, *blank), tuple(rows))


def box_blanks(page: Any) -> None:
    """Draw a box round every cell of the workbook's page that is to be filled in."""
    from openpyxl.styles import Border, Side

    line = Side(style="thin")
    for row in page.iter_rows(min_row=2, min_col=len(_HEAD) + 1):
        for cell in row:
            cell.border = Border(left=line, right=line, top=line, bottom=line)


def _rows(stage: StageSheet) -> Iterator[tuple[Cell, ...]]:
    """Yield name, place, what it should read and the ends of its band."""
    for line in stage.expected:
        yield (line.id, line.place, line.expect.words, line.low.words, line.high.words)
    for jack in stage.jacks:
        yield (f"ram {jack.jack}", jack.place, _ram(jack), f"{jack.move_band.full} off", "")
    for jack in stage.jacks:
        low = jack.load_low.full if jack.load_low.si > 0.0 else ""
        yield (f"load {jack.jack}", jack.place, "the most on the way", jack.load_stop.full, low)
    for card in stage.cards:
        if card.held_by == "packs":
            marks = "+".join(p.mark for p in card.build_up) or "no plates"
            yield (f"pack {card.seat}", card.place, marks, "any other pack", "")


def _ram(jack: JackLine) -> str:
    """Say what a ram reads when the stage is done."""
    readings = jack.down or jack.up
    if not readings or readings[-1].side == "START":
        return "START"
    last = readings[-1]
    return f"{last.number.size} {last.number.unit} {last.side}"
