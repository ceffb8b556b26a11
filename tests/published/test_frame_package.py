"""Random frames against an independent frame package from the registry, PyNiteFEA.

PyNiteFEA knows neither shear deformation, rigid ends nor arms, so the frames have none of them;
they have loops, releases, springs to the ground, point, line and node loads and enforced settings.
Displacements and reactions agree to 1e-6 of the largest.
"""

from __future__ import annotations

import numpy as np
import pytest
from Pynite import FEModel3D

from fitup.model import Seat
from fitup.model.actions import MemberLoad, NodeLoad
from fitup.model.frame import FrameModel, Member, Node, Tie
from fitup.structure.frame.beam import member_axes
from fitup.structure.frame.solved import SolvedFrame, solve_frame

E, G = 210e9, 81e9
STIFF = 3e8


def frame(seed: int) -> FrameModel:
    """A deck of two lines of nodes with cross beams, of uneven heights, one member released."""
    rng = np.random.default_rng(seed)
    nodes, members = {}, {}
    count = 5
    for i in range(count):
        for side, y in (("L", 4.0), ("R", -4.0)):
            place = np.array([9.0 * i, y, 0.0]) + rng.uniform(-1.0, 1.0, 3)
            nodes[f"{side}{i}"] = Node(f"{side}{i}", place)
    pairs = [(f"{s}{i}", f"{s}{i + 1}") for s in "LR" for i in range(count - 1)]
    pairs += [(f"L{i}", f"R{i}") for i in range(count)]
    for k, (i, j) in enumerate(pairs):
        A, Iy, Iz, J = rng.uniform([0.05, 0.01, 0.02, 0.01], [0.2, 0.05, 0.08, 0.04])
        released = frozenset({10}) if k == 2 else frozenset()
        up = np.array([0.0, 0.0, 1.0])
        members[f"M{k}"] = Member(
            f"M{k}", i, j, E, G, A, Iy, Iz, J, np.inf, np.inf, up, releases=released
        )
    nodes["L0"] = Node("L0", nodes["L0"].position, frozenset({0, 1, 3, 4, 5}))
    loads = tuple(
        MemberLoad(f"q{k}", f"M{k}", rng.normal(size=3) * 2e4, 2.0, 5.0) for k in range(0, 8, 3)
    )
    points = tuple(
        MemberLoad(f"p{k}", f"M{k}", rng.normal(size=3) * 1e5, 3.3) for k in range(1, 8, 3)
    )
    return FrameModel(
        nodes,
        members,
        node_loads=(NodeLoad("n", "R4", rng.normal(size=6) * 1e5),),
        member_loads=(*loads, *points),
    )


def seats() -> list[str]:
    return ["L0", "R0", "L2", "R2", "L4", "R4"]


def ours(model: FrameModel) -> SolvedFrame:
    up = np.array([0.0, 0.0, 1.0])
    own = [
        Seat(n, "D", model.nodes[n].position, up, "up", STIFF, "packs", (), 0, 1, 5, 0, 0, 1e9)
        for n in seats()
    ]
    return solve_frame(
        model, own, {f"seat/{n}": (Tie(node=n), model.nodes[n].position) for n in seats()}
    )


def theirs(model: FrameModel, raised: str | None) -> FEModel3D:
    """The same frame there, Y up as that package has it; one spring's load as its own raise."""
    other = FEModel3D()
    other.add_material("steel", E, G, 0.3, 0.0)
    for name, node in model.nodes.items():
        east, north, up = (float(v) for v in node.position)
        other.add_node(name, east, up, -north)
        held = [k in node.fixed for k in range(6)]
        other.def_support(name, held[0], held[2], held[1], held[3], held[5], held[4])
    for name, member in model.members.items():
        other.add_section(name, member.A, member.Iz, member.Iy, member.J)
        other.add_member(name, member.i, member.j, "steel", name, rotation=0.0)
        if member.releases:
            # about the axis across the deck, which is its z
            other.def_releases(name, Rzj=True)
        for load in model.member_loads:
            if load.member != name:
                continue
            for axis, value in zip(("FX", "FY", "FZ"), swapped(load.values), strict=True):
                if load.end is None:
                    other.add_member_pt_load(name, axis, value, load.start)
                else:
                    other.add_member_dist_load(name, axis, value, value, load.start, load.end)
    for load in model.node_loads:
        names = ("FX", "FY", "FZ", "MX", "MY", "MZ")
        values = [*swapped(load.values[:3]), *swapped(load.values[3:])]
        for axis, value in zip(names, values, strict=True):
            other.add_node_load(load.node, axis, value)
    for name in seats():
        other.def_support_spring(name, "DY", STIFF)
    if raised is not None:
        other.add_node_load(raised, "FY", STIFF)
    other.analyze_linear(check_statics=False)
    return other


def swapped(vector: np.ndarray) -> list[float]:
    """East, north, up as X, Y, Z with Y up."""
    return [float(vector[0]), float(vector[2]), -float(vector[1])]


def displacements(other: FEModel3D, names: list[str]) -> np.ndarray:
    rows = []
    for name in names:
        n = other.nodes[name]
        dx, dy, dz, rx, ry, rz = (
            getattr(n, k)["Combo 1"] for k in ("DX", "DY", "DZ", "RX", "RY", "RZ")
        )
        rows.append([dx, -dz, dy, rx, -rz, ry])
    return np.array(rows)


@pytest.mark.parametrize("seed", range(4))
def test_random_frames(seed: int) -> None:
    model = frame(seed)
    for member in model.members.values():
        # their z is across and level, as ours is y: the two packages turn sections alike
        start, end = model.nodes[member.i].position, model.nodes[member.j].position
        assert abs(member_axes(start, end, member.up)[1][2]) < 1e-12
    solved, names = ours(model), list(model.nodes)
    still = solved.still.reshape(-1, 6)[: len(names)]
    expected = displacements(theirs(model, None), names)
    assert still == pytest.approx(expected, abs=1e-6 * float(np.abs(expected).max()))
    at = solved.seats[3]
    moved = displacements(theirs(model, at.node), names) - expected
    column = solved.moves[:, 3].reshape(-1, 6)[: len(names)]
    assert column == pytest.approx(moved, abs=1e-6 * float(np.abs(moved).max()))
