"""Influence of every seat of a long deck: one factorisation against other ways, in one run.

A deck of members in a line on packs: two seats every fourth node. Three ways to the influence of
all its seats, on the same model:

- ours: assembled sparse, factorised once, a right-hand side for every seat;
- again: the same code, factorised anew for every seat;
- package: PyNiteFEA (``pip install -e '.[bench]'``), a load combination for every seat.

A way that would take longer than ``--limit`` seconds is measured on a few seats and scaled up by
their number, marked with ~. Memory is the peak beyond what was there before, by tracemalloc, in a
run of its own; the factor itself is not seen by it and is counted by its entries. Times are of
this machine: read the ratios.

    python benchmarks/structure.py
"""

from __future__ import annotations

import argparse
import time
import tracemalloc
from collections.abc import Callable

import numpy as np

from fitup.model import Seat
from fitup.model.frame import FrameModel, Member, Node, Tie
from fitup.structure.frame.solve import factorise
from fitup.structure.frame.solved import solve_frame

UP, LEFT = np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0])
STIFF, APART = 4e8, 6.0
#: the first node is held along the deck too, every fourth sideways
HELD, GUIDED = frozenset({0, 1, 5}), frozenset({1})


def deck(dofs: int) -> tuple[FrameModel, list[Seat], dict[str, tuple[Tie, np.ndarray]]]:
    """A deck with about so many free motions, and its seats."""
    count = max(dofs // 6, 5)
    nodes = {
        f"N{i}": Node(f"N{i}", np.array([APART * i, 0.0, 0.0]), _held(i)) for i in range(count)
    }
    section = (210e9, 81e9, 0.4, 0.3, 2.0, 0.4, np.inf, np.inf, UP)
    members = {
        f"M{i}": Member(f"M{i}", f"N{i}", f"N{i + 1}", *section, weight=6e4)
        for i in range(count - 1)
    }
    seats, ties = [], {}
    for i in range(0, count, 4):
        for side in (3.0, -3.0):
            name, place = f"S{i}{'L' if side > 0 else 'R'}", nodes[f"N{i}"].position + side * LEFT
            seats.append(Seat(name, "D", place, UP, "up", STIFF, "packs", (), 0, 1, 5, 0, 0, 1e9))
            ties[f"seat/{name}"] = (Tie(node=f"N{i}"), place)
    return FrameModel(nodes, members), seats, ties


def _held(i: int) -> frozenset[int]:
    if i == 0:
        return HELD
    return GUIDED if i % 4 == 0 else frozenset()


def timed(work: Callable[[], np.ndarray]) -> tuple[float, np.ndarray]:
    begin = time.perf_counter()
    result = work()
    return time.perf_counter() - begin, result


def ours(dofs: int) -> np.ndarray:
    return solve_frame(*deck(dofs)).reactions()[1]


def again(dofs: int, few: int | None) -> np.ndarray:
    """Factorise for every seat; the columns of R for the first few."""
    model, seats, ties = deck(dofs)
    solved = solve_frame(model, seats, ties)
    system, columns = solved.mesh.system, []
    for foot in solved.seats[:few]:
        _, tangent = system.assemble()
        push = np.zeros(system.size)
        first = system.place[foot.node]
        push[first : first + 6] = -foot.by_moving(np.zeros(6))
        q = factorise(system.reduced(tangent)).solve(system.spread.T @ push)
        u = system.spread @ q
        columns.append(
            [f.by_moving(np.zeros(6)) @ u[system.place[f.node] :][:6] for f in solved.seats]
        )
    R = np.array(columns).T
    return R + STIFF * np.eye(len(seats))[:, : R.shape[1]]


def package(dofs: int, few: int | None) -> np.ndarray:
    """PyNiteFEA: seats as springs at the ends of stiff arms, a combination for each."""
    from Pynite import FEModel3D

    model, seats, _ = deck(dofs)
    other = FEModel3D()
    other.add_material("steel", 210e9, 81e9, 0.3, 0.0)
    other.add_section("box", 0.4, 2.0, 0.3, 0.4)
    other.add_section("arm", 40.0, 1e4, 1e4, 1e4)
    for name, node in model.nodes.items():
        other.add_node(name, float(node.position[0]), 0.0, 0.0)
    for name, node in model.nodes.items():
        held = [k in node.fixed for k in (0, 2, 1, 3, 5, 4)]
        other.def_support(name, *held)
    for name, member in model.members.items():
        other.add_member(name, member.i, member.j, "steel", "box")
    for seat in seats:
        other.add_node(seat.id, float(seat.position[0]), 0.0, -float(seat.position[1]))
        other.add_member(f"arm-{seat.id}", f"N{seat.id[1:-1]}", seat.id, "steel", "arm")
        other.def_support_spring(seat.id, "DY", STIFF)
    for seat in seats[:few]:
        other.add_load_combo(seat.id, {seat.id: 1.0})
        other.add_node_load(seat.id, "FY", STIFF, case=seat.id)
    other.analyze_linear(check_statics=False)
    columns = [[-STIFF * other.nodes[s.id].DY[moved.id] for s in seats] for moved in seats[:few]]
    R = np.array(columns).T
    return R + STIFF * np.eye(len(seats))[:, : R.shape[1]]


def scaled(
    work: Callable[[int, int | None], np.ndarray], dofs: int, limit: float
) -> tuple[str, float, np.ndarray]:
    """Seconds for all seats: measured, or from a few where all would take too long."""
    count = len(deck(dofs)[1])
    one, _ = timed(lambda: work(dofs, 1))
    some = min(9, count)
    more, R = timed(lambda: work(dofs, some))
    # noise may make nine seats quicker than one: then what nine took is a lower bound
    guess = max(more, one + max(more - one, 0.0) * (count - 1) / (some - 1))
    if guess > limit:
        return f"~{guess:.2f}", guess, R
    seconds, R = timed(lambda: work(dofs, None))
    return f"{seconds:.2f}", seconds, R


def main() -> None:
    """Print one line a size, and the growth between sizes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--dofs", type=int, nargs="*", default=[100, 1000, 10000])
    parser.add_argument("--limit", type=float, default=30.0, help="seconds for the other ways")
    parser.add_argument("--no-package", action="store_true")
    options = parser.parse_args()
    print("dofs   seats  ours_s  ms/seat  ours_MB  again_s  ratio  package_s  ratio  differ")
    last: tuple[int, float] | None = None
    for dofs in options.dofs:
        ours(dofs)
        seconds, R = min((timed(lambda n=dofs: ours(n)) for _ in range(3)), key=lambda t: t[0])
        tracemalloc.start()
        ours(dofs)
        peak = tracemalloc.get_traced_memory()[1] / 2**20
        tracemalloc.stop()
        stated, other, check = scaled(again, dofs, options.limit)
        assert np.allclose(R[:, : check.shape[1]], check, atol=1e-6 * STIFF)
        each = 1e3 * seconds / len(R)
        line = f"{dofs:5d}  {len(R):5d}  {seconds:6.3f}  {each:7.3f}  {peak:7.1f}  {stated:>7}"
        line += f"  {other / seconds:5.0f}"
        if options.no_package:
            line += "  (package not asked for)"
        else:
            stated, other, check = scaled(package, dofs, options.limit)
            apart = np.abs(R[:, : check.shape[1]] - check).max() / np.abs(R).max()
            line += f"  {stated:>9}  {other / seconds:5.0f}  {apart:.0e}"
        if last is not None:
            growth = np.log(seconds / last[1]) / np.log(dofs / last[0])
            line += f"  time grows as dofs^{growth:.2f}"
        last = dofs, seconds
        print(line, flush=True)


if __name__ == "__main__":
    main()
