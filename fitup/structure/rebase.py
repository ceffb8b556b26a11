"""Loads re-based by measured lift-off: calculated loads are poor, the first lift measures them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.errors import InputError, Problem
from fitup.frames import Array
from fitup.model import Done, Influence, Job, Seat
from fitup.structure.rigid import WEIGHT_FIT
from fitup.structure.weighed import at_rest, even_loads
from fitup.units import DISPLAY

#: published bearing lifts ran up to 1.6 times the calculated load (a state DOT bridge design
#: memorandum of 2001, from memory); beyond it something else is wrong
MOST_RATIO: Final = 1.6


@dataclass(frozen=True, slots=True)
class LiftOff:
    """The load at which one seat opened.

    Parameters
    ----------
    seat : str
    load : float
        On all its jacks together [N].
    movement : float
        How far the jack had moved the deck since it touched [m].
    lift : int
        Seats with one number were lifted together.
    """

    seat: str
    load: float
    movement: float = 0.0
    lift: int = 1


@dataclass(frozen=True, slots=True)
class SeatLoad:
    """The present reaction of one seat [N]: as calculated, as measured, and what counts now."""

    seat: str
    calculated: float
    measured: float | None
    """At rest, that is less what the movement and a breakaway added; None if not read."""
    now: float
    how: str
    """Where ``now`` comes from, in words."""

    @property
    def factor(self) -> float:
        """What counts now over what was calculated; 1 where nothing was calculated."""
        return self.now / self.calculated if self.calculated else 1.0


@dataclass(frozen=True, eq=False)
class Rebased:
    """Present reactions after a measured lift-off, in the order of the influence."""

    loads: tuple[SeatLoad, ...]
    warnings: tuple[str, ...]
    """What the engineer must look at before the work goes on, a line each."""

    @property
    def r0(self) -> Array:
        """Reactions (n,) that count now [N]."""
        return np.array([s.now for s in self.loads])

    @property
    def factors(self) -> Array:
        """Ratios (n,) of what counts now to what was calculated."""
        return np.array([s.factor for s in self.loads])


def lift_offs(job: Job, done: Iterable[Done]) -> tuple[LiftOff, ...]:
    """Gather the lift-off rows of readings as done, seat by seat.

    The loads of the jacks of one seat are added. Where only some of them were read, the others
    carry the mean of those, for jacks at one seat share equally. Linked jacks have one pressure.

    Parameters
    ----------
    job : Job
    done : iterable of Done
        Rows of other moments and rows without a load are passed over.

    Returns
    -------
    tuple of LiftOff
        One for each seat and stage; seats read in one stage were lifted together.

    Raises
    ------
    InputError
        If linked jacks did not lift a segment off all its seats at once, every gauge read.
    """
    stages: dict[int, dict[str, list[Done]]] = {}
    for row in done:
        if row.moment == "lift-off" and row.load is not None:
            stages.setdefault(row.stage, {}).setdefault(row.seat, []).append(row)
    found = []
    for stage, rows in stages.items():
        loads = even_loads(job, rows, {seat: seat_load(job, own) for seat, own in rows.items()})
        found += [
            LiftOff(seat, load, _movement(rows.get(seat, [])), stage)
            for seat, load in loads.items()
        ]
    return tuple(found)


def seat_load(job: Job, rows: Sequence[Done]) -> float:
    """Return the load of a whole seat [N].

    Parameters
    ----------
    job : Job
    rows : sequence of Done
        Of one seat at one moment, at least one of them with a load. A load that names no jack is
        that of the seat; else jacks not read carry the mean of the others.
    """
    for row in rows:
        if row.jack is None and row.load is not None:
            return row.load
    read = [row.load for row in rows if row.load is not None]
    return sum(read) / len(read) * len(job.jacks_at(rows[0].seat))


def _movement(rows: Sequence[Done]) -> float:
    read = [row.movement for row in rows if row.movement is not None]
    return sum(read) / len(read) if read else 0.0


def rebase_loads(job: Job, influence: Influence, readings: Iterable[LiftOff]) -> Rebased:
    """Return present reactions corrected by lift-off readings.

    A reading holds more than the load at rest: what the movement to lift-off added, R m over all
    seats of the same lift, and a breakaway. Seats of a segment that lift but were not read are
    scaled by the ratio of the sums at those that were; seats that push in plan and other segments
    stay as calculated. A segment on linked jacks is weighed.

    Parameters
    ----------
    job : Job
    influence : Influence
        Its ``r0`` are the calculated reactions, its ``R`` takes the movement out.
    readings : iterable of LiftOff

    Returns
    -------
    Rebased

    Raises
    ------
    InputError
        If a seat is unknown or read twice.
    """
    stated = tuple(readings)
    _require_known(influence, stated)
    calculated = dict(zip(influence.seats, influence.r0.tolist(), strict=True))
    weighed = at_rest(job, calculated, {r.seat: r.load for r in stated})
    measured = _at_rest(job, influence, [r for r in stated if r.seat not in weighed])
    ratio = _ratios(job, calculated, measured)
    loads = []
    for name, load in calculated.items():
        seat = job.seats[name]
        if name in weighed:
            how = f"segment {seat.segment} weighed by all its gauges, shared as its seats spring"
            loads.append(SeatLoad(name, load, None, weighed[name], how))
        elif name in measured:
            loads.append(SeatLoad(name, load, measured[name], measured[name], "measured"))
        elif seat.lifts and seat.segment in ratio:
            scaled = load * ratio[seat.segment]
            how = f"not read; scaled as the seats read of segment {seat.segment}"
            loads.append(SeatLoad(name, load, None, scaled, how))
        else:
            loads.append(SeatLoad(name, load, None, load, "as calculated"))
    return Rebased(tuple(loads), tuple(_warnings(job, loads, ratio)))


def with_loads(job: Job, rebased: Rebased) -> Job:
    """Return the job with the re-based loads as its present reactions.

    Segments with a reading get the weight that their seats carry now, so that loads and weight
    agree; whoever prints says so.

    Parameters
    ----------
    job : Job
    rebased : Rebased
        Seats whose load is as calculated keep what the job says of them.
    """
    seats = {
        s.seat: replace(job.seats[s.seat], reaction_now=s.now)
        for s in rebased.loads
        if s.how != "as calculated"
    }
    touched = {seat.segment for seat in seats.values()}
    now = {s.seat: s.now for s in rebased.loads}
    segments = {
        name: replace(segment, weight=carried(job.seats_of(name), now))
        if name in touched
        else segment
        for name, segment in job.segments.items()
    }
    return replace(job, seats={**job.seats, **seats}, segments=segments)


def carried(seats: Iterable[Seat], loads: Mapping[str, float]) -> float:
    """Return the upward sum of reactions [N].

    Parameters
    ----------
    seats : iterable of Seat
    loads : mapping of str to float
        Reaction of every seat in its own direction, by id [N]; may hold others.
    """
    return float(sum(loads[s.id] * s.direction[2] for s in seats))


def _require_known(influence: Influence, readings: Sequence[LiftOff]) -> None:
    problems = []
    for i, reading in enumerate(readings):
        if reading.seat not in influence.seats:
            problems.append(
                Problem("readings", f"seat '{reading.seat}'", "an id of seats.csv", "correct it")
            )
        elif any(r.seat == reading.seat for r in readings[:i]):
            problems.append(
                Problem(
                    "readings",
                    f"seat '{reading.seat}' lifted off twice",
                    "one lift-off a seat",
                    "keep the reading that counts",
                )
            )
    if problems:
        raise InputError(problems)


def _at_rest(job: Job, influence: Influence, readings: Sequence[LiftOff]) -> dict[str, float]:
    index = {name: i for i, name in enumerate(influence.seats)}
    result = {}
    for reading in readings:
        together = np.zeros(len(index))
        for other in readings:
            if other.lift == reading.lift:
                together[index[other.seat]] = other.movement
        added = float(influence.R[index[reading.seat]] @ together)
        result[reading.seat] = reading.load - added - job.seats[reading.seat].breakaway
    return result


def _ratios(
    job: Job, calculated: Mapping[str, float], measured: Mapping[str, float]
) -> dict[str, float]:
    """Measured over calculated for each segment, from the lifting seats that were read."""
    sums: dict[str, list[float]] = {}
    for name, load in measured.items():
        seat = job.seats[name]
        if seat.lifts:
            total = sums.setdefault(seat.segment, [0.0, 0.0])
            total[0] += load
            total[1] += calculated[name]
    return {name: read / known for name, (read, known) in sums.items() if known > 0.0}


def _warnings(job: Job, loads: Sequence[SeatLoad], ratio: Mapping[str, float]) -> Iterable[str]:
    force = DISPLAY[job.units].force
    now = {s.seat: s.now for s in loads}
    for load in loads:
        if load.how != "as calculated":
            yield from _seat_warnings(job, load)
    for name in ratio:
        segment = job.segments[name]
        lifting = [s for s in job.seats_of(name) if s.lifts]
        missing = [s.seat for s in loads if s.measured is None and job.seats[s.seat] in lifting]
        if missing:
            yield (
                f"segment {name}: {', '.join(missing)} not read at lift-off, scaled by "
                f"{ratio[name]:.2f} as the seats that were; read them before they are relied on"
            )
        total = carried(job.seats_of(name), now)
        if abs(total - segment.weight) > WEIGHT_FIT * segment.weight:
            yield (
                f"segment {name}: its seats carry {force.text(total)}, its weight was taken as "
                f"{force.text(segment.weight)}; find out what the segment really weighs"
            )


def _seat_warnings(job: Job, load: SeatLoad) -> Iterable[str]:
    force, seat = DISPLAY[job.units].force, job.seats[load.seat]
    what = f"seat {load.seat}: {force.text(load.now)}"
    if load.calculated > 0.0 and not 1.0 / MOST_RATIO <= load.factor <= MOST_RATIO:
        yield (
            f"{what} is {load.factor:.2f} times the calculated {force.text(load.calculated)}, "
            f"further off than lifts usually are ({MOST_RATIO:g} times); stop and find the cause"
        )
    if not seat.reaction_least <= load.now <= seat.reaction_most:
        yield (
            f"{what} is outside the seat's own limits of {force.text(seat.reaction_least)} to "
            f"{force.text(seat.reaction_most)}; stop, the engineer decides"
        )
    capacity = sum(jack.capacity for jack in job.jacks_at(load.seat))
    needed = job.working.jack_reserve * (load.now + seat.breakaway)
    if capacity and not seat.hold and needed > capacity:
        yield (
            f"{what} leaves less than the reserve of {job.working.jack_reserve:g} on jacks of "
            f"{force.text(capacity)} in all; larger or more jacks before the lift goes on"
        )
