"""Tensions and saddles of a frame that stands: what they are now, and how they answer to seats."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitup.frames import Array
from fitup.model import ForceRow
from fitup.model.cables import FrameCable, FrameSaddle
from fitup.structure.cable.element import CableElement
from fitup.structure.cable.saddle import Grip, grip_of, grip_rows
from fitup.structure.equilibrium import cables_of
from fitup.structure.frame.solved import SolvedFrame


@dataclass(frozen=True, eq=False)
class Pulled:
    """A tension at one end of a cable, linear about the state of ``SolvedFrame``.

    Parameters
    ----------
    now : float
        In that state [N].
    row : Array (s,)
        Change for a unit effective move of every seat [N/m].
    """

    now: float
    row: Array


def cables_by_id(solved: SolvedFrame) -> dict[str, CableElement]:
    """Return the cables of a frame by name."""
    return {cable.id: cable for cable in cables_of(solved.mesh.system)}


def pulled(solved: SolvedFrame, cable: CableElement, node: str) -> Pulled:
    """Return the tension of a cable at the end at a node.

    Parameters
    ----------
    solved : SolvedFrame
    cable : CableElement
        An element of the solved frame.
    node : str
        Node of one of its ends.
    """
    numbers = solved.mesh.system.numbers(cable)
    now, by_motion, by_drawing = cable.end_tension(solved.about[numbers], node)
    row = by_motion @ solved.moves[numbers]
    for i, foot in enumerate(solved.seats):
        if foot is cable:
            row[i] += by_drawing
    return Pulled(now, row)


def tension_force(solved: SolvedFrame, own: FrameCable, present: Array) -> ForceRow:
    """Return the tension of a cable at its adjusted end, with its limits.

    Parameters
    ----------
    solved : SolvedFrame
    own : FrameCable
    present : Array (s,)
        Effective moves of the seats in the surveyed state [m].
    """
    end = pulled(solved, cables_by_id(solved)[own.id], own.j)
    now = end.now + float(end.row @ (present - solved.at))
    return ForceRow(
        f"cable/{own.id}", "force", ("tension", "compression"), now, end.row, own.least, own.most
    )


def grip_now(solved: SolvedFrame, saddle: FrameSaddle) -> Grip:
    """Return how the cables grip a saddle in the state of ``SolvedFrame``.

    Parameters
    ----------
    solved, saddle
    """
    cables = cables_by_id(solved)
    pulls = [_away(solved, cables[name], saddle.node) for name in (saddle.back, saddle.ahead)]
    return grip_of(saddle.id, pulls[0], pulls[1], saddle.friction)


def grip_forces(
    solved: SolvedFrame, saddle: FrameSaddle, present: Array
) -> tuple[ForceRow, ForceRow]:
    """Return what friction still holds at a saddle before the cable slips to either side.

    Parameters
    ----------
    solved, saddle
    present : Array (s,)
        Effective moves of the seats in the surveyed state [m].

    Returns
    -------
    tuple of two ForceRow
        For slipping back and ahead: what is spare [N], not to go below zero.
    """
    cables = cables_by_id(solved)
    ends = [pulled(solved, cables[name], saddle.node) for name in (saddle.back, saddle.ahead)]
    rows = grip_rows(grip_now(solved, saddle), (ends[0].row, ends[1].row))
    result = []
    for side, row in zip(("back", "ahead"), rows, strict=True):
        spare = float(row[-1] - row[:-1] @ (present - solved.at))
        words = ("friction holds", "slips by")
        name = f"saddle/{saddle.id}/{side}"
        result.append(ForceRow(name, "force", words, spare, -row[:-1], 0.0, np.inf))
    return result[0], result[1]


def _away(solved: SolvedFrame, cable: CableElement, node: str) -> Array:
    """Pull (3,) of a cable on a node [N]."""
    pull = cable.pull(solved.about[solved.mesh.system.numbers(cable)])
    return -pull.at_j if node == cable.nodes[1] else pull.at_i
