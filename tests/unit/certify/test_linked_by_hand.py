"""Three-point lifting and pressure sharing, from statics.

* Pascal's law: jacks on one valve have one pressure p, so a ram of area A pushes with p A.
* Equilibrium of a rigid box under its weight W on four vertical jacks: three equations (heave,
  roll, pitch) for four forces. With two of them on one valve, F3 / A3 = F4 / A4 is the fourth: the
  forces follow from W, its place and the areas alone; how stiff anything is, and how far any ram
  is out, do not matter.

Both are textbook statics and stand derived here; the numbers are those of docs/night.md.

With stations from the near jacks and distances to the left of the middle:

    pitch, about the near jacks:   (F3 + F4) L = W s
    heave:                         F1 + F2 = W - (F3 + F4)
    roll, about the middle:        b (F1 - F2) + b (F4 - F3) = W e

L between near and far jacks, b from the middle to each, s and e the place of the weight; jacks 1
and 4 stand left, 2 and 3 right, 3 and 4 far and on one valve.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fitup.certify import certify
from fitup.certify.linked import shared_load
from fitup.plan import make_plan
from fitup.procedure.linked import raised_groups

PAGE = (Path(__file__).parents[3] / "docs" / "night.md").read_text(encoding="utf-8")
BY_HAND = PAGE.split("## Linked jacks by hand")[1].split("\n## ")[0]

#: weight [N], place of the weight from the near jacks and left of the middle, spans [m]
W, S, E, L, B = 2.0e6, 8.8, 0.5, 16.0, 4.0


def by_hand(a3: float, a4: float) -> np.ndarray:
    """The four forces by the three equations above and one pressure."""
    far = W * S / L
    f3, f4 = far * a3 / (a3 + a4), far * a4 / (a3 + a4)
    near, apart = W - far, W * E / B - (f4 - f3)
    return np.array([(near + apart) / 2.0, (near - apart) / 2.0, f3, f4])


def box(small: Any, a3: float, a4: float, **changes: Any) -> Any:
    """Two boxes of the small job with their weight off the middle, far jacks on one valve."""
    case = small()
    job = case.job
    areas = {"3": a3, "4": a4}
    jacks = {
        n: replace(
            j,
            ram_area=areas.get(n[-1], 0.02),
            circuit=f"{n[1]}-far" if n[-1] in areas else "",
            **changes,
        )
        for n, j in job.jacks.items()
    }
    segments = {}
    for name, segment in job.segments.items():
        # seats stand 2 m and 18 m from the joint; left is towards the west
        sign = -1.0 if name == "B" else 1.0
        near = job.seats[f"{name}1"].position
        centre = np.array([-E, near[1] + sign * S, segment.centre[2]])
        segments[name] = replace(segment, centre=centre)
    return small(jacks=jacks, segments=segments)


def stated(pattern: str) -> float:
    found = re.search(pattern, BY_HAND)
    assert found is not None, pattern
    return float(found[1])


def test_the_page_says_what_statics_says():
    f1, f2, f3, f4 = by_hand(0.02, 0.02)
    assert f3 == pytest.approx(stated(r"each far jack (\d+) kN") * 1e3)
    assert f4 == pytest.approx(f3)
    assert f3 / 0.02 / 1e5 == pytest.approx(stated(r"200 cm² = (\d+) bar"))
    assert f1 == pytest.approx(stated(r"F1 = (\d+) kN") * 1e3)
    assert f2 == pytest.approx(stated(r", F2 = (\d+) kN") * 1e3)
    g1, g2, g3, g4 = by_hand(0.018, 0.02)
    assert g3 == pytest.approx(stated(r"F3 = ([\d.]+) kN") * 1e3, abs=50.0)
    assert g4 == pytest.approx(stated(r"F4 = ([\d.]+) kN") * 1e3, abs=50.0)
    assert g3 / 0.018 / 1e5 == pytest.approx(stated(r"both have ([\d.]+) bar"), abs=0.05)
    assert g1 == pytest.approx(stated(r"near left ([\d.]+) kN") * 1e3, abs=50.0)
    assert g2 == pytest.approx(stated(r"near right ([\d.]+) kN") * 1e3, abs=50.0)


@pytest.mark.parametrize("areas", [(0.02, 0.02), (0.018, 0.02)])
@pytest.mark.parametrize("stiffness", [None, 8.0e8])
def test_both_paths_carry_what_statics_says(
    small: Any, areas: tuple[float, float], stiffness: float | None
):
    """Raised on three circuits, whatever the springs of jacks and packs."""
    case = box(small, *areas, stiffness=stiffness)
    # jacks 1 to 4: left for the one that looks ahead from the joint is the same side on both
    expected = by_hand(*areas)
    for group in raised_groups(case.job, case.influence.seats, case.influence.R, case.influence.r0):
        assert group.loads == pytest.approx(expected, rel=1e-6)
    plan = make_plan(case.job, case.state, case.influence)
    certificate = certify(case.job, case.survey, case.state, case.influence, plan)
    seen = 0
    for procedure in certificate.procedures:
        for event in procedure.events:
            if event.verb in ("LIFT OFF", "RAISE", "FREE", "LOWER"):
                loads = [state.load for state in event.after]
                assert loads == pytest.approx(expected, rel=1e-6)
                seen += 1
    assert seen >= 8


def test_a_pack_that_would_pull_opens():
    """Against all the cases of open and closed packs: the least that holds is the answer."""
    rng = np.random.default_rng(5)
    for _ in range(40):
        half = rng.normal(size=(4, 4))
        slope, left = half @ half.T + 0.1 * np.eye(4), rng.normal(size=4)
        found = shared_load(np.full(4, 1e12), slope, left)
        answers = []
        for case in range(16):
            own = [i for i in range(4) if case >> i & 1]
            open_ = np.zeros(4)
            if own:
                open_[own] = np.linalg.solve(slope[np.ix_(own, own)], -left[own])
            if (open_ >= -1e-9).all() and (left + slope @ open_ >= -1e-9).all():
                answers.append(open_)
        assert answers
        assert found == pytest.approx(answers[0], abs=1e-7)
