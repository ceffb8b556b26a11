"""Corrections learned: two paths to softer seats, and a certificate that takes them in itself."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from fitup.certify import certify
from fitup.certify.learned import CorrectedStates, learned_words
from fitup.certify.recompute import TableStates
from fitup.errors import CertificateRefused
from fitup.jobfolder.rounds import with_learned
from fitup.model import Learned, Plan, SeatPlan, Stage
from fitup.structure import rigid_influence
from fitup.structure.learned import corrected

FACTORS = {"B1": 0.5, "B3": 0.8, "A2": 1.6}


def lessons(what: str, values: dict[str, float]) -> tuple[Learned, ...]:
    return tuple(
        Learned(what, n, v, 0.1, (0.0,) * i, "made") for i, (n, v) in enumerate(values.items())
    )


@pytest.fixture
def case(small):
    return small(1)


def test_a_table_through_softer_seats_is_the_structure_on_softer_seats(case):
    """The influence of stiff seats, corrected as a table, is the one solved with the true ones."""
    soft = with_learned(case.job, lessons("stiffness", FACTORS))
    solved = rigid_influence(soft, case.survey)
    table = corrected(soft, replace(case.influence, origin="table"))
    assert pytest.approx(solved.A, abs=1e-9) == table.A
    assert pytest.approx(solved.R, rel=1e-9, abs=1.0) == table.R
    assert table.uncorrected is not None and table.uncorrected.A is case.influence.A


def test_rigid_segments_are_not_corrected_twice(case):
    soft = with_learned(case.job, lessons("stiffness", FACTORS))
    solved = rigid_influence(soft, case.survey)
    assert pytest.approx(solved.A) == corrected(soft, solved).A
    assert corrected(case.job, case.influence) is case.influence


def test_the_certificate_finds_the_same_by_its_own_forces(case):
    soft = with_learned(case.job, lessons("stiffness", FACTORS))
    table = corrected(soft, replace(case.influence, origin="table"))
    states = CorrectedStates(TableStates(case.influence), soft, table=True)
    x = dict(zip(table.seats, np.linspace(-0.004, 0.006, 8).tolist(), strict=True))
    stated = states.at(x, case.state.checks)
    moves = np.array(list(x.values()))
    assert stated.change == pytest.approx(table.A @ moves, abs=1e-12)
    loads = np.array([stated.reactions[s] for s in table.seats])
    assert loads == pytest.approx(table.r0 + table.R @ moves, abs=1e-3)


def plan_for(job, setting: float) -> Plan:
    seats = [
        SeatPlan(n, (), (), s.pack, setting if n == "B1" else 0.0, n == "B1")
        for n, s in job.seats.items()
    ]
    stage = Stage(1, "B-lift", ("B1",), ((setting,),), (), (0.0,), ((),), ((),))
    return Plan(tuple(seats), (stage,), (), "made", (0.0,) * 8, False, id="made")


def nut(case, factor: float):
    seats = {**case.job.seats}
    seats["B1"] = replace(seats["B1"], held_by="nut", pack=(), raise_most=0.02, lower_most=0.02)
    return with_learned(replace(case.job, seats=seats), lessons("movement", {"B1": factor}))


def test_a_jack_whose_scale_is_off_moves_by_its_factor(case):
    job = nut(case, 0.9)
    influence = corrected(job, rigid_influence(job, case.survey))
    assert influence.A[:, 0] == pytest.approx(0.9 * case.influence.A[:, 0])
    assert influence.A[:, 1:] == pytest.approx(case.influence.A[:, 1:])
    stated = certify(job, case.survey, case.state, influence, plan_for(job, 0.002))
    change = {c.id: c.after - c.before for c in stated.checks}
    expected = dict(zip(influence.checks, influence.A[:, 0] * 0.002, strict=True))
    for name, size in change.items():
        assert size == pytest.approx(expected[name], abs=2e-6)
    assert any("movement of the jacks of 1 seat, 0.90 times" in s for s in stated.statements)


def test_an_influence_that_forgot_the_correction_is_refused(case):
    job = nut(case, 0.9)
    with pytest.raises(CertificateRefused) as refused:
        certify(job, case.survey, case.state, rigid_influence(job, case.survey),
                plan_for(job, 0.01))  # fmt: skip
    assert "the influence moves it by" in str(refused.value)


def test_bedding_and_expansion_go_into_the_values(case):
    grown = {n: replace(s, expansion=12e-6) for n, s in case.job.segments.items()}
    job = replace(case.job, segments=grown)
    stated = with_learned(job, (
        Learned("bedding", "B1", 0.0007, 1e-4, (), "s"),
        Learned("expansion", "steel", 1.1, 0.05, (0.0,), "s"),
    ))  # fmt: skip
    assert stated.seats["B1"].bedding == 0.0007
    assert [s.expansion for s in stated.segments.values()] == pytest.approx([13.2e-6] * 2)
    assert Counter(one.what for one in stated.learned) == {"bedding": 1, "expansion": 1}


def test_words_of_what_was_learned(case):
    stated = (
        *lessons("stiffness", FACTORS),
        Learned("bedding", "B1", 0.0004, 1e-4, (), "s"),
        Learned("bedding", "B2", 0.0009, 1e-4, (), "s"),
        Learned("expansion", "steel", 1.1, 0.05, (), "s"),
    )
    assert list(learned_words(replace(case.job, learned=stated))) == [
        "learned.csv corrects the stiffness of 3 seats, 0.50 to 1.60 times that of seats.csv",
        "learned.csv corrects the expansion of all steel, 1.10 times that of segments.csv",
        "learned.csv corrects the bedding of 2 seats to between 0.40 mm and 0.90 mm",
    ]
