"""A published space frame.

D. L. Logan, A First Course in the Finite Element Method, 4th edition, Thomson 2007, example 5.8:
three members at right angles that meet in a loaded node; kip and inch, which no equation minds.
The published displacements have three or four digits; the six-digit figures are their exact
solution, computed once by an independent program and agreeing with the book to its last digit.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitup.model.frame import Member, Node
from fitup.structure.frame.assemble import System, stacked
from fitup.structure.frame.beam import Beam
from fitup.structure.frame.solve import factorise

PUBLISHED = [7.098e-5, -0.014, -2.352e-3, -3.996e-3, 1.78e-5, -1.033e-4]
EXACT = [7.098258e-5, -1.399513e-2, -2.351889e-3, -3.996090e-3, 1.780069e-5, -1.033429e-4]


def test_logan_example_5_8():
    held = frozenset(range(6))
    nodes = {
        "N1": Node("N1", np.zeros(3)),
        "N2": Node("N2", np.array([-100.0, 0.0, 0.0]), held),
        "N3": Node("N3", np.array([0.0, 0.0, -100.0]), held),
        "N4": Node("N4", np.array([0.0, -100.0, 0.0]), held),
    }
    ups = {"N2": [0.0, 1.0, 0.0], "N3": [0.0, 1.0, 0.0], "N4": [0.0, 0.0, 1.0]}
    beams = []
    for far, up in ups.items():
        section = (30e3, 10e3, 10.0, 100.0, 100.0, 50.0, np.inf, np.inf, np.array(up))
        member = Member(far, far, "N1", *section)
        beams.append(Beam(member, nodes[far].position, nodes["N1"].position, np.zeros(3)))
    loads = stacked(nodes, {"N1": np.array([0.0, -50.0, 0.0, -1000.0, 0.0, 0.0])})
    system = System(nodes, tuple(beams), (), loads)
    _, tangent = system.assemble()
    q = factorise(system.reduced(tangent)).solve(system.spread.T @ loads)
    assert q == pytest.approx(EXACT, rel=1e-6)
    # the book prints to three significant figures at the least
    assert q == pytest.approx(PUBLISHED, rel=4e-3)


def test_logan_grid_of_two_members() -> None:
    """Logan's example 5.4 (figures from memory): a grid of three members under 100 kip; kip, inch.

    Published to three figures: deflection 2.83 in, turns 0.0295 and 0.0169 rad.
    """
    held = frozenset(range(6))
    nodes = {"1": Node("1", np.zeros(3))}
    beams = []
    for name, place in {"2": (-240, 120), "3": (-240, -120), "4": (0, -120)}.items():
        nodes[name] = Node(name, np.array([*place, 0.0], dtype=float), held)
        up = np.array([0.0, 0.0, 1.0])
        section = (30e3, 12e3, 1e6, 400.0, 400.0, 110.0, np.inf, np.inf, up)
        member = Member(name, name, "1", *section)
        beams.append(Beam(member, nodes[name].position, nodes["1"].position, np.zeros(3)))
    loads = stacked(nodes, {"1": np.array([0.0, 0.0, -100.0, 0.0, 0.0, 0.0])})
    system = System(nodes, tuple(beams), (), loads)
    _, tangent = system.assemble()
    q = factorise(system.reduced(tangent)).solve(system.spread.T @ loads)
    assert q[2] == pytest.approx(-2.824945, rel=1e-6)
    assert sorted(np.abs(q[3:5])) == pytest.approx([0.016891, 0.029462], rel=3e-5)
    assert q[2] == pytest.approx(-2.83, rel=3e-3)


def test_space_truss_of_bedford_and_fowler() -> None:
    """A. Bedford and W. Fowler, Engineering Mechanics: Statics, problem 6.64.

    Bars AB, AC, AD hang joint A out from the plate BCDE, statically determinate where it counts;
    the book prints the axial forces BC 32.7, BD 45.2 and BE -112.1 to one decimal. Members are
    released at both ends so that they carry axial force only.
    """
    places = {
        "A": (1.1, -0.4, 0.0),
        "B": (1.0, 0.0, 0.0),
        "C": (0.0, 0.0, 0.6),
        "D": (0.0, 0.0, -0.4),
        "E": (0.0, 0.8, 0.0),
    }
    turns, all_of_them = frozenset({3, 4, 5}), frozenset(range(6))
    nodes = {
        n: Node(n, np.array(p), turns if n in "AB" else all_of_them) for n, p in places.items()
    }
    pinned = frozenset({4, 5, 10, 11})
    beams = {}
    for name in ("AB", "AC", "AD", "BC", "BD", "BE"):
        i, j = name
        up = np.array([0.3, 0.2, 1.0])
        section = (200e6, 80e6, 1e-3, 1e-6, 1e-6, 1e-6, np.inf, np.inf, up)
        member = Member(name, i, j, *section, releases=pinned)
        beams[name] = Beam(member, nodes[i].position, nodes[j].position, np.zeros(3))
    loads = stacked(nodes, {"A": np.array([10.0, 60.0, 20.0, 0.0, 0.0, 0.0])})
    system = System(nodes, tuple(beams.values()), (), loads)
    _, tangent = system.assemble()
    motions = system.spread @ factorise(system.reduced(tangent)).solve(system.spread.T @ loads)
    still = np.zeros(12)
    axial = {n: (b.end_forces_by(still) @ motions[system.numbers(b)])[6] for n, b in beams.items()}
    exact = {"BC": 32.653, "BD": 45.235, "BE": -112.055}
    assert {n: axial[n] for n in exact} == pytest.approx(exact, abs=6e-4)
    published = {"BC": 32.7, "BD": 45.2, "BE": -112.1}
    assert {n: axial[n] for n in published} == pytest.approx(published, abs=0.05)
