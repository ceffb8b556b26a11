"""The window figure: steel, gaps, steps and kinks against time, and when a joint may be locked."""

from __future__ import annotations

import datetime as dt
from io import BytesIO
from typing import Any, Final

import numpy as np
from matplotlib import style
from matplotlib.figure import Figure

from fitup.jobfolder.series import SteelSeries
from fitup.model import SIDES, Job
from fitup.sheets.figures import STYLE
from fitup.sheets.words import NAMES, shown_for
from fitup.trust.joint import limits_of
from fitup.trust.windows import TemperatureCourse, Window
from fitup.units import DISPLAY, from_si

_WIDTH: Final = 7.1
_PANEL: Final = 1.35
_LINES: Final = ("-", "--", ":", "-.")
_MOST_LINES: Final = 8


def windows_svg(job: Job, series: SteelSeries, course: TemperatureCourse, title: str) -> bytes:
    """Return the figure of one joint as SVG, the same bytes for the same course.

    Parameters
    ----------
    job : Job
    series : SteelSeries
        The series that ``course`` was computed from.
    course : TemperatureCourse
    title : str
        Printed over the figure.
    """
    with style.context(["default", STYLE]):
        figure = _figure(job, series, course, title)
        target = BytesIO()
        figure.savefig(target, format="svg", metadata={"Date": None, "Creator": None})
    return target.getvalue()


def _figure(job: Job, series: SteelSeries, course: TemperatureCourse, title: str) -> Figure:
    groups = _groups(course)
    heights = [1.0, *([1.25] * len(groups)), 0.5]
    tall = _PANEL * sum(heights) + 0.5
    figure = Figure(figsize=(_WIDTH, tall))
    panels = figure.subplots(
        len(heights), 1, sharex=True, gridspec_kw={"height_ratios": heights, "hspace": 0.12}
    )
    figure.subplots_adjust(left=0.13, right=0.87, top=1.0 - 0.3 / tall, bottom=0.48 / tall)
    figure.suptitle(title, fontsize=9, y=1.0 - 0.08 / tall)
    times = [series.clock(s) for s in series.seconds]
    _steel(panels[0], job, series, times)
    for panel, rows in zip(panels[1:-1], groups, strict=True):
        _checks(panel, job, course, rows, times)
    _bars(panels[-1], series, course)
    for panel in panels[:-1]:
        for window in course.surely:
            panel.axvspan(series.clock(window.start), series.clock(window.end), fc="0.82", lw=0)
        for window in course.windows:
            for edge in (window.start, window.end):
                panel.axvline(series.clock(edge), color="black", lw=0.5, ls=":")
    panels[-1].xaxis.set_major_formatter(lambda v, _: f"{_moment(v):%H:%M\n%d %b}")
    panels[-1].set_xlim(times[0], times[-1])
    return figure


def _moment(days: float) -> dt.datetime:
    """Return the time at a place on the axis: days since 1970."""
    return dt.datetime(1970, 1, 1) + dt.timedelta(days=days)


def _groups(course: TemperatureCourse) -> list[list[int]]:
    """Return the checks that go with the temperature, by quantity; at most three quantities."""
    moving = np.ptp(course.values, axis=0) > 1e-6
    groups: dict[str, list[int]] = {}
    for i, check in enumerate(course.checks):
        if moving[i] and check.point is None:
            groups.setdefault(check.quantity, []).append(i)
    order = ("gap", "step", "kink_grade", "kink_plan", "offset", "twist")
    return [groups[q] for q in order if q in groups][:3]


def _steel(panel: Any, job: Job, series: SteelSeries, times: list[dt.datetime]) -> None:
    shown = DISPLAY[job.units].temperature
    stated: list[tuple[float, ...]] = []
    ends: list[tuple[float, str]] = []
    for k, name in enumerate(job.segments):
        values = tuple(from_si(v, "temperature", shown.suffix) for v in series.mean[:, k])
        if values in stated:
            continue
        stated.append(values)
        word = name if len({tuple(c) for c in series.mean.T}) > 1 else "steel"
        panel.plot(times, values, _LINES[(len(stated) - 1) % 4], color="black", lw=1.2)
        ends.append((values[-1], word))
    panel.set_ylabel(f"steel, {shown.word}")
    panel.margins(y=0.15)
    _label_ends(panel, times[-1], ends)


def _checks(
    panel: Any, job: Job, course: TemperatureCourse, rows: list[int], times: list[dt.datetime]
) -> None:
    checks = [course.checks[i] for i in rows]
    quantity = checks[0].quantity
    shown = shown_for(quantity, DISPLAY[job.units])
    scale = 1.0 / from_si(1.0, shown.dimension, shown.suffix)
    aims, allowed = limits_of(checks)
    most = float(allowed.min()) / scale
    panel.axhspan(-most, most, fc="none", ec="black", hatch="....", lw=0.0, alpha=0.25)
    for edge in (-most, most):
        panel.axhline(edge, color="black", lw=1.0)
    panel.axhline(0.0, color="black", lw=0.5)
    ends = []
    for n, i in enumerate(rows[:_MOST_LINES]):
        values = (course.values[:, i] - aims[n]) / scale
        panel.plot(times, values, _LINES[n % 4], color="black", lw=1.0 if n < 4 else 0.6)
        ends.append((float(values[-1]), checks[n].pair or ""))
    _label_ends(panel, times[-1], ends)
    over, under = SIDES[quantity]
    panel.set_ylabel(f"{NAMES[quantity]}\noff aim, {shown.word}")
    panel.yaxis.set_major_formatter(lambda v, _: f"{abs(v):g}")
    panel.margins(y=0.1)
    for y, word in ((0.97, over), (0.03, under)):
        side = "top" if y > 0.5 else "bottom"
        panel.text(0.008, y, word, transform=panel.transAxes, va=side, fontsize=7, style="italic")


def _label_ends(panel: Any, when: dt.datetime, ends: list[tuple[float, str]]) -> None:
    """Write names beside the ends of lines; of lines that lie close only the outermost."""
    low, high = panel.get_ylim()
    apart = (high - low) * 0.11
    ordered = sorted(ends)
    kept = [ordered[0]]
    for end in ordered[1:-1]:
        if end[0] - kept[-1][0] >= apart and ordered[-1][0] - end[0] >= apart:
            kept.append(end)
    kept += ordered[-1:] if len(ordered) > 1 else []
    for n, (value, name) in enumerate(kept):
        close = len(kept) > 1 and abs(kept[n - 1][0] - value) < apart
        at = value + (0.5 * apart if n else -0.5 * apart) if close else value
        panel.annotate(
            name, (when, at), xytext=(4, 0), textcoords="offset points", va="center", fontsize=7,
            annotation_clip=False,
        )  # fmt: skip


def _bars(panel: Any, series: SteelSeries, course: TemperatureCourse) -> None:
    def draw(found: tuple[Window, ...], row: float, face: str) -> None:
        for window in found:
            start, end = series.clock(window.start), series.clock(window.end)
            panel.barh(row, end - start, left=start, height=0.6, fc=face, ec="black", lw=0.8)

    draw(course.windows, 1.0, "white")
    draw(course.surely, 0.0, "black")
    panel.set_yticks([1.0, 0.0], ["inside", "SURELY"], fontsize=7)
    panel.set_ylim(-0.6, 1.6)
