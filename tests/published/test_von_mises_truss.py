"""The shallow two-bar truss that snaps through.

R. von Mises, Über die Stabilitätsprobleme der Elastizitätstheorie, Zeitschrift für angewandte
Mathematik und Mechanik 3 (1923) 406-422. With engineering strain, rise h = 100, half span b = 1000
and EA = 1e6 in any units, L0 its bars, l^2 = b^2 + (h - w)^2, P = 2 EA (h - w)/L0 (L0/l - 1);
its limit is at w = h - b sqrt((L0/b)^(2/3) - 1). The figures are this closed form, and agree to
3e-11 with a general program for large displacements.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitup.errors import StructureError
from fitup.model.frame import Node
from fitup.structure.cable.catenary import Cable
from fitup.structure.cable.element import CableElement
from fitup.structure.equilibrium import come_to_rest
from fitup.structure.frame.assemble import System, stacked

LENGTH = float(np.hypot(1000.0, 100.0))
HELD, UPWARD_ONLY = frozenset(range(6)), frozenset({0, 1, 3, 4, 5})


def truss(load: float) -> System:
    nodes = {
        "L": Node("L", np.array([-1000.0, 0.0, 0.0]), HELD),
        "top": Node("top", np.array([0.0, 0.0, 100.0]), UPWARD_ONLY),
        "R": Node("R", np.array([1000.0, 0.0, 0.0]), HELD),
    }
    bars = [
        CableElement(Cable(i, LENGTH, 1e6, 0.0), "straight", (i, "top"),
                     np.array([nodes[i].position, nodes["top"].position]), pushes=True)
        for i in ("L", "R")
    ]  # fmt: skip
    return System(nodes, tuple(bars), (), stacked(nodes, {"top": [0.0, 0.0, -load, 0, 0, 0]}))


def held(down: float) -> float:
    system = truss(0.0)
    u = np.zeros(system.size)
    u[8] = -down
    return -float(system.assemble(u)[0][8])


@pytest.mark.parametrize(("down", "load"), [(10.0, 168.70475), (42.360747, 381.087190),
                                            (100.0, 0.0), (150.0, -371.51487)])  # fmt: skip
def test_path(down, load):
    assert held(down) == pytest.approx(load, rel=1e-7, abs=1e-6)


def test_limit_is_where_the_tangent_is_flat():
    system = truss(0.0)
    u = np.zeros(system.size)
    u[8] = -42.360747
    at_limit = system.assemble(u)[1].toarray()[8, 8]
    assert abs(at_limit) < 1e-6 * system.assemble()[1].toarray()[8, 8]


def test_rest_under_a_load_below_the_limit():
    assert come_to_rest(truss(168.70475)).motions[8] == pytest.approx(-10.0, rel=1e-7)


def test_above_the_limit_it_snaps():
    with pytest.raises(StructureError) as caught:
        come_to_rest(truss(382.0))
    assert str(caught.value) == (
        "no stable equilibrium: on the way to it node top moves up or down without resistance: the "
        "structure snaps or buckles there, or a cable that should hold it goes slack; check the "
        "loads, units first, and the tensions of the cables near it"
    )


def test_a_balance_that_is_not_stable_is_refused():
    system = truss(0.0)
    u = np.zeros(system.size)
    u[8] = -100.0
    with pytest.raises(StructureError, match="no stable equilibrium"):
        come_to_rest(system, u)


def test_a_bar_that_may_not_push_is_named():
    system = truss(0.0)
    slack = tuple(
        CableElement(Cable(e.id, LENGTH + 1.0, 1e6, 0.0), "straight", e.nodes, e.ends)
        for e in system.elements
        if isinstance(e, CableElement)
    )
    with pytest.raises(StructureError) as caught:
        come_to_rest(System(system.nodes, slack, (), system.loads))
    assert str(caught.value).splitlines()[0] == (
        "cable L: in compression at the start: its unstressed length 1005.9876 m is 1000.0 mm more "
        "than its ends are apart; give its tension now, a shorter length, or form catenary for a "
        "slack cable"
    )
