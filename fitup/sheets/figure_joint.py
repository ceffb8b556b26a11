"""The joint figure: both faces in section and the gap in plan, before and after."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from matplotlib.figure import Figure

from fitup.sheets.model import Across, JointSheet
from fitup.sheets.places import spread

#: drawn size of the largest deviation, as a share of the joint's width
_DRAWN_SHARE: Final = 0.13
_NICE: Final = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
#: pairs whose heights differ by more than this stand on two lines [m]
_APART: Final = 0.5
#: figure [inches]: width, panel width, gutter, title, table row, foot, one id
_WIDTH: Final = 7.1
_PANEL: Final = 3.4
_GUTTER: Final = 0.1
_TITLE: Final = 0.24
_ROW: Final = 0.165
_FOOT: Final = 0.42
_ID: Final = 0.085
#: room for a row of pair ids above or below a drawing [inches]
_IDS: Final = 0.3
#: columns of the table under each half, share of the panel's width
_COLUMNS: Final = (0.0, 0.36, 0.58, 0.80)
#: line and marker of the ahead face, by level from the top
_FACES: Final = (("--", "o"), ("-.", "D"), (":", "^"))


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


def levels(across: Sequence[Across]) -> list[list[Across]]:
    """Return pairs in lines of about one height, from the top down, each from LEFT to RIGHT."""
    lines: list[list[Across]] = []
    for pair in sorted(across, key=lambda a: -a.up):
        if lines and lines[-1][-1].up - pair.up <= _APART:
            lines[-1].append(pair)
        else:
            lines.append([pair])
    return [sorted(line, key=lambda a: -a.left) for line in lines]


def joint_figure(joint: JointSheet) -> Figure:
    """Draw one joint before and after: faces looking ahead, gap in plan, values in a table."""
    factor = exaggeration(joint)
    lines = levels(joint.across)
    half = max(abs(a.left) for a in joint.across) or 1.0
    scale = _PANEL / (2.36 * half)
    section, gap = _section_limits(joint, factor), _gap_limits(joint, factor)
    tall = [scale * (high - low) + 2.0 * _IDS for low, high in (section, gap)]
    table = _ROW * (len(joint.across) + 1.3)
    height = sum(tall) + 2.0 * _TITLE + table + _FOOT + 0.1
    figure = Figure(figsize=(_WIDTH, height))
    for state, name in enumerate(("BEFORE", "AFTER")):
        x = _GUTTER + state * (_PANEL + _GUTTER)
        y = height - _TITLE - tall[0]
        axes = _panel(figure, (x, y, tall[0]), half, section, scale)
        _title(figure, x, y + tall[0], f"{name}: section LOOKING AHEAD")
        _section(axes, lines, state, factor)
        y -= _TITLE + tall[1]
        axes = _panel(figure, (x, y, tall[1]), half, gap, scale)
        _title(figure, x, y + tall[1], f"{name}: gap from above; solid: nominal opening")
        _gap(axes, lines, state, factor)
        _table(figure, (x, y - 0.1), lines, state, joint.length_unit)
    figure.text(
        0.5, 0.03 / height, _note(joint, lines, factor), ha="center", va="bottom", fontsize=7
    )
    return figure


def _note(joint: JointSheet, lines: list[list[Across]], factor: int) -> str:
    """Say what the marks mean, that the ahead side is the one measured, and the exaggeration."""
    deep = " Circles: riding surface; other shapes: below it." if len(lines) > 1 else ""
    return (
        f"Solid, filled: back side {joint.back}. Broken, open: ahead side {joint.ahead}.{deep}\n"
        f"Step, offset: where the ahead side lies; gap: from nominal. "
        f"Deviations drawn {factor} times larger, table exact."
    )


def _section_limits(joint: JointSheet, factor: int) -> tuple[float, float]:
    ups = [a.up for a in joint.across]
    ups += [a.up + factor * v for a in joint.across for v in a.step]
    return min(ups), max(ups)


def _gap_limits(joint: JointSheet, factor: int) -> tuple[float, float]:
    """Return the limits of the plan panel; with room under the nominal line."""
    half = max(abs(a.left) for a in joint.across) or 1.0
    gaps = [0.0] + [factor * v for a in joint.across for v in a.gap]
    return min(gaps) - 0.04 * half, max(gaps)


def _panel(
    figure: Figure,
    at: tuple[float, float, float],
    half: float,
    limits: tuple[float, float],
    scale: float,
) -> Any:
    """Return axes of one scale both ways; ``at`` is left, bottom and height [inches]."""
    width, height = figure.get_size_inches()
    x, y, tall = at
    axes = figure.add_axes((x / width, y / height, _PANEL / width, tall / height))
    axes.set_xlim(-1.18 * half, 1.18 * half)
    axes.set_ylim(limits[0] - _IDS / scale, limits[1] + _IDS / scale)
    axes.set_axis_off()
    return axes


def _title(figure: Figure, x: float, y: float, words: str) -> None:
    width, height = figure.get_size_inches()
    figure.text(x / width, (y + 0.05) / height, words, fontsize=8.5, weight="bold", va="bottom")


def _section(axes: Any, lines: list[list[Across]], state: int, factor: int) -> None:
    """Draw the back face filled and the ahead face as an outline over it; LEFT is on the left."""
    ring = lines[0] + [a for line in lines[1:] for a in reversed(line)]
    closed = [*ring, ring[0]] if len(lines) > 1 else ring
    back = [(-a.left, a.up) for a in closed]
    ahead = [_moved(a, state, factor) for a in closed]
    if len(lines) > 1:
        axes.fill(*zip(*back, strict=True), facecolor="0.9", edgecolor="none", zorder=1)
    axes.plot(*zip(*back, strict=True), "-s", color="black", lw=1.8, ms=4.5, zorder=2)
    axes.plot(*zip(*ahead, strict=True), "--", color="black", lw=1.2, zorder=3)
    for level, line in enumerate(lines):
        spots = [_moved(a, state, factor) for a in line]
        marker = _FACES[min(level, 2)][1]
        axes.plot(*zip(*spots, strict=True), marker, color="black", ms=5.5, mfc="white", zorder=4)
        tops = [
            (x, max(y, a.up)) if level == 0 else (x, min(y, a.up))
            for a, (x, y) in zip(line, spots, strict=True)
        ]
        _ids(axes, line, tops, above=level == 0)


def _moved(pair: Across, state: int, factor: int) -> tuple[float, float]:
    return (-(pair.left + factor * pair.offset[state]), pair.up + factor * pair.step[state])


def _gap(axes: Any, lines: list[list[Across]], state: int, factor: int) -> None:
    """Draw the ahead face against where it stands at nominal opening."""
    xs = [-a.left for line in lines for a in line]
    axes.plot([min(xs), max(xs)], [0.0, 0.0], "-", color="black", lw=1.8, zorder=2)
    for level, line in enumerate(lines):
        spots = [(-a.left, factor * a.gap[state]) for a in line]
        dash, marker = _FACES[min(level, 2)]
        if level == 0:
            x, y = zip(*spots, strict=True)
            axes.fill_between(
                x, y, facecolor="none", hatch="////", edgecolor="0.55", lw=0, zorder=1
            )
        style = {"color": "black", "lw": 1.2, "ms": 5.5, "mfc": "white", "zorder": 4}
        axes.plot(*zip(*spots, strict=True), dash, marker=marker, **style)
        ends = [(x, max(y, 0.0) if level == 0 else min(y, 0.0)) for x, y in spots]
        _ids(axes, line, ends, above=level == 0)


def _ids(axes: Any, line: list[Across], spots: list[tuple[float, float]], *, above: bool) -> None:
    """Write the pairs' ids in one row clear of the drawing, each with a thin line to its point."""
    low, high = axes.get_ylim()
    left, right = axes.get_xlim()
    inch = (right - left) / _PANEL
    order = sorted(zip(spots, line, strict=True), key=lambda entry: entry[0][0])
    pitch = inch * (0.1 + _ID * max(len(a.pair) for a in line))
    places = spread([x for (x, _), _ in order], pitch, left, right)
    y = high - 0.02 * inch if above else low + 0.02 * inch
    for ((x, end), pair), place in zip(order, places, strict=True):
        foot = y + (-1 if above else 1) * 0.13 * inch
        axes.plot([x, place], [end, foot], "-", color="0.5", lw=0.5, zorder=0)
        axes.text(
            place,
            y,
            pair.pair,
            ha="center",
            va="top" if above else "bottom",
            fontsize=7.5,
            weight="bold",
        )


def _table(
    figure: Figure, at: tuple[float, float], lines: list[list[Across]], state: int, unit: str
) -> None:
    """Write the values of one state under its drawings; ``at`` is left and top [inches]."""
    width, height = figure.get_size_inches()
    x, y = at
    heads = ("Pair", f"Step, {unit}", f"Offset, {unit}", f"Gap, {unit}")
    rows = [heads] + [(f"{a.pair} {a.place}", *a.labels[state]) for line in lines for a in line]
    for i, row in enumerate(rows):
        base = y - 0.1 - _ROW * (i + (0.15 if i else 0.0))
        for share, words in zip(_COLUMNS, row, strict=True):
            figure.text(
                (x + share * _PANEL) / width,
                base / height,
                words,
                va="baseline",
                fontsize=7,
                weight="bold" if i == 0 else "normal",
            )
