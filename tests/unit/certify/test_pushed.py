"""Decks pushed past their packs: what is read then must be inside the bands that are printed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

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


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_a_crew_that_does_as_it_reads_is_not_stopped_at_the_joint(closure: OpenJob, share: float):
    """Friction leaves the deck where it was pushed, past its pack by the room to slide that in."""
    rooms = past(closure)
    assert len(rooms) == 4
    assert min(rooms.values()) >= closure.job.staging.slide
    influence = closure.influence
    x = np.array([share * rooms.get(seat, 0.0) for seat in influence.seats])
    shift = dict(zip(influence.checks, influence.A @ x, strict=True))
    last = closure.certificate.procedures
    reads = [
        r for p in last for e in p.events if e.verb == "READ" and e.stage == 3 for r in e.readings
    ]
    assert len(reads) > 15
    for read in reads:
        stop = read.band("STOP")
        assert stop is not None
        assert stop.holds(read.value + shift[read.at]), read.at


def test_bands_after_a_push_are_wider_by_the_room_and_on_its_side_alone(closure: OpenJob):
    """Pushed from both sides a gap in the middle closes by both rooms, by their means."""
    rooms = past(closure)
    facts = {f.check: f for s in closure.certificate.stages if s.number == 3 for f in s.expected}
    band = closure.job.working.move_band
    middle = facts["K1/P2/gap"]
    sides = [np.mean([r for seat, r in rooms.items() if seat.startswith(s)]) for s in ("W7", "E1")]
    assert middle.low == pytest.approx(middle.expect - band - sum(sides), abs=1e-4)
    assert middle.high == pytest.approx(middle.expect + band, abs=1e-4)
    earlier = [f for s in closure.certificate.stages if s.number == 1 for f in s.expected]
    lengths = [f for f in earlier if f.check.endswith(("gap", "step", "offset"))]
    assert all(f.high - f.low == pytest.approx(2.0 * band) for f in lengths)
