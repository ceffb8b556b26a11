"""The page docs/hand-example.md: its tables are the job, its numbers what the program must give.

No outside source: the page was worked by hand from the numbers it invents. Tolerances are half of
the last digit on the page.
"""

from __future__ import annotations

import itertools
import re
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from fitup.certify import certify
from fitup.checks import joint_state
from fitup.jobfolder import read_job
from fitup.plan import make_plan
from fitup.structure import influence_of
from fitup.survey import read_survey

PAGE = (Path(__file__).parents[2] / "docs" / "hand-example.md").read_text(encoding="utf-8")
FILES = dict(re.findall(r"^\*\*(\S+)\*\*\n\n```\w+\n(.*?)```", PAGE, re.DOTALL | re.MULTILINE))
ON_P20 = {
    "S1": {5.1: "P5 P3 P2", 6.0: "P5 P3 P3", 7.1: "P5 P5 P2"},
    "S2": {3.1: "P3 P3 P2", 4.2: "P5 P2 P2", 5.0: "P5 P5", 5.1: "P5 P3 P2"},
}
THICK = {"P5": 5.0, "P3": 3.0, "P2": 2.1}
OVER_BOTH = {"P5": 3, "P3": 2, "P2": 2}
WORDS = {3: "three", 4: "four"}


def asserted(title: str) -> dict[str, list[str]]:
    """Rows of one table of the page by their first cell."""
    block = PAGE.split(f"*asserted: {title}*\n\n")[1].split("\n\n")[0]
    rows = [[c.strip() for c in line.strip("|").split("|")] for line in block.splitlines()[2:]]
    return {row[0]: row[1:] for row in rows}


def near(value: float, printed: str) -> bool:
    """True when a number agrees with a printed one to half of its last digit."""
    decimals = len(printed.partition(".")[2])
    return abs(value - float(printed)) <= 0.5 * 10.0**-decimals * 1.01


@pytest.fixture(scope="module")
def worked(tmp_path_factory: pytest.TempPathFactory):
    """The page's job, run."""
    folder = tmp_path_factory.mktemp("hand")
    for name, text in FILES.items():
        (folder / name).write_text(text, encoding="utf-8")
    job = read_job(folder)
    survey = read_survey(folder, job)
    state = joint_state(job, survey)
    influence = influence_of(job, survey, folder)
    plan = make_plan(job, state, influence)
    return state, influence, plan, certify(job, survey, state, influence, plan)


def test_the_page_holds_a_whole_job():
    assert len(FILES) == 10


def test_steps_before(worked):
    state = worked[0]
    index = {c.id: i for i, c in enumerate(state.checks)}
    for name, (value, u) in asserted("before").items():
        assert near(state.values[index[name]] * 1e3, value)
        assert near(state.uncertainties[index[name]] * 1e3, u)


def test_influence(worked):
    influence = worked[1]
    columns = [influence.seats.index(s) for s in ("S1", "S2")]
    for name, row in asserted("influence").items():
        got = influence.A[influence.checks.index(name), columns]
        assert got == pytest.approx([float(v) for v in row], abs=1e-9)


def test_ideal(worked):
    plan = worked[2]
    ideal = {s.seat: x for s, x in zip(plan.seats, plan.ideal, strict=True)}
    for seat, (move,) in asserted("ideal").items():
        assert near(ideal[seat] * 1e3, move)


def test_table_of_pairs():
    """The page's own arithmetic, and that its best entry is the least."""
    table = asserted("pairs")
    seen = []
    for (x1, first), (at, (x2, second)) in itertools.product(
        ON_P20["S1"].items(), enumerate(ON_P20["S2"].items())
    ):
        assert sum(THICK[m] for m in first.split()) - 5.0 == pytest.approx(x1)
        assert sum(THICK[m] for m in second.split()) - 5.0 == pytest.approx(x2)
        used = Counter(first.split()) + Counter(second.split())
        short = [m for m, k in used.items() if k > OVER_BOTH[m]]
        cell = table[f"{x1}"][at]
        if short:
            assert cell == f"{WORDS[used[short[0]]]} {short[0]}"
            continue
        steps = np.array([1.625 * x1 - 0.375 * x2 - 8.4, -0.375 * x1 + 1.625 * x2 - 5.0])
        for value, printed in zip([*steps, steps @ steps], re.split(r" / |: ", cell), strict=True):
            assert near(value, printed)
        seen.append((float(steps @ steps), x1, x2))
    assert min(seen)[1:] == (6.0, 4.2)


def test_no_other_plates_reach_the_proof_window():
    sums = {
        round(sum(THICK[m] for m in pack) - 5.0, 6)
        for k in (1, 2, 3)
        for pack in itertools.combinations_with_replacement(THICK, k)
        if all(n <= OVER_BOTH[m] for m, n in Counter(pack).items())
    }
    reach = 0.311**0.5 / 1.25
    assert [x for x in sums if abs(x - 6.21) <= reach] == [6.0]
    assert [x for x in sums if abs(x - 4.51) <= reach] == [4.2]


def test_packs(worked):
    seats = {s.seat: s for s in worked[3].seats}
    for name, (move, height, out, put_in) in asserted("packs").items():
        fact = seats[name]
        assert fact.setting * 1e3 == pytest.approx(float(move), abs=1e-9)
        assert fact.height_new * 1e3 == pytest.approx(float(height), abs=1e-9)
        assert ("+".join(fact.out) or "-", "+".join(fact.put_in) or "-") == (out, put_in)
    assert {s.seat for s in worked[3].seats if s.disturbed} == set(asserted("packs"))


def test_steps_after(worked):
    checks = {c.id: c for c in worked[3].checks}
    for name, (value, u) in asserted("after").items():
        assert near(checks[name].after * 1e3, value)
        assert near(checks[name].uncertainty * 1e3, u)


def test_objectives(worked):
    objectives = {w.name: w for w in worked[2].objectives}
    for name, (value, least) in asserted("objectives").items():
        assert near(objectives[name].upper, value)
        assert objectives[name].proven
        if least:
            assert near(objectives[name].lower, least)
    assert all(w.proven and w.upper == w.lower for w in worked[2].objectives[2:])


def test_stage(worked):
    (stage,) = worked[3].stages
    jacks = {j.seat: j for j in stage.jacks}
    for seat, row in asserted("stage").items():
        jack = jacks[seat]
        got = [v * 1e3 for v in (*jack.up, *jack.down)]
        got += [jack.load_raised / 1e3, jack.load_stop / 1e3, jack.pressure_raised / 1e5]
        assert len(got) == len(row)
        assert all(near(value, printed) for value, printed in zip(got, row, strict=True))
