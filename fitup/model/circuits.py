"""Linked jacks: which seats of a crew hang on one valve, so that one pressure lifts them all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fitup.model.job import Job


@dataclass(frozen=True, slots=True)
class Circuit:
    """Seats whose jacks are linked on one valve.

    Parameters
    ----------
    id : str
        As in ``jacks.csv``.
    seats : tuple of str
        Two or more, in the order of their jacks in the file. The ram of the first leads: work goes
        to its reading, and what the others then read is what equilibrium gives.
    areas : tuple of float
        Ram area of all jacks of each seat [m2].
    jacks : tuple of str
        All of them; the first one leads.
    """

    id: str
    seats: tuple[str, ...]
    areas: tuple[float, ...]
    jacks: tuple[str, ...]

    @property
    def lead(self) -> str:
        """The jack whose ram reading the work goes to."""
        return self.jacks[0]


def circuits_of(job: Job, seats: Iterable[str]) -> tuple[Circuit, ...]:
    """Return the circuits that link two or more of some seats, in the order of ``jacks.csv``.

    Jacks of one seat alone that are on one valve are no circuit here: they share the load of their
    seat and nothing else.

    Parameters
    ----------
    job : Job
    seats : iterable of str
        Those that work together.
    """
    own = set(seats)
    named: dict[str, list[str]] = {}
    for jack in job.jacks.values():
        if jack.circuit and jack.seat in own:
            named.setdefault(jack.circuit, []).append(jack.id)
    found = []
    for name, jacks in named.items():
        linked = tuple(dict.fromkeys(job.jacks[j].seat for j in jacks))
        if len(linked) > 1:
            areas = tuple(sum(j.ram_area for j in job.jacks_at(s)) for s in linked)
            found.append(Circuit(name, linked, areas, tuple(jacks)))
    return tuple(found)
