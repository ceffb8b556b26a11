"""From the tables of cables and saddles to elements and seats of a frame."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from fitup.frames import Array
from fitup.model import Seat
from fitup.model.cables import FrameCable, FrameSaddle
from fitup.model.frame import FrameModel, Node
from fitup.structure.cable.catenary import Cable
from fitup.structure.cable.element import CableElement, cut_for
from fitup.structure.cable.pair import PairSpring

#: what guides a saddle across its slide is so much stiffer than its pack
_GUIDE = 100.0
_TURNS = frozenset({3, 4, 5})


def cable_element(own: FrameCable, nodes: Mapping[str, Node]) -> CableElement:
    """Return the element of a cable, cut to its tension where no length is given.

    Parameters
    ----------
    own : FrameCable
    nodes : mapping of str to Node
        By id, the nodes of its two ends among them.

    Raises
    ------
    StructureError
        If no length with the given tension is found: its own weight pulls more, or the tension is
        not above zero.
    """
    ends = np.array([nodes[own.i].position, nodes[own.j].position])
    chord = float(np.linalg.norm(ends[1] - ends[0]))
    length = chord if own.length is None else own.length
    cable = Cable(own.id, length, own.EA, own.weight, own.strain)
    element = CableElement(cable, own.form, (own.i, own.j), ends)
    return element if own.tension is None else cut_for(element, own.tension)


def cables_without_seat(model: FrameModel) -> Iterator[CableElement]:
    """Yield the elements of the cables that no seat shortens."""
    for own in model.cables.values():
        if own.seat is None:
            yield cable_element(own, model.nodes)


def saddle_guides(model: FrameModel, seats: Sequence[Seat]) -> Iterator[CableElement | PairSpring]:
    """Yield what holds each sliding saddle across its slide: two stiff springs.

    Parameters
    ----------
    model : FrameModel
    seats : sequence of Seat
        Those of the sliding saddles among them; a guide is 100 times as stiff as its saddle's seat.

    Yields
    ------
    CableElement or PairSpring
        Two springs for each saddle, at right angles to its seat's direction.
    """
    by_id = {seat.id: seat for seat in seats}
    for saddle in model.saddles.values():
        if saddle.seat is None or saddle.on is None:
            continue
        seat = by_id[saddle.seat]
        arm = _arm(model, saddle)
        first = np.cross(seat.direction, [0.0, 0.0, 1.0])
        if np.linalg.norm(first) < 1e-6:
            first = np.array([1.0, 0.0, 0.0])
        first = first / np.linalg.norm(first)
        for across in (first, np.cross(seat.direction, first)):
            yield PairSpring(
                f"guide of saddle {saddle.id}",
                saddle.node,
                saddle.on,
                arm,
                across,
                _GUIDE * seat.stiffness,
            )


def foot_of_cable_or_saddle(model: FrameModel, seat: Seat) -> CableElement | PairSpring | None:
    """Return the cable that a seat shortens or the pack of its saddle.

    Parameters
    ----------
    model, seat

    Returns
    -------
    CableElement or PairSpring or None
        None where the seat has to do with neither.
    """
    for cable in model.cables.values():
        if cable.seat == seat.id:
            return cable_element(cable, model.nodes)
    for saddle in model.saddles.values():
        if saddle.seat == seat.id and saddle.on is not None:
            arm = _arm(model, saddle)
            return PairSpring(seat.id, saddle.node, saddle.on, arm, seat.direction, seat.stiffness)
    return None


def _arm(model: FrameModel, saddle: FrameSaddle) -> Array:
    assert saddle.on is not None
    return model.nodes[saddle.node].position - model.nodes[saddle.on].position


def hung_nodes(model: FrameModel) -> set[str]:
    """Return the nodes of cables that nothing else turns: a cable resists no turn."""
    hung = {node for cable in model.cables.values() for node in (cable.i, cable.j)}
    turned = {node for member in model.members.values() for node in (member.i, member.j)}
    turned |= {node for body in model.bodies.values() for node in body.nodes}
    turned |= {s.on for s in model.saddles.values() if s.on is not None}
    for spring in model.springs.values():
        if spring.turns:
            turned |= {spring.node, spring.other or spring.node}
    return hung - turned


def without_turns(model: FrameModel) -> dict[str, Node]:
    """Return the nodes with the turns of hung ones held."""
    hung = hung_nodes(model)
    return {
        name: replace(node, fixed=node.fixed | _TURNS) if name in hung else node
        for name, node in model.nodes.items()
    }
