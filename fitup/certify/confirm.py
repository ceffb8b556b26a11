"""Hold every printed number against the certificate: a number nobody recomputed is not printed."""

from __future__ import annotations

from collections.abc import Iterable

from fitup.certify.facts import Certificate, PrintedNumber, reading_band
from fitup.errors import CertificateRefused
from fitup.model import Job

#: a printed number may miss the exact one by half of its last digit, and this much more of it
_CARE = 1.001


def confirm(job: Job, certificate: Certificate, printed: Iterable[PrintedNumber]) -> int:
    """Compare printed numbers with the certificate and return how many there were.

    Raises
    ------
    CertificateRefused
        If a printed number is not the certificate's, or the certificate does not know it.
    """
    exact = _exact(job, certificate)
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


def _exact(job: Job, certificate: Certificate) -> dict[tuple[str | int, ...], float]:
    exact: dict[tuple[str | int, ...], float] = {}
    quantity = {fact.id: fact.quantity for fact in certificate.checks}
    for stage in certificate.stages:
        for jack in stage.jacks:
            key = ("jack", stage.number, jack.jack)
            for part, readings in (("up", jack.up), ("down", jack.down)):
                for i, value in enumerate(readings):
                    exact[(*key, part, i)] = value
            for name in ("load_start", "load_raised", "load_stop"):
                exact[(*key, name)] = getattr(jack, name)
            for name, load in (
                ("pressure_start", jack.load_start),
                ("pressure_raised", jack.load_raised),
                ("pressure_stop", jack.load_stop),
            ):
                exact[(*key, name)] = load / jack.ram_area
        for check, value in stage.expected:
            band = reading_band(job, quantity[check], value)
            exact[("stage", stage.number, check, "expect")] = value
            exact[("stage", stage.number, check, "from")] = value - band
            exact[("stage", stage.number, check, "to")] = value + band
    for seat in certificate.seats:
        exact[("seat", seat.seat, "height_now")] = seat.height_now
        exact[("seat", seat.seat, "height_new")] = seat.height_new
        exact[("seat", seat.seat, "move")] = seat.setting
    for fact in certificate.checks:
        exact[("check", fact.id, "before")] = fact.before
        exact[("check", fact.id, "after")] = fact.after
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
