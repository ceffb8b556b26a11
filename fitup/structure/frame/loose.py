"""A structure that can move by itself: which node moves how, in words."""

from __future__ import annotations

import numpy as np

from fitup.errors import StructureError
from fitup.frames import Array
from fitup.structure.frame.assemble import System

_SHIFTS = ("to the east or west", "to the north or south", "up or down")
_TURNS = (
    "turn about an east-west line",
    "turn about a north-south line",
    "turn in plan",
)
#: a shift this much smaller than the turns [m/rad] belongs to a turn
_TURNING = 1e-3


def lonely_nodes(system: System) -> tuple[str, ...]:
    """Return the nodes that no member, spring, seat or body touches."""
    touched = {node for element in system.elements for node, _ in element.dofs}
    touched |= {node for body in system.bodies for node in body.nodes}
    return tuple(
        name for name, node in system.nodes.items() if name not in touched and len(node.fixed) < 6
    )


def mechanism(system: System, vector: Array) -> StructureError:
    """Return the error that says which node moves how in a motion that nothing resists.

    Parameters
    ----------
    system : System
    vector : Array (f,)
        The motion, in the free motions of the system; of any size.
    """
    motions = np.asarray(system.spread @ vector).reshape(-1, 6)
    names = list(system.nodes)
    shifts = np.linalg.norm(motions[:, :3], axis=1)
    turns = np.linalg.norm(motions[:, 3:], axis=1)
    if shifts.max() > _TURNING * turns.max():
        at = int(shifts.argmax())
        how = _shift_words(motions[at, :3])
    else:
        at = int(turns.argmax())
        how = _TURNS[int(np.abs(motions[at, 3:]).argmax())]
    moving = int((shifts > 0.01 * shifts.max()).sum()) if shifts.max() else 1
    others = f", and {moving - 1} more nodes with it" if moving > 1 else ""
    return StructureError(
        f"the frame is a mechanism: node {names[at]} can {how}{others}; nothing resists it. Hold "
        "it in frame_nodes.csv, add a spring or a seat, or take a release away"
    )


def _shift_words(shift: Array) -> str:
    size = np.abs(shift) / np.abs(shift).max()
    if (size > 0.1).sum() == 1:
        return f"shift {_SHIFTS[int(size.argmax())]}"
    unit = shift / np.linalg.norm(shift)
    unit = unit * np.sign(unit[int(np.abs(unit).argmax())])
    parts = [f"{word} {value:.2f}" for word, value in zip(("E", "N", "H"), unit, strict=True)]
    return f"shift along ({', '.join(parts)})"
