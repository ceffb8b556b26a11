"""Figures for the report, readable in black and white: shapes, hatches and direct labels.

Drawn with matplotlib's ``Figure`` objects (no global state) and saved as SVG without dates,
with a fixed salt for element names, so that the same plan gives the same bytes.
"""

from __future__ import annotations

from io import BytesIO
from typing import Any, Final

from matplotlib import style
from matplotlib.figure import Figure

from fitup.sheets.figure_bars import bars_figure
from fitup.sheets.figure_joint import joint_figure
from fitup.sheets.figure_plan import plan_figure
from fitup.sheets.figure_ride import ride_figure
from fitup.sheets.model import OF_POINTS, CheckLine, SheetSet

STYLE: Final[dict[str, Any]] = {
    "svg.hashsalt": "fitup",
    "svg.fonttype": "path",
    "font.family": "DejaVu Sans",
    "font.size": 8.0,
    "axes.linewidth": 0.8,
    "path.simplify": False,
    "text.parse_math": False,  # an id may hold a dollar sign
}
_BARS_PER_FIGURE: Final = 34


def figures(sheets: SheetSet) -> dict[str, bytes]:
    """Return every figure as SVG, by file name without its ending."""
    out: dict[str, bytes] = {}
    # the defaults first, so that nobody's own settings show in the bytes
    with style.context(["default", STYLE]):
        for joint in sheets.joints:
            if joint.across:
                out[f"joint-{joint.id}"] = as_svg(joint_figure(joint))
        for name in dict.fromkeys(line.joint for line in sheets.ride):
            lines = [line for line in sheets.ride if line.joint == name]
            units = lines[0].straightedge.unit, lines[0].gap_after.unit
            out[f"ride-{name}"] = as_svg(ride_figure(lines, *units))
        if sheets.segments:
            out["plan"] = as_svg(plan_figure(sheets.segments, sheets.joints))
        bars = judged(sheets)
        for i in range(0, len(bars), _BARS_PER_FIGURE):
            number = i // _BARS_PER_FIGURE + 1
            out[f"tolerance-{number}"] = as_svg(bars_figure(bars[i : i + _BARS_PER_FIGURE]))
    return out


def judged(sheets: SheetSet) -> list[tuple[str, CheckLine]]:
    """Return the joint checks that have a tolerance, and the one point check that ends worst."""
    lines = [
        (joint.id if joint.back else "", line)
        for joint in sheets.joints
        for line in joint.lines
        if line.share_after is not None
    ]
    of_joints = [entry for entry in lines if entry[1].quantity not in OF_POINTS]
    of_points = [entry for entry in lines if entry[1].quantity in OF_POINTS]
    worst = max(of_points, key=lambda entry: entry[1].share_after or 0.0, default=None)
    return of_joints if worst is None else [*of_joints, worst]


def as_svg(figure: Figure) -> bytes:
    """Return a figure as SVG, the same bytes for the same figure."""
    target = BytesIO()
    figure.savefig(target, format="svg", metadata={"Date": None, "Creator": None})
    return target.getvalue()
