"""The form for what was read after each stage: printed empty, filled in, read back."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

from fitup.record.readback import FORM
from fitup.sheets.crew_lines import CrewReading
from fitup.sheets.model import Cell, SheetSet, Table
from fitup.sheets.work import JackLine, StageSheet

HEAD: Final = (
    "plan",
    "record",
    "stage",
    "name",
    "place",
    "should_read",
    "stop_beyond",
    "or_beyond",
)


def as_done(sheets: SheetSet) -> Table:
    """Return the form, its last columns empty; they carry the unit of the job.

    ``record`` quotes the record's last entry when it was printed, so that a record that was cut
    since is noticed when the form comes back.
    """
    head = sheets.header
    gauge = (f"read_{head.force_unit}", f"read_{head.pressure_unit}")
    blank = (f"read_{head.length_unit}", "side", *gauge, "pack")
    # what crews of one stage both read, the joint between them, is asked for once
    rows = dict.fromkeys(
        (head.check_code, head.record, stage.number, *row, *(None for _ in blank))
        for stage in sheets.stages
        for row in _rows(stage, _reads_of(sheets, stage))
    )
    return Table(FORM, (*HEAD, *blank), tuple(rows))


def box_blanks(page: Any) -> None:
    """Draw a box round every cell of the workbook's page that is to be filled in."""
    from openpyxl.styles import Border, Side

    line = Side(style="thin")
    for row in page.iter_rows(min_row=2, min_col=len(HEAD) + 1):
        for cell in row:
            cell.border = Border(left=line, right=line, top=line, bottom=line)


def _reads_of(sheets: SheetSet, stage: StageSheet) -> list[CrewReading]:
    """Return all readings of a stage's crew, in the order of time."""
    own = [c for c in sheets.crews if (c.number, c.crew) == (stage.number, stage.crew)]
    lines = [line for crew in own for part in crew.parts for line in part.lines]
    return [read for line in lines for cell in line.cells for read in cell.reads]


def _rows(stage: StageSheet, reads: Sequence[CrewReading]) -> Iterator[tuple[Cell, ...]]:
    """Yield name, place, what it should read and the ends of its band."""
    for line in stage.expected:
        yield (line.id, line.place, line.expect.words, line.low.words, line.high.words)
    for jack in stage.jacks:
        rams = [r for r in reads if (*r.key[2:], r.meaning) == ("ram", jack.jack, "STOP")]
        ends = (f"{jack.move_band.full} off", "")
        said = end_words(rams[-1]) if rams else (_ram(jack), *ends)
        yield (f"ram {jack.jack}", jack.place, *said)
    for jack in stage.jacks:
        gauges = [r for r in reads if r.key[2:] == ("gauge", jack.jack) and r.meaning == "STOP"]
        most, least = most_words(gauges)
        most = most or jack.load_stop.full
        yield (f"load {jack.jack}", jack.place, "the most on the way", most, least)
    for card in stage.cards:
        if card.held_by == "packs":
            marks = "+".join(p.mark for p in card.build_up) or "no plates"
            yield (f"pack {card.seat}", card.place, marks, "any other pack", "")


def most_words(gauges: Sequence[CrewReading]) -> tuple[str, str]:
    """Return the greatest and the least stop of a gauge, each empty where there is none.

    Parameters
    ----------
    gauges : sequence of CrewReading
        All readings of one gauge that may stop work.
    """
    highs = [r.high for r in gauges if r.high is not None]
    lows = [r.low for r in gauges if r.low is not None and r.low.si > 0.0]
    most = max(highs, key=lambda n: n.si).full if highs else ""
    return most, min(lows, key=lambda n: n.si).full if lows else ""


def end_words(read: CrewReading) -> tuple[str, str, str]:
    """Say what an instrument reads, and the ends of its band.

    Parameters
    ----------
    read : CrewReading
        Of a line with a ram or dial.
    """
    ends = [
        f"{end.size} {end.unit} {side}".strip() if end is not None else ""
        for end, side in zip((read.low, read.high), read.sides, strict=True)
    ]
    return f"{read.number.size} {read.number.unit} {read.side}".strip(), ends[0], ends[1]


def _ram(jack: JackLine) -> str:
    """Say what a ram reads when the stage is done."""
    readings = jack.down or jack.up
    if not readings or readings[-1].side == "START":
        return "START"
    last = readings[-1]
    return f"{last.number.size} {last.number.unit} {last.side}"
