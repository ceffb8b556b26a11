"""The movement figure: how points went between two epochs, with the ellipses of the differences."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Ellipse

from fitup.frames import Array
from fitup.network.congruency import Change, Congruency
from fitup.network.report import ellipse
from fitup.sheets.figure_network import draw_names, draw_north, frame
from fitup.units import DisplayUnits

#: the longest arrow or largest ellipse takes this share of the picture's longer side
_LONGEST: Final = 0.07


def moved_figure(found: Congruency, places: Mapping[str, Array], units: DisplayUnits) -> Figure:
    """Draw points with arrows to where they went, both enlarged; bold for those that moved.

    Parameters
    ----------
    found : Congruency
    places : mapping
        Where the points are (3,) [m].
    units : DisplayUnits
    """
    xy = np.array([places[c.id][:2] for c in found.changes])
    figure, axes, span = frame(xy)
    arrows = [float(np.hypot(*c.shift[:2])) for c in found.changes]
    axes_of = [ellipse(c.covariance[:2, :2])[0] for c in found.changes]
    largest = max(*arrows, *axes_of, 1e-9)
    grown = _LONGEST * float(max(np.ptp(xy, axis=0).max(), 1.0)) / largest
    for change in found.changes:
        _draw(axes, change, places[change.id], grown)
    draw_names(axes, {c.id: (places[c.id][0], places[c.id][1]) for c in found.changes}, span)
    draw_north(axes)
    note = (
        "Seen from above. Filled: stable, the others are compared with these. Thick: moved by more "
        f"than its uncertainty.\nArrows and standard ellipses of the differences enlarged "
        f"{grown:.0f} times; the longest is {units.move.text(largest)}."
    )
    figure.text(0.5, 0.08 / figure.get_figheight(), note, ha="center", va="bottom", fontsize=7.5)
    return figure


def _draw(axes: Any, change: Change, place: Array, grown: float) -> None:
    tip = place[:2] + grown * change.shift[:2]
    thick = 1.8 if change.moved else 0.7
    face = "black" if change.stable else "white"
    axes.plot(*place[:2], "s" if change.stable else "o", ms=4, mec="black", mfc=face, zorder=5)
    arrow = {"arrowstyle": "-|>", "color": "black", "lw": thick, "shrinkA": 0.0, "shrinkB": 0.0}
    axes.annotate("", tuple(tip), tuple(place[:2]), arrowprops=arrow, zorder=4)
    large, small, azimuth = ellipse(change.covariance[:2, :2])
    shape = Ellipse(
        tuple(tip),
        2.0 * large * grown,
        2.0 * small * grown,
        angle=90.0 - math.degrees(azimuth),
        facecolor="none",
        edgecolor="black",
        lw=thick,
        zorder=4,
    )
    axes.add_patch(shape)
