"""Structures with cables at rest: large movement, slack cables, and what is said of no rest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.errors import StructureError
from fitup.model.frame import Node
from fitup.structure.cable.catenary import Cable
from fitup.structure.cable.element import CableElement
from fitup.structure.equilibrium import cables_of, come_to_rest
from fitup.structure.frame.assemble import System, stacked

HELD, NO_TURN = frozenset(range(6)), frozenset({3, 4, 5})


def main_cable(longer: float, *, sag: float = 0.0, load: float = 5e5, pieces: int = 10) -> System:
    """A cable over 300 m in pieces, drawn with a sag, each piece longer than drawn by a share."""
    x = np.linspace(0.0, 300.0, pieces + 1)
    z = -4.0 * sag * (x / 300.0) * (1.0 - x / 300.0)
    nodes = {
        f"C{i}": Node(f"C{i}", np.array([x[i], 0.0, z[i]]), HELD if i in {0, pieces} else NO_TURN)
        for i in range(pieces + 1)
    }
    cables = []
    for i in range(pieces):
        ends = np.array([nodes[f"C{i}"].position, nodes[f"C{i + 1}"].position])
        length = float(np.linalg.norm(ends[1] - ends[0])) * longer
        cables.append(CableElement(Cable(f"M{i + 1}", length, 5e9, 3000.0), "catenary",
                                   (f"C{i}", f"C{i + 1}"), ends))  # fmt: skip
    hung = {f"C{i}": [0.0, 0.0, -load, 0.0, 0.0, 0.0] for i in range(1, pieces)}
    return System(nodes, tuple(cables), (), stacked(nodes, hung))


@pytest.mark.parametrize(("longer", "sag"), [(1.0, 30.0), (1.01, 30.0), (1.05, 30.0), (1.0, 0.0),
                                             (1.003, 0.0), (1.05, 0.0), (0.99, 0.0)])  # fmt: skip
def test_main_cable_comes_to_rest_however_it_is_drawn(longer, sag):
    system = main_cable(longer, sag=sag)
    rest = come_to_rest(system)
    forces, _ = system.assemble(rest.motions)
    off = system.spread.T @ (forces - system.loads)
    assert np.abs(off).max() < 0.1
    # the ends carry all loads and all weight
    weight = sum(c.cable.weight * c.cable.length for c in cables_of(system))
    assert forces[2] + forces[-4] == pytest.approx(weight + 9 * 5e5, rel=1e-9)
    # level pull is the same throughout
    level = [abs(c.pull(rest.own(c)).at_i[0]) for c in cables_of(system)]
    assert level == pytest.approx([level[0]] * len(level), rel=1e-6)


def test_rest_does_not_hang_on_where_the_search_begins():
    system = main_cable(1.01, sag=30.0)
    first = come_to_rest(system)
    start = first.motions + 0.5 * np.cos(np.arange(system.size)) * (system.loads != 0.0)
    assert come_to_rest(system, start).motions == pytest.approx(first.motions, abs=1e-6)
    # begun at rest, nothing is left to do
    assert come_to_rest(system, first.motions).steps == 0


def test_answer_is_the_slope_of_the_rest():
    system = main_cable(1.0, sag=30.0)
    rest = come_to_rest(system)
    push = stacked(system.nodes, {"C3": [0.0, 0.0, -1.0, 0.0, 0.0, 0.0]})
    h = 100.0
    more = come_to_rest(replace(system, loads=system.loads + h * push), rest.motions)
    less = come_to_rest(replace(system, loads=system.loads - h * push), rest.motions)
    slope = (more.motions - less.motions) / (2.0 * h)
    assert rest.answer(push) == pytest.approx(slope, rel=1e-4, abs=1e-4 * np.abs(slope).max())


def test_drawing_one_piece_moves_what_the_tangent_says():
    system = main_cable(1.0, sag=30.0)
    rest = come_to_rest(system)
    third = system.elements[2]
    assert isinstance(third, CableElement)
    change = np.zeros(system.size)
    change[system.numbers(third)] = third.by_moving(rest.own(third))
    h = 0.001
    cut = (*system.elements[:2], third.moved(h), *system.elements[3:])
    moved = come_to_rest(replace(system, elements=cut), rest.motions).motions - rest.motions
    # a millimetre of 30 m: what the tangent leaves out is below a thousandth of it
    expected = -rest.answer(change) * h
    assert moved == pytest.approx(expected, abs=1e-3 * np.abs(expected).max())


def test_a_node_that_nothing_holds_is_named():
    system = main_cable(1.0, sag=30.0)
    loose = Node("X", np.array([10.0, 0.0, 5.0]), NO_TURN)
    nodes = {**system.nodes, "X": loose}
    with pytest.raises(StructureError) as caught:
        come_to_rest(System(nodes, system.elements, (), np.zeros(6 * len(nodes))))
    assert str(caught.value) == (
        "nothing resists it when node X moves east or west: the structure is a mechanism there, or "
        "a cable that should hold it is slack; add what holds it, or correct the cable's tension"
    )


def test_what_to_look_at_when_no_rest_is_found(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("fitup.structure.equilibrium.MOST_STEPS", 1)
    with pytest.raises(StructureError) as caught:
        come_to_rest(main_cable(1.0, sag=30.0))
    text = str(caught.value)
    assert text.startswith("no equilibrium found in 1 steps: node C")
    assert (
        "from where the tables put it. Look at the tensions or unstressed lengths of cables M"
        in text
    )
    assert text.endswith("at it, and at the loads, units first")
