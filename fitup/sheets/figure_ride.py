"""The ride figure: the deck along each wheel path over a joint, before and after."""

from __future__ import annotations

from typing import Final

from matplotlib.figure import Figure

from fitup.sheets.model import RideLine

_WIDTH: Final = 7.1
_HEIGHT: Final = 1.4
_FOOT: Final = 0.72


def _sided(value: float, nought: str, above: str, below: str) -> str:
    """Say a number on an axis without a sign."""
    return nought if value == 0.0 else f"{abs(value):g} {above if value > 0.0 else below}"


def ride_figure(lines: list[RideLine], x_unit: str, z_unit: str) -> Figure:
    """Draw the paths of one joint under each other, back on the left, heights exaggerated.

    Parameters
    ----------
    lines : list of RideLine
        The first at the top, at least one.
    x_unit, z_unit : str
        Units of the profiles, along and in height, for the labels.
    """
    figure = Figure(figsize=(_WIDTH, _FOOT + _HEIGHT * len(lines)))
    total = _FOOT + _HEIGHT * len(lines)
    for i, line in enumerate(lines):
        bottom = (_FOOT + _HEIGHT * (len(lines) - 1 - i)) / total
        axes = figure.add_axes((0.11, bottom, 0.84, (_HEIGHT - 0.42) / total))
        for profile, style, fill, name in (
            (line.before, "--", "white", "before"),
            (line.after, "-", "black", "after"),
        ):
            x, z = zip(*profile, strict=True)
            axes.plot(x, z, f"o{style}", color="black", mfc=fill, ms=3.5, lw=1.0, label=name)
        reach = 1.15 * max(abs(p[1]) for p in (*line.before, *line.after)) or 1.0
        axes.set_ylim(-reach, reach)
        axes.axvline(0.0, color="0.6", lw=0.8, zorder=0)
        half = 0.5 * line.straightedge.value
        axes.axvspan(-half, half, facecolor="0.92", edgecolor="none", zorder=-1)
        axes.set_title(f"{line.path}  {line.place}", fontsize=7.5, loc="left", pad=2)
        axes.tick_params(labelsize=6.5)
        axes.xaxis.set_major_formatter(lambda v, _: _sided(v, "joint", "ahead", "back"))
        axes.yaxis.set_major_formatter(lambda v, _: _sided(v, "0", "up", "down"))
        axes.set_ylabel(z_unit, fontsize=7)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        if i == len(lines) - 1:
            axes.set_xlabel(f"{x_unit} from the joint", fontsize=7)
    note = (
        "Heights over the plane of the joint, highly exaggerated; back on the left, ahead on the "
        "right.\nOpen circles, dashed: before. Filled, solid: after. Grey: the straightedge over "
        "the joint."
    )
    figure.text(0.5, 0.04 / total, note, ha="center", va="bottom", fontsize=7)
    return figure
