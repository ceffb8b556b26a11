"""Figures of a frame: how it bends, what its seats carry, what the move of one seat does.

Side views run along the deck, heights and movements stretched as each figure says.
"""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from itertools import pairwise
from typing import Any, Final

import numpy as np
from matplotlib import style
from matplotlib.figure import Figure

from fitup.frames import Array
from fitup.sheets.figures import STYLE
from fitup.structure.equilibrium import cables_of
from fitup.structure.frame.beam import Beam
from fitup.structure.frame.report import FrameReport
from fitup.units import DISPLAY, DisplayUnits

#: places along a member at which its bent shape is drawn
_STEPS: Final = 12
#: the largest drawn movement, as a share of the length of the structure
_LARGEST: Final = 0.06
#: seats nearer than this share of the length have their names in rows
_NAME: Final = 0.09


def structure_figures(report: FrameReport, seat: str) -> dict[str, bytes]:
    """Return the figures of a frame as SVG, by file name without its ending.

    Parameters
    ----------
    report : FrameReport
    seat : str
        Whose influence is drawn along the deck.
    """
    out = {}
    with style.context(["default", STYLE]):
        for name, figure in (
            ("structure-shape", shape_figure(report)),
            ("structure-loads", loads_figure(report)),
            (f"structure-move-{seat}", move_figure(report, seat)),
            ("structure-carries", carries_figure(report)),
        ):
            target = BytesIO()
            figure.savefig(target, format="svg", metadata={"Date": None, "Creator": None})
            out[name] = target.getvalue()
    return out


def along_deck(report: FrameReport) -> tuple[Array, Array]:
    """Return a point (3,) and the level unit direction (3,) along which the structure is drawn.

    Ahead along the mean azimuth of the segments.
    """
    ahead = np.mean(
        [[np.sin(s.azimuth), np.cos(s.azimuth), 0.0] for s in report.job.segments.values()], axis=0
    )
    nodes = np.array([n.position for n in report.solved.mesh.system.nodes.values()])
    unit = ahead / np.linalg.norm(ahead)
    return nodes[int(np.argmin(nodes @ unit))], unit


def bent(beam: Beam, ends: Array, loaded: bool) -> tuple[Array, Array]:
    """Return places along a beam and their shifts, from the motions of its nodes.

    The cubic through both ends with their turns, the bent line of an unloaded beam.

    Parameters
    ----------
    beam : Beam
    ends : Array (12,)
        Shift [m] and turn [rad] of the node at its start, then of the one at its end, in the grid.
    loaded : bool
        Add what its even load does to a beam held at both ends.

    Returns
    -------
    places, shifts : Array (k, 3)
        Evenly spaced along the beam before it bends [m], and how each moves [m], in the grid.
    """
    u = (beam.to_ends @ ends).reshape(4, 3)
    start = beam.start + beam.member.offset_i
    t = np.linspace(0.0, 1.0, _STEPS)[:, None]
    shape = [1 - 3 * t**2 + 2 * t**3, t - 2 * t**2 + t**3, 3 * t**2 - 2 * t**3, t**3 - t**2]
    L = beam.length
    # along y turns about z go with the slope; along z turns about y go against it
    slope_i = np.array([0.0, u[1, 2], -u[1, 1]]) * L
    slope_j = np.array([0.0, u[3, 2], -u[3, 1]]) * L
    local = shape[0] * u[0] + shape[1] * slope_i + shape[2] * u[2] + shape[3] * slope_j
    if loaded:
        local = local + _under_load(beam, t)
    return start + t * L * beam.axes[0], local @ beam.axes


def _under_load(beam: Beam, t: Array) -> Array:
    """Shifts (k, 3) in a beam's own axes at shares t (k, 1) of its length, both ends held."""
    m, L, q = beam.member, beam.length, beam.axes @ beam.load
    bending = np.array([0.0, q[1] / m.Iz, q[2] / m.Iy]) * L**4 / (24.0 * m.E)
    shear = np.array([0.0, q[1] / m.Asy, q[2] / m.Asz]) * L**2 / (2.0 * m.G)
    return t**2 * (1 - t) ** 2 * bending + t * (1 - t) * shear


def _lines(
    report: FrameReport, motions: Array, *, loaded: bool = False
) -> Iterator[tuple[Array, Array]]:
    numbers = report.solved.mesh.system.numbers
    for pieces in report.solved.mesh.pieces.values():
        for beam in pieces:
            yield bent(beam, motions[numbers(beam)], loaded)


def _cables(report: FrameReport, motions: Array) -> Iterator[tuple[Array, Array]]:
    """Both ends (2, 3) of every cable and their shifts (2, 3)."""
    system = report.solved.mesh.system
    for cable in cables_of(system):
        yield cable.ends, motions[system.numbers(cable)].reshape(2, 3)


def nice_factor(largest: float, room: float) -> int:
    """Return 1, 2 or 5 times a power of ten: the greatest that keeps a movement within room.

    Parameters
    ----------
    largest : float
        The movement as it is [m]; at zero or below the factor is 1.
    room : float
        How large it may be drawn [m]; a movement that is larger as it is has the factor 1.

    Examples
    --------
    >>> nice_factor(0.003, 7.2)
    2000
    """
    if largest <= 0.0:
        return 1
    raw = max(room / largest, 1.0)
    power = 10 ** int(np.floor(np.log10(raw)))
    return int(power * max(k for k in (1, 2, 5) if k * power <= raw))


def shape_figure(report: FrameReport) -> Figure:
    """Draw the structure from the right side as it is without load and under its loads."""
    origin, unit = along_deck(report)
    # cables hang as they are found; a frame without is drawn on seats that all carry
    motions = report.solved.still if report.hung is None else report.solved.about
    lines = list(_lines(report, motions, loaded=True))
    length = max(float(((place - origin) @ unit).max()) for place, _ in lines)
    largest = max(float(np.linalg.norm(s, axis=1).max()) for _, s in lines)
    factor = nice_factor(largest, _LARGEST * length)
    figure, axes = _side_view(2.6)
    for place, shift in lines:
        x, z = (place - origin) @ unit, place[:, 2]
        axes.plot(x, z, "-", color="0.6", lw=0.8, zorder=1)
        moved = place + factor * shift
        axes.plot((moved - origin) @ unit, moved[:, 2], "-", color="black", lw=1.6, zorder=3)
    for place, shift in _cables(report, motions):
        moved = place + factor * shift
        axes.plot((moved - origin) @ unit, moved[:, 2], "-", color="black", lw=0.6, zorder=2)
    _seats_on(axes, report, origin, unit)
    _title(
        axes,
        f"Under its loads: grey without, black with movements {factor} times as large "
        f"(largest {_units(report).move.text(largest)})",
    )
    return figure


def loads_figure(report: FrameReport) -> Figure:
    """Draw the load of every seat along the deck; an open seat says by how much."""
    origin, unit = along_deck(report)
    units = _units(report)
    figure, axes = _side_view(2.8)
    seats = sorted(report.seats, key=lambda s: _at(report, s.seat, origin, unit))
    size = max((abs(s.reaction) for s in seats), default=1.0) or 1.0
    for i, seat in enumerate(seats):
        axes.bar(
            i,
            seat.reaction / size,
            width=0.6,
            color="0.75" if seat.measured else "white",
            edgecolor="black",
            hatch="" if seat.measured else "///",
        )
        word = (
            units.force.text(seat.reaction)
            if seat.carries
            else f"OPEN {units.move.text(seat.opening)}"
        )
        axes.text(i, max(seat.reaction / size, 0.0) + 0.03, word, ha="center", fontsize=6.5)
    axes.set_xticks(range(len(seats)), [s.seat for s in seats], rotation=60, ha="right", fontsize=7)
    axes.set_yticks([])
    axes.set_ylim(min(0.0, *(s.reaction / size for s in seats)) - 0.05, 1.2)
    axes.axhline(0.0, color="black", lw=0.8)
    _title(axes, "Present loads, back to ahead: grey measured, hatched computed")
    return figure


def move_figure(report: FrameReport, seat: str) -> Figure:
    """Draw what a move of one seat does: the deck's height along its length, and the loads.

    Parameters
    ----------
    report : FrameReport
    seat : str
        One of ``report.influence.seats``.
    """
    origin, unit = along_deck(report)
    units = _units(report)
    step = units.move.back(1.0 if units.name == "metric" else 0.1)
    column = report.influence.seats.index(seat)
    figure = Figure(figsize=(7.1, 4.2))
    upper, lower = figure.subplots(2, 1, height_ratios=[1.2, 1.0])
    motions = (
        report.solved.moves
        @ report.lifting.contact.tangent(np.array([s.carries for s in report.seats]))[:, column]
    )
    for place, shift in _lines(report, motions):
        upper.plot((place - origin) @ unit, shift[:, 2], "-", color="black", lw=1.6)
    upper.axhline(0.0, color="0.6", lw=0.8)
    at = _at(report, seat, origin, unit)
    upper.plot([at, at], [0.0, 1.0], ":", color="black", lw=0.8)
    upper.plot(at, 1.0, "^", color="black", ms=6)
    upper.set_ylabel(f"rise for {units.move.text(step)} [{units.move.word}]", fontsize=7)
    upper.set_yticks([0.0, 0.5, 1.0], [units.move.text(v * step, unit=False) for v in (0, 0.5, 1)])
    _title(upper, f"What moving {seat} by {units.move.text(step)} does: height along the deck")
    _load_arrows(lower, report, column, step, units)
    figure.tight_layout()
    return figure


def _load_arrows(
    axes: Any, report: FrameReport, column: int, step: float, units: DisplayUnits
) -> None:
    origin, unit = along_deck(report)
    change = report.influence.R[:, column] * step
    order = np.argsort(
        [_at(report, s, origin, unit) for s in report.influence.seats], kind="stable"
    )
    size = float(np.abs(change).max()) or 1.0
    for i, k in enumerate(order):
        value = float(change[k])
        axes.bar(
            i,
            value / size,
            width=0.6,
            color="0.75" if value > 0.0 else "white",
            edgecolor="black",
            hatch="" if value > 0.0 else "...",
        )
        number = units.force.number(value)
        word = "-" if number == 0.0 else f"{'more' if value > 0 else 'less'} {abs(number):g}"
        axes.text(i, value / size + (0.06 if value >= 0.0 else -0.2), word, ha="center", fontsize=6)
    names = [report.influence.seats[k] for k in order]
    axes.set_xticks(range(len(names)), names, rotation=60, ha="right", fontsize=7)
    axes.set_yticks([])
    axes.set_ylim(-1.35, 1.35)
    axes.axhline(0.0, color="black", lw=0.8)
    _title(axes, f"Change of loads [{units.force.word}]: grey more, dotted less")


def carries_figure(report: FrameReport) -> Figure:
    """Draw the seats from above: which carry, and how far the structure has left the others."""
    origin, unit = along_deck(report)
    units = _units(report)
    left = np.array([-unit[1], unit[0], 0.0])
    assert report.job.frame is not None
    figure = Figure(figsize=(7.1, 2.3))
    axes = figure.add_axes((0.03, 0.05, 0.94, 0.8))
    for member in report.solved.mesh.pieces.values():
        for a, b in pairwise([member[0].start, *(beam.end for beam in member)]):
            ends = np.array([a, b]) - origin
            axes.plot(ends @ unit, ends @ left, "-", color="0.7", lw=3.0, zorder=1)
    length = max(float((n.position - origin) @ unit) for n in report.job.frame.nodes.values())
    last = {True: (-np.inf, 0), False: (-np.inf, 0)}
    for seat in sorted(report.seats, key=lambda s: _at(report, s.seat, origin, unit)):
        place = report.job.seats[seat.seat].position - origin
        x, y = float(place @ unit), float(place @ left)
        # a name that would meet the one before it goes a row further out
        before, row = last[y >= 0.0]
        row = (row + 1) % 3 if x - before < _NAME * length else 0
        last[y >= 0.0] = x, row
        face = "black" if seat.carries else "white"
        axes.plot(x, y, "s", ms=7, mfc=face, mec="black", mew=1.0, zorder=3)
        word = seat.seat if seat.carries else f"{seat.seat} open {units.move.text(seat.opening)}"
        side = (7 + 9 * row) * (1 if y >= 0.0 else -1)
        axes.annotate(
            word,
            (x, y),
            (0, side),
            textcoords="offset points",
            ha="center",
            va="bottom" if side > 0 else "top",
            fontsize=6,
        )
    axes.set_axis_off()
    axes.margins(0.05, 0.6)
    _title(
        axes, "Seats from above, ahead to the right, LEFT at the top: filled carries, open does not"
    )
    return figure


def _units(report: FrameReport) -> DisplayUnits:
    return DISPLAY[report.job.units]


def _at(report: FrameReport, seat: str, origin: Array, unit: Array) -> float:
    return float((report.job.seats[seat].position - origin) @ unit)


def _side_view(height: float) -> tuple[Figure, Any]:
    figure = Figure(figsize=(7.1, height))
    axes = figure.add_axes((0.05, 0.28, 0.92, 0.6))
    return figure, axes


def _seats_on(axes: Any, report: FrameReport, origin: Array, unit: Array) -> None:
    for seat in report.seats:
        place = report.job.seats[seat.seat].position
        face = "black" if seat.carries else "white"
        at = float((place - origin) @ unit)
        axes.plot(at, place[2], "^", ms=5, mfc=face, mec="black", zorder=4)
    axes.set_yticks([])
    axes.set_xlabel("along the deck, going ahead [m]", fontsize=7)
    axes.margins(0.02, 0.25)


def _title(axes: Any, text: str) -> None:
    axes.set_title(text, fontsize=7.5, loc="left")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
