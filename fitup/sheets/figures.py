"""Figures for the report, readable in black and white: shapes, hatches and direct labels.

Drawn with matplotlib's ``Figure`` objects (no global state) and saved as SVG without dates,
with a fixed salt for element names, so that the same plan gives the same bytes.
"""

from __future__ import annotations

from io import BytesIO
from typing import Any, Final

from matplotlib import style
from matplotlib.figure import Figure

from fitup.sheets.model import CheckLine, JointSheet, PlanSeat, PlanSegment, SheetSet
from fitup.sheets.places import spread

_STYLE: Final[dict[str, Any]] = {
    "svg.hashsalt": "fitup",
    "svg.fonttype": "path",
    "font.family": "DejaVu Sans",
    "font.size": 8.0,
    "axes.linewidth": 0.8,
    "path.simplify": False,
    "text.parse_math": False,  # an id may hold a dollar sign
}
#: drawn height of the largest deviation, as a share of the joint's width
_DRAWN_SHARE: Final = 0.14
_NICE: Final = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
_BARS_PER_FIGURE: Final = 24
_SEGMENTS_PER_ROW: Final = 3
#: plan figure [inches]: width, drawn deck, note below, one letter, labels apart
_WIDTH: Final = 7.1
_DECK: Final = 1.15
_NOTE: Final = 0.4
_LETTER: Final = 0.067
_PITCH: Final = 0.15
_MARKERS: Final = {"up": "s", "ahead": ">", "back": "<", "left": "^", "right": "v"}


def figures(sheets: SheetSet) -> dict[str, bytes]:
    """Return every figure as SVG, by file name without its ending."""
    out: dict[str, bytes] = {}
    # the defaults first, so that nobody's own settings show in the bytes
    with style.context(["default", _STYLE]):
        for joint in sheets.joints:
            if joint.across:
                out[f"joint-{joint.id}"] = _svg(joint_figure(joint))
        if sheets.segments:
            out["plan"] = _svg(plan_figure(sheets.segments))
        judged = [
            (joint.id if joint.back else "", line)
            for joint in sheets.joints
            for line in joint.lines
            if line.share_after is not None
        ]
        for i in range(0, len(judged), _BARS_PER_FIGURE):
            number = i // _BARS_PER_FIGURE + 1
            out[f"tolerance-{number}"] = _svg(bars_figure(judged[i : i + _BARS_PER_FIGURE]))
    return out


def _svg(figure: Figure) -> bytes:
    target = BytesIO()
    figure.savefig(target, format="svg", metadata={"Date": None, "Creator": None})
    return target.getvalue()


def exaggeration(joint: JointSheet) -> int:
    """Return the whole factor that makes the joint's largest deviation visible."""
    width = max((a.left for a in joint.across), default=1.0) - min(
        (a.left for a in joint.across), default=0.0
    )
    largest = max(abs(v) for a in joint.across for v in (*a.step, *a.offset, *a.gap))
    if largest == 0.0 or width <= 0.0:
        return 1
    wanted = _DRAWN_SHARE * width / largest
    return max((n for n in _NICE if n <= wanted), default=1)


def joint_figure(joint: JointSheet) -> Figure:
    """Draw one joint before and after: in section looking ahead, and its gap in plan."""
    factor = exaggeration(joint)
    figure = Figure(figsize=(7.1, 4.5))
    grid = figure.subplots(2, 2, sharex=True, sharey="row")
    figure.subplots_adjust(left=0.01, right=0.99, top=0.94, bottom=0.1, wspace=0.04, hspace=0.24)
    for column, state in enumerate(("before", "after")):
        _section(grid[0][column], joint, column, factor, state)
        _gap(grid[1][column], joint, column, factor, state)
    note = f"deviations drawn {factor} times larger than the width; labels are exact"
    figure.text(0.5, 0.01, note, ha="center", fontsize=8)
    return figure


def _section(axes: Any, joint: JointSheet, state: int, factor: int, name: str) -> None:
    """Draw step and offset across the width; LEFT is on the left, looking ahead."""
    x = [-a.left for a in joint.across]
    ahead_x = [-(a.left + factor * a.offset[state]) for a in joint.across]
    ahead_y = [factor * a.step[state] for a in joint.across]
    axes.plot(x, [0.0] * len(x), "-s", color="black", lw=2.2, ms=6, zorder=2)
    axes.plot(ahead_x, ahead_y, "--o", color="black", lw=1.4, ms=6, mfc="white", zorder=3)
    for across, xs, ys in zip(joint.across, ahead_x, ahead_y, strict=True):
        words = f"{across.labels[state][0]}\n{across.labels[state][1]}"
        words = words.replace("ahead side ", "")
        axes.annotate(
            words,
            (xs, max(ys, 0.0)),
            (0, 9),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=6.8,
        )
    axes.set_title(
        f"{joint.id} {name.upper()}: section, LOOKING AHEAD", fontsize=9, weight="bold", loc="left"
    )
    _frame(axes, joint, factor, [a.step for a in joint.across])
    axes.text(
        0.01,
        0.03,
        f"filled square, solid: back side {joint.back}\n"
        f"open circle, dashed: ahead side {joint.ahead}",
        transform=axes.transAxes,
        fontsize=6.8,
        va="bottom",
    )


def _gap(axes: Any, joint: JointSheet, state: int, factor: int, name: str) -> None:
    """Draw the gap in plan: nominal line of the ahead face, and where the face is."""
    x = [-a.left for a in joint.across]
    face = [factor * a.gap[state] for a in joint.across]
    axes.fill_between(
        x,
        [0.0] * len(x),
        face,
        facecolor="white",
        hatch="////",
        edgecolor="black",
        lw=0.4,
        zorder=1,
    )
    axes.plot(x, [0.0] * len(x), "-", color="black", lw=1.0)
    axes.plot(x, face, "--o", color="black", lw=1.4, ms=6, mfc="white", zorder=3)
    for across, xs, ys in zip(joint.across, x, face, strict=True):
        axes.annotate(
            across.labels[state][2],
            (xs, max(ys, 0.0)),
            (0, 8),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=6.8,
        )
    axes.set_title(f"{joint.id} {name.upper()}: gap in plan", fontsize=9, weight="bold", loc="left")
    _frame(axes, joint, factor, [a.gap for a in joint.across])
    axes.text(
        0.01,
        0.03,
        f"line: {joint.ahead} at nominal opening\nopen circle, dashed: {joint.ahead} as it is",
        transform=axes.transAxes,
        fontsize=6.8,
        va="bottom",
    )


def _frame(axes: Any, joint: JointSheet, factor: int, values: list[tuple[float, float]]) -> None:
    """Set the limits so that labels above and the legend below have room."""
    half = max(abs(a.left) for a in joint.across) or 1.0
    top = max(0.0, *(factor * v for pair in values for v in pair))
    low = min(0.0, *(factor * v for pair in values for v in pair))
    room = max(top - low, 0.12 * half)
    axes.set_xlim(-1.42 * half, 1.42 * half)
    axes.set_ylim(low - 0.85 * room, top + 0.95 * room)
    axes.set_yticks([])
    axes.set_xticks([-a.left for a in joint.across], [a.place for a in joint.across], fontsize=7.5)
    axes.tick_params(length=0)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)


def plan_figure(segments: tuple[PlanSegment, ...]) -> Figure:
    """Draw the deck from above with its seats and the moves in words."""
    rows = [segments[i : i + _SEGMENTS_PER_ROW] for i in range(0, len(segments), _SEGMENTS_PER_ROW)]
    longest = max((len(_label(s)) for segment in segments for s in segment.seats), default=0)
    beside = 0.3 + _LETTER * longest
    height = (_DECK + 2.0 * beside) * len(rows) + _NOTE
    figure = Figure(figsize=(_WIDTH, height))
    grid = figure.subplots(len(rows), 1, squeeze=False)
    figure.subplots_adjust(left=0.0, right=1.0, top=1.0, bottom=_NOTE / height, hspace=0.0)
    for axes, row in zip(grid[:, 0], rows, strict=True):
        _plan_row(axes, row, beside)
    note = (
        "seen from above, ahead to the right; widths stretched. Square: vertical seat; triangle: "
        "pushes the way it points.\nFilled: moves as written. Open: stays."
    )
    figure.text(0.5, 0.05 / height, note, ha="center", va="bottom", fontsize=7)
    return figure


def _label(seat: PlanSeat) -> str:
    return f"{seat.seat}  {seat.words}" if seat.words else seat.seat


def _plan_row(axes: Any, row: tuple[PlanSegment, ...], beside: float) -> None:
    """Draw up to a few segments; ``beside`` is the room for labels on each side [inches]."""
    xs = [x for segment in row for x, _ in segment.corners]
    ys = [y for segment in row for _, y in segment.corners]
    room = beside / _DECK * ((max(ys) - min(ys)) or 1.0)
    edge = 0.04 * ((max(xs) - min(xs)) or 1.0)
    axes.set_xlim(min(xs) - edge, max(xs) + edge)
    axes.set_ylim(min(ys) - room, max(ys) + room)
    axes.set_axis_off()
    for segment in row:
        corner_x, corner_y = zip(*segment.corners, strict=True)
        axes.fill(corner_x, corner_y, facecolor="0.93", edgecolor="black", lw=1.2, zorder=1)
        middle = (sum(corner_x) / len(corner_x), sum(corner_y) / len(corner_y))
        axes.text(*middle, segment.segment, ha="center", va="center", weight="bold", fontsize=9)
    for upper in (True, False):
        _plan_labels(axes, row, upper)
    marks = {"transform": axes.transAxes, "fontsize": 8, "weight": "bold"}
    ahead = "AHEAD \N{BLACK RIGHT-POINTING TRIANGLE}"
    axes.text(0.01, 0.97, "LEFT", va="top", **marks)
    axes.text(0.01, 0.03, "RIGHT", va="bottom", **marks)
    axes.text(0.99, 0.97, ahead, va="top", ha="right", **marks)


def _plan_labels(axes: Any, row: tuple[PlanSegment, ...], upper: bool) -> None:
    """Write id and move of each seat on one side of the deck, upright lines apart."""
    seats = []
    for segment in row:
        middle = sum(y for _, y in segment.corners) / len(segment.corners)
        seats += [s for s in segment.seats if (s.left > middle) == upper]
    seats.sort(key=lambda s: s.ahead)
    left, right = axes.get_xlim()
    ys = [y for segment in row for _, y in segment.corners]
    pitch = _PITCH / _WIDTH * (right - left)
    places = spread([s.ahead for s in seats], pitch, left + pitch, right - pitch)
    foot = max(ys) if upper else min(ys)
    reach = (1.0 if upper else -1.0) * 0.12 * ((max(ys) - min(ys)) or 1.0)
    for seat, x in zip(seats, places, strict=True):
        line = [(seat.ahead, seat.left), (seat.ahead, foot), (x, foot + reach)]
        axes.plot(*zip(*line, strict=True), "-", color="black", lw=0.5, zorder=2)
        fill = "black" if seat.disturbed else "white"
        marker = _MARKERS.get(seat.pushes, "s")
        axes.plot(seat.ahead, seat.left, marker, ms=6, color="black", mfc=fill, zorder=3)
        axes.annotate(
            _label(seat),
            (x, foot + reach),
            (0, 2 if upper else -2),
            textcoords="offset points",
            rotation=90,
            ha="center",
            va="bottom" if upper else "top",
            fontsize=7,
            weight="bold" if seat.disturbed else "normal",
        )


def bars_figure(judged: list[tuple[str, CheckLine]]) -> Figure:
    """Draw each check before and after as a share of its tolerance."""
    names = [f"{joint}  {line.what}  {_short(line.place)}".strip() for joint, line in judged]
    left = 0.15 + _LETTER * max(len(n) for n in names)
    right_words = 0.15 + _LETTER * max(len(line.after.words) for _, line in judged)
    wide = max(1.5, _WIDTH - left - right_words)
    height = 0.75 + 0.24 * len(judged)
    figure = Figure(figsize=(left + wide + right_words, height))
    across = left + wide + right_words
    axes = figure.add_axes((left / across, 0.62 / height, wide / across, 1.0 - 0.72 / height))
    most = max(max(line.share_before or 0.0, line.share_after or 0.0) for _, line in judged)
    right = max(1.6, 1.08 * most)
    axes.axvspan(0.0, 1.0, facecolor="0.9", edgecolor="none", zorder=0)
    axes.axvline(1.0, color="black", lw=1.4, zorder=1)
    for row, (_, line) in enumerate(judged):
        before, after = line.share_before or 0.0, line.share_after or 0.0
        axes.plot([after, before], [row, row], "-", color="black", lw=0.8, zorder=2)
        axes.plot(before, row, "o", ms=6, color="black", mfc="white", zorder=3)
        axes.plot(after, row, "D", ms=6, color="black", zorder=4)
        axes.text(
            1.01,
            row,
            line.after.words,
            transform=axes.get_yaxis_transform(),
            va="center",
            fontsize=7,
        )
    axes.set_yticks(range(len(judged)), names, fontsize=7)
    axes.set_ylim(len(judged) - 0.4, -0.6)
    axes.set_xlim(0.0, right)
    figure.text(
        0.5,
        0.05 / height,
        "distance from the aim as a share of what is allowed; open "
        "circle: before; filled diamond: after,\nin words at the right; grey: inside",
        ha="center",
        va="bottom",
        fontsize=7.2,
    )
    axes.tick_params(axis="y", length=0)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure


def _short(place: str) -> str:
    return "" if place == "whole joint" else place
