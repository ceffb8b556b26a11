"""A hung beam, a jacked saddle, a stayed mast: by hand, and against themselves displaced."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.model import Seat
from fitup.model.actions import NodeLoad
from fitup.model.cables import FrameCable, FrameSaddle
from fitup.model.frame import FrameModel, Member, Node, Tie
from fitup.structure.cable.forces import cables_by_id, grip_forces, grip_now, pulled
from fitup.structure.contact import Contact
from fitup.structure.frame.solved import SolvedFrame, stand
from fitup.structure.settle import settle

ALL, NO_ROLL = frozenset(range(6)), frozenset({1, 3, 5})
STEEL, BENDING, SPAN, RIGID = 210e9, 0.02, 40.0, 1e13


def seat(name: str, position: list[float], pushes: str, **changes: Any) -> Seat:
    direction = {"up": [0, 0, 1], "shorten": [0, 0, 1], "main_span": [1, 0, 0]}[pushes]
    return Seat(
        id=name, segment="D", position=np.array(position), direction=np.array(direction, float),
        pushes=pushes, stiffness=changes.pop("stiffness", RIGID), held_by="packs", pack=(),
        pack_least=0.0, pack_most=1.0, most_plates=5, bedding=0.0, reaction_least=0.0,
        reaction_most=1e9, **changes,
    )  # fmt: skip


def beam(name: str, i: str, j: str, **changes: Any) -> Member:
    return Member(
        name, i, j, STEEL, STEEL / 2.6, 0.5, BENDING, BENDING, BENDING, np.inf, np.inf,
        np.array([0.0, 0.0, 1.0]), segment="D", **changes,
    )  # fmt: skip


def hung_beam(form: str, load: float = 400e3) -> tuple[FrameModel, list[Seat]]:
    """A beam on two seats, hung at its middle from a fixed point 15 m above."""
    nodes = {
        "A": Node("A", np.array([0.0, 0.0, 0.0]), frozenset({0, 1, 3, 5})),
        "B": Node("B", np.array([20.0, 0.0, 0.0]), NO_ROLL),
        "C": Node("C", np.array([40.0, 0.0, 0.0]), NO_ROLL),
        "T": Node("T", np.array([20.0, 0.0, 15.0]), ALL),
    }
    members = {"AB": beam("AB", "A", "B"), "BC": beam("BC", "B", "C")}
    hanger = FrameCable("H", "T", "B", form, 4e8, 0.01, None, 300e3, seat="SH")
    loads = tuple(
        NodeLoad(n, n, np.array([0.0, 0.0, -f, 0.0, 0.0, 0.0]))
        for n, f in (("A", load), ("B", load), ("C", load))
    )
    model = FrameModel(nodes, members, node_loads=loads, cables={"H": hanger})
    seats = [seat("SA", [0, 0, 0], "up"), seat("SC", [40, 0, 0], "up"),
             seat("SH", [20, 0, 0], "shorten")]  # fmt: skip
    return model, seats


def settled(
    model: FrameModel, seats: list[Seat], settings: list[float] | None = None
) -> tuple[SolvedFrame, Contact]:
    ties = {f"seat/{s.id}": (Tie(node=n.id), s.position) for s in seats for n in
            model.nodes.values() if np.allclose(n.position, s.position)}  # fmt: skip
    mesh, feet = stand(model, seats, ties)
    one_way = np.array([s.pushes != "shorten" for s in seats])
    at = np.zeros(len(seats)) if settings is None else np.array(settings)
    names = tuple(s.id for s in seats)
    solved = settle(mesh, feet, names, one_way, at)
    return solved, Contact(names, one_way, *solved.reactions())


@pytest.mark.parametrize("form", ["straight", "catenary"])
def test_hung_beam_by_hand(form: str):
    solved, contact = settled(*hung_beam(form))
    # hanger as drawn pulls 300 kN; the beam goes down under 400 kN at its middle, both springs
    beam_k, hanger_k = 48.0 * STEEL * BENDING / SPAN**3, 4e8 / 15.0
    down = (400e3 - 300e3) / (beam_k + hanger_k)
    u = solved.about[solved.mesh.system.place["B"] :][:3]
    # bent like a cantilever's, half the beam is shorter by 3/5 of the square over its length
    nearer = -0.6 * down**2 / 20.0
    assert u == pytest.approx([nearer, 0.0, -down], rel=2e-3, abs=1e-9)
    touch = contact.at(np.zeros(3))
    tension = 300e3 + hanger_k * down
    assert touch.reactions[2] == pytest.approx(tension, rel=1e-3)
    assert touch.reactions[:2] == pytest.approx(400e3 + (400e3 - tension) / 2.0, rel=1e-3)
    # a millimetre less hanger: two springs in a row
    both = 1.0 / (1.0 / beam_k + 1.0 / hanger_k)
    assert contact.R[2, 2] == pytest.approx(both, rel=2e-3)
    assert contact.R[0, 2] == pytest.approx(-both / 2.0, rel=2e-3)
    assert solved.reactions()[1] == pytest.approx(contact.R.T)


def test_its_slope_is_that_of_the_beam_really_shortened():
    model, seats = hung_beam("catenary")
    solved, contact = settled(model, seats)
    h = 1e-4
    more, _ = settled(model, seats, [0.0, 0.0, h])
    less, _ = settled(model, seats, [0.0, 0.0, -h])
    slope = (more.about - less.about) / (2.0 * h)
    assert slope == pytest.approx(solved.moves[:, 2], abs=1e-4 * np.abs(slope).max())
    tensions = [pulled(s, cables_by_id(s)["H"], "B").now for s in (less, more)]
    row = pulled(solved, cables_by_id(solved)["H"], "B").row
    assert (tensions[1] - tensions[0]) / (2.0 * h) == pytest.approx(row[2], rel=1e-4)
    assert row[2] == pytest.approx(contact.R[2, 2], rel=1e-6)


def test_shortened_far_the_beam_leaves_its_seats():
    # light ends: the hanger takes the whole beam, both seats open, the hanger carries all
    model, seats = hung_beam("straight")
    light = tuple(replace(p, values=p.values * (1.0 if p.id == "B" else 0.1))
                  for p in model.node_loads)  # fmt: skip
    # its middle is guided, or it would rock on the hanger
    guided = Node("B", model.nodes["B"].position, ALL - {2})
    free = Node("A", model.nodes["A"].position, NO_ROLL)
    nodes = {**model.nodes, "A": free, "B": guided}
    model = replace(model, node_loads=light, nodes=nodes)
    solved, contact = settled(model, seats, [0.0, 0.0, 0.05])
    touch = contact.at(np.array([0.0, 0.0, 0.05]))
    assert touch.reactions == pytest.approx([0.0, 0.0, 480e3], rel=1e-6, abs=1e-3)
    assert (touch.openings[:2] > 1e-3).all()
    # the beam, held level at its middle, hangs down at both ends like two cantilevers
    tip = 40e3 * 20.0**3 / (3.0 * STEEL * BENDING)
    rise = solved.about[solved.mesh.system.place["B"] + 2]
    assert touch.openings[:2] == pytest.approx(rise - tip, rel=1e-4)


def saddle_on_a_mast() -> tuple[FrameModel, list[Seat]]:
    """A saddle on a stocky mast between a flat main cable and a steeper back cable."""
    nodes = {
        "F": Node("F", np.array([0.0, 0.0, 0.0]), ALL),
        "M": Node("M", np.array([0.0, 0.0, 30.0])),
        "S": Node("S", np.array([0.2, 0.0, 31.0])),
        "W": Node("W", np.array([-60.0, 0.0, 0.0]), ALL),
        "E": Node("E", np.array([90.0, 0.0, 5.0]), ALL),
    }
    members = {
        "FM": replace(beam("FM", "F", "M"), A=0.3, Iy=0.3, Iz=0.3, J=0.3, up=np.array([1.0, 0, 0]))
    }
    cables = {
        "back": FrameCable("back", "W", "S", "catenary", 4e9, 1.5e3, None, 5.0e6),
        "main": FrameCable("main", "S", "E", "catenary", 4e9, 1.5e3, None, 5.0e6),
    }
    saddle = FrameSaddle("S1", "S", "M", "P", "back", "main", 0.3)
    model = FrameModel(nodes, members, cables=cables, saddles={"S1": saddle})
    return model, [seat("P", [0.2, 0, 31], "main_span", stiffness=2e9)]


def test_pack_carries_the_resultant_along_its_slide():
    solved, contact = settled(*saddle_on_a_mast())
    cables = cables_by_id(solved)
    ends = {n: c.pull(solved.about[solved.mesh.system.numbers(c)]) for n, c in cables.items()}
    on_saddle = -ends["back"].at_j + ends["main"].at_i
    # its slide tilts with the head of the mast
    turn = solved.about[solved.mesh.system.place["M"] + 3 :][:3]
    slide = np.array([1.0, 0.0, 0.0]) + np.cross(turn, [1.0, 0.0, 0.0])
    assert contact.at(np.zeros(1)).reactions[0] == pytest.approx(-on_saddle @ slide, rel=1e-4)
    # the mast carries all of it, and its foot what the ground anchors do not
    system = solved.mesh.system
    forces = system.assemble(solved.about)[0].reshape(-1, 6)
    foot = forces[list(system.nodes).index("F")]
    assert foot[:3] == pytest.approx(-on_saddle, rel=1e-6, abs=1.0)
    # about the foot: the resultant acts where the saddle now is
    saddle = solved.about[system.place["S"] :][:3]
    moment = np.cross(np.array([0.2, 0.0, 31.0]) + saddle, -on_saddle)
    assert foot[4] == pytest.approx(moment[1], rel=1e-5)


def test_pushed_to_the_main_span_one_cable_gains_and_the_other_loses():
    model, seats = saddle_on_a_mast()
    solved, _ = settled(model, seats)
    cables = cables_by_id(solved)
    back, main = pulled(solved, cables["back"], "S"), pulled(solved, cables["main"], "S")
    assert back.row[0] > 0.0 > main.row[0]
    h = 1e-4
    more, less = settled(model, seats, [h])[0], settled(model, seats, [-h])[0]
    for name, end in (("back", back), ("main", main)):
        now = [pulled(s, cables_by_id(s)[name], "S").now for s in (less, more)]
        assert (now[1] - now[0]) / (2.0 * h) == pytest.approx(end.row[0], rel=1e-4)


def test_friction_left_falls_as_the_tensions_part():
    model, seats = saddle_on_a_mast()
    solved, _ = settled(model, seats)
    grip = grip_now(solved, model.saddles["S1"])
    spare = grip_forces(solved, model.saddles["S1"], np.zeros(1))
    back, main = grip.tensions
    assert spare[0].now == pytest.approx(grip.most * main - back, rel=1e-9)
    assert spare[1].now == pytest.approx(grip.most * back - main, rel=1e-9)
    assert spare[0].row[0] < 0.0 < spare[1].row[0]
    assert (spare[0].least, spare[1].least) == (0.0, 0.0)
