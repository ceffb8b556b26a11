"""Linked jacks in the search: packs that open, limits while raised, and too much room to land."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.model import Staging
from fitup.plan import make_plan
from fitup.procedure.heights import Heights
from fitup.procedure.layout import lay, moving_groups
from fitup.procedure.linked import may_go, opened, raised_groups
from fitup.procedure.orders import Crew
from fitup.procedure.rows import way_rows
from fitup.procedure.tell import loads_of


def linked(small: Any, **changes: Any) -> Any:
    case = small()
    jacks = {
        n: replace(j, circuit=n[1] if n[-1] in "12" else "") for n, j in case.job.jacks.items()
    }
    return small(jacks=jacks, staging=Staging(out_of_step=0.0005, friction=0.03), **changes)


def test_packs_open_as_in_the_one_case_that_holds():
    """Against all sixteen cases of open and closed packs."""
    rng = np.random.default_rng(3)
    for _ in range(40):
        half = rng.normal(size=(4, 4))
        slope, left = half @ half.T + 0.1 * np.eye(4), 1e4 * rng.normal(size=4)
        found = opened(slope, left)
        for case in range(16):
            own = [i for i in range(4) if case >> i & 1]
            gaps = np.zeros(4)
            if own:
                gaps[own] = np.linalg.solve(slope[np.ix_(own, own)], -left[own])
            if (gaps >= 0.0).all() and (left + slope @ gaps >= -1e-6).all():
                assert found == pytest.approx(gaps, rel=1e-6, abs=1e-6)
                break
        else:
            pytest.fail("no case holds")


def test_a_circuit_keeps_its_loads_whatever_is_set(small: Any):
    """Three circuits under a rigid box: no setting moves a load while it is raised."""
    case = linked(small)
    rows = way_rows(case.job, case.state, case.influence)
    groups = raised_groups(case.job, case.influence.seats, case.influence.R, case.influence.r0)
    assert [g.links.name for g in groups] == ["B-lift", "A-lift"]
    for p, (label, raised) in enumerate(zip(rows.labels, rows.raised, strict=True)):
        if (
            raised is not None
            and label.kind.startswith("reaction")
            and label.subject[0] == (raised.links.name[0])
        ):
            assert np.abs(rows.L[p]).max() < 1.0
            # and its bound is what the seat may still take or lose from there
            seat = raised.seats[[s.id for s in raised.seats].index(label.subject)]
            load = raised.loads[raised.seats.index(seat)]
            least, most = load - seat.reaction_least, seat.reaction_most - load
            assert rows.on_way[p] == pytest.approx(
                most if label.kind == "reaction_most" else least, rel=1e-6
            )


def test_only_friction_parts_loads_and_rams_go_with_the_plane(small: Any):
    case = linked(small)
    R, r0, names = case.influence.R, case.influence.r0, case.influence.seats
    group = raised_groups(case.job, names, R, r0)[0]
    slope = R[np.ix_(group.own, group.own)]
    off = np.full(4, 0.0005)
    gone = may_go(case.job, group.own, group.seats, slope, off, [group], None)
    assert gone[1, [0, 2, 3]] == pytest.approx([0.0005, 0.0005, -0.0005])
    loads = slope @ gone
    assert np.abs(loads[:, [0, 2, 3]]).max() < 1.0
    # half of what friction parts two springs by stays with each pair: D r = f F, D x = 2 r
    assert np.abs(loads[:, 1]) == pytest.approx(0.03 * 5e5 / 2.0, rel=1e-6)


def test_a_segment_on_linked_jacks_moves_alone(small: Any):
    case = linked(small)
    seats = {
        n: replace(s, group=f"{n[0]}-{'near' if n[1] in '12' else 'far'}")
        for n, s in case.job.seats.items()
    }
    case = linked(small, seats=seats)
    groups = moving_groups(case.job, make_plan(case.job, case.state, case.influence).seats)
    rows = way_rows(case.job, case.state, case.influence)
    course = lay(case.job, groups, rows, [()] * len(groups)).course
    number = {name: i for i, name in enumerate(course.groups)}
    assert not course.together(number["B-near"], number["B-far"])
    assert course.together(number["B-near"], number["A-far"])


def test_too_much_room_before_landing_is_named(small: Any):
    """A flat deck over packs that are not leaves room at one of them: nothing may drop so far."""
    case = linked(small)
    plan = make_plan(case.job, case.state, case.influence)
    loads, stage = loads_of(case.job, case.influence), plan.stages[0]
    for follow, named in ((0.006, False), (0.0015, True)):
        job = replace(case.job, working=replace(case.job.working, follow_up=follow))
        heights = Heights(job, loads, stage, dict.fromkeys(job.seats, 0.0))
        crew = Crew(job, heights, stage, {m: p.count for m, p in job.plates.items()})
        found = dict(crew.drops())
        assert bool(found) == named
        room = heights.loose(crew.stacks.down_rows[-1]) + crew.stacks.down_rows[-1] - heights.end
        for seat, by in found.items():
            assert by == pytest.approx(room[stage.seats.index(seat)] - follow)
