"""What no procedure can do is named before any search, with what to write."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.errors import InputError
from fitup.plan.plan import make_plan
from fitup.procedure.possible import impossible

Small = Callable[..., Any]


def bare(small: Small, *, temporary: bool = False) -> Any:
    """Return a case whose seat A3 has a jack without a lock nut."""
    case = small()
    jacks = {n: replace(j, lock_nut=n != "JA3") for n, j in case.job.jacks.items()}
    seat = replace(case.job.seats["A3"], temporary_seat=temporary)
    return replace(case, job=replace(case.job, jacks=jacks, seats={**case.job.seats, "A3": seat}))


def said(case: Any) -> list[str]:
    return [str(p) for p in impossible(case.job, case.influence)]


def test_a_job_that_can_be_worked_says_nothing(small: Small):
    assert said(small()) == []


def test_a_seat_that_would_stand_on_oil_alone(small: Small):
    text = (
        "jacks.csv, lock_nut: found no lock nut at jack JA3 and no temporary seat at seat A3: "
        "while its pack is changed the load would stand on oil alone; allowed: a seat that is "
        "re-packed stands on steel meanwhile; write lock_nut = yes at jack JA3, or in seats.csv "
        "temporary_seat = yes, or in job.toml name A3 in leave_alone"
    )
    case = bare(small)
    assert said(case) == [text]
    assert said(bare(small, temporary=True)) == []
    alone = replace(case.job.objectives, leave_alone=("A3",))
    assert said(replace(case, job=replace(case.job, objectives=alone))) == []
    own = case.job.seats["A3"].pack
    assert said(replace(case, job=replace(case.job, given={"A3": own[::-1]}))) == []
    assert said(replace(case, job=replace(case.job, given={"A3": (*own, "P1")}))) == [text]
    with pytest.raises(InputError, match="would stand on oil alone"):
        make_plan(case.job, case.state, case.influence, pytest.fail)


@pytest.mark.parametrize(("friction", "nut"), [(3e5, False), (1e5, False), (1e5, True)])
def test_a_push_that_friction_does_not_hold(small: Small, friction: float, nut: bool):
    """200 kN pull a deck back that 100 kN of friction hold: a nut must, or nobody pushes."""
    case = small()
    push = replace(
        case.job.seats["A3"],
        direction=np.array([0.0, 1.0, 0.0]),
        pushes="ahead",
        breakaway=friction,
        reaction_least=-1e6,
        group="A-along",
    )
    jacks = {n: replace(j, lock_nut=nut or n != "JA3") for n, j in case.job.jacks.items()}
    job = replace(case.job, seats={**case.job.seats, "A3": push}, jacks=jacks)
    now = dict(zip(case.influence.seats, case.influence.r0, strict=True)) | {"A3": 2e5}
    r0 = np.array([now[n] for n in case.influence.seats])
    found = said(replace(case, job=job, influence=replace(case.influence, r0=r0)))
    if friction > 2e5 or nut:
        assert found == []
    else:
        assert found == [
            "jacks.csv, lock_nut: found no lock nut at jack JA3: seat A3 is let off to slide its "
            "pack in, is pulled back with 200 kN, and friction (breakaway) holds 100 kN; allowed: "
            "a pushed deck is held by a lock nut or by friction; write lock_nut = yes at jack JA3, "
            "or in job.toml name A3 in leave_alone"
        ]


def test_seats_that_spring_back_too_unlike_for_one_group(small: Small):
    """By hand: 2900 and 100 kN on 400 kN/mm are 7.25 and 0.25 mm; with 0.3 mm to see under (the
    lighter rests), A2 is 7.0 mm and that opening over its pack, where 6.0 mm are allowed."""
    case = small()
    now = dict.fromkeys(case.influence.seats, 5e5) | {"A1": 2.9e6, "A2": 1e5}
    r0 = np.array([now[n] for n in case.influence.seats])
    case = replace(case, influence=replace(case.influence, r0=r0))
    (text,) = said(case)
    assert text.startswith("job.toml, working.follow_up: found 6.0 mm: at lift-off of group A-lift")
    assert "seat A2 is " in text and "when A1, which carries more, comes off" in text
    assert "put A2 and A1 in groups of their own (group in seats.csv)" in text
    over = float(text.split("seat A2 is ")[1].split(" mm")[0])
    assert 7.0 < over < 11.0
    seats = {n: replace(s, group=n if n == "A2" else s.group) for n, s in case.job.seats.items()}
    assert "seat A2" not in " ".join(said(replace(case, job=replace(case.job, seats=seats))))
    wide = replace(case.job.working, follow_up=over / 1e3)
    assert said(replace(case, job=replace(case.job, working=wide))) == []
