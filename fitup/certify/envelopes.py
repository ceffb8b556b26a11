"""What a whole plan asks of seats and jacks: the least and the most that any event brings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fitup.model import Job
from fitup.model.procedure import Procedure, SeatState


@dataclass(frozen=True, slots=True)
class SeatEnvelope:
    """Extremes of one seat over all events, with the line of the event that brings each.

    Loads [N] beside the limits of the seat; ``opening`` is the greatest clear room over its pack
    [m]. ``oil`` is the greatest load that stood on oil alone [N].
    """

    seat: str
    least: float
    least_line: int
    most: float
    most_line: int
    opening: float
    opening_line: int
    oil: float
    reaction_least: float
    reaction_most: float

    @property
    def used(self) -> float:
        """Share of the greatest reaction that is used."""
        return self.most / self.reaction_most


@dataclass(frozen=True, slots=True)
class JackEnvelope:
    """The greatest load that any event expects of one jack [N], and its stop load [N]."""

    jack: str
    seat: str
    most: float
    most_line: int
    stop: float
    capacity: float

    @property
    def used(self) -> float:
        """Share of the capacity that is used."""
        return self.most / self.capacity


def seat_envelopes(job: Job, procedures: Sequence[Procedure]) -> tuple[SeatEnvelope, ...]:
    """Return the extremes of every seat that works, in the order of the job.

    Parameters
    ----------
    procedures : sequence of Procedure
        As certified, with the state after every event.
    """
    states: dict[str, list[tuple[int, SeatState]]] = {}
    for procedure in procedures:
        for event in procedure.events:
            for state in event.after:
                states.setdefault(state.seat, []).append((event.line, state))
    return tuple(_seat(job, name, states[name]) for name in job.seats if name in states)


def _seat(job: Job, name: str, met: Sequence[tuple[int, SeatState]]) -> SeatEnvelope:
    seat = job.seats[name]
    least = min(met, key=lambda m: m[1].load)
    most = max(met, key=lambda m: m[1].load)
    opening = max(met, key=lambda m: m[1].opening)
    return SeatEnvelope(
        seat=name,
        least=least[1].load,
        least_line=least[0],
        most=most[1].load,
        most_line=most[0],
        opening=opening[1].opening,
        opening_line=opening[0],
        oil=max((s.load for _, s in met if s.on == "oil"), default=0.0),
        reaction_least=seat.reaction_least,
        reaction_most=seat.reaction_most,
    )


def jack_envelopes(job: Job, procedures: Sequence[Procedure]) -> tuple[JackEnvelope, ...]:
    """Return the greatest load of every jack that works, in the order of the job.

    Parameters
    ----------
    procedures : sequence of Procedure
        As certified; loads stand beside their gauge readings.
    """
    found: dict[str, tuple[float, int, float]] = {}
    for line, jack, load, stop in _gauges(job, procedures):
        most, at, highest = found.get(jack, (-1.0, line, 0.0))
        if load > most:
            most, at = load, line
        found[jack] = (most, at, max(highest, stop))
    return tuple(
        JackEnvelope(name, jack.seat, *found[name], jack.capacity)
        for name, jack in job.jacks.items()
        if name in found
    )


def _gauges(job: Job, procedures: Sequence[Procedure]) -> Iterator[tuple[int, str, float, float]]:
    """Yield line, jack, load [N] and stop load [N] of every gauge reading."""
    for procedure in procedures:
        for event in procedure.events:
            for reading in event.readings:
                if reading.instrument != "gauge":
                    continue
                band = reading.band("STOP")
                area = job.jacks[reading.at].ram_area
                stop = 0.0 if band is None else band.high * area
                yield event.line, reading.at, reading.load, stop
