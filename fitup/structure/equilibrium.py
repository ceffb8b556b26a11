"""Where a structure with cables comes to rest: Newton, damped and searched, from far away too.

With f(u) the forces of all elements and p the loads on the nodes, f(u) = p is solved in the free
motions q, u = spread q. Every element's forces are the derivative of an energy; of cables that
only pull, seats that only push and beams that are not about to buckle it is convex. So a step

    (K + c D) dq = p - f

goes down in it, with D the diagonal of K and c as small as makes the matrix positive: nil but where
cables hang slack, a seat is open or a column is near buckling. Along the step the work out of
balance, s(t) = dq.(f(u + t dq) - p), starts below zero; a share t is taken at which it has come
near zero, so that no step overshoots a cable that comes taut or a seat that meets the deck. Which
seats carry is found on the way.

J. Nocedal and S. J. Wright, Numerical Optimization, 2nd edition, Springer 2006, sections 3.4 and
3.5, for steps of a changed Hessian; cited from memory.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csc_array, diags_array

from fitup.errors import StructureError
from fitup.frames import Array
from fitup.model.frame import MOTIONS
from fitup.structure.cable.element import CableElement
from fitup.structure.frame.assemble import System
from fitup.structure.frame.solve import Factor, Singular, factorise

MOST_STEPS = 400
#: forces out of balance, as a share of the greatest force, at which the structure is at rest; and
#: where a step no longer moves anything by more than figures can tell
BALANCED, _STILL = 1e-9, 1e-7
#: a step ends where the work out of balance has fallen to this share
_FALL = 0.8
#: no node is moved further than this in one step, as a share of the size of the structure, nor
#: turned further [rad]
_STRIDE, _TURN = 0.2, 0.2
#: a structure that jumps however little it is let down snaps
_FINEST = 2e-3
#: damping to begin with where the stiffness is not positive, and how it grows and falls
_DAMP, _MORE, _LESS = 1e-6, 10.0, 0.1
_TRIALS = 30
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


def come_to_rest(
    system: System, start: Array | None = None, may_be_slack: frozenset[str] = frozenset()
) -> Rest:
    """Find the equilibrium of a structure.

    Parameters
    ----------
    system : System
    start : Array (6 n,), optional
        Motions from which to begin; zero when not given.
    may_be_slack : frozenset of str
        Straight cables that may be longer than their ends are apart before anything moves.

    Raises
    ------
    StructureError
        If another cable is, a motion meets no resistance, or no equilibrium is found.
    """
    _in_tension(system, may_be_slack)
    begin = np.zeros(system.size) if start is None else start
    rest, unsteady = _search(system, begin)
    if unsteady:
        _follow(system, begin, rest.motions)
    return rest


def _search(system: System, start: Array) -> tuple[Rest, bool]:
    """Return the structure at rest, and whether a state on the way was not stable."""
    u, spread, damping, unsteady = start, system.spread, 0.0, False
    for step in range(MOST_STEPS):
        forces, tangent = system.assemble(u)
        off = spread.T @ (system.loads - forces)
        stiffness = system.reduced(tangent)
        left = np.abs(off).max(initial=0.0) / _greatest(system, forces)
        if left <= BALANCED:
            return Rest(system, u, _at_rest(system, stiffness), step), unsteady
        factor, damping, falls = _descending(stiffness, damping)
        # where the start itself is not stable nothing follows from the way
        unsteady = unsteady or (falls and step > 0)
        change = spread @ factor.solve(off)
        still = np.abs(change).max() <= 1e-14 * max(_size(system), np.abs(u).max())
        if left <= _STILL and damping == 0.0 and still:
            return Rest(system, u, _at_rest(system, stiffness), step), unsteady
        share = _share(system, u, change, _most(system, change))
        damping *= _LESS if share >= 0.5 else 1.0
        u = u + share * change
    raise _restless(system, u)


def _follow(system: System, start: Array, arrived: Array) -> None:
    """Let a structure down from where it is held at motions (6 n,), a share of the way at a time.

    What holds it there is taken away bit by bit; a rest that goes over into the next without a
    jump, to the one that was found, is reached without snapping.

    Raises
    ------
    StructureError
        If it snaps or buckles on the way.
    """
    held = system.forces(start) - system.loads
    u, done, stride = start, 0.0, 0.1
    while done < 1.0:
        to = min(1.0, done + stride)
        eased = replace(system, loads=system.loads + (1.0 - to) * held)
        try:
            rest, unsteady = _search(eased, u)
        except StructureError:
            unsteady = True
        if not unsteady:
            u, done, stride = rest.motions, to, 1.5 * stride
        elif stride < _FINEST:
            _, tangent = system.assemble(u)
            raise _unstable(system, factorise(system.reduced(tangent)).softest)
        else:
            stride *= 0.4
    if np.abs(u - arrived).max() > 1e-3 * _size(system):
        _, tangent = system.assemble(u)
        raise _unstable(system, factorise(system.reduced(tangent)).softest)


def _at_rest(system: System, stiffness: csc_array) -> Factor:
    """Return the factor of the stiffness at rest.

    Raises
    ------
    StructureError
        If a motion meets no resistance there, or the rest is that of a pencil on its point.
    """
    try:
        factor = factorise(stiffness)
    except Singular as loose:
        raise (_unstable if loose.pushed else _loose)(system, loose.vector) from None
    if not factor.definite:
        raise _unstable(system, factor.softest)
    return factor


def _descending(stiffness: csc_array, damping: float) -> tuple[Factor, float, bool]:
    """Return the factor of the stiffness, damped until it is positive, and by how much.

    And whether a motion is pushed on rather than resisted: a cable that hangs slack does not.
    """
    falls = False
    own = np.abs(stiffness.diagonal())
    own = np.maximum(own, 1e-9 * float(np.median(own)) + 1e-300)
    damping = damping if damping > 0.1 * _DAMP else 0.0
    while True:
        try:
            damped = stiffness if damping == 0.0 else stiffness + damping * diags_array(own)
            factor = factorise(csc_array(damped))
            if factor.definite:
                return factor, damping, falls
            falls = True
        except Singular as loose:
            falls = falls or loose.pushed
        damping = max(_DAMP, _MORE * damping)


def _most(system: System, change: Array) -> float:
    """Return the greatest share of a step that moves and turns nothing too far."""
    motions = np.abs(change).reshape(-1, 6)
    far = float(motions[:, :3].max(initial=0.0)) / (_STRIDE * _size(system))
    turn = float(motions[:, 3:].max(initial=0.0)) / _TURN
    return 1.0 / max(1.0, far, turn)


def _share(system: System, u: Array, change: Array, most: float) -> float:
    """Return the share of a Newton step to take: the work out of balance must fall."""

    def work(share: float) -> float:
        try:
            forces = system.forces(u + share * change)
        except StructureError:
            # so far off that a cable finds no tension
            return float("inf")
        return float(change @ (forces - system.loads))

    first, share = work(0.0), most
    low, below, high, above = 0.0, first, most, 0.0
    for _ in range(_TRIALS):
        now = work(share)
        if now <= 0.0 if share == most else abs(now) <= _FALL * abs(first):
            return share
        if abs(now) <= _FALL * abs(first):
            return share
        if now < 0.0:
            low, below = share, now
        else:
            high, above = share, now
        # a secant towards where the work is nil, kept off both ends
        ratio = below / (below - above) if np.isfinite(above) else 0.5
        share = low + (high - low) * min(max(ratio, 0.1), 0.9)
    return share


def _greatest(system: System, forces: Array) -> float:
    """Return a force to measure what is out of balance by [N]."""
    shifts = np.arange(system.size) % 6 < 3
    largest = max(np.abs(forces[shifts]).max(initial=0.0), np.abs(system.loads).max(initial=0.0))
    return max(float(largest), system.pull_as_drawn, 1.0)


def _size(system: System) -> float:
    places = np.array([node.position for node in system.nodes.values()])
    return float(np.linalg.norm(places.max(axis=0) - places.min(axis=0)))


def cables_of(system: System) -> Iterable[CableElement]:
    """Yield the cables among the elements."""
    return (e for e in system.elements if isinstance(e, CableElement))


def _in_tension(system: System, may_be_slack: frozenset[str]) -> None:
    """Name the straight cables that are longer than their ends are apart before anything moves."""
    lines = []
    for element in cables_of(system):
        apart = float(np.linalg.norm(element.ends[1] - element.ends[0]))
        spare = element.cable.warm_length - apart
        pulls = element.form == "straight" and not element.pushes
        if pulls and spare > 0.0 and element.id not in may_be_slack:
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
