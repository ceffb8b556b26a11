"""A four-jack lift worked by hand in docs/night.md, and the oil column by integration.

* Bulk modulus of hydraulic oil 1.4 GPa: medium "Oil" of the Hydraulic library, Wolfram System
  Modeler documentation, page Hydraulic.Media.Oil, parameter beta.
* Pressure is force over area (Pascal's law): 421 bar under 1200 kN on 285 cm2.
* Springs side by side share a load as their stiffnesses; rams under one pressure as their areas
  (statics).
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fitup.certify import certify
from fitup.certify.springs import jack_stiffness, load_shares
from fitup.model import SPRINGS, Jack
from fitup.plan import make_plan
from fitup.problem.jacks import seat_capacity, shares, stiffness

PAGE = (Path(__file__).parents[3] / "docs" / "night.md").read_text(encoding="utf-8")
BY_HAND = PAGE.split("## Four jacks by hand")[1].split("\n## ")[0]
JACK = Jack("J", "S", 2.4e6, 0.0285, 0.15, 0.05, 5e-4, True)


def stated(pattern: str) -> float:
    found = re.search(pattern, BY_HAND)
    assert found is not None, pattern
    return float(found[1])


def test_oil_column_is_as_stiff_as_many_thin_slices():
    """Each slice of oil gives p dh / K; p = F / A."""
    force, slices = 1.2e6, 1000
    height = (JACK.stroke_used + SPRINGS.dead) / slices
    give = sum(force / JACK.ram_area * height / 1.4e9 for _ in range(slices))
    assert force / give / 1e6 == pytest.approx(stated(r"m = (\d+) kN/mm"), abs=0.5)


def test_both_paths_and_the_page_agree_on_the_jack():
    by_hand = stated(r"= ([\d.]+) kN/mm\.\n- Take-up") * 1e6
    assert stiffness(JACK) == pytest.approx(by_hand, rel=2e-4)
    assert jack_stiffness(JACK) == (pytest.approx(by_hand, rel=2e-4), SPRINGS.spread)


@pytest.fixture(scope="module")
def lift(small: Any) -> tuple[Any, Any]:
    """Two boxes of 4800 kN, each on four of the jacks by hand."""
    case = small()
    jacks = {n: replace(JACK, id=n, seat=j.seat) for n, j in case.job.jacks.items()}
    seats = {
        n: replace(s, bedding=3e-4, reaction_most=1.9e6, reaction_least=2e5)
        for n, s in case.job.seats.items()
    }
    segments = {n: replace(s, weight=4.8e6) for n, s in case.job.segments.items()}
    case = small(jacks=jacks, seats=seats, segments=segments)
    plan = make_plan(case.job, case.state, case.influence)
    return case, certify(case.job, case.survey, case.state, case.influence, plan)


def test_take_up_lift_off_rest_and_landing_of_the_page(lift: Any):
    case, certificate = lift
    half = 2.6e-4
    for procedure in certificate.procedures:
        events = procedure.events
        shown = {
            e.verb if e.verb != "TAKE UP" else f"TAKE UP {i}": {
                (r.instrument, r.at): r for r in e.readings
            }
            for i, e in enumerate(events)
        }
        half_way = [e for e in events if e.verb == "TAKE UP"][1]
        for reading in half_way.readings:
            if reading.instrument == "ram":
                assert reading.value == pytest.approx(stated(r"ram is ([\d.]+) mm") / 1e3, abs=half)
        for name in procedure.jacks:
            seat = case.job.jacks[name].seat
            lifted = shown["LIFT OFF"]["ram", name].value - shown["LIFT OFF"]["feeler", seat].value
            assert lifted == pytest.approx(
                stated(r"takes ([\d.]+) mm of ram") / 1e3, abs=half + 1e-4
            )
            bar = shown["LIFT OFF"]["gauge", name].value / 1e5
            assert bar == pytest.approx(stated(r"285 cm² = (\d+) bar"), abs=2.5)
        rest = events[[e.verb for e in events].index("OIL OFF")]
        before = events[[e.verb for e in events].index("NUT HOME")]
        for old, new in zip(before.after, rest.after, strict=True):
            assert old.deck - new.deck == pytest.approx(
                stated(r"2000 = ([\d.]+) mm") / 1e3, abs=3e-5
            )


def test_landing_of_the_page_from_first_touch(lift: Any):
    """From the room that is left before landing, the rest is the pack's spring and bedding."""
    _, certificate = lift
    for procedure in certificate.procedures:
        verbs = [e.verb for e in procedure.events]
        land = procedure.events[verbs.index("LAND")]
        before = procedure.events[verbs.index("LAND") - 1]
        for old, new in zip(before.after, land.after, strict=True):
            if old.pack == procedure.events[0].after[0].pack:
                continue
            down = old.deck - new.deck - old.opening
            # the load of a stiff box shifts while corners land on packs of whole plates
            shifted = abs(new.load - 1.2e6) / 4e8 + abs(old.load - 1.2e6) / 4e8
            by_hand = stated(r"goes down 3\.0 \+ 0\.3 = ([\d.]+) mm") / 1e3
            assert down == pytest.approx(by_hand, abs=5e-5 + shifted)


@pytest.mark.parametrize("circuit", ["", "C1"])
def test_unequal_jacks_share_as_statics_says_on_both_paths(small: Any, circuit: str):
    case = small()
    twin = replace(case.job.jacks["JB1"], id="JB1b", ram_area=0.04, capacity=2.4e6, circuit=circuit)
    jacks = {**case.job.jacks, "JB1b": twin}
    jacks["JB1"] = replace(jacks["JB1"], circuit=circuit)
    job = replace(case.job, jacks=jacks)
    areas = np.array([0.02, 0.04])
    column = 1.4e9 * areas / 0.065
    springs = 1.0 / (1.0 / column + 1.0 / 1.0e9)
    weight = areas if circuit else springs
    expected = dict(zip(("JB1", "JB1b"), weight / weight.sum(), strict=True))
    assert shares(job, "B1") == pytest.approx(expected)
    assert load_shares(job, "B1") == pytest.approx(expected)
    # the first jack at its capacity decides, not the sum of both
    assert seat_capacity(job, "B1") == pytest.approx(
        min(1.2e6 / expected["JB1"], 2.4e6 / expected["JB1b"])
    )
    case = replace(case, job=job)
    plan = make_plan(job, case.state, case.influence)
    certificate = certify(job, case.survey, case.state, case.influence, plan)
    facts = {j.jack: j for s in certificate.stages for j in s.jacks}
    whole = facts["JB1"].load_start + facts["JB1b"].load_start
    assert facts["JB1"].load_start == pytest.approx(expected["JB1"] * whole)
