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
