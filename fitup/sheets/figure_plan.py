"""The plan figure: the deck from above with its seats and their moves in words."""

from __future__ import annotations

from itertools import pairwise
from typing import Any, Final

from matplotlib.figure import Figure

from fitup.sheets.model import JointSheet, PlanSeat, PlanSegment
from fitup.sheets.places import spread

_SEGMENTS_PER_ROW: Final = 2
#: figure [inches]: width, drawn deck, note below, one letter, one row of labels, leaders apart
_WIDTH: Final = 7.1
_DECK: Final = 1.15
_NOTE: Final = 0.4
_LETTER: Final = 0.066
_LINE: Final = 0.17
_PITCH: Final = 0.09
_MARKERS: Final = {"up": "s", "ahead": ">", "back": "<", "left": "^", "right": "v", "cable": "o"}
_AHEAD: Final = "AHEAD \N{BLACK RIGHT-POINTING TRIANGLE}"


def plan_figure(segments: tuple[PlanSegment, ...], joints: tuple[JointSheet, ...]) -> Figure:
    """Draw the deck from above with its seats and the moves in words.

    Parameters
    ----------
    segments : tuple of PlanSegment
        Drawn in this order, several to a row.
    joints : tuple of JointSheet
        Named where their two segments follow each other in a row.
    """
    rows = [segments[i : i + _SEGMENTS_PER_ROW] for i in range(0, len(segments), _SEGMENTS_PER_ROW)]
    most = max((len(_side(s, upper)) for s in segments for upper in (True, False)), default=0)
    beside = 0.2 + _LINE * max(most, 1)
    height = (_DECK + 2.0 * beside) * len(rows) + _NOTE
    figure = Figure(figsize=(_WIDTH, height))
    for i, row in enumerate(rows):
        tall = _DECK + 2.0 * beside
        bottom = height - tall * (i + 1)
        axes = figure.add_axes((0.0, bottom / height, 1.0, tall / height))
        _plan_row(axes, row, beside)
        _joints(axes, row, joints)
    hung = any(seat.points == "cable" for segment in segments for seat in segment.seats)
    cables = " Circle: end of a cable." if hung else ""
    note = (
        f"Seen from above, widths stretched. Square: vertical seat.{cables}\n"
        "Filled: moves as written, a triangle the way it points. Open: stays."
    )
    figure.text(0.5, 0.05 / height, note, ha="center", va="bottom", fontsize=7)
    return figure


def _plan_row(axes: Any, row: tuple[PlanSegment, ...], beside: float) -> None:
    """Draw up to a few segments; ``beside`` is the room for labels on each side [inches]."""
    xs = [x for segment in row for x, _ in segment.corners]
    ys = [y for segment in row for _, y in segment.corners]
    inch = ((max(ys) - min(ys)) or 1.0) / _DECK
    edge = 0.03 * ((max(xs) - min(xs)) or 1.0)
    axes.set_xlim(min(xs) - edge, max(xs) + edge)
    axes.set_ylim(min(ys) - beside * inch, max(ys) + beside * inch)
    axes.set_axis_off()
    for segment in row:
        corner_x, corner_y = zip(*segment.corners, strict=True)
        axes.fill(corner_x, corner_y, facecolor="0.93", edgecolor="black", lw=1.2, zorder=1)
        x, y = sum(corner_x) / len(corner_x), sum(corner_y) / len(corner_y)
        deck = {"ha": "center", "va": "center", "weight": "bold", "zorder": 4}
        # seats on the centre line keep their place; the name makes room
        on_name = any(abs(s.left - y) < 0.1 * _DECK * inch for s in segment.seats)
        name_y = y + 0.2 * _DECK * inch * on_name
        axes.text(x, name_y, f"{segment.segment}    {_AHEAD}", fontsize=9, **deck)
        axes.text(x, y + 0.4 * _DECK * inch, "LEFT", fontsize=8, **deck)
        axes.text(x, y - 0.4 * _DECK * inch, "RIGHT", fontsize=8, **deck)
        for upper in (True, False):
            _labels(axes, segment, upper, (max(ys) if upper else min(ys)), inch)


def _joints(axes: Any, row: tuple[PlanSegment, ...], joints: tuple[JointSheet, ...]) -> None:
    """Name the joint where two drawn segments meet."""
    for back, ahead in pairwise(row):
        found = [j.id for j in joints if (j.back, j.ahead) == (back.segment, ahead.segment)]
        x = (max(c for c, _ in back.corners) + min(c for c, _ in ahead.corners)) / 2.0
        corners = (*back.corners, *ahead.corners)
        y = sum(c for _, c in corners) / len(corners)
        frame = {"boxstyle": "round", "facecolor": "white", "edgecolor": "black", "lw": 0.8}
        for name in found:
            axes.text(
                x,
                y,
                f"joint {name}",
                rotation=90,
                ha="center",
                va="center",
                fontsize=7,
                bbox=frame,
                zorder=5,
            )


def _side(segment: PlanSegment, upper: bool) -> list[PlanSeat]:
    """Return the seats left (upper) or right of the segment's middle, from back to ahead."""
    middle = sum(y for _, y in segment.corners) / len(segment.corners)
    return sorted((s for s in segment.seats if (s.left > middle) == upper), key=lambda s: s.ahead)


def _labels(axes: Any, segment: PlanSegment, upper: bool, foot: float, inch: float) -> None:
    """Write id and move of each seat beside the deck, one line each, text towards the middle.

    The seat next to the middle is written nearest to the deck, so that no leader meets a text.
    """
    seats = _side(segment, upper)
    left, right = axes.get_xlim()
    wide = (right - left) / _WIDTH
    xs = [x for x, _ in segment.corners]
    middle = (min(xs) + max(xs)) / 2.0
    places = spread([s.ahead for s in seats], _PITCH * wide, min(xs), max(xs))
    before = sum(x < middle for x in places)
    shift = 0 if _room(seats, places, before, wide) else before
    way = 1.0 if upper else -1.0
    for i, (seat, x) in enumerate(zip(seats, places, strict=True)):
        row = before - 1 - i if i < before else i - before + shift
        level = foot + way * inch * (0.16 + _LINE * row)
        bend = (x, foot + way * 0.08 * inch)
        line = [(seat.ahead, seat.left), (seat.ahead, foot), bend, (x, level)]
        axes.plot(*zip(*line, strict=True), "-", color="black", lw=0.5, zorder=2)
        _mark(axes, seat)
        axes.annotate(
            _label(seat),
            (x, level),
            (3 if i < before else -3, 0),
            textcoords="offset points",
            ha="left" if i < before else "right",
            va="center",
            fontsize=7,
            weight="bold" if seat.disturbed else "normal",
            # long names in a narrow row may meet a leader; the name stays readable
            bbox={"boxstyle": "square,pad=0.05", "facecolor": "white", "edgecolor": "none"},
            zorder=5,
        )


def _mark(axes: Any, seat: PlanSeat) -> None:
    """Draw a seat; a pushing one often stands at a vertical one and stays in sight on top."""
    vertical = seat.pushes == "up"
    axes.plot(
        seat.ahead,
        seat.left,
        _MARKERS.get(seat.points, "s"),
        ms=7.5 if vertical else 6.5,
        mec="white" if seat.disturbed else "black",
        mfc="black" if seat.disturbed else "white",
        mew=0.8,
        zorder=3 if vertical else 4,
    )


def _room(seats: list[PlanSeat], places: list[float], before: int, wide: float) -> bool:
    """Tell whether texts from both ends of a segment can share a line."""
    reach = [_LETTER * 1.15 * len(_label(s)) * wide for s in seats]
    ends = [x + r for x, r in zip(places[:before], reach, strict=False)]
    starts = [x - r for x, r in zip(places[before:], reach[before:], strict=True)]
    return max(ends, default=-1e30) < min(starts, default=1e30)


def _label(seat: PlanSeat) -> str:
    return f"{seat.seat}  {seat.words}" if seat.words else seat.seat
