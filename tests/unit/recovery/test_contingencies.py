"""Answers computed beforehand: every line, every single failure, the same however many work."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from fitup.model.recovery import Stopped
from fitup.openjob import OpenJob
from fitup.record.approval import OPEN
from fitup.recovery import stopped_at
from fitup.recovery.contingencies import Certified, Failure, contingencies, failures
from fitup.sheets.contingencies import contingency_sheet, contingency_table


def of_groups(closure: OpenJob, *groups: str) -> Certified:
    """The plan as if only some groups had anything to do."""
    planned = closure.planned
    own = tuple(p for p in planned.certificate.procedures if p.group in groups)
    certificate = replace(planned.certificate, procedures=own)
    return Certified(
        closure.job, closure.survey, closure.state, planned.influence, planned.plan, certificate
    )


@pytest.fixture(scope="module")
def pushed(closure: OpenJob) -> tuple[Certified, Any]:
    certified = of_groups(closure, "W7-across", "E1-across")
    return certified, contingencies(certified)


def test_what_can_fail_in_a_lift(closure: OpenJob):
    lift = next(p for p in closure.certificate.procedures if p.group == "W7-lift")
    found = failures(closure.job, lift)
    kinds = [f.kind for f in found]
    assert kinds.count("jack") == 4
    assert Failure("pump", "PU-1") in found
    assert kinds[-2:] == ["no lift-off", "reading"]
    put_in = {m.mark for e in lift.events for m in e.moved if m.source == "store"}
    assert {f.what for f in found if f.kind == "plate"} == put_in


def test_every_line_of_a_push_is_answered(pushed: Any):
    certified, found = pushed
    for procedure in certified.certificate.procedures:
        lines = [e.line for e in procedure.events if e.verb not in ("READ", "HOLD POINT")]
        for failure in failures(certified.job, procedure):
            own = [c for c in found if c.failure == failure and c.crew == procedure.crew]
            assert own[0].first == lines[0]
            assert own[-1].last == lines[-2]
            assert all(c.of("safe").status == "way" for c in own)
            if failure.kind == "jack":
                assert all(c.of("end").status in ("way", "help") for c in own)


def test_the_answer_is_what_a_crew_that_stops_there_is_told(closure: OpenJob, pushed: Any):
    _, found = pushed
    one = next(c for c in found if c.failure.kind == "jack" and c.of("end").status == "help")
    stated = Stopped(one.last, broken=(one.failure.what,))
    stopped = stopped_at(closure.job, closure.certificate.procedures, stated)
    told = closure.rescuer.answer(stopped, ("end",)).of("end")
    assert told.recovery is None
    assert [h.jack for h in told.jacks] == [h.jack for h in one.of("end").jacks]
    assert told.jacks[0].capacity <= one.of("end").jacks[0].capacity


def test_workers_change_nothing(pushed: Any):
    certified, found = pushed
    assert contingencies(certified, workers=2) == found


def test_a_page_for_each_crew_and_every_answer_in_the_table(pushed: Any):
    certified, found = pushed
    sheet = contingency_sheet(certified, found, "1" * 64, OPEN)
    assert [(p.stage, p.crew) for p in sheet.pages] == [(2, 1), (2, 2)]
    assert all(p.open == 0 and p.rows for p in sheet.pages)
    row = next(r for r in sheet.pages[0].rows if r.end.startswith("WITH"))
    assert row.which == "J-W7-B1"
    table = contingency_table(certified.job, found)
    assert len(table.rows) == len(found)
    at = table.columns.index("capacity_kN")
    for row, one in zip(table.rows, found, strict=True):
        needed = [h.capacity / 1e3 for o in one.outcomes for h in o.jacks]
        # what must carry is rounded upwards, in whole steps of 50 kN
        assert (row[at] == "") == (not needed)
        if needed:
            assert max(needed) <= row[at] < max(needed) + 50.0
            assert row[at] % 50.0 == 0.0
