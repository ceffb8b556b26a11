"""A straight beam on seats for published figures; any consistent units."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pytest

from fitup.model import Seat
from fitup.model.actions import MemberLoad, Place, Temperature
from fitup.model.frame import FrameModel, Member, Node, Tie
from fitup.structure.frame.solved import SolvedFrame, section_forces, solve_frame

UP = np.array([0.0, 0.0, 1.0])
#: motions that a beam in one vertical plane does not have: N, turn about E, turn about H
PLANE = frozenset({1, 3, 5})


class Line:
    """A beam along E with nodes at ``xs``; seats stand where ``seats`` says, springs of size k."""

    def __init__(
        self,
        xs: Sequence[float],
        seats: Sequence[int],
        stiffness: float = 1e8,
        EI: float = 1.0,
        weight: float = 0.0,
        held: dict[int, frozenset[int]] | None = None,
        loads: Sequence[tuple[int, float, float]] = (),
        warm_top: float = 0.0,
        **section: Any,
    ) -> None:
        held = {} if held is None else held
        names = [f"N{i}" for i in range(len(xs))]
        nodes = {
            n: Node(
                n,
                np.array([x, 0.0, 0.0]),
                PLANE | (frozenset({0}) if i == 0 else frozenset()) | held.get(i, frozenset()),
            )
            for i, (n, x) in enumerate(zip(names, xs, strict=True))
        }
        given = {"A": 1.0, "G": 1.0, "J": 1.0, "Asy": np.inf, "Asz": np.inf} | section
        members = {
            f"M{i}": Member(
                f"M{i}", names[i], names[i + 1], 1.0, given["G"], given["A"], EI, EI, given["J"],
                given["Asy"], given["Asz"], UP, weight=weight, expansion=1.0, depth=1.0,
            )
            for i in range(len(xs) - 1)
        }  # fmt: skip
        places = {
            f"P{i}": Place(f"P{i}", f"M{i - 1}", xs[i] - xs[i - 1], "moment")
            for i in range(1, len(xs))
        }
        places["P0"] = Place("P0", "M0", 0.0, "moment")
        self.model = FrameModel(
            nodes,
            members,
            member_loads=tuple(
                MemberLoad(f"L{i}", f"M{m}", -p * UP, at) for i, (m, at, p) in enumerate(loads)
            ),
            temperatures=tuple(Temperature(m, m, depth=warm_top) for m in members if warm_top),
            places=places,
        )
        self.solved: SolvedFrame = solve_frame(
            self.model,
            [self._seat(names[i], nodes[names[i]].position, stiffness) for i in seats],
            {f"seat/{names[i]}": (Tie(node=names[i]), nodes[names[i]].position) for i in seats},
        )
        self.q, self.R = self.solved.reactions()

    @staticmethod
    def _seat(name: str, place: np.ndarray, stiffness: float) -> Seat:
        return Seat(name, "D", place, UP, "up", stiffness, "packs", (), 0, 1, 5, 0, 0, 1e9)

    def moment(self, i: int, moves: Sequence[float] | None = None) -> float:
        """Sagging moment at node i under the loads, or for moves of the seats."""
        motions = self.solved.still if moves is None else self.solved.moves @ np.array(moves)
        return -float(
            section_forces(self.solved, self.model.places[f"P{i}"], motions, moves is None)[4]
        )

    def sinks(self, i: int) -> float:
        """How far node i goes down under the loads."""
        return -float(self.solved.still[self.solved.mesh.system.place[f"N{i}"] + 2])


@pytest.fixture(scope="session")
def line() -> Callable[..., Line]:
    """Return the maker of lines."""
    return Line
