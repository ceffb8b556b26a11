"""A crew stops on the way back, or in a recovery: where all stands is known, and ways lead on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from fitup.errors import InputError
from fitup.model.procedure import Procedure, WorkEvent
from fitup.model.recovery import Answer, Recovery, Stopped
from fitup.openjob import OpenJob, open_job
from fitup.recovery import stopped_at


@pytest.fixture(scope="module")
def small(
    tmp_path_factory: pytest.TempPathFactory, small_job_writer: Callable[..., Path]
) -> OpenJob:
    """A job of one lift on three jacks with lock nuts."""
    folder = small_job_writer(tmp_path_factory.mktemp("job"))
    text = (folder / "seats.csv").read_text("utf-8").replace("1400,,8,8", "1400,600,8,8")
    (folder / "seats.csv").write_text(text, encoding="utf-8")
    return open_job(folder)


def lines_of(small: OpenJob) -> tuple[Procedure, ...]:
    return (*small.certificate.procedures, *small.certificate.ways_back)


def asked(small: OpenJob, line: int, *earlier: Recovery, **stated: Any) -> Answer:
    last = earlier[-1] if earlier else None
    at = stopped_at(small.job, lines_of(small), Stopped(line, **stated), last)
    return small.rescuer.answer(at, earlier=earlier)


def work(small: OpenJob) -> tuple[WorkEvent, ...]:
    (own,) = small.certificate.procedures
    return tuple(e for e in own.events if e.phase not in ("read", "hold"))


def hold(small: OpenJob, answer: Answer, event: WorkEvent) -> None:
    """Found as its line leaves it; back where the stage began; on to where the stage ends."""
    for seat, then in zip(answer.found.seats, event.after, strict=True):
        assert (seat.state.on, seat.state.pack) == (then.on, then.pack)
        assert seat.state.deck == pytest.approx(then.deck, abs=1e-9)
        assert seat.state.load == pytest.approx(then.load, abs=1.0)
    home = {"back": work(small)[0].after, "end": work(small)[-1].after}
    for tried in answer.tried:
        if tried.recovery is None or not tried.recovery.orders:
            continue
        last = tried.recovery.procedure.events[-1].after
        assert all(s.on != "oil" for s in last)
        for now, then in zip(last, home.get(tried.goal, last), strict=True):
            assert (now.on, sorted(now.pack)) == (then.on, sorted(then.pack))
            assert now.deck == pytest.approx(then.deck, abs=1e-9)
    assert answer.of("safe").recovery is not None
    assert answer.of("back").recovery or answer.of("end").recovery


def test_every_line_of_the_certified_way_back_can_be_stopped_at(small: OpenJob) -> None:
    (back,) = small.certificate.ways_back
    left = []
    for event in back.events:
        answer = asked(small, event.line)
        hold(small, answer, event)
        way = answer.of("back").recovery
        assert way is not None
        left.append(len(way.orders))
    # from line to line less is left, and nothing goes up again on the way down
    assert left == sorted(left, reverse=True)
    assert left[-1] == 0
    assert "begins anew" in asked(small, back.events[-1].line).of("end").why_not[0]


def ways(small: OpenJob, line: int) -> Iterator[Recovery]:
    for tried in asked(small, line).tried:
        if tried.recovery is not None and tried.recovery.orders:
            yield tried.recovery


@pytest.mark.parametrize("verb", ["RAISE", "CHANGE PACK", "FREE", "LOWER"])
def test_every_line_of_a_recovery_can_be_stopped_at(small: OpenJob, verb: str) -> None:
    line = next(e.line for e in work(small) if e.verb == verb)
    for recovery in ways(small, line):
        for event in recovery.procedure.events:
            hold(small, asked(small, event.line, recovery), event)


def test_a_recovery_in_a_recovery_in_the_way_back(small: OpenJob) -> None:
    """Three ways one in another: every line number stands for one line of them all."""
    (back,) = small.certificate.ways_back
    low = [e.line for e in back.events if e.verb == "LOWER"][-1]
    first = asked(small, low).of("end").recovery
    assert first is not None
    up = next(e for e in first.procedure.events if e.verb == "RAISE")
    second = asked(small, up.line, first).of("back").recovery
    assert second is not None
    assert second.procedure.events[0].line > first.procedure.events[-1].line
    event = next(e for e in second.procedure.events if e.verb == "LOWER")
    hold(small, asked(small, event.line, first, second), event)


def test_a_jack_that_breaks_in_a_recovery(small: OpenJob) -> None:
    """What was said before is still true, and its oil is lost where it then stands."""
    line = [e.line for e in work(small) if e.verb == "RAISE"][-1]
    back = asked(small, line, lost=("P5",)).of("back").recovery
    assert back is not None
    event = next(e for e in back.procedure.events if e.verb == "LOWER")
    answer = asked(small, event.line, back, broken=("J-B1",))
    seat = next(s for s in answer.found.seats if s.state.seat == "B-S1")
    assert (seat.state.on, seat.dead) == ("nut", True)
    assert answer.found.stopped.lost == ("P5",)
    assert answer.of("safe").recovery is not None
    (need,) = answer.of("back").jacks
    assert need.jack == "J-B1"


def test_a_new_jack_that_took_the_load_works_like_any_other(small: OpenJob) -> None:
    line = [e.line for e in work(small) if e.verb == "RAISE"][-1]
    back = asked(small, line, broken=("J-B1",), replaced=("J-B1",), at_rest=True).of("back")
    assert back.recovery is not None
    events = back.recovery.procedure.events
    freed = next(e for e in events if e.verb == "FREE")
    before = asked(small, freed.line - 1, back.recovery).found.stopped
    assert (before.broken, before.replaced) == (("J-B1",), ("J-B1",))
    answer = asked(small, freed.line, back.recovery)
    assert (answer.found.stopped.broken, answer.found.stopped.replaced) == ((), ())
    hold(small, answer, freed)
    again = asked(small, freed.line, back.recovery, broken=("J-B1",))
    assert (again.found.stopped.broken, again.found.stopped.replaced) == (("J-B1",), ())


def test_a_line_of_something_else_is_refused(small: OpenJob) -> None:
    line = [e.line for e in work(small) if e.verb == "RAISE"][-1]
    safe = next(ways(small, line))
    with pytest.raises(InputError, match="--line"):
        asked(small, line, safe)


@pytest.fixture(scope="module")
def double(
    tmp_path_factory: pytest.TempPathFactory, small_job_writer: Callable[..., Path]
) -> OpenJob:
    """The same with a second jack at one seat."""
    more = (
        "J-B1,B-S1,2000,285,150,50,0.5,yes",
        "J-B1,B-S1,2000,285,150,50,0.5,yes\nJ-B4,B-S1,2000,285,150,50,0.5,yes",
    )
    folder = small_job_writer(tmp_path_factory.mktemp("job"), jacks=more)
    text = (folder / "seats.csv").read_text("utf-8").replace("1400,,8,8", "1400,600,8,8")
    (folder / "seats.csv").write_text(text, encoding="utf-8")
    return open_job(folder)


def test_one_broken_jack_of_two_leaves_its_seat_on_steel(double: OpenJob) -> None:
    """The sound jack beside it lifts nothing alone; onto steel there is a way without either."""
    lines = [e.line for e in work(double) if e.verb in ("RAISE", "FREE", "LOWER")]
    for line in lines:
        answer = asked(double, line, broken=("J-B4",))
        (seat,) = [s for s in answer.found.seats if s.state.seat == "B-S1"]
        assert (seat.state.on, seat.dead) == ("nut", True)
        safe = answer.of("safe").recovery
        assert safe is not None
        named = {name for order in safe.orders for name in order.objects}
        assert not named & {"J-B1", "J-B4"}
        back = answer.of("back")
        assert back.why_not == ("the jack of seat B-S1 is broken, and the seat stands on nut",)
        (need,) = back.jacks
        # two equal jacks share the load of 600 kN; friction and stop band come on top
        assert need.jack == "J-B4"
        assert 300e3 * double.job.working.jack_reserve < need.capacity < 600e3 * 2.0
    beside = {"broken": ("J-B4",), "replaced": ("J-B4",), "at_rest": True}
    way = asked(double, lines[0], **beside).of("back").recovery
    assert way is not None
    assert {"J-B1", "J-B4"} < {j for o in way.orders if o.verb == "FREE" for j in o.objects}


def test_a_load_on_the_oil_of_one_jack_of_two_is_let_down_first(double: OpenJob) -> None:
    line = next(e.line for e in work(double) if e.verb == "RAISE")
    with pytest.raises(InputError) as refused:
        asked(double, line, broken=("J-B4",), on=(("B-S1", "oil"),))
    assert [str(p) for p in refused.value.problems] == [
        "command line, --on: found seat B-S1 on oil, with jack J-B4 there broken; allowed: what "
        "carries it without that jack: nut, temporary, pack or friction; run nuts home or plates "
        "up to the load and let it down on them, then say that"
    ]
