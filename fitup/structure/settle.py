"""A frame with cables as it stands: at rest, on the seats that carry, linear about that state.

Cables make the structure answer unevenly, seats that only push make it answer by cases. The two
are brought together in turns: at rest with the openings as found, then the openings anew from the
tangent there, until they stay.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fitup.errors import StructureError
from fitup.frames import Array
from fitup.structure.cable.element import CableElement
from fitup.structure.contact import Contact
from fitup.structure.equilibrium import come_to_rest
from fitup.structure.frame.elements import Foot
from fitup.structure.frame.mesh import Mesh
from fitup.structure.frame.solved import Solved, tangent_about

_MOST_TURNS = 30
#: openings that change by less have settled [m]
_SETTLED = 1e-9


def settle(
    mesh: Mesh,
    feet: Sequence[Foot],
    seats: Sequence[str],
    one_way: Array,
    settings: Array,
    first: Solved | None = None,
) -> Solved:
    """Return a frame with cables, linear about the state in which it stands.

    Parameters
    ----------
    mesh : Mesh
        Its elements without the feet.
    feet : sequence of Foot
        One for each seat.
    seats : sequence of str
    one_way : Array (s,) of bool
    settings : Array (s,)
        How far each seat was set before the survey, or has been moved since [m].
    first : Solved, optional
        The surveyed state, from which the search begins; anchorages look along the cables then.
        None: this is the surveyed state.

    Raises
    ------
    StructureError
        If no rest is found, or the seats that can only push cannot carry the structure.
    """
    at = settings.copy()
    u = np.zeros(mesh.system.size) if first is None else first.about
    for _ in range(_MOST_TURNS):
        set_ = tuple(foot.moved(float(to)) for foot, to in zip(feet, at, strict=True))
        system = replace(mesh.system, elements=(*mesh.system.elements, *set_))
        u = come_to_rest(system, u).motions
        solved = tangent_about(mesh, _aligned(mesh, feet, u) if first is None else feet, u, at)
        q, R = solved.reactions()
        after = Contact(tuple(seats), one_way, q, R).at(settings).effective
        if np.abs(after - at).max(initial=0.0) <= _SETTLED:
            return solved
        at = after
    changing = [s for s, a, b in zip(seats, after, at, strict=True) if abs(a - b) > _SETTLED]
    raise StructureError(
        f"which seats carry does not settle: {', '.join(changing)} open and close in turn as the "
        "cables give; look at the present settings of these seats and the tensions of the cables "
        "near them"
    )


def _aligned(mesh: Mesh, feet: Sequence[Foot], u: Array) -> tuple[Foot, ...]:
    """Turn the anchorages of the cables that have a seat along their pull."""
    return tuple(
        foot.aligned(u[mesh.system.numbers(foot)]) if isinstance(foot, CableElement) else foot
        for foot in feet
    )
