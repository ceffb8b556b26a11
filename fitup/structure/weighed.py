"""A segment on linked jacks, weighed by all its gauges: what it weighs and where, by statics.

One pressure a circuit says nothing of how packs shared the load before: as springs share a load
that came on, so the difference between what was weighed and what was calculated is shared.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitup.errors import InputError, Problem
from fitup.frames import Array
from fitup.model import Circuit, Done, Job, Seat, circuits_of


def even_loads(
    job: Job, rows: Mapping[str, list[Done]], loads: Mapping[str, float]
) -> dict[str, float]:
    """Return the loads of seats that were lifted together [N], of one pressure a circuit.

    Parameters
    ----------
    job : Job
    rows : mapping of str to list of Done
        What was read of each seat.
    loads : mapping of str to float
        Of each seat by its own rows [N].

    Raises
    ------
    InputError
        If a segment on linked jacks was not lifted off all its seats at once, every gauge read.
    """
    found = dict(loads)
    for circuit in circuits_of(job, job.seats):
        read = [s for s in circuit.seats if s in loads]
        if not read:
            continue
        _require_whole(job, circuit, loads)
        pressure = float(np.mean([_pressure(job, s, rows[s], loads[s]) for s in read]))
        found |= {s: pressure * a for s, a in zip(circuit.seats, circuit.areas, strict=True)}
    return found


def linked_seats(job: Job) -> dict[str, tuple[Seat, ...]]:
    """Return the seats that lift a segment with linked jacks, by segment.

    Parameters
    ----------
    job : Job
    """
    own = {job.seats[s].segment for c in circuits_of(job, job.seats) for s in c.seats}
    return {n: tuple(s for s in job.seats_of(n) if s.lifts) for n in job.segments if n in own}


def at_rest(
    job: Job, calculated: Mapping[str, float], lifted: Mapping[str, float]
) -> dict[str, float]:
    """Return what seats of weighed segments carry at rest [N].

    With r the calculated reactions and F the loads on oil, heave, roll and pitch of F - r come on
    to springs k under a rigid segment: each takes k (a + b x + c y).

    Parameters
    ----------
    job : Job
    calculated : mapping of str to float
        Reactions of all seats [N].
    lifted : mapping of str to float
        What jacks carried with every pack open [N].
    """
    found: dict[str, float] = {}
    for seats in linked_seats(job).values():
        if not all(s.id in lifted for s in seats):
            continue
        flat = _flat(seats)
        spring = np.array([s.stiffness for s in seats])
        more = np.array([lifted[s.id] - calculated[s.id] for s in seats])
        plane = np.linalg.solve((flat * spring[:, None]).T @ flat, flat.T @ more)
        now = np.array([calculated[s.id] for s in seats]) + spring * (flat @ plane)
        found |= dict(zip((s.id for s in seats), now.tolist(), strict=True))
    return found


def _flat(seats: tuple[Seat, ...]) -> Array:
    """Return rows 1, x, y (n, 3) of seats in plan, about their middle."""
    at = np.array([s.position[:2] for s in seats])
    return np.column_stack([np.ones(len(at)), at - at.mean(axis=0)])


def _pressure(job: Job, seat: str, rows: list[Done], load: float) -> float:
    """Return what the gauge at a seat read [Pa]."""
    own = [(r.load, job.jacks[r.jack].ram_area) for r in rows if r.load is not None and r.jack]
    if own:
        return float(np.mean([force / area for force, area in own]))
    return load / sum(j.ram_area for j in job.jacks_at(seat))


def _require_whole(job: Job, circuit: Circuit, loads: Mapping[str, float]) -> None:
    """Refuse a circuit that did not lift its segment off all seats at once, every gauge read."""
    segment = job.seats[circuit.seats[0]].segment
    seats = linked_seats(job)[segment]
    other = [s.id for s in seats if s.group != job.seats[circuit.seats[0]].group or s.hold]
    if other:
        raise InputError(
            [
                Problem(
                    "readings as done",
                    f"a lift-off load on circuit {circuit.id}, while seat {other[0]} carries "
                    f"segment {segment} too",
                    "linked jacks that lift a segment off all its seats",
                    "leave the row out: one pressure does not say what stays on packs",
                )
            ]
        )
    gauges = {c.id: c.seats for c in circuits_of(job, [s.id for s in seats])}
    linked = {s for own in gauges.values() for s in own}
    missing = [f"circuit {n}" for n, own in gauges.items() if not any(s in loads for s in own)]
    missing += [f"seat {s.id}" for s in seats if s.id not in linked and s.id not in loads]
    if missing:
        raise InputError(
            [
                Problem(
                    "readings as done",
                    f"a lift-off load on circuit {circuit.id} and none of {', '.join(missing)}",
                    f"all gauges of segment {segment} at one lift-off",
                    "write down what every gauge read as the last pack opened",
                )
            ]
        )
