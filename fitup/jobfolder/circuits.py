"""Linked jacks across tables: what one valve may drive, and whether the segment stands on it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fitup.errors import Problem
from fitup.frames import Array
from fitup.jobfolder.table import Row
from fitup.model import Circuit, Job, Seat, circuits_of

#: heave, roll and pitch count as held where the least steady of them is held by this share of the
#: steadiest (common practice, no source)
_STEADY = 0.02


def check_circuits(
    job: Job, rows: Sequence[Row], broken: frozenset[str], problems: list[Problem]
) -> None:
    """Find circuits that cannot be worked as they are, a line for each.

    Parameters
    ----------
    job : Job
    rows : sequence of Row
        Of ``jacks.csv``.
    broken : frozenset of str
        Files that failed to read; what rests on them is not checked.
    problems : list of Problem
        What is wrong is added to it.
    """
    if broken & {"jacks.csv", "seats.csv", "segments.csv", "pumps.csv", "job.toml"}:
        return
    first = {row["circuit"]: row for row in reversed(rows)}
    for circuit in circuits_of(job, job.seats):
        wrong = next(_wrong(job, circuit), None)
        if wrong is not None:
            problems.append(first[circuit.id].problem("circuit", *wrong))
            continue
        found = next(_wrong_beside(job, circuit), None)
        if found is not None:
            problems.append(first[circuit.id].problem("circuit", *found))


def _wrong(job: Job, circuit: Circuit) -> Iterator[tuple[str, str, str]]:
    """Yield what is wrong with a circuit itself: found, allowed, what to do."""
    name, seats = circuit.id, [job.seats[s] for s in circuit.seats]
    groups = list(dict.fromkeys(s.group for s in seats))
    if len(groups) > 1:
        yield (
            f"circuit {name} over groups {' and '.join(groups)}",
            "a circuit within one group of seats, which one crew raises together",
            "give each group circuits of its own",
        )
    for seat in seats:
        if seat.pushes != "up":
            yield (
                f"circuit {name} at seat {seat.id}, which pushes {seat.pushes}",
                "linked jacks that all push up",
                "take the jacks that push in plan off the circuit",
            )
        for jack in job.jacks_at(seat.id):
            if jack.circuit != name:
                yield (
                    f"circuit {name} at seat {seat.id} beside jack {jack.id}, which is not on it",
                    "all jacks of a seat on one circuit, where it links several seats",
                    f"write {name} at {jack.id} too, or take the seat off the circuit",
                )
        if seat.breakaway > 0.0:
            yield (
                f"circuit {name} at seat {seat.id} with a breakaway of "
                f"{seat.breakaway / 1e3:.0f} kN",
                "no breakaway at linked seats: it would not be shared as pressure is",
                "clear breakaway in seats.csv, or take the seat off the circuit",
            )
    if job.pumps and not any(set(circuit.jacks) <= set(p.jacks) for p in job.pumps.values()):
        yield (
            f"circuit {name}, which no pump drives as a whole",
            "all jacks of a circuit at one pump",
            "write them all at one pump in pumps.csv",
        )


def _wrong_beside(job: Job, circuit: Circuit) -> Iterator[tuple[str, str, str]]:
    """Yield what is wrong with what works or stands beside a circuit."""
    name, seats = circuit.id, [job.seats[s] for s in circuit.seats]
    group = [s for s in job.seats.values() if s.group == seats[0].group]
    if job.influence_by != "rigid":
        yield (
            f"circuit {name} with influence from a {job.influence_by}",
            'linked jacks under rigid segments (influence "rigid")',
            "raise this deck by stroke: clear circuit",
        )
    for seat in group:
        bare = [j.id for j in job.jacks_at(seat.id) if not j.lock_nut]
        if bare and not seat.hold:
            yield (
                f"circuit {name} in a group with jack {bare[0]}, which has no lock nut",
                "lock nuts at all jacks that are raised with linked ones",
                "use jacks with lock nuts, or clear circuit",
            )
        if seat.held_by != "packs" or seat.hold:
            how = "is held" if seat.hold else "stays on its nut"
            yield (
                f"circuit {name} in a group with seat {seat.id}, which {how}",
                "seats on packs that move, in a group with linked jacks",
                "put the seat in a group of its own, or clear circuit",
            )
    for seat in job.seats_of(seats[0].segment):
        if seat.may_unload:
            yield (
                f"circuit {name} under segment {seat.segment}, whose seat {seat.id} may unload",
                "seats that always carry under a segment with linked jacks",
                "clear may_unload in seats.csv, or clear circuit",
            )
    held = steady(job, group)
    if held < 3:
        yield (
            f"circuit {name} under segment {seats[0].segment}, which could tilt: circuits and "
            f"single jacks of group {seats[0].group}, with seats that stay on their packs, hold "
            f"{held} of heave, roll and pitch",
            "three circuits or single jacks whose centres are not in one line",
            "link fewer jacks: four jacks in three circuits are enough for a stiff box",
        )
    elif led(job, group) < 3:
        yield (
            f"circuit {name} under segment {seats[0].segment}, whose leading jacks (the first of "
            f"each circuit) and single jacks of group {seats[0].group} stand in one line",
            "leading and single jacks that are not in one line: work goes to their rams alone",
            "write another jack of a circuit first, the further from the other leading ones the "
            "better",
        )


def steady(job: Job, group: Sequence[Seat]) -> int:
    """Return how many of heave, roll and pitch a rigid segment keeps while a group is raised.

    A circuit pushes where its ram areas have their centre, whatever the strokes of its jacks. A
    single jack, and a seat that stays on its pack, push where they are. Statics: three such places
    that are not in one line hold the plane of the segment.

    Parameters
    ----------
    job : Job
    group : sequence of Seat
        All of one segment and group.

    Returns
    -------
    int
        From 0 to 3.
    """
    return _held(job, group, [_centre(job, c) for c in _circuits(job, group)])


def led(job: Job, group: Sequence[Seat]) -> int:
    """Return how many of heave, roll and pitch are set by the rams that work goes to.

    Parameters
    ----------
    job : Job
    group : sequence of Seat
        All of one segment and group.

    Returns
    -------
    int
        From 0 to 3.
    """
    return _held(job, group, [job.seats[c.seats[0]].position for c in _circuits(job, group)])


def _circuits(job: Job, group: Sequence[Seat]) -> tuple[Circuit, ...]:
    return circuits_of(job, [s.id for s in group if not s.hold])


def _held(job: Job, group: Sequence[Seat], places: Sequence[Array]) -> int:
    """Return how much of a plane some places hold, with the seats on no circuit beside them."""
    segment = group[0].segment
    linked = {name for c in _circuits(job, group) for name in c.seats}
    single = [s.position for s in job.seats_of(segment) if s.lifts and s.id not in linked]
    flat = np.array([*places, *single])[:, :2]
    flat = flat - flat.mean(axis=0)
    reach = max(float(np.abs(_flat(job, segment)).max()), 1e-9)
    values = np.linalg.svd(np.column_stack([np.ones(len(flat)), flat / reach]), compute_uv=False)
    return int((values > _STEADY * values[0]).sum())


def _centre(job: Job, circuit: Circuit) -> Array:
    """Return the centre of the ram areas of a circuit (3,)."""
    at = np.array([job.seats[s].position for s in circuit.seats])
    return np.array(np.average(at, axis=0, weights=circuit.areas))


def _flat(job: Job, segment: str) -> Array:
    """Return the seats that lift a segment in plan (n, 2), about their middle [m]."""
    flat = np.array([s.position[:2] for s in job.seats_of(segment) if s.lifts])
    return np.array(flat - flat.mean(axis=0))
