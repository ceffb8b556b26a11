"""Linked jacks in the search: loads of one pressure, strokes as equilibrium makes them.

Of the seats of one circuit the first one leads: its ram is brought to its reading. The settings of
the others, which are *free*, follow from ``load / area`` being the same at all of them. With
reactions r = r0 + R x that is linear: D r = 0 for the m rows D that say so, hence

    x_free = -(D R_free)^-1 D (r0 + R x),   x with x_free = 0.

While a group is raised on its circuits every limit L x <= b so becomes a limit on the other
settings alone, and other groups add to it as they do to any.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitup.errors import StructureError
from fitup.frames import Array
from fitup.model import Job, Seat, circuits_of
from fitup.problem.jacks import softer

#: one pressure cannot be found where its equations are this near to singular
_LOOSE = 1e-8
#: an opening [m] and a pull [N] that are none
_CLOSED, _PULLS = 1e-9, 1.0


@dataclass(frozen=True, eq=False)
class Links:
    """The circuits of a group, by indices of its moving seats (k).

    Parameters
    ----------
    free, lead : Array (m,) of int
        Seats that follow, and the seat that leads each.
    ratio : Array (m,)
        Ram area at each free seat over that at its lead.
    """

    name: str
    free: Array
    lead: Array
    ratio: Array

    @classmethod
    def of(cls, job: Job, seats: Sequence[Seat]) -> Links | None:
        """Return the circuits of seats that move together, None where none are linked.

        Parameters
        ----------
        job : Job
        seats : sequence of Seat
            Of one group.
        """
        names = [s.id for s in seats]
        found = [
            (names.index(name), names.index(c.seats[0]), area / c.areas[0])
            for c in circuits_of(job, names)
            for name, area in zip(c.seats[1:], c.areas[1:], strict=True)
        ]
        if not found:
            return None
        free, lead, ratio = zip(*found, strict=True)
        return cls(seats[0].group, np.array(free), np.array(lead), np.array(ratio))

    def apart(self, loads: Array) -> Array:
        """Return how far free seats (m, ...) are from one pressure.

        Parameters
        ----------
        loads : Array (k, ...)
            Of the group's seats, or rows of what changes them.
        """
        ratio = self.ratio.reshape(-1, *[1] * (loads.ndim - 1))
        return np.asarray(loads[self.free] - ratio * loads[self.lead])

    def even(self, slope: Array) -> Array:
        """Return what free settings (m, k) become for loads (k,), so that pressures are one.

        Parameters
        ----------
        slope : Array (k, k)
            Change of the loads for a unit of each setting [N/m].

        Raises
        ------
        StructureError
            If one pressure does not say how the segment stands.
        """
        pattern = self.apart(np.eye(len(slope)))
        matrix = self.apart(slope)[:, self.free]
        values = np.linalg.svd(matrix, compute_uv=False)
        if values[-1] < _LOOSE * max(np.abs(slope).max(), 1.0):
            raise StructureError(
                f"group {self.name}: on its circuits, as seats are held now, the segment could "
                "tilt while it is raised; link fewer jacks in jacks.csv, column circuit"
            )
        return np.asarray(-np.linalg.solve(matrix, pattern))


@dataclass(frozen=True, eq=False)
class Raised:
    """A group on its circuits among all seats (n) of a job.

    Parameters
    ----------
    columns : Array (k,) of int
        Of its seats that move.
    follow : Array (m, n)
        What a unit of each setting does to the free ones.
    fixed : Array (m,)
        Free settings with all others as surveyed [m].
    loads : Array (k,)
        Of its seats then [N].
    """

    links: Links
    seats: tuple[Seat, ...]
    columns: Array
    follow: Array
    fixed: Array
    loads: Array

    @property
    def own(self) -> list[int]:
        """Columns of its seats that move, as numbers."""
        return [int(i) for i in self.columns]

    @property
    def free(self) -> Array:
        """Columns of the seats that follow."""
        return np.asarray(self.columns[self.links.free])

    def rows(self, L: Array) -> Array:
        """Return limit rows (p, n) on what is set, from rows (p, n) on where seats are."""
        return np.asarray(L + L[:, self.free] @ self.follow)

    def bounds(self, L: Array, b: Array) -> Array:
        """Return bounds (p,) of these rows from those (p,) of rows (p, n) on where seats are."""
        return np.asarray(b - L[:, self.free] @ self.fixed)


def may_go(
    job: Job,
    columns: Sequence[int],
    seats: Sequence[Seat],
    slope: Array,
    off: Array,
    groups: Sequence[Raised],
    wrong: float | None,
) -> Array:
    """Return what each thing that may be off does to settings (k, k) [m], a column for each.

    Rams off their readings; of a seat that follows, the friction by which it may leave one
    pressure.

    Parameters
    ----------
    job : Job
    columns : sequence of int
        Of the seats that move (k), among all.
    seats : sequence of Seat
        These.
    slope : Array (k, k)
        Change of their loads for a unit of each setting [N/m].
    off : Array (k,)
        How far rams may be off [m].
    groups : sequence of Raised
        Those of which all seats are among these are on their circuits.
    wrong : float or None
        By how much of its uncertainty jacks are stiffer; None: rams move the deck as packs do.
    """
    more = np.array([0.0 if wrong is None else softer(job, s, wrong) for s in seats])
    spring = np.array([s.stiffness for s in seats])
    matrix, far = np.eye(len(seats)) - more[:, None] * slope, off.copy()
    places = {c: i for i, c in enumerate(columns)}
    for group in groups:
        if set(group.own) <= places.keys():
            at = np.array([places[c] for c in group.own])
            free = at[group.links.free]
            matrix[free] = group.links.apart(slope[at]) / spring[free, None]
            far[free] = job.staging.friction * np.abs(group.loads[group.links.free]) / spring[free]
    return np.asarray(np.linalg.inv(matrix) * far)


def opened(slope: Array, left: Array) -> Array:
    """Return by how much seats rise off their packs (k,) [m] while jacks push with given forces.

    Openings and what is left on packs are not below zero, and one of the two is zero at each seat:
    seats are let go and taken back one at a time, the worst first.

    Parameters
    ----------
    slope : Array (k, k)
        Change of the loads for a unit of each setting [N/m].
    left : Array (k,)
        What packs would carry if none opened, pulls below zero [N].
    """
    loose: list[int] = []
    gaps = np.zeros(len(left))
    for _ in range(4 * len(left)):
        gaps = np.zeros(len(left))
        if loose:
            gaps[loose] = np.linalg.lstsq(slope[np.ix_(loose, loose)], -left[loose], rcond=None)[0]
        carried = left + slope @ gaps
        carried[loose] = 0.0
        if gaps.min() < -_CLOSED:
            loose.remove(int(np.argmin(gaps)))
        elif carried.min() < -_PULLS:
            loose.append(int(np.argmin(carried)))
        else:
            break
    return gaps


def raised_groups(job: Job, names: Sequence[str], R: Array, now: Array) -> tuple[Raised, ...]:
    """Return the groups of a job that are raised on circuits.

    Parameters
    ----------
    names : sequence of str
        All seats, in the order of the influence.
    R : Array (n, n)
        Change of every reaction for a unit move of every seat [N/m].
    now : Array (n,)
        Reactions as surveyed [N].
    """
    groups: dict[str, list[int]] = {}
    for i, name in enumerate(names):
        if not job.seats[name].hold:
            groups.setdefault(job.seats[name].group, []).append(i)
    found = []
    for columns in groups.values():
        seats = tuple(job.seats[names[i]] for i in columns)
        links = Links.of(job, seats)
        if links is not None:
            at = np.array(columns)
            even = links.even(R[np.ix_(at, at)])
            follow, fixed = even @ R[at], even @ now[at]
            loads = now[at] + R[np.ix_(at, at[links.free])] @ fixed
            found.append(Raised(links, seats, at, follow, fixed, loads))
    return tuple(found)
