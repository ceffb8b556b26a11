"""Columns that bend under their own axial force, and the same in the certificate's statics.

- Effective length: a column held at its foot alone buckles at pi^2 EI / (2 h)^2, one hinged at
  both ends at pi^2 EI / h^2 (L. Euler 1744; S. P. Timoshenko and J. M. Gere, Theory of Elastic
  Stability, 2nd edition, McGraw-Hill 1961, sections 2.1 and 2.2; cited from memory).
- Beam-column: under P and a small sideways force H at its free head it goes sideways by
  H h^3 / (3 EI) * 3 (tan a - a) / a^3, its foot carries H h tan(a) / a, a = h sqrt(P/EI)
  (ibid., section 1.2; also benchmark case 2 of the commentary to AISC 360, section C2: a column
  held at its foot under axial force and a sideways force at its head; cited from memory).
- A column that leans by e and carries P at its head takes P (e + d) to its foot.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.certify.lines import Lines
from fitup.certify.standing import CableActions
from fitup.certify.standing import come_to_rest as stand_again
from fitup.certify.sticks import stick_between
from fitup.certify.turned import Sticks
from fitup.errors import StructureError
from fitup.model.frame import Member, Node
from fitup.structure.equilibrium import come_to_rest
from fitup.structure.frame.assemble import System, stacked
from fitup.structure.frame.beam import Beam

HEIGHT, E, INERTIA, AREA = 60.0, 210e9, 1.2, 1.5
EI = E * INERTIA
FREE = np.pi**2 * EI / (2.0 * HEIGHT) ** 2
ALL, PLANE = frozenset(range(6)), frozenset({1, 3, 5})
AHEAD = np.array([1.0, 0.0, 0.0])


def member(i: int) -> Member:
    return Member(
        f"M{i}",
        f"N{i}",
        f"N{i + 1}",
        E,
        E / 2.6,
        AREA,
        INERTIA,
        INERTIA,
        1.0,
        np.inf,
        np.inf,
        AHEAD,
    )


def column(
    axial: float, sideways: float = 0.0, lean: float = 0.0, pieces: int = 4, hinged: bool = False
) -> System:
    places = [np.array([lean * k / pieces, 0.0, HEIGHT * k / pieces]) for k in range(pieces + 1)]
    foot = ALL - {4} if hinged else ALL
    nodes = {f"N{k}": Node(f"N{k}", at, foot if k == 0 else PLANE) for k, at in enumerate(places)}
    if hinged:
        nodes[f"N{pieces}"] = Node(f"N{pieces}", places[-1], PLANE | {0})
    beams = tuple(Beam(member(k), places[k], places[k + 1], np.zeros(3)) for k in range(pieces))
    head = {f"N{pieces}": [sideways, 0.0, -axial, 0.0, 0.0, 0.0]}
    return System(nodes, beams, (), stacked(nodes, head))


@pytest.mark.parametrize("share", [0.1, 0.4, 0.8])
def test_beam_column(share: float) -> None:
    system = column(share * FREE, 1e4)
    rest = come_to_rest(system)
    a = HEIGHT * np.sqrt(share * FREE / EI)
    sideways = 1e4 * HEIGHT**3 / (3.0 * EI) * 3.0 * (np.tan(a) - a) / a**3
    # the closed form does not shorten under axial force: 0.4 per mille, times five near buckling
    assert rest.motions[4 * 6] == pytest.approx(sideways, rel=5e-3)
    foot = system.assemble(rest.motions)[0][:6]
    assert abs(foot[4]) == pytest.approx(1e4 * HEIGHT * np.tan(a) / a, rel=5e-3)


@pytest.mark.parametrize(("hinged", "factor"), [(False, 2.0), (True, 1.0)])
def test_effective_length(hinged: bool, factor: float) -> None:
    buckles = np.pi**2 * EI / (factor * HEIGHT) ** 2
    below = come_to_rest(column(0.97 * buckles, hinged=hinged, pieces=6))
    assert np.abs(below.motions[::6]).max() < 1e-9
    with pytest.raises(StructureError, match="no stable equilibrium"):
        come_to_rest(column(1.03 * buckles, hinged=hinged, pieces=6))


def test_a_lean_is_moment_at_the_foot() -> None:
    """50 MN on a head that leans by 95 mm: its foot carries them at the lean and what it bends."""
    axial, lean = 50e6, 0.095
    system = column(axial, lean=lean)
    rest = come_to_rest(system)
    head = lean + rest.motions[4 * 6]
    foot = system.assemble(rest.motions)[0][:6]
    assert foot[4] == pytest.approx(-axial * head, rel=1e-6)
    assert head > lean


@pytest.mark.parametrize("share", [0.1, 0.4, 0.8])
def test_the_second_path_bends_alike(share: float) -> None:
    system = column(share * FREE, 1e4, lean=0.095)
    rest = come_to_rest(system)
    nodes = list(system.nodes.values())
    sticks = []
    for k in range(4):
        line = nodes[k + 1].position - nodes[k].position
        x = line / np.linalg.norm(line)
        axes = np.array([x, [0.0, 1.0, 0.0], np.cross(x, [0.0, 1.0, 0.0])])
        own, none = float(np.linalg.norm(line)), (0.0, 0.0, 0.0)
        sticks.append(stick_between(member(k), 6 * k, 6 * k + 6, axes, 0.0, own, np.zeros(3), none))
    held = [{6 * i + k: 1.0} for i, node in enumerate(nodes) for k in sorted(node.fixed)]
    standing = CableActions(
        30, Sticks(sticks, [np.zeros(12)] * 4, [np.zeros(6)] * 4), np.zeros((0, 6), dtype=int), [],
        [], held, [], system.loads,
    )  # fmt: skip
    begin = np.zeros(30), np.zeros(len(held))
    again = stand_again(standing, Lines([], {}), np.zeros((0, 3)), np.zeros(0), begin, np.zeros(30))
    # lengths as drawn or as they now are, 0.4 per mille apart
    assert again.u == pytest.approx(rest.motions, rel=1e-3, abs=1e-6)


def test_a_column_as_drawn_is_linear() -> None:
    """Where nothing has moved its stiffness is the linear beam's: frames without cables stay so."""
    beam = Beam(member(0), np.zeros(3), np.array([0.0, 0.0, 15.0]), np.zeros(3), (10.0, 0.0, 0.0))
    warm = replace(beam, member=replace(beam.member, expansion=1e-5))
    assert warm.forces_and_tangent(np.zeros(12))[1] == pytest.approx(beam.stiffness[0], rel=1e-12)
