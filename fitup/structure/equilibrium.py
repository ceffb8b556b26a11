"""Where a structure with cables comes to rest: Newton with a line search, tangent kept.

With f(u) the forces of all elements and p the loads on the nodes, f(u) = p is solved in the free
motions q, u = spread q. A step solves K dq = p - f; along it the work of what is out of balance,
s(t) = dq.(f(u + t dq) - p), starts at s(0) < 0 and should end near zero. A share t is taken at
which |s| has fallen enough, so that steps neither overshoot a slack cable nor cycle.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from fitup.errors import StructureError
from fitup.frames import Array
from fitup.model.frame import MOTIONS
from fitup.structure.cable.element import CableElement
from fitup.structure.frame.assemble import System
from fitup.structure.frame.solve import Factor, Singular, factorise

MOST_STEPS = 30
#: shares of EA with which cables are tried where Newton alone does not come to an end
SOFTENED = (1e-3, 1e-2, 1e-1, 1.0)
#: forces out of balance, as a share of the greatest force, at which the structure is at rest
BALANCED = 1e-9
#: a step ends where the work out of balance has fallen to this share
_FALL = 0.8
#: no node is moved further than this in one step, as a share of the size of the structure
_STRIDE = 0.2
_WORDS = dict(
    zip(
        MOTIONS,
        ("east or west", "north or south", "up or down", "about east", "about north", "about up"),
        strict=True,
    )
)


@dataclass(frozen=True, eq=False)
class Rest:
    """A structure at rest.

    Parameters
    ----------
    system : System
    motions : Array (6 n,)
        Of all nodes, from where the tables put them [m, rad].
    factor : Factor
        The tangent there, factorised: every seat and load is one right-hand side more.
    steps : int
        How many Newton steps it took.
    """

    system: System
    motions: Array
    factor: Factor
    steps: int

    def answer(self, forces: Array) -> Array:
        """Return the motions (6 n, k) for small forces (6 n, k) on the nodes; k may be missing."""
        spread = self.system.spread
        return spread @ self.factor.solve(spread.T @ forces)

    def own(self, element: CableElement) -> Array:
        """Return the motions (k,) of an element's ends."""
        return self.motions[self.system.numbers(element)]


def come_to_rest(system: System, start: Array | None = None) -> Rest:
    """Find the equilibrium of a structure.

    Parameters
    ----------
    system : System
    start : Array (6 n,), optional
        Motions from which to begin; zero when not given.

    Raises
    ------
    StructureError
        If a cable is in compression before anything moves, a motion meets no resistance, or no
        equilibrium is found.
    """
    _in_tension(system)
    u = np.zeros(system.size) if start is None else start
    rest = _newton(system, u)
    for soft in SOFTENED if rest is None else ():
        # cables like rubber find the shape; each firmer one begins from there
        near = _newton(_softened(system, soft), u)
        u = u if near is None else near.motions
        rest = near if soft == 1.0 else None
    if rest is None:
        raise _restless(system, u)
    return rest


def _newton(system: System, u: Array) -> Rest | None:
    """Return the structure at rest from motions u (6 n,), or None where it takes too many steps."""
    spread, size = system.spread, _size(system)
    for step in range(MOST_STEPS):
        forces, tangent = system.assemble(u)
        off = spread.T @ (system.loads - forces)
        stiffness = system.reduced(tangent)
        try:
            factor = factorise(stiffness)
        except Singular as loose:
            pushed = bool((stiffness.diagonal() < 0.0).any())
            raise (_unstable if step or pushed else _loose)(system, loose.vector) from None
        if np.abs(off).max(initial=0.0) <= BALANCED * _greatest(system, forces):
            return Rest(system, u, factor, step)
        change = spread @ factor.solve(off)
        far = _STRIDE * size / max(np.abs(change).max(), 1e-300)
        u = u + _share(system, u, change, min(1.0, far)) * change
    return None


def _softened(system: System, share: float) -> System:
    elements = tuple(
        replace(e, cable=replace(e.cable, EA=share * e.cable.EA))
        if isinstance(e, CableElement)
        else e
        for e in system.elements
    )
    return replace(system, elements=elements)


def _share(system: System, u: Array, change: Array, most: float) -> float:
    """Return the share of a Newton step to take: the work out of balance must fall."""

    def work(share: float) -> float:
        forces, _ = system.assemble(u + share * change)
        return float(change @ (forces - system.loads))

    first, share = work(0.0), most
    for _ in range(12):
        now = work(share)
        if abs(now) <= _FALL * abs(first) or (np.sign(now) == np.sign(first) and share == most):
            return share
        # secant towards where the work is nil, kept off both ends
        ratio = first / (first - now) if first != now else 0.5
        share *= min(max(ratio, 0.1), 0.7)
    return share


def _greatest(system: System, forces: Array) -> float:
    """Return a force to measure what is out of balance by [N]."""
    shifts = np.arange(system.size) % 6 < 3
    ends = [
        np.abs(e.forces_and_tangent(np.zeros(6))[0]).max()
        for e in system.elements
        if isinstance(e, CableElement)
    ]
    largest = max(np.abs(forces[shifts]).max(initial=0.0), np.abs(system.loads).max(initial=0.0))
    return max(float(largest), *ends, 1.0)


def _size(system: System) -> float:
    places = np.array([node.position for node in system.nodes.values()])
    return float(np.linalg.norm(places.max(axis=0) - places.min(axis=0)))


def cables_of(system: System) -> Iterable[CableElement]:
    """Yield the cables among the elements."""
    return (e for e in system.elements if isinstance(e, CableElement))


def _in_tension(system: System) -> None:
    """Name the straight cables that are longer than their ends are apart before anything moves."""
    lines = []
    for element in cables_of(system):
        apart = float(np.linalg.norm(element.ends[1] - element.ends[0]))
        spare = element.cable.warm_length - apart
        if element.form == "straight" and not element.pushes and spare > 0.0:
            lines.append(
                f"cable {element.id}: in compression at the start: its unstressed length "
                f"{element.cable.warm_length:.4f} m is {spare * 1e3:.1f} mm more than its ends are "
                "apart; give its tension now, a shorter length, or form catenary for a slack cable"
            )
    if lines:
        raise StructureError("\n".join(lines))


def _motion(system: System, vector: Array) -> tuple[str, str]:
    node, motion = system.free[int(np.abs(vector).argmax())]
    word = _WORDS[MOTIONS[motion]]
    return node, f"moves {word}" if motion < 3 else f"turns {word}"


def _loose(system: System, vector: Array) -> StructureError:
    node, moves = _motion(system, vector)
    return StructureError(
        f"nothing resists it when node {node} {moves}: the structure is a mechanism there, or a "
        "cable that should hold it is slack; add what holds it, or correct the cable's tension"
    )


def _unstable(system: System, vector: Array) -> StructureError:
    node, moves = _motion(system, vector)
    return StructureError(
        f"no stable equilibrium: on the way to it node {node} {moves} without resistance: the "
        "structure snaps or buckles there, or a cable that should hold it goes slack; check the "
        "loads, units first, and the tensions of the cables near it"
    )


def _restless(system: System, u: Array) -> StructureError:
    forces, _ = system.assemble(u)
    off = system.spread.T @ (system.loads - forces)
    shifts = np.array([motion < 3 for _, motion in system.free])
    node, motion = system.free[int(np.abs(np.where(shifts, off, 0.0)).argmax())]
    worst = float(np.abs(np.where(shifts, off, 0.0)).max())
    at = system.place[node]
    slack = [
        c.id for c in cables_of(system) if max(c.pull(u[system.numbers(c)]).tensions) < 1e-6 * worst
    ]
    near = [c.id for c in cables_of(system) if node in c.nodes]
    look = f"cables {', '.join(near)} at it" if near else "the supports and loads near it"
    also = f"; slack: {', '.join(slack)}" if slack else ""
    return StructureError(
        f"no equilibrium found in {MOST_STEPS} steps: node {node} is still out of balance by "
        f"{worst / 1e3:.1f} kN ({_WORDS[MOTIONS[motion]]}), "
        f"{np.linalg.norm(u[at : at + 3]):.3f} m from where the tables put it. Look at the "
        f"tensions or unstressed lengths of {look}, and at the loads, units first{also}"
    )
