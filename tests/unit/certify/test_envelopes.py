"""Envelopes of seats and jacks over the procedures: worked out once more, event by event."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from fitup.certify import Certificate, certify
from fitup.certify.envelopes import jack_envelopes, seat_envelopes
from fitup.plan import make_plan


@pytest.fixture(scope="module")
def case(small: Any) -> Any:
    return small()


@pytest.fixture(scope="module")
def certificate(case: Any) -> Certificate:
    plan = make_plan(case.job, case.state, case.influence)
    return certify(case.job, case.survey, case.state, case.influence, plan)


def test_a_seat_shows_its_extremes_with_their_lines(case: Any, certificate: Certificate):
    found = {e.seat: e for e in seat_envelopes(case.job, certificate.procedures)}
    states = [
        (event.line, state)
        for procedure in certificate.procedures
        for event in procedure.events
        for state in event.after
    ]
    assert set(found) == {state.seat for _, state in states}
    for seat, own in found.items():
        met = [(line, s) for line, s in states if s.seat == seat]
        assert own.least == min(s.load for _, s in met)
        assert own.most == max(s.load for _, s in met)
        assert own.opening == max(s.opening for _, s in met)
        assert (own.least_line, own.least) in [(line, s.load) for line, s in met]
        assert (own.most_line, own.most) in [(line, s.load) for line, s in met]
        assert own.oil == max(s.load for _, s in met if s.on == "oil") > 0.0
        assert own.used == own.most / case.job.seats[seat].reaction_most


def test_a_seat_that_never_stands_on_oil_has_none(case: Any, certificate: Certificate):
    rested = [
        replace(
            procedure,
            events=tuple(
                replace(event, after=tuple(replace(s, on="pack") for s in event.after))
                for event in procedure.events
            ),
        )
        for procedure in certificate.procedures
    ]
    assert {e.oil for e in seat_envelopes(case.job, rested)} == {0.0}


def test_a_jack_shows_its_greatest_load_and_stop(case: Any, certificate: Certificate):
    found = {e.jack: e for e in jack_envelopes(case.job, certificate.procedures)}
    gauges = [
        (event.line, reading)
        for procedure in certificate.procedures
        for event in procedure.events
        for reading in event.readings
        if reading.instrument == "gauge"
    ]
    assert set(found) == {reading.at for _, reading in gauges}
    for jack, own in found.items():
        met = [(line, r) for line, r in gauges if r.at == jack]
        assert own.most == max(r.load for _, r in met)
        assert (own.most_line, own.most) in [(line, r.load) for line, r in met]
        area = case.job.jacks[jack].ram_area
        stops = [band.high * area for _, r in met if (band := r.band("STOP")) is not None]
        assert own.stop == max(stops)
        assert own.used == own.most / own.capacity < 1.0


def test_a_jack_without_a_stop_band_has_no_stop(case: Any, certificate: Certificate):
    free = [
        replace(
            procedure,
            events=tuple(
                replace(event, readings=tuple(replace(r, bands=()) for r in event.readings))
                for event in procedure.events
            ),
        )
        for procedure in certificate.procedures
    ]
    assert {e.stop for e in jack_envelopes(case.job, free)} == {0.0}
