"""The figure of fewer seats: how near the checks come as one seat after the other is left alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any, Final

from matplotlib import style
from matplotlib.figure import Figure

from fitup.sheets.figures import STYLE

_WIDTH: Final = 7.1
_HEIGHT: Final = 3.9
#: kinds of file a figure can be written as, with what keeps their bytes the same
KINDS: Final[dict[str, dict[str, None]]] = {
    "pdf": {"CreationDate": None, "Producer": None, "Creator": None},
    "png": {"Software": None},
    "svg": {"Date": None, "Creator": None},
}


@dataclass(frozen=True, slots=True)
class FewerLine:
    """One point: seats disturbed, worst share of tolerance, the miss in words, what is left."""

    seats: int
    worst: float
    miss: str
    left: tuple[str, ...]
    """Seats left alone since the point before."""


def fewer_figure(lines: Sequence[FewerLine], kind: str, title: str) -> bytes:
    """Return the figure as a file, the same bytes for the same lines.

    Parameters
    ----------
    lines : sequence of FewerLine
        At least one; joined by a line in this order.
    kind : {'pdf', 'png', 'svg'}
    title : str
        Printed over the figure.
    """
    with style.context(["default", STYLE]):
        figure = _figure(lines, title)
        target = BytesIO()
        figure.savefig(target, format=kind, dpi=200, metadata=KINDS[kind])
    return target.getvalue()


def _figure(lines: Sequence[FewerLine], title: str) -> Figure:
    figure = Figure(figsize=(_WIDTH, _HEIGHT))
    axes = figure.add_axes((0.13, 0.15, 0.85, 0.73))
    figure.suptitle(title, fontsize=9, y=0.975)
    seats = [line.seats for line in lines]
    worst = [line.worst for line in lines]
    axes.set_yscale("log")
    low, high = min([*worst, 1.0]) / 1.5, max([*worst, 1.0]) * 1.7
    axes.set_ylim(low, high)
    axes.axhspan(low, 1.0, facecolor="0.9", edgecolor="none", zorder=0)
    axes.axhline(1.0, color="black", lw=1.4, zorder=1)
    axes.plot(seats, worst, "-", color="black", lw=1.0, zorder=2)
    for inside, fill in ((True, "black"), (False, "white")):
        own = [(n, w) for n, w in zip(seats, worst, strict=True) if (w <= 1.0) == inside]
        if own:
            axes.plot(*zip(*own, strict=True), "D", mfc=fill, mec="black", ms=5, zorder=3)
    _labels(axes, lines)
    axes.set_xlim(max(seats) + 0.6, min(seats) - 0.9)
    axes.set_xticks(sorted(set(seats)), [str(n) for n in sorted(set(seats))])
    ticks = [t for t in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0) if low <= t <= high]
    axes.set_yticks(ticks, ["ALL USED" if t == 1.0 else f"{t:g}" for t in ticks], fontsize=7)
    axes.minorticks_off()
    axes.set_xlabel("seats disturbed")
    axes.set_ylabel("worst check, share of what is allowed")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    note = (
        "Filled: every check inside. Above: seats left alone since the point before. Below: miss."
    )
    figure.text(0.5, 0.015, note, ha="center", va="bottom", fontsize=7)
    return figure


def _labels(axes: Any, lines: Sequence[FewerLine]) -> None:
    """Write beside each point where the line, which rises to the right, leaves room."""
    for line in lines:
        for text, x, y, across, up in (
            ("\n".join(line.left), 1, 6, "right", "bottom"),
            (line.miss, -1, -6, "left", "top"),
        ):
            axes.annotate(
                text, (line.seats, line.worst), xytext=(x, y), textcoords="offset points",
                ha=across, va=up, fontsize=6.5,
            )  # fmt: skip
