"""Towers held off plumb, tensions to be brought right, and the cables and saddles of a frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final, Literal

from fitup.model.column import column

_STAGE: Final = column("text", "the stage of the work it is for; empty: every stage")
_EXPANSION: Final = column(
    "expansion",
    "its thermal expansion coefficient",
    name="expansion",
    default=0.0,
    least=0.0,
    most=5e-5,
)


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
    stage : str, optional
        Of the work, as ``job.toml`` names it; None: every stage.
    """

    id: Annotated[str, column("id", "a name for the tower")]
    head: Annotated[str, column("id", "the check point at its head")]
    foot: Annotated[str, column("id", "the check point at its foot, on the same segment")]
    target: Annotated[
        float,
        column(
            "length",
            "how far off plumb it should be now, without a sign",
            name="amount",
            least=0.0,
        ),
        column(
            "word",
            "to which side",
            "; `plumb` with an amount of 0",
            name="side",
            words=("ahead", "back", "plumb"),
        ),
    ]
    source: Annotated[str, column("text", "where that is written")]
    stage: Annotated[str | None, _STAGE] = None


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
    stage : str, optional
        Of the work, as ``job.toml`` names it; None: every stage.
    """

    id: Annotated[str, column("id", "the cable")]
    value: Annotated[
        float,
        column(
            "force",
            "its tension at the survey",
            ", at the end that is adjusted",
            name="tension",
            above=0.0,
        ),
    ]
    u: Annotated[float, column("force", "the standard uncertainty of that", above=0.0)]
    target: Annotated[
        float | None,
        column(
            "force",
            "the tension it should have now",
            "; without it the tension is only shown",
            default=None,
            above=0.0,
        ),
    ]
    how: Annotated[
        str, column("text", "the tool, e.g. load cell", ", gauge at the jack or frequency")
    ]
    stage: Annotated[str | None, _STAGE] = None


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

    id: Annotated[str, column("id", "a name for the cable", ", as in `tensions.csv`")]
    i: Annotated[str, column("id", "the node at its far end")]
    j: Annotated[str, column("id", "the node at the end that is adjusted")]
    form: Annotated[
        Literal["catenary", "straight"],
        column("word", "how it hangs", default="catenary", words=("catenary", "straight")),
    ]
    EA: Annotated[
        float,
        column("modulus", "its modulus of elasticity", name="E", least=1e9, most=1e12),
        column("area", "its metallic area", name="area", above=0.0),
    ]
    weight: Annotated[
        float, column("line_load", "its weight per unstressed length", least=0.0, most=2e5)
    ]
    length: Annotated[
        float | None,
        column(
            "length",
            "its unstressed length at the reference temperature",
            "; this or `tension`",
            default=None,
            above=0.0,
        ),
    ]
    tension: Annotated[
        float | None,
        column("force", "its tension with both ends where frame_nodes.csv puts them", default=None),
    ]
    strain: Annotated[
        float,
        _EXPANSION,
        column(
            "temperature_step",
            "by how much it is warmer than the reference",
            name="warmer",
            default=0.0,
        ),
    ] = 0.0
    seat: Annotated[str | None, column("id", "the seat whose shim or nut shortens it")] = None
    least: Annotated[
        float,
        column("force", "the least tension", " in any state", name="tension_least", least=0.0),
    ] = 0.0
    most: Annotated[
        float,
        column("force", "the greatest tension", " in any state", name="tension_most", above=0.0),
    ] = float("inf")
    expansion: Annotated[float, _EXPANSION] = 0.0


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

    id: Annotated[str, column("id", "a name for the saddle")]
    node: Annotated[str, column("id", "the node where the cables meet on it")]
    on: Annotated[
        str | None,
        column(
            "id",
            "the node of the structure it slides on",
            "; empty with `seat`: it is fixed",
            default=None,
        ),
    ]
    seat: Annotated[str | None, column("id", "the seat whose pack pushes it", default=None)]
    back: Annotated[str, column("id", "the cable on its back side")]
    ahead: Annotated[str, column("id", "the cable on its ahead side")]
    friction: Annotated[
        float,
        column("number", "the friction to rely on, its reserve taken off", above=0.0, most=1.0),
    ]
