"""What if: changed jobs, and fewer seats disturbed."""

from __future__ import annotations

from itertools import pairwise

import pytest

from fitup.errors import InputError
from fitup.plan.whatif import changed_job, fewer_seats
from fitup.problem.problem import build_problem


def test_seats_held_plates_gone_and_jacks_broken(small):
    job = small(1).job
    seat, mark = next(iter(job.seats)), next(m for m, p in job.plates.items() if p.count > 1)
    jack = next(j for j in job.jacks.values() if j.seat != seat)
    other = changed_job(job, [seat], {mark: 1}, [jack.id])
    assert other.seats[seat].hold
    assert other.plates[mark].count == job.plates[mark].count - 1
    assert jack.id not in other.jacks
    assert not any(s.hold for s in changed_job(job).seats.values())


def test_a_seat_whose_jack_is_broken_stays(small):
    case = small(1)
    jack = next(iter(case.job.jacks.values()))
    other = changed_job(case.job, broken=[jack.id])
    problem = build_problem(other, case.state, case.influence)
    group = case.job.seats[jack.seat].group
    for name, choices in zip(problem.seats, problem.choices, strict=True):
        if case.job.seats[name].group == group:
            assert [c.setting for c in choices] == [0.0]


def test_names_that_the_job_does_not_have(small):
    job = small(1).job
    mark = next(iter(job.plates))
    with pytest.raises(InputError) as caught:
        changed_job(job, ["nowhere"], {"P99": 1, mark: 10_000}, ["J99"])
    lines = [str(p) for p in caught.value.problems]
    seats, marks, jacks = (", ".join(table) for table in (job.seats, job.plates, job.jacks))
    have = job.plates[mark].count

    def stated(option: str, found: str, allowed: str, do: str = "mend the name") -> str:
        return f"command line, --{option}: found {found}; allowed: {allowed}; {do}"

    stock = f"0 to {have}, the loose plates {mark} in stock"
    assert lines == [
        stated("hold", "'nowhere'", f"a seat of the job: {seats}"),
        stated("gone", "'P99'", f"a plate mark of the job: {marks}"),
        stated("broken", "'J99'", f"a jack of the job: {jacks}"),
        stated("gone", f"{mark}=10000", stock, "give how many are gone"),
    ]


def test_fewer_seats_cost_accuracy(small):
    case = small(2)
    rows = fewer_seats(case.job, case.state, case.influence)
    assert rows[-1].seats < 4 < rows[0].seats
    for more, fewer in pairwise(rows):
        assert more.seats > fewer.seats == len(fewer.disturbed)
        assert more.squares < fewer.squares * (1.0 + 1e-6)
