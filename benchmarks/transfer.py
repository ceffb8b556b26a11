"""Load transfer of made crossings: from temporary seats to the cable, at rest in every state.

A main cable over two towers with saddles on packs, back cables, a deck on temporary seats at every
hanger, hangers with nuts. Settings go from slack (nuts let out, seats high, saddles back) to final.

- ``sizes``: how long the rest takes from the geometry of the tables, slack and half way and final,
  with the memory beyond what was there before, and the exponent of the time;
- ``starts``: made crossings with random settings between slack and final, each solved from the
  tables, and from there to the final state; how many arrive, and what the others say.

Times are of this machine: read the ratios.

    python benchmarks/transfer.py sizes --hangers 10 50 100
    python benchmarks/transfer.py starts --crossings 100
"""

from __future__ import annotations

import argparse
import time
import tracemalloc
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from fitup.errors import StructureError
from fitup.model import Seat
from fitup.model.cables import FrameCable, FrameSaddle
from fitup.model.frame import FrameModel, Member, Node, Tie
from fitup.structure.frame.solved import SolvedFrame, stand
from fitup.structure.settle import settle

UP, AHEAD = np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0])
#: what the plane of the crossing holds: N, turn about E, turn about H
PLANE, ALL = frozenset({1, 3, 5}), frozenset(range(6))
STEEL, ROPE = 210e9, 200e9
#: deck and its hangers [N/m], stress of the main cable [Pa]
DECK, ROD, STRESS = 150e3, 600.0, 600e6
TOP, FOOT, SADDLE = 4.0, -40.0, np.array([0.3, 0.0, 1.2])


@dataclass(frozen=True, eq=False)
class Crossing:
    """A made crossing: its frame, its seats with ties, and settings slack (s,) and final (s,)."""

    model: FrameModel
    seats: list[Seat]
    ties: dict[str, tuple[Tie, np.ndarray]]
    slack: np.ndarray
    final: np.ndarray

    @property
    def one_way(self) -> np.ndarray:
        return np.array([s.pushes == "up" for s in self.seats])


def crossing(hangers: int, span: float = 350.0, share: float = 0.1) -> Crossing:
    """A crossing with so many hangers, a span [m] and a sag as a share of it."""
    xs = np.linspace(0.0, span, hangers + 2)
    apart = span / (hangers + 1)
    height = share * span + TOP
    pull = 1.1 * DECK * span / (8.0 * share)
    rope = pull * np.hypot(1.0, 4.0 * share) / STRESS
    own = rope * 80e3
    z = _polygon(xs, height, pull, (DECK + own * 1.03) * apart)
    nodes: dict[str, Node] = {}

    def node(name: str, x: float, up: float, fixed: frozenset[int] = PLANE) -> None:
        nodes[name] = Node(name, np.array([x, 0.0, up]), fixed)

    for k, x in enumerate(xs):
        node(f"D{k}", x, 0.0, PLANE | {0} if k == 0 else PLANE)
        if 0 < k <= hangers:
            node(f"C{k}", x, z[k])
    for side, x, sign in (("B", 0.0, 1.0), ("A", span, -1.0)):
        node(f"F{side}", x - sign * 3.0, FOOT, ALL)
        node(f"M{side}", x - sign * 3.0, 0.5 * height)
        node(f"T{side}", x - sign * 3.0, height - SADDLE[2])
        node(f"S{side}", x, height)
        node(f"K{side}", x - sign * 0.4 * span, 0.0, ALL)
    cables, members = _parts(hangers, xs, z, pull, rope, own, apart, height, span)
    saddles = {
        s: FrameSaddle(s, f"S{s}", f"T{s}", f"P{s}", f"K{s}", f"M{0 if s == 'B' else hangers}", 0.9)
        for s in "BA"
    }
    seats, ties, slack, final = [], {}, [], []
    for k in range(hangers + 2):
        place = nodes[f"D{k}"].position
        end = k in (0, hangers + 1)
        seats.append(_seat(f"Z{k}", place, UP, "up", 3e9 if end else 4e8))
        ties[f"seat/Z{k}"] = (Tie(node=f"D{k}"), place)
        slack.append(0.0)
        final.append(0.0 if end else -0.4)
    for k in range(1, hangers + 1):
        seats.append(_seat(f"H{k}", nodes[f"D{k}"].position, UP, "shorten", 1e8))
        slack.append(-0.02 * span)
        final.append(0.0)
    for side, sign in (("B", 1.0), ("A", -1.0)):
        seats.append(_seat(f"P{side}", nodes[f"S{side}"].position, sign * AHEAD, "main_span", 3e9))
        slack.append(-0.25)
        final.append(0.0)
    model = FrameModel(nodes, members, cables=cables, saddles=saddles)
    return Crossing(model, seats, ties, np.array(slack), np.array(final))


def _polygon(xs: np.ndarray, height: float, pull: float, load: float) -> np.ndarray:
    """Heights of a cable with level pull over equal loads at all places but its ends [m]."""
    n = len(xs)
    sag = 0.5 * load / (pull * (xs[1] - xs[0])) * xs * (xs[-1] - xs)
    assert n > 2
    return height - sag


def _parts(
    hangers: int, xs: np.ndarray, z: np.ndarray, pull: float, rope: float, own: float,
    apart: float, height: float, span: float,
) -> tuple[dict[str, FrameCable], dict[str, Member]]:  # fmt: skip
    cables, members = {}, {}
    names = ["SB", *(f"C{k}" for k in range(1, hangers + 1)), "SA"]
    for k, (i, j) in enumerate(pairwise(names)):
        rise, length = z[k + 1] - z[k], float(np.hypot(apart, z[k + 1] - z[k]))
        tension = float(np.hypot(pull, pull * rise / apart + 0.5 * own * length))
        cables[f"M{k}"] = FrameCable(f"M{k}", i, j, "catenary", ROPE * rope, own, None, tension)
    for side in "BA":
        back = 0.4 * span
        tension = float(pull * np.hypot(1.0, height / back))
        cables[f"K{side}"] = FrameCable(
            f"K{side}", f"K{side}", f"S{side}", "catenary", ROPE * rope, own, None, tension
        )
    for k in range(1, hangers + 1):
        force = DECK * apart
        cables[f"H{k}"] = FrameCable(
            f"H{k}",
            f"C{k}",
            f"D{k}",
            "catenary",
            ROPE * force / 400e6,
            ROD,
            None,
            force,
            seat=f"H{k}",
        )
    for k in range(hangers + 1):
        members[f"D{k}"] = _beam(f"D{k}", f"D{k}", f"D{k + 1}", 0.8, 0.6, DECK, UP)
    for side in "BA":
        for name, i, j in (
            (f"L{side}", f"F{side}", f"M{side}"),
            (f"U{side}", f"M{side}", f"T{side}"),
        ):
            members[name] = _beam(name, i, j, 1.2, 2.5, 90e3, AHEAD)
    return cables, members


def _beam(
    name: str, i: str, j: str, A: float, bends: float, weight: float, up: np.ndarray
) -> Member:
    return Member(
        name,
        i,
        j,
        STEEL,
        STEEL / 2.6,
        A,
        bends,
        4.0 * bends,
        bends,
        np.inf,
        np.inf,
        up,
        weight=weight,
    )


def _seat(name: str, place: np.ndarray, way: np.ndarray, pushes: Any, stiffness: float) -> Seat:
    return Seat(name, "D", place, way, pushes, stiffness, "packs", (), 0, 1, 5, 0, 0, 1e12)


def at_rest(made: Crossing, x: np.ndarray, first: SolvedFrame | None = None) -> SolvedFrame:
    mesh, feet = stand(made.model, made.seats, made.ties)
    names = [s.id for s in made.seats]
    if first is not None:
        feet = tuple(foot.moved(0.0) for foot in first.seats)
    return settle(mesh, feet, names, made.one_way, x, first)


def sizes(hangers: list[int]) -> None:
    print("hangers  motions  final_s  half_s  slack_s  memory_MB")
    seconds = []
    for n in hangers:
        made = crossing(n)
        half = 0.5 * (made.slack + made.final)
        row = []
        for x in (made.final, half, made.slack):
            begin = time.perf_counter()
            solved = at_rest(made, x)
            row.append(time.perf_counter() - begin)
        tracemalloc.start()
        at_rest(made, half)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        seconds.append(sum(row))
        motions = len(solved.mesh.system.free)
        print(
            f"{n:7d}  {motions:7d}  " + "  ".join(f"{t:6.2f}" for t in row) + f"  {peak / 1e6:8.0f}"
        )
    if len(hangers) > 1:
        slope = np.polyfit(np.log(hangers), np.log(seconds), 1)[0]
        print(f"exponent {slope:.2f}")


def starts(crossings: int, first: int, most: int) -> None:
    arrived, why = 0, Counter()
    for seed in range(first, first + crossings):
        rng = np.random.default_rng(seed)
        n = int(rng.integers(6, most + 1))
        made = crossing(n, float(rng.uniform(300.0, 400.0)), float(rng.uniform(0.08, 0.12)))
        share = rng.uniform(0.0, 1.0) + 0.2 * rng.normal(size=len(made.seats))
        x = made.slack + np.clip(share, 0.0, 1.0) * (made.final - made.slack)
        try:
            there = at_rest(made, x)
            at_rest(made, made.final, there)
            arrived += 1
        except StructureError as error:
            why[str(error).splitlines()[0][:160]] += 1
            print(seed, n, str(error)[:300])
    print(f"arrived={arrived} of={crossings} share={arrived / crossings:.4f}")
    for text, count in why.most_common():
        print(count, text)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("what", choices=["sizes", "starts"])
    parser.add_argument("--hangers", type=int, nargs="+", default=[10, 50, 100])
    parser.add_argument("--crossings", type=int, default=50)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--most", type=int, default=40)
    asked = parser.parse_args()
    if asked.what == "sizes":
        sizes(asked.hangers)
    else:
        starts(asked.crossings, asked.first, asked.most)


if __name__ == "__main__":
    main()
