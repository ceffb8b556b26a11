"""Unlike surveys are refused, not averaged: time, temperature and load on the deck."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from fitup.model import Epoch, Job, Joint
from fitup.units import DISPLAY, from_si


def gate_problems(job: Job, epoch_of: Mapping[str, Epoch]) -> tuple[str, ...]:
    """Say which joints compare what cannot be compared, and which segments are too warm or cold.

    Parameters
    ----------
    job : Job
        With its gates.
    epoch_of : mapping
        Segment -> the epoch its points come from; segments that are missing are passed over.

    Returns
    -------
    tuple of str
        One line each, empty when every gate is kept.
    """
    problems = [
        line for segment in job.segments for line in _segment_problems(job, segment, epoch_of)
    ]
    for joint in job.joints.values():
        back, ahead = epoch_of.get(joint.back), epoch_of.get(joint.ahead)
        if back is not None and ahead is not None and back is not ahead:
            problems += _joint_problems(job, joint, back, ahead)
    return tuple(problems)


def _segment_problems(job: Job, segment: str, epoch_of: Mapping[str, Epoch]) -> list[str]:
    epoch = epoch_of.get(segment)
    if epoch is None or job.segments[segment].expansion is not None:
        return []
    off = abs(epoch.temperature - job.reference_temperature)
    if not _beyond(off, job.gates.temperature_off):
        return []
    temperature = DISPLAY[job.units].temperature
    return [
        f"segment {segment}: surveyed at {temperature.text(epoch.temperature)} ({epoch.file}), "
        f"{_step(job, off)} off the reference of "
        f"{temperature.text(job.reference_temperature)}; at most "
        f"{_step(job, job.gates.temperature_off)} without an expansion model (temperature_off); "
        "give expansion and fixed point in segments.csv, or survey nearer the reference"
    ]


def _joint_problems(job: Job, joint: Joint, back: Epoch, ahead: Epoch) -> list[str]:
    shown, gates = DISPLAY[job.units], job.gates
    apart = dt.datetime.fromisoformat(back.taken) - dt.datetime.fromisoformat(ahead.taken)
    seconds = abs(apart.total_seconds())
    warmer = abs(back.temperature - ahead.temperature)
    heavier = abs(back.deck_load - ahead.deck_load)
    again = "survey both sides in one epoch"
    rows = [
        (
            "hours_apart",
            _beyond(seconds, gates.hours_apart),
            "taken at",
            (back.taken.replace("T", " "), ahead.taken.replace("T", " ")),
            f"{_hours(seconds)} h apart",
            f"{_hours(gates.hours_apart)} h",
            again,
        ),
        (
            "temperature_apart",
            _beyond(warmer, gates.temperature_apart),
            "steel at",
            (shown.temperature.text(back.temperature), shown.temperature.text(ahead.temperature)),
            f"{_step(job, warmer)} apart",
            _step(job, gates.temperature_apart),
            again,
        ),
        (
            "deck_load_apart",
            _beyond(heavier, gates.deck_load_apart),
            "load on the deck",
            (shown.force.text(back.deck_load), shown.force.text(ahead.deck_load)),
            f"{shown.force.text(heavier)} apart",
            shown.force.text(gates.deck_load_apart),
            "survey both sides with the same load on the deck",
        ),
    ]
    return [
        f"joint {joint.id}: back segment {joint.back} ({back.file}) {what} {values[0]}, "
        f"ahead segment {joint.ahead} ({ahead.file}) {what} {values[1]}: {difference}; "
        f"at most {limit} ({key}); {do}"
        for key, broken, what, values, difference, limit, do in rows
        if broken
    ]


def _beyond(value: float, limit: float) -> bool:
    # a value typed equal to the limit must pass whatever the conversion did to its last digit
    return value > limit * (1.0 + 1e-9) + 1e-9


def _hours(seconds: float) -> str:
    return f"{from_si(seconds, 'time', 'h'):.2f}".rstrip("0").rstrip(".")


def _step(job: Job, kelvin: float) -> str:
    shown = DISPLAY[job.units].temperature
    return f"{from_si(kelvin, 'temperature_step', shown.suffix):.1f} {shown.word}"
