"""Towers held off plumb, tensions to be brought right, and the cables and saddles of a frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Lean:
    """How far the head of a tower stands ahead of its foot.

    Parameters
    ----------
    id : str
        Name of the tower.
    head, foot : str
        Check points of one segment.
    target : float
        What it should be at this stage of the work, ahead positive [m].
    source : str
        Where that is written.
    """

    id: str
    head: str
    foot: str
    target: float
    source: str


@dataclass(frozen=True, slots=True)
class Tension:
    """A cable whose tension was measured.

    Parameters
    ----------
    id : str
        Name of the cable.
    value, u : float
        Tension at the survey, and its standard uncertainty [N].
    target : float, optional
        What it should be at this stage of the work [N]; None: only shown.
    how : str
        The tool: load cell, gauge at the jack, frequency.
    """

    id: str
    value: float
    u: float
    target: float | None
    how: str


@dataclass(frozen=True, slots=True)
class FrameCable:
    """A cable, hanger or stay between two nodes of a frame.

    Parameters
    ----------
    id, i, j : str
        Name and nodes; end j is the anchorage that is adjusted and where tension is read.
    form : {'catenary', 'straight'}
        Hung under its own weight, or an elastic line that goes slack.
    EA : float
        Axial stiffness [N].
    weight : float
        Per unstressed length [N/m].
    length : float, optional
        Unstressed length at the reference temperature [m].
    tension : float, optional
        At end j with both ends where the tables put them [N]; one of length and tension.
    strain : float
        Thermal strain at the survey.
    seat : str, optional
        Seat whose shim or nut draws end j out.
    least, most : float
        What its tension may be in every state [N].
    expansion : float
        Coefficient of thermal expansion [1/K].
    """

    id: str
    i: str
    j: str
    form: Literal["catenary", "straight"]
    EA: float
    weight: float
    length: float | None
    tension: float | None
    strain: float = 0.0
    seat: str | None = None
    least: float = 0.0
    most: float = float("inf")
    expansion: float = 0.0


@dataclass(frozen=True, slots=True)
class FrameSaddle:
    """A saddle that a jacked pack pushes along a structure.

    Parameters
    ----------
    id : str
    node : str
        Where the cables meet on the saddle.
    on : str
        Node of the structure it slides on.
    seat : str, optional
        Seat whose pack sets it; its direction is the one it slides in.
    back, ahead : str
        Cables on either side.
    friction : float
        Coefficient of friction between cable and saddle to rely on.
    """

    id: str
    node: str
    on: str
    seat: str | None
    back: str
    ahead: str
    friction: float
