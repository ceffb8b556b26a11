"""PDF by typst: the sheet model as JSON into a template, the same bytes for the same input."""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any, Final

from fitup.sheets.cautions import BAND_PASSED, EVERY_STAGE, HOLD
from fitup.sheets.crew_lines import CrewSheet
from fitup.sheets.model import OF_POINTS, CheckLine, Header, JointSheet, SheetSet
from fitup.sheets.numbers import Number
from fitup.sheets.words import grouped, least_words, reaction_words
from fitup.sheets.work import LiftOffSheet, SeatCard, StageSheet

_TEMPLATES: Final = Path(__file__).parent / "templates"
#: for the archive; the standard wants a date inside the file
_STANDARD: Final = "a-2b"


def printable(value: Any) -> Any:
    """Turn sheet-model values into what a template reads: text, lists and mappings."""
    if isinstance(value, Number):
        return {
            "text": value.text,
            "size": value.size,
            "full": value.full,
            "unit": value.unit,
            "fraction": value.fraction,
        }
    if is_dataclass(value):
        return {f.name: printable(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, tuple | list):
        return [printable(v) for v in value]
    return value


def move_pdf(sheets: SheetSet, sheet: str) -> bytes:
    """Return the move sheet of one joint or area.

    Parameters
    ----------
    sheets : SheetSet
    sheet : str
        One of ``sheets.sheets``: a joint, or a segment beside no joint.
    """
    joint = next((j for j in sheets.joints if j.id == sheet), None)
    sides = f"back: {joint.back}   ahead: {joint.ahead}" if joint and joint.back else ""
    stages = [s for s in sheets.stages if s.sheet == sheet]
    return _compile(
        "move.typ",
        sheets,
        sheet=f"joint {sheet}" if joint else f"area {sheet}",
        sides=sides,
        order=[
            {
                "number": s.number,
                "segment": s.segment,
                "sheet": s.sheet,
                "here": s.sheet == sheet,
                "moves": list(s.moves),
                "crew": s.crew,
                "crews": s.crews,
                "window": s.window,
            }
            for s in sheets.stages
        ],
        maps=printable([m for m in sheets.maps if m.sheet == sheet]),
        stages=[_stage(s, sheets.crews) for s in stages],
        lift_offs=[_lift_off(g, sheets.seats) for g in sheets.lift_offs if g.sheet == sheet],
        cautions=list(sheets.cautions),
        every_stage=printable(EVERY_STAGE),
        band_passed=list(BAND_PASSED),
        hold=HOLD,
    )


def pocket_pdf(sheets: SheetSet, sheet: str) -> bytes:
    """Return the stages of one move sheet for the pocket, A6.

    Parameters
    ----------
    sheets : SheetSet
    sheet : str
        As for :func:`move_pdf`.
    """
    stages = [s for s in sheets.stages if s.sheet == sheet]
    return _compile(
        "pocket.typ",
        sheets,
        sheet=sheet,
        stages=[_stage(s, sheets.crews) for s in stages],
        band_passed=list(BAND_PASSED),
    )


def sequence_pdf(sheets: SheetSet) -> bytes:
    """Return the overview of the whole sequence, seats against stages."""
    return _compile("sequence.typ", sheets, chart=printable(sheets.chart))


def schedule_pdf(sheets: SheetSet) -> bytes:
    """Return the shim schedule for approval."""
    return _compile(
        "schedule.typ",
        sheets,
        seats=[_seat(card) for card in sheets.seats],
        stock=printable(sheets.stock),
        inside=sheets.inside,
        small=[] if sheets.confidence is None else list(sheets.confidence.small),
    )


def report_pdf(sheets: SheetSet, figures: dict[str, bytes], *, moves: bool) -> bytes:
    """Return the engineer's report.

    Parameters
    ----------
    sheets : SheetSet
    figures : dict of str to bytes
        SVG by name, from :func:`fitup.sheets.figures.figures`.
    moves : bool
        False leaves out the envelopes and says that the move sheets are withheld.
    """
    return _compile(
        "report.typ",
        sheets,
        joints=[_joint(j) for j in sheets.joints],
        ride=printable(sheets.ride),
        bores=printable(sheets.bores),
        bolts=printable(sheets.bolts),
        seats=[_seat(card) for card in sheets.seats],
        stock=printable(sheets.stock),
        stages=[
            {"number": s.number, "segment": s.segment, "sheet": s.sheet, "moves": list(s.moves)}
            for s in sheets.stages
        ],
        method=sheets.method,
        proof=printable(sheets.proof),
        obstacles=printable(sheets.obstacles),
        conflicts=[{"text": c.text, "parts": list(c.parts)} for c in sheets.conflicts],
        understood=list(sheets.understood),
        statements=list(sheets.statements),
        cautions=list(sheets.cautions),
        inside=sheets.inside,
        confidence=printable(sheets.confidence),
        seat_envelopes=printable(sheets.seat_envelopes) if moves else [],
        jack_envelopes=printable(sheets.jack_envelopes) if moves else [],
        moves=moves,
        figures={name: svg.decode("utf-8") for name, svg in figures.items()},
    )


def _stage(stage: StageSheet, crews: tuple[CrewSheet, ...]) -> dict[str, Any]:
    """Return a stage with the pages of its crew."""
    pages = next(c for c in crews if (c.number, c.crew) == (stage.number, stage.crew))
    return {**printable(stage), "pages": printable(pages)}


def _lift_off(group: LiftOffSheet, cards: tuple[SeatCard, ...]) -> dict[str, Any]:
    """Return a lift-off with what its seats rest on, and whether all of them hang in cables."""
    lifted = {jack.seat for jack in group.jacks}
    own = [card for card in cards if card.seat in lifted]
    rests = {card.held_by for card in own}
    names = {"packs": "packs", "nut": "lock nuts"}
    return {
        **printable(group),
        "rest": " or ".join(word for kind, word in names.items() if kind in rests),
        "hangs": all(card.pushes == "shorten" for card in own),
    }


def _seat(card: SeatCard) -> dict[str, Any]:
    """Return a card with its reactions in words."""
    return {
        **printable(card),
        "before_words": reaction_words(card.reaction_before),
        "after_words": reaction_words(card.reaction_after),
        "least_words": least_words(card.reaction_least),
    }


def _joint(joint: JointSheet) -> dict[str, Any]:
    """Return a joint for the report: checks in rows, points in a compact table, texts grouped."""
    lines = [line for line in joint.lines if line.quantity not in OF_POINTS]
    points = [line for line in joint.lines if line.quantity in OF_POINTS]
    allowed = [(p.what, f"{p.tolerance.full} either way") for p in points if p.tolerance]
    sources = [(line.what, line.source) for line in joint.lines if line.source]
    reasons = [(line.what, line.note) for line in joint.lines if line.note]
    return {
        "id": joint.id,
        "back": joint.back,
        "ahead": joint.ahead,
        "lines": printable(lines),
        "points": _points(points),
        "limits": [f"{names} {limit}" for names, limit in grouped(allowed)],
        "outside": sum(line.verdict == "OUTSIDE" for line in joint.lines),
        "sources": [f"{names}: {text}" for names, text in grouped(sources)],
        "reasons": [f"{names}: {text}" for names, text in grouped(reasons)],
    }


def _points(lines: list[CheckLine]) -> list[dict[str, Any]]:
    """Return one row a point: level, line and station after, worst share, result."""
    rows: dict[str, dict[str, CheckLine]] = {}
    for line in lines:
        rows.setdefault(line.place, {})[line.quantity] = line
    out = []
    for place, own in rows.items():
        shares = [s for line in own.values() if (s := line.share_after) is not None]
        outside = [line.what for line in own.values() if line.verdict == "OUTSIDE"]
        out.append(
            {
                "place": place,
                "after": [own[q].after.words if q in own else "" for q in OF_POINTS],
                "outside": ", ".join(outside),
                "share": f"{max(shares):.2f}" if shares else "",
                "verdict": "OUTSIDE" if outside else ("inside" if shares else "reported only"),
            }
        )
    return out


@cache
def _fonts() -> str:
    from matplotlib import get_data_path

    return str(Path(get_data_path()) / "fonts" / "ttf")


def _stamp(header: Header) -> datetime:
    """Return the time of the latest survey, the only date the same plan always has."""
    taken = [datetime.fromisoformat(v.taken).replace(tzinfo=UTC) for v in header.valid]
    return max(taken, default=datetime(2000, 1, 1, tzinfo=UTC))


def _compile(template: str, sheets: SheetSet, **content: Any) -> bytes:
    return compile_pdf(template, sheets.header, sheets.caution_strip, **content)


def compile_pdf(template: str, header: Header, strip: str, **content: Any) -> bytes:
    """Return a template filled with a header, the caution at the foot, and its own content, as PDF.

    Parameters
    ----------
    template : str
        File in the folder of templates.
    header : Header
        The time of its latest survey is the date inside the file.
    strip : str
        The caution.
    **content
        What this template reads besides: text, numbers, lists and mappings.
    """
    data = {"header": printable(header), "caution_strip": strip, **content}
    return typeset(template, data, _stamp(header))


def typeset(template: str, data: dict[str, Any], stamp: datetime) -> bytes:
    """Return a template filled with data as PDF.

    Parameters
    ----------
    template : str
        File in the folder of templates.
    data : dict
        Text, numbers, lists and mappings.
    stamp : datetime
        The date inside the file: one that the same input always has.
    """
    import typst

    pdf = typst.compile(
        str(_TEMPLATES / template),
        root=str(_TEMPLATES),
        font_paths=[_fonts()],
        ignore_system_fonts=True,
        format="pdf",
        sys_inputs={"data": json.dumps(data, ensure_ascii=False, sort_keys=True)},
        pdf_standards=[_STANDARD],
        timestamp=stamp,
    )
    if not isinstance(pdf, bytes):
        raise TypeError(f"{template}: typst returned no PDF")
    return pdf
