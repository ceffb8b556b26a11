"""Stations of an IFC alignment: where it begins, and station equations, from its referents."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Final

from fitup.alignment.elements import FIT
from fitup.alignment.stations import Equation
from fitup.alignment.xmlfile import Teller
from fitup.errors import Problem

_AGAIN: Final = "correct it in the design program and export it again"


def read_stations(
    node: Teller,
    referents: Sequence[dict[str, Any]],
    length: float,
    metres: Callable[[float], float],
    notes: list[Problem],
) -> tuple[float, tuple[Equation, ...]]:
    """Return the station where an alignment begins [m], and its station equations.

    Parameters
    ----------
    node : Teller
    referents : sequence of dict
        ``along``, and the properties of Pset_Stationing by name.
    length : float
        Of the alignment [m].
    metres : callable
        From the file's unit.
    notes : list of Problem
        Filled with what is not understood.
    """
    stated: list[tuple[float, float, float | None, Teller]] = []
    for one in referents:
        own = node.named(f"{node.where}, referent '{one['name'] or ''}'")
        along, station = one["along"], one.get("Station")
        if one.get("HasIncreasingStation") is False:
            own.complain("stations that fall going ahead", "rising stations", "turn the alignment")
        elif not isinstance(along, int | float) or not isinstance(station, int | float):
            found = "no distance along" if not isinstance(along, int | float) else "no station"
            notes.append(
                Problem(
                    own.file,
                    found,
                    "a distance along and Station in Pset_Stationing",
                    "the referent is not used",
                    column=own.where,
                )
            )
        elif not -FIT <= metres(along) <= length + FIT:
            own.complain("a place beyond the alignment", "one on it", _AGAIN)
        else:
            back = one.get("IncomingStation")
            before = metres(back) if isinstance(back, int | float) else None
            stated.append((metres(along), metres(station), before, own))
    stated.sort(key=lambda t: t[0])
    if not stated:
        found, allowed = "no station where it begins", "an IfcReferent with Pset_Stationing"
        notes.append(Problem(node.file, found, allowed, "stations count from 0", column=node.where))
        return 0.0, ()
    return _zones(node, stated)


def _zones(
    node: Teller, stated: Sequence[tuple[float, float, float | None, Teller]]
) -> tuple[float, tuple[Equation, ...]]:
    """Return the start, from the first referent back, and what jumps after it."""
    along, station, back, _ = stated[0]
    start = (station if back is None or along <= FIT else back) - along
    equations: list[Equation] = []
    # what is to be added to the distance along for the written station of the zone
    written = start
    for there, ahead, before, own in stated:
        expected = written + there
        said = ahead if before is None else before
        if there > FIT or before is None:
            if abs(said - expected) > FIT:
                own.complain(
                    f"station {said:.3f} m, but lengths from the start give {expected:.3f} m",
                    "one station",
                    "a station equation without IncomingStation? Export it again",
                )
                return start, ()
            if before is not None and abs(ahead - before) > FIT:
                equations.append(Equation(start + there, before, ahead))
                written = ahead - there
    return start, tuple(equations)
