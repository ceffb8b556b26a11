"""What a stage takes: the planner's word on plates and strokes against the certificate's."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.certify import certify
from fitup.errors import CertificateRefused, NoSafeOrder
from fitup.model import Job, Plan, SeatPlan, Staging
from fitup.plan.order import order_stages
from fitup.problem.packs import pack_choices, stay

Small = Callable[..., Any]


def made(small: Small, seed: int) -> tuple[Any, tuple[SeatPlan, ...]]:
    """Return a made-up job of pairs of seats, short of plates and strokes, and packs for it."""
    rng = np.random.default_rng(seed)
    job: Job = small().job
    nuts = float(rng.choice([0.0, 0.3, 1.0]))
    many = int(rng.integers(2, 14))
    jacks = {
        n: replace(
            j,
            capacity=3e6,
            lock_nut=bool(rng.random() < nuts),
            stroke=float(rng.choice([0.022, 0.03, 0.1])),
            stroke_used=float(rng.choice([0.0, 0.008, 0.015])),
            base=0.02,
            base_most=float(rng.choice([0.02, 0.03])),
        )
        for n, j in job.jacks.items()
    }
    seats = {
        n: replace(
            s,
            temporary_seat=bool(rng.random() < 0.97),
            group=f"{n[0]}-{'far' if n[1] in '34' else 'near'}",
        )
        for n, s in job.seats.items()
    }
    job = replace(
        job,
        jacks=jacks,
        seats=seats,
        limits={n: replace(w, most=0.012, most_moving=0.02) for n, w in job.limits.items()},
        plates={m: replace(p, count=int(rng.integers(0, many))) for m, p in job.plates.items()},
        staging=Staging(crews=int(rng.integers(1, 4)), base_step=0.005),
    )
    case = replace(small(), job=job)
    loose = Counter({m: p.count for m, p in job.plates.items()})
    packs = []
    slope = rng.normal(0.0, 2e-4, (2, 3)) * [1.0, 1.0, 0.0]
    rise = rng.normal(0.0, 4e-3, 2)
    for seat in job.seats.values():
        loose.update(seat.pack)
        k = list(job.segments).index(seat.segment)
        aim = float(rise[k] + slope[k] @ (seat.position - job.segments[seat.segment].centre))
        offered = [
            c
            for c in pack_choices(seat, job.plates, loose, (aim - 1e-3, aim + 1e-3))
            if all(n <= loose[m] for m, n in Counter(c.marks).items())
        ]
        choice = offered[int(rng.integers(len(offered)))] if offered else stay(seat)
        new = choice.marks if choice.disturbed else seat.pack
        loose.subtract(new)
        out, put = Counter(seat.pack) - Counter(new), Counter(new) - Counter(seat.pack)
        packs.append(
            SeatPlan(
                seat.id,
                tuple(out.elements()),
                tuple(put.elements()),
                new,
                float(np.round(choice.setting, 9)) + 0.0,
                choice.disturbed,
            )
        )
    return case, tuple(packs)


def verdicts(small: Small, seed: int) -> tuple[str, list[str]]:
    """Return what the planner says of a made-up job, and what the certificate says of its plan."""
    case, packs = made(small, seed)
    try:
        stages, fewest = order_stages(case.job, case.state, case.influence, packs)
    except NoSafeOrder as none:
        return str(none), []
    plan = Plan(packs, stages, (fewest,), "", tuple(s.setting for s in packs), False)
    try:
        certify(case.job, case.survey, case.state, case.influence, plan)
    except CertificateRefused as refused:
        return "planned", list(refused.disagreements)
    return "planned", []


WORDS = ("in store", "too few", "stroke", "could drop", "room", "re-packed", "temporary plates")


@pytest.mark.parametrize("seed", range(6))
def test_no_plan_is_refused_for_plates_or_stroke(small: Small, seed: int):
    said, refused = verdicts(small, seed)
    assert [line for line in refused if any(w in line for w in WORDS)] == []
    assert said == "planned" or "stage" in said
