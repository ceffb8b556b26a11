"""Decks pushed past their packs: what is read then must be inside the bands that are printed."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

from fitup.frames import Array
from fitup.model import ExpectedReading, Influence
from fitup.openjob import OpenJob, open_job

EXAMPLE = Path(__file__).parents[3] / "examples" / "skerrin-closure"


@pytest.fixture(scope="module")
def closure() -> OpenJob:
    """Both sides of the joint are pushed towards each other in the last stage."""
    return open_job(EXAMPLE)


def past(closure: OpenJob) -> dict[str, float]:
    """How far each deck is pushed past its pack, from the last ram readings and the packs [m]."""
    job, found = closure.job, {}
    for procedure in closure.certificate.procedures:
        for event in (e for e in procedure.events if e.verb == "PUSH"):
            for read in (r for r in event.readings if r.instrument == "ram"):
                seat = job.seats[job.jacks[read.at].seat]
                if seat.held_by == "packs":
                    own = next(p for p in closure.plan.seats if p.seat == seat.id)
                    new, old = job.pack_height(own.build_up), job.pack_height(seat.pack)
                    found[seat.id] = read.value - (new - old - seat.bedding)
    return found


def test_the_plan_counts_on_where_the_ram_leaves_the_deck(closure: OpenJob):
    """Its setting is the last ram reading, whatever the plates behind it are."""
    job, rooms = closure.job, past(closure)
    assert len(rooms) == 4
    for seat in rooms:
        own = next(p for p in closure.plan.seats if p.seat == seat)
        fact = next(f for f in closure.certificate.seats if f.seat == seat)
        mark = max(j.resolution for j in job.jacks_at(seat))
        assert own.setting == pytest.approx(round(own.setting / mark) * mark, abs=1e-9)
        assert fact.setting == own.setting
        assert fact.room_behind == pytest.approx(rooms[seat], abs=1e-6)
        least = job.staging.slide + job.staging.spring_back + job.seats[seat].bedding
        # with more room than this a thinner plate more would have been slid in
        thinnest = min(p.measured for p in job.plates.values())
        assert least - 1e-6 <= fact.room_behind <= least + mark + thinnest


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_a_crew_that_does_as_it_reads_is_not_stopped_at_the_joint(closure: OpenJob, share: float):
    """Let off, each deck comes back by a share of what it may spring back: the tape is inside."""
    rooms = past(closure)
    back = dict.fromkeys(rooms, -share * closure.job.staging.spring_back)
    influence = closure.influence
    shift = dict(zip(influence.checks, influence.A @ moves(influence, back), strict=True))
    reads = last_reads(closure)
    assert len(reads) > 15
    for read in reads:
        stop = read.band("STOP")
        assert stop is not None
        assert stop.holds(read.value + shift[read.at]), read.at


def test_a_deck_that_comes_back_onto_its_pack_is_stopped(closure: OpenJob):
    """All four back by their whole room: a gap is read that the plan did not order."""
    influence = closure.influence
    back = {seat: -room for seat, room in past(closure).items()}
    shift = dict(zip(influence.checks, influence.A @ moves(influence, back), strict=True))
    bands = {r.at: (r, r.band("STOP")) for r in last_reads(closure)}
    read, stop = bands["K1/P2/gap"]
    assert stop is not None
    assert not stop.holds(read.value + shift[read.at])


def moves(influence: Influence, by: Mapping[str, float]) -> Array:
    """Return moves in the order of an influence, none where nothing is stated [m]."""
    return np.array([by.get(seat, 0.0) for seat in influence.seats])


def last_reads(closure: OpenJob) -> list[ExpectedReading]:
    """Return what is read at the joint after the pushes."""
    events = [e for p in closure.certificate.procedures for e in p.events]
    return [r for e in events if e.verb == "READ" and e.stage == 3 for r in e.readings]


def test_bands_after_a_push_are_wider_by_the_way_back_and_on_its_side_alone(closure: OpenJob):
    """Pushed from both sides a gap in the middle opens by what both may spring back."""
    facts = {f.check: f for s in closure.certificate.stages if s.number == 3 for f in s.expected}
    band = closure.job.working.move_band
    middle = facts["K1/P2/gap"]
    back = 2.0 * closure.job.staging.spring_back
    assert middle.low == pytest.approx(middle.expect - band, abs=1e-4)
    assert middle.high == pytest.approx(middle.expect + band + back, abs=1e-4)
    earlier = [f for s in closure.certificate.stages if s.number == 1 for f in s.expected]
    lengths = [f for f in earlier if f.check.endswith(("gap", "step", "offset"))]
    assert all(f.high - f.low == pytest.approx(2.0 * band) for f in lengths)


def test_a_dial_says_that_a_pushed_deck_has_come_back(closure: OpenJob):
    """With the oil off it may read less by what springs back, and no less than its own band."""
    found = 0
    for event in (e for p in closure.certificate.procedures for e in p.events):
        if event.verb != "OIL OFF" or event.phase != "let off":
            continue
        held = {s.seat for s in event.after if s.on == "friction"}
        for read in (r for r in event.readings if r.instrument == "dial" and r.at in held):
            stop, found = read.band("STOP"), found + 1
            assert stop is not None
            wider = (read.value - stop.low) - (stop.high - read.value)
            back = closure.job.staging.spring_back
            assert wider == pytest.approx(back, abs=2.0 * read.resolution)
    assert found == 4
