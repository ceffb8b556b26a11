"""The network figure: set-ups, sights and error ellipses seen from above."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Ellipse

from fitup.frames import Array
from fitup.network.report import EllipseLine, ellipse_lines
from fitup.network.solve import Solved
from fitup.units import DisplayUnits

_WIDTH: Final = 7.1
_NOTE: Final = 0.62
#: the largest ellipse is drawn with this share of the picture's longer side
_LARGEST: Final = 0.02
#: more points than this are not named, but for those that stand out
_NAMED: Final = 60


def network_figure(solved: Solved, units: DisplayUnits) -> Figure:
    """Draw one epoch: sights thin, sights that do not fit thick and dashed, ellipses enlarged.

    Parameters
    ----------
    solved : Solved
    units : DisplayUnits
        For the size of the ellipses in the note.
    """
    lines = ellipse_lines(solved)
    places = {line.id: (line.east, line.north) for line in lines}
    xy = np.array(list(places.values()))
    figure, axes, span = frame(xy)
    size = float(np.maximum(np.ptp(xy, axis=0), 1.0).max())
    odd = _sights(axes, solved, places)
    grown = _LARGEST * size / max((line.large for line in lines), default=1.0)
    for line in lines:
        _ellipse(axes, line, grown)
        _mark(axes, line.id, places[line.id], solved)
    named = [n for n in places if len(places) <= _NAMED or n in odd or n.startswith("set-up ")]
    draw_names(axes, _together({n: places[n] for n in named}, 0.01 * size), span)
    draw_north(axes)
    _note(figure, lines, grown, units, bool(odd))
    return figure


def frame(xy: Array) -> tuple[Figure, Any, float]:
    """Return a figure with room for points (n, 2) [m] and a note, and metres to an inch."""
    size = np.maximum(np.ptp(xy, axis=0), 1.0)
    wide, tall = size * 1.16
    height = min(max(_WIDTH * tall / wide, 2.5), 5.4)
    figure = Figure(figsize=(_WIDTH, height + _NOTE))
    axes = figure.add_axes((0.0, _NOTE / (height + _NOTE), 1.0, height / (height + _NOTE)))
    middle = xy.min(axis=0) + np.ptp(xy, axis=0) / 2.0
    span = float(max(wide / _WIDTH, tall / height))
    axes.set_xlim(middle[0] - span * _WIDTH / 2.0, middle[0] + span * _WIDTH / 2.0)
    axes.set_ylim(middle[1] - span * height / 2.0, middle[1] + span * height / 2.0)
    axes.set_aspect("equal")
    axes.set_axis_off()
    return figure, axes, span


def _sights(axes: Any, solved: Solved, places: dict[str, tuple[float, float]]) -> set[str]:
    """Draw each sight once; return the nodes of those that do not fit."""
    network = solved.network
    missed = {(network.observations[i].at, network.observations[i].to) for i in solved.outcome.odd}
    drawn = {(o.at, o.to) for o in network.observations if o.setup}
    for at, to in sorted(drawn):
        x, y = zip(places[at], places[to], strict=True)
        if (at, to) in missed:
            axes.plot(x, y, "--", color="black", lw=1.8, zorder=2)
        else:
            axes.plot(x, y, "-", color="0.75", lw=0.4, zorder=1)
    return {node for sight in missed for node in sight}


def _ellipse(axes: Any, line: EllipseLine, grown: float) -> None:
    shape = Ellipse(
        (line.east, line.north),
        2.0 * line.large * grown,
        2.0 * line.small * grown,
        angle=90.0 - math.degrees(line.azimuth),
        facecolor="none",
        edgecolor="black",
        lw=0.8,
        zorder=4,
    )
    axes.add_patch(shape)


def _mark(axes: Any, name: str, place: tuple[float, float], solved: Solved) -> None:
    """Triangle for a set-up, square for control, dot for a target."""
    if name.startswith("set-up "):
        axes.plot(*place, "^", ms=6, mec="black", mfc="black", zorder=5)
    elif name in solved.control:
        axes.plot(*place, "s", ms=5, mec="black", mfc="white", zorder=5)
    else:
        axes.plot(*place, "o", ms=2.2, mec="black", mfc="black", zorder=5)


def _together(
    places: dict[str, tuple[float, float]], close: float
) -> dict[str, tuple[float, float]]:
    """Gather the names of points that lie on each other, as the two sides of a joint do."""
    groups: list[tuple[list[str], tuple[float, float]]] = []
    for name, place in places.items():
        near = next((g for g in groups if math.dist(g[1], place) < close), None)
        if near is None:
            groups.append(([name], place))
        else:
            near[0].append(name)
    return {", ".join(names): place for names, place in groups}


def draw_names(axes: Any, places: dict[str, tuple[float, float]], inch: float) -> None:
    """Write names beside their points where they meet no other name, else where they meet least.

    Parameters
    ----------
    axes : Axes
    places : dict of str to (float, float)
        Name -> easting and northing of its point [m].
    inch : float
        Metres to an inch of paper, as :func:`frame` returns them.
    """
    taken: list[tuple[float, float, float, float]] = []
    spots = ((1, 1), (1, -1), (-1, 1), (-1, -1), (1, 0), (-1, 0), (0, 1), (0, -1))
    for name, (x, y) in sorted(places.items(), key=lambda item: (-item[1][1], item[1][0])):
        wide, tall = 0.062 * len(name) * inch, 0.11 * inch
        boxes = []
        for right, up in spots:
            left = x + right * 0.09 * inch - (wide if right < 0 else wide / 2 if right == 0 else 0)
            low = y + up * (0.09 if right else 0.14) * inch - tall / 2
            boxes.append((left, low, left + wide, low + tall))
        box = min(boxes, key=lambda b: (_met(b, taken), boxes.index(b)))
        taken.append(box)
        axes.text(box[0], (box[1] + box[3]) / 2, name, fontsize=6.5, va="center", zorder=6)


def _met(
    box: tuple[float, float, float, float], others: Sequence[tuple[float, float, float, float]]
) -> float:
    """Area a box shares with others."""
    return sum(
        max(0.0, min(box[2], o[2]) - max(box[0], o[0]))
        * max(0.0, min(box[3], o[3]) - max(box[1], o[1]))
        for o in others
    )


def draw_north(axes: Any) -> None:
    """Draw an arrow to the north in the upper left corner."""
    arrow = {"arrowstyle": "-|>", "color": "black", "lw": 1.0}
    axes.annotate(
        "",
        (0.035, 0.97),
        (0.035, 0.88),
        xycoords="axes fraction",
        textcoords="axes fraction",
        arrowprops=arrow,
    )
    axes.text(0.05, 0.925, "N", transform=axes.transAxes, fontsize=9, weight="bold", va="center")


def _note(
    figure: Figure, lines: Sequence[EllipseLine], grown: float, units: DisplayUnits, odd: bool
) -> None:
    largest = max((line.large for line in lines), default=0.0)
    text = (
        "Seen from above. Triangle: set-up. Square: control. Dot: target.\n"
        f"Standard error ellipses enlarged {grown:.0f} times; the largest half axis is "
        f"{units.move.text(largest)}."
    )
    if odd:
        text += " Thick and dashed: a sight that does not fit."
    tall = figure.get_figheight()
    figure.text(0.5, 0.08 / tall, text, ha="center", va="bottom", fontsize=7.5)
