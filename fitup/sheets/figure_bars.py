"""The tolerance figure: each check before and after as a share of what is allowed."""

from __future__ import annotations

from typing import Any, Final

from matplotlib.figure import Figure

from fitup.sheets.model import OF_POINTS, CheckLine

_WIDTH: Final = 7.1
_LETTER: Final = 0.067
_ROW: Final = 0.235
_FOOT: Final = 0.72
#: shares beyond this one stand at the edge, with the number beside an arrow
_MOST: Final = 2.5


def bars_figure(judged: list[tuple[str, CheckLine]]) -> Figure:
    """Draw each check before and after as a share of its tolerance."""
    names = [_name(joint, line) for joint, line in judged]
    words = [line.after.words.partition(" (")[0] for _, line in judged]
    left = 0.15 + _LETTER * max(len(n) for n in names)
    beside = 0.15 + _LETTER * max(len(w) for w in words)
    wide = max(1.5, _WIDTH - left - beside)
    across = left + wide + beside
    height = _FOOT + 0.25 + _ROW * len(judged)
    figure = Figure(figsize=(across, height))
    axes = figure.add_axes(
        (left / across, _FOOT / height, wide / across, 1.0 - (_FOOT + 0.05) / height)
    )
    axes.axvspan(0.0, 1.0, facecolor="0.9", edgecolor="none", zorder=0)
    axes.axvline(1.0, color="black", lw=1.4, zorder=1)
    for row, ((_, line), said) in enumerate(zip(judged, words, strict=True)):
        _bar(axes, row, line.share_before or 0.0, line.share_after or 0.0)
        at_edge = axes.get_yaxis_transform()
        axes.text(1.01, row, said, transform=at_edge, va="center", fontsize=7)
    axes.set_yticks(range(len(judged)), names, fontsize=7)
    axes.set_ylim(len(judged) - 0.4, -0.6)
    axes.set_xlim(-0.03, _MOST + 0.25)
    ticks = {0.0: "aim", 0.5: "half", 1.0: "ALL USED", 1.5: "1.5", 2.0: "2.0"}
    axes.set_xticks(list(ticks), list(ticks.values()), fontsize=7)
    axes.tick_params(axis="y", length=0)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    note = (
        "Distance from the aim as a share of what is allowed. Open circle: before; arrow: before, "
        "that many times the allowed.\nFilled diamond: after, in words at the right. Grey: inside."
    )
    figure.text(0.5, 0.04 / height, note, ha="center", va="bottom", fontsize=7)
    return figure


def _bar(axes: Any, row: int, before: float, after: float) -> None:
    """Draw one row: before and after, each held at the edge where it lies far outside."""
    shown = [min(v, _MOST) for v in (after, before)]
    axes.plot(shown, [row, row], "-", color="black", lw=0.8, zorder=2)
    for value, x, marker, fill in (
        (before, shown[1], "o", "white"),
        (after, shown[0], "D", "black"),
    ):
        far = value > _MOST
        axes.plot(x, row, ">" if far else marker, ms=6, color="black", mfc=fill, zorder=4)
        if far:
            axes.text(x + 0.06, row, f"{value:.0f}", va="center", fontsize=6.5)


def _name(joint: str, line: CheckLine) -> str:
    place = "" if line.place == "whole joint" else line.place
    worst = "  (worst point)" if line.quantity in OF_POINTS else ""
    return f"{joint}  {line.what}  {place}".strip() + worst
