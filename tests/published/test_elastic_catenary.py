"""Cables with published or closed solutions.

* A heavy cable that is warmed: Code_Aster validation manual, test SSNL114, V6.02.114 and V6.05.116,
  Électricité de France. Span and rest length 325 m, A = 2.2783e-4 m2, E = 5.7e10 Pa, density
  2844.23 kg/m3, g = 9.81 m/s2, expansion 2.3e-5 1/K. The manual prints a sag of 6.352 m; its
  closed equations give 6.352161 m cold and 8.195452 m at 39.26 K (recomputed from them, once).
* The catenary against the parabola: closed forms, H = w a with L = 2 a asinh(S / 2a).
* A taut cable: H. M. Irvine, Cable Structures, MIT Press 1981, sections 2.2 and 2.5: the parabola's
  sag, and the part 1 / (1 + lambda2 / 12) of EA/L that is left of the axial stiffness, which is
  that of H. J. Ernst, Der E-Modul von Seilen, Der Bauingenieur 40 (1965) 52-55. From memory.
* A taut string: transverse stiffness 4 T / L at the middle (any textbook).
"""

from __future__ import annotations

import numpy as np
import pytest

from fitup.model.frame import Node
from fitup.structure.cable.catenary import Cable, Catenary
from fitup.structure.cable.element import CableElement, cut_for
from fitup.structure.cable.hang import hang
from fitup.structure.equilibrium import come_to_rest
from fitup.structure.frame.assemble import System, stacked

AREA, DENSITY, GRAVITY = 2.2783e-4, 2844.23, 9.81
HELD, NO_TURN = frozenset(range(6)), frozenset({3, 4, 5})


@pytest.mark.parametrize(("warmer", "level", "sag"), [(0.0, 13206.239, 6.352161),
                                                      (39.26, 10241.731, 8.195452)])  # fmt: skip
def test_heavy_cable_that_is_warmed(warmer, level, sag):
    strain = 2.3e-5 * warmer
    # the source holds density, not mass: a warm metre weighs what a cold one did
    weight = DENSITY * GRAVITY * AREA * (1.0 + strain)
    line = hang(Cable("SSNL114", 325.0, 5.7e10 * AREA, weight, strain), 325.0, 0.0)
    assert line.level == pytest.approx(level, rel=1e-5)
    assert line.sag == pytest.approx(sag, rel=1e-6)


@pytest.mark.parametrize(("ratio", "level", "longer"), [(1 / 20, 2.508289, 1.00663585),
                                                        (1 / 10, 1.266324, 1.02618687),
                                                        (1 / 8, 1.020178, 1.04051829)])  # fmt: skip
def test_catenary_against_parabola(ratio, level, longer):
    # EA so great that the cable does not stretch by a part in 1e10
    line = hang(Cable("C", longer, 1e11, 1.0), 1.0, 0.0)
    # lengths are given to 8 digits; near-flat arcs answer with 1 / (16 n / 3) of their error
    assert line.sag == pytest.approx(ratio, abs=5e-8)
    assert line.level == pytest.approx(level, rel=2e-6)
    parabola = 1.0 / (8.0 * ratio)
    assert 0.0 < line.level / parabola - 1.0 < 0.021


def test_taut_cable():
    level, EA, span = 3.0e6, 1.6e9, 200.0
    # the book's 40 kg/m is of the stretched cable, ours of the unstressed one
    weight = 40.0 * 9.80665 * (1.0 + level / EA)
    line = hung_with(level, EA, weight, span)
    assert line.level == pytest.approx(level, rel=1e-5)
    # the book's parabola against the catenary: (8/3) (sag/span)^2 = 3e-5
    assert line.sag == pytest.approx(0.653777, rel=3e-5)
    # Ernst takes the stiffness over the stretched chord: T/EA = 2e-3 of it
    assert axial(line) / (EA / span) == pytest.approx(0.970502, rel=2.5e-3)


def hung_with(level: float, EA: float, weight: float, span: float) -> Catenary:
    """A level cable cut to a level tension, but for terms of the fourth order in its sag."""
    flat = CableElement(Cable("I", span, EA, weight), "catenary", ("i", "j"),
                        np.array([[0.0, 0.0, 0.0], [span, 0.0, 0.0]]))  # fmt: skip
    return hang(cut_for(flat, float(np.hypot(level, 0.5 * weight * span))).cable, span, 0.0)


def axial(line: Catenary) -> float:
    """Stiffness along the chord of a level cable, its ends held in height."""
    across, up, mixed, _ = line.flexibility()
    return 1.0 / (across - mixed**2 / up)


def test_ernst_without_strain():
    # the same lambda2 at a hundredth of the strain, so that only the sag's part is left
    weight, level, EA, span = 392.266 * 0.001, 3.0e3, 1.6e9, 200.0
    lambda2 = (weight * span / level) ** 2 * EA / level
    # little strain, T/EA = 2e-6; what is left is parabola against catenary, (sag/span)^2 = 1e-5
    assert axial(hung_with(level, EA, weight, span)) / (EA / span) == pytest.approx(
        1.0 / (1.0 + lambda2 / 12.0), rel=1e-4
    )


def test_taut_string_across():
    # two straight halves with T = 200 kN, 10 m in all, pushed by 8 kN in the middle: 4 T / L
    nodes = {
        "A": Node("A", np.zeros(3), HELD),
        "B": Node("B", np.array([5.0, 0.0, 0.0]), NO_TURN),
        "C": Node("C", np.array([10.0, 0.0, 0.0]), HELD),
    }
    ends = [("A", "B"), ("B", "C")]
    halves = [
        cut_for(CableElement(Cable(i + j, 5.0, 1e8, 0.0), "straight", (i, j),
                             np.array([nodes[i].position, nodes[j].position])), 200e3)
        for i, j in ends
    ]  # fmt: skip
    tiny = System(nodes, tuple(halves), (), stacked(nodes, {"B": [0.0, 8.0, 0.0, 0.0, 0.0, 0.0]}))
    moved = come_to_rest(tiny).motions.reshape(-1, 6)[1, 1]
    assert moved == pytest.approx(8.0 / (4.0 * 200e3 / 10.0), rel=1e-6)
