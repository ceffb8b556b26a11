"""Hold every printed number against the certificate: a number nobody recomputed is not printed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict

from fitup.certify.facts import (
    Certificate,
    JackFact,
    LiftOffFact,
    PrintedNumber,
    StageFact,
    reading_band,
)
from fitup.errors import CertificateRefused
from fitup.model import Job, Procedure, SeatState

Key = tuple[str | int, ...]

#: a printed number may miss the exact one by half of its last digit, and this much more of it
_CARE = 1.001


def confirm(job: Job, certificate: Certificate, printed: Iterable[PrintedNumber]) -> int:
    """Compare printed numbers with the certificate and return how many there were.

    Parameters
    ----------
    job : Job
        Gives the bands of readings, plates and surveys, which the certificate does not hold.
    certificate : Certificate
    printed : iterable of PrintedNumber

    Raises
    ------
    CertificateRefused
        If a printed number is not the certificate's, or the certificate does not know it.
    """
    return _compared(_exact(job, certificate), printed)


def confirm_recovery(
    procedure: Procedure, seats: Iterable[SeatState], printed: Iterable[PrintedNumber]
) -> int:
    """Compare the numbers of a recovery's sheet with its certified procedure, as above.

    Parameters
    ----------
    seats : iterable of SeatState
        Where every seat stands before it begins.
    """
    exact = dict(_of_procedure(procedure))
    exact |= {("found", s.seat, "load"): s.load for s in seats}
    return _compared(exact, printed)


def _compared(exact: Mapping[Key, float], printed: Iterable[PrintedNumber]) -> int:
    wrong = []
    count = 0
    for number in printed:
        count += 1
        name = " ".join(str(part) for part in number.key)
        value = exact.get(number.key)
        if value is None:
            wrong.append(f"'{name}' would be printed, but nothing recomputes it")
        elif abs(number.value_si - value) > number.half_step * _CARE + 1e-9 * abs(value):
            wrong.append(
                f"'{name}' would be printed as {number.value_si:.6g}, recomputed it is {value:.6g}"
            )
    if wrong:
        raise CertificateRefused(wrong)
    return count


def _exact(job: Job, certificate: Certificate) -> dict[Key, float]:
    exact: dict[Key, float] = {
        ("summary", name.replace("_", " ")): float(value)
        for name, value in asdict(certificate.summary).items()
    }
    quantity = {fact.id: fact.quantity for fact in certificate.checks}
    for stage in certificate.stages:
        exact.update(_of_stage(stage))
        for check, value in stage.expected:
            band = reading_band(job, quantity[check], value)
            exact[("stage", stage.number, check, "expect")] = value
            exact[("stage", stage.number, check, "from")] = value - band
            exact[("stage", stage.number, check, "to")] = value + band
    for fact in certificate.lift_offs:
        exact.update(_of_lift_off(fact))
    for procedure in (*certificate.procedures, *certificate.ways_back):
        exact.update(_of_procedure(procedure))
    for seat_most in certificate.seat_envelopes:
        own = asdict(seat_most).items()
        exact |= {("envelope", seat_most.seat, k): v for k, v in own if k != "seat"}
    for jack_most in certificate.jack_envelopes:
        own = asdict(jack_most).items()
        exact |= {("envelope", jack_most.jack, k): v for k, v in own if k not in ("jack", "seat")}
    for seat in certificate.seats:
        exact[("seat", seat.seat, "height_now")] = seat.height_now
        exact[("seat", seat.seat, "height_new")] = seat.height_new
        exact[("seat", seat.seat, "move")] = seat.setting
    for checked in certificate.checks:
        exact[("check", checked.id, "before")] = checked.before
        exact[("check", checked.id, "after")] = checked.after
    for ride in certificate.ride:
        for name in ("gap_before", "gap_after", "roughness_before", "roughness_after"):
            exact[("ride", ride.path, name)] = getattr(ride, name)
    for bore in certificate.bores:
        exact[("bore", bore.bore, "room_before")] = bore.room_before
        exact[("bore", bore.bore, "room_after")] = bore.room_after
    for group in certificate.bolts:
        for when in ("before", "after"):
            for what in ("passing", "worst", "fitted"):
                exact[("bolts", group.group, f"{what}_{when}")] = getattr(group, f"{what}_{when}")
    for joint, rate in certificate.gap_rates:
        for halves in (-2, -1, 1, 2):
            change = rate * job.gates.temperature_apart * halves / 2.0
            exact[("joint", joint, "gap", halves)] = change
    for mark, plate in job.plates.items():
        exact[("plate", mark, "measured")] = plate.measured
    for epoch in job.epochs:
        apart = job.gates.temperature_apart
        exact[("survey", epoch.file, "steel_from")] = epoch.temperature - apart
        exact[("survey", epoch.file, "steel_to")] = epoch.temperature + apart
    return exact


def _of_stage(stage: StageFact) -> Iterator[tuple[Key, float]]:
    for jack in stage.jacks:
        yield from _of_jack(stage.number, jack)
    for pack in stage.packs:
        yield ("pack", stage.number, pack.seat, "height_new"), pack.height_new
        yield ("pack", stage.number, pack.seat, "height_new", "fraction"), pack.height_new
        yield ("pack", stage.number, pack.seat, "move"), pack.move
    for reset in stage.resets:
        for name in ("base_now", "base_new", "out_now", "out_new"):
            yield ("reset", stage.number, reset.jack, name), getattr(reset, name)


def _of_jack(stage: int, jack: JackFact) -> Iterator[tuple[Key, float]]:
    key = ("jack", stage, jack.jack)
    for part, readings in (("up", jack.up), ("down", jack.down)):
        for i, value in enumerate(readings):
            yield (*key, part, i), value
            yield (*key, part, i, "fraction"), value
    for part, loads in (("pressure_up", jack.loads_up), ("pressure_down", jack.loads_down)):
        for i, load in enumerate(loads):
            yield (*key, part, i), load / jack.ram_area
    for name in ("start", "raised", "stop", "low", "end"):
        load = getattr(jack, f"load_{name}")
        yield (*key, f"load_{name}"), load
        yield (*key, f"pressure_{name}"), load / jack.ram_area
    yield (*key, "move_band"), jack.move_band


def _of_lift_off(fact: LiftOffFact) -> Iterator[tuple[Key, float]]:
    for i, (_, load) in enumerate(fact.steps):
        yield ("lift-off", fact.jack, "load", i), load
        yield ("lift-off", fact.jack, "pressure", i), load / fact.ram_area
    yield ("lift-off", fact.jack, "load_stop"), fact.load_stop
    yield ("lift-off", fact.jack, "pressure_stop"), fact.pressure_stop
    yield ("lift-off", fact.jack, "creep"), fact.creep


def _of_procedure(procedure: Procedure) -> Iterator[tuple[Key, float]]:
    for event in procedure.events:
        for reading in event.readings:
            key = ("event", event.line, reading.instrument, reading.at)
            yield (*key, "value"), reading.value
            yield (*key, "value", "fraction"), reading.value
            for band in reading.bands:
                yield (*key, band.meaning, "low"), band.low
                yield (*key, band.meaning, "high"), band.high
