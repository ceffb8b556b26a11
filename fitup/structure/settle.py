"""A frame with cables as it stands: at rest, on the seats that carry, linear about that state.

Cables make the structure answer unevenly, seats that only push make it answer by cases. The two
are brought together in turns: at rest with the openings as found, then the openings anew from the
tangent there, until they stay.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fitup.frames import Array
from fitup.structure.cable.element import CableElement
from fitup.structure.equilibrium import come_to_rest
from fitup.structure.frame.elements import Foot, OneWay
from fitup.structure.frame.mesh import Mesh
from fitup.structure.frame.solved import SolvedFrame, tangent_about

_MOST_TURNS = 30
#: openings that change by less have settled [m]
_SETTLED = 1e-9


def settle(
    mesh: Mesh,
    feet: Sequence[Foot],
    seats: Sequence[str],
    one_way: Array,
    settings: Array,
    first: SolvedFrame | None = None,
) -> SolvedFrame:
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
    first : SolvedFrame, optional
        The surveyed state, from which the search begins; anchorages look along the cables then.
        None: this is the surveyed state.

    Raises
    ------
    StructureError
        If no rest is found, or the seats that can only push cannot carry the structure.
    """
    u = np.zeros(mesh.system.size) if first is None else first.about
    slack = frozenset(f.id for f in feet if isinstance(f, CableElement))
    for _ in range(_MOST_TURNS):
        set_ = [foot.moved(float(to)) for foot, to in zip(feet, settings, strict=True)]
        on = [OneWay(f) if one else f for f, one in zip(set_, one_way.tolist(), strict=True)]
        system = replace(mesh.system, elements=(*mesh.system.elements, *on))
        before, u = u, come_to_rest(system, u, slack).motions
        if first is not None or not settings.any() or np.abs(u - before).max() <= _SETTLED:
            break
        # drawn nuts draw along the cables as they now hang
        feet = _aligned(mesh, feet, u)
    at = settings + [f.opening(u[system.numbers(f)]) if isinstance(f, OneWay) else 0.0 for f in on]
    return tangent_about(mesh, _aligned(mesh, feet, u) if first is None else feet, u, at)


def _aligned(mesh: Mesh, feet: Sequence[Foot], u: Array) -> tuple[Foot, ...]:
    """Turn the anchorages of the cables that have a seat along their pull."""
    return tuple(
        foot.aligned(u[mesh.system.numbers(foot)]) if isinstance(foot, CableElement) else foot
        for foot in feet
    )
