"""One verdict for a survey: what it rests on, in order of weight."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fitup.checks import joint_state
from fitup.errors import SurveyRefused
from fitup.model import ControlPoint, Job, Pair, Uncertainties
from fitup.network.congruency import Change, Congruency
from fitup.network.solve import solve
from fitup.survey import reduce_survey
from fitup.survey.grounds import control_grounds, network_grounds
from fitup.survey.points import SurveyedPoint
from fitup.survey.shape import USUAL, estimated_scatter
from fitup.survey.verdict import Ground, refused, verdict_of
from fitup.units import FACTORS

SEGMENTS = ("A1", "A2", "A3")


def grounds_of(site: Any, **changes: Any) -> list[Ground]:
    job = replace(site.job, **changes)
    return network_grounds(job, solve(job, site.epoch, site.read()))


def texts(grounds: list[Ground], weight: str) -> list[str]:
    return [g.text for g in grounds if g.weight == weight]


def test_the_worst_ground_decides_and_stands_first():
    kept = [Ground("supports", "shape", "fits"), Ground("reserves", "faces", "two missing")]
    assert verdict_of(kept[:1]).lines == ("survey verdict: use", "for it: fits")
    assert verdict_of(kept).lines == (
        "survey verdict: use with these reservations",
        "reservation: two missing",
        "for it: fits",
    )
    bad = verdict_of([*kept, Ground("refuses", "control", "moved")])
    assert bad.word == "do not use"
    assert bad.lines[1] == "against it: moved"
    assert refused(["moved"]).lines == ("survey verdict: do not use", "against it: moved")


def test_a_clean_network_is_for_it(network_site: Any):
    found = grounds_of(network_site(5))
    assert {g.weight for g in found} == {"supports"}
    assert any("would have passed unseen" in g.text for g in found)


def test_control_that_moved_refuses_the_survey(network_site: Any):
    site = network_site(3)
    stated = site.job.control
    site.control["CP3"] = site.control["CP3"] + [-0.012, 0.0, 0.0]
    lines = texts(grounds_of(site, control=stated), "refuses")
    assert lines
    assert all("CP3" in line for line in lines)


def test_a_control_point_that_moved_is_refused_whole(network_site: Any):
    """Leaving out the coordinate that stands out most would go on using the other two."""
    site = network_site(3)
    stated = site.job.control
    site.control["CP3"] = site.control["CP3"] + [-0.012, 0.006, 0.0]
    solved = solve(replace(site.job, control=stated), site.epoch, site.read())
    assert [a.observations for a in solved.advice] == [("CP3/E",)]
    (line,) = texts(grounds_of(site, control=stated), "refuses")
    assert "control point CP3 is not where control.csv has it" in line
    assert "west" in line and "north" in line and "exclude CP3 in job.toml" in line


def test_two_control_points_that_contradict_each_other_are_named_together(network_site: Any):
    """Only their distance is checked: no figure for one coordinate of one of them is honest."""
    site = network_site(3)
    nothing = np.full(3, np.nan)
    control = {
        n: c if n in ("CP1", "CP2") else ControlPoint(n, "tie", nothing, np.zeros((3, 3)))
        for n, c in site.job.control.items()
    }
    way = site.control["CP1"] - site.control["CP2"]
    site.control["CP1"] = site.control["CP1"] + 0.012 * way / np.linalg.norm(way)
    (line,) = texts(grounds_of(site, control=control), "refuses")
    assert line.startswith("control points CP1 and CP2 contradict each other in control.csv")
    assert " mm" not in line


def change(name: str, **values: Any) -> Change:
    rest = {"stable": True, "ratio": 0.1, "unseen": 0.004, "apart": np.zeros(3)}
    return Change(name, np.full(3, 0.002), np.eye(3) * 1e-6, **{**rest, **values})


def test_a_point_outside_the_stable_group_is_never_used_in_silence(network_site: Any):
    """Too little to be called moved, yet left out of the group that agrees."""
    job = network_site(3).job
    stable = [change(n) for n in ("CP1", "CP2", "CP4")]
    outside = change("CP3", stable=False, ratio=0.8)
    found = list(control_grounds(job, "shots.csv", Congruency((*stable, outside), True)))
    assert [g.weight for g in found] == ["refuses"]
    assert found[0].text.startswith("shots.csv: control point CP3 is not where control.csv has it")
    doubtful = replace(stable[0], suspect=True, apart=np.array([0.0, 0.003, 0.0]))
    found = list(control_grounds(job, "shots.csv", Congruency((doubtful, *stable[1:]), True)))
    assert [g.weight for g in found] == ["reserves", "supports"]
    assert "CP1 lies 3.0 mm north (u 1.0 mm) off where the others put it" in found[0].text


def test_fewer_than_three_control_points_is_a_reservation(network_site: Any):
    site = network_site(5)
    nothing = np.full(3, np.nan)
    control = {
        n: c if n in ("CP1", "CP2") else ControlPoint(n, "tie", nothing, np.zeros((3, 3)))
        for n, c in site.job.control.items()
    }
    lines = texts(grounds_of(site, control=control), "reserves")
    assert any("fewer than three control points" in line for line in lines)


def test_uncertainties_a_thousand_times_too_large_make_the_tests_blind(network_site: Any):
    site = network_site(5)
    wide = {
        n: replace(i, u_hz=1e3 * i.u_hz, u_v=1e3 * i.u_v, u_sd=1e3 * i.u_sd)
        for n, i in site.job.instruments.items()
    }
    control = {n: replace(c, covariance=1e6 * c.covariance) for n, c in site.job.control.items()}
    site.instrument = wide["I1"]
    site.noise = 1e-3
    (line,) = texts(grounds_of(site, control=control), "refuses")
    assert "so that no test sees an ordinary mistake" in line


def test_what_nothing_checks_is_a_reservation(network_site: Any):
    site = network_site(5)
    site.hidden = {("ST2", "T1"), ("ST3", "T1")}
    (line,) = texts(grounds_of(site), "reserves")
    assert line == (
        "shots.csv: nothing checks what was measured to T1; sight each from a second set-up"
    )


def with_air(site: Any, row: int, temperature: float) -> Any:
    solved = solve(site.job, site.epoch, site.read())
    shots = [replace(s, air=(282.15, 97800.0, 0.6)) for s in solved.read.shots]
    shots[row] = replace(shots[row], air=(temperature, 97800.0, 0.6))
    return replace(solved, read=replace(solved.read, shots=tuple(shots)))


def test_air_that_cannot_be_is_refused(network_site: Any):
    site = network_site(5)
    solved = with_air(site, 3, 321.15)
    lines = texts(network_grounds(site.job, solved), "refuses")
    assert lines == [
        f"shots.csv: row {solved.read.shots[3].row}: the temperature of the air is 48.0 °C where "
        "the other rows have 9.0 °C; correct it"
    ]


def test_steel_in_fahrenheit_is_named_by_the_air(network_site: Any):
    site = network_site(5)
    solved = with_air(site, 3, 282.15)
    hot = replace(solved, epoch=replace(solved.epoch, temperature=273.15 + 52.7))
    lines = texts(network_grounds(site.job, hot), "refuses")
    assert lines == [
        "shots.csv: the steel is said to be at 52.7 °C and the air at 9.0 °C, which cannot both be "
        "right; if the steel was written in °F under °C it is 11.5 °C, which fits; correct "
        "job.toml or the rows"
    ]


def scattered(observed: Any, scatter: float, seed: int = 2) -> Any:
    rng = np.random.default_rng([99, seed, *observed.segment.encode()])
    return replace(observed, surveyed=observed.surveyed + rng.normal(0.0, scatter, (7, 3)))


def test_fabrication_scatter_is_a_reservation_not_a_refusal(deck, survey_of, listed):
    """Scatter of 1.5 mm at a stated 0.7 mm."""
    used = 0
    for seed in range(6):
        found = [scattered(survey_of(s, u=0.0007), 0.0015, seed) for s in SEGMENTS]
        try:
            survey = reduce_survey(deck(), [listed(*found)])
        except SurveyRefused as refusal:
            # one height of eighteen segments that is 7 mm off by chance: both ways out are stated
            assert "or, less likely, its points scatter" in refusal.findings[1]
            continue
        used += 1
        values = [s.value for s in survey.scatter.values()]
        assert all(0.0004 < v < 0.0035 for v in values)
        assert all("scatter about the design shape" in r for r in survey.verdict.reservations)
        assert all(s.how == "estimated" for s in survey.scatter.values())
        # measured points keep their own uncertainty
        assert survey.points["A2-1"].uncertainty == pytest.approx(np.full(3, 0.0007))
        assert survey.verdict.word == "use with these reservations"
    assert used >= 5


def test_stated_scatter_needs_no_reservation(deck, survey_of, listed):
    found = [scattered(survey_of(s, u=0.0007), 0.0015) for s in SEGMENTS]
    survey = reduce_survey(deck(uncertainties=Uncertainties(fabrication=0.0015)), [listed(*found)])
    assert survey.verdict.word == "use"


def test_a_mistake_is_not_taken_for_scatter(deck, survey_of, listed):
    found = [survey_of(s, u=0.0007) for s in SEGMENTS]
    found[1].surveyed[3, 2] += 0.008
    with pytest.raises(SurveyRefused) as caught:
        reduce_survey(deck(), [listed(*found)])
    assert "the height of A2-4 alone is wrong" in caught.value.findings[0]


def test_estimated_scatter_is_right_on_average(survey_of):
    found = [estimated_scatter(scattered(survey_of(seed=k), 0.004, k)) for k in range(40)]
    assert np.sqrt(np.mean(np.square(found))) == pytest.approx(0.004, rel=0.12)


def whole_deck(deck: Any, **changes: Any) -> Job:
    """Return the job with a pair at its second joint too."""
    job = deck(**changes)
    second = Pair("J2L", "J2", "A2-4", "A3-1", 2.0, "LEFT")
    return replace(job, pairs={**job.pairs, "J2L": second})


def without(listed_: Any, *names: str) -> Any:
    return replace(listed_, points=tuple(p for p in listed_.points if p.id not in names))


def test_a_face_nobody_measured_is_named_and_less_certain(deck, survey_of, listed):
    whole = listed(*(survey_of(s) for s in SEGMENTS))
    job = whole_deck(deck)
    measured = reduce_survey(job, [whole])
    carried = reduce_survey(job, [without(whole, "A1-4")])
    assert measured.verdict.word == "use"
    (line,) = carried.verdict.reservations
    assert line == (
        "NOT MEASURED: A1-4; they are put where the design shape has them, with a fabrication "
        "scatter of 2.0 mm (common practice, none stated)"
    )
    u = [joint_state(job, s).uncertainties[:3] for s in (measured, carried)]
    # the step rests on one measured point and one that was never looked at
    assert (u[1] > u[0]).all()
    assert (u[1] > np.hypot(0.0015, USUAL)).all()
    stated = replace(job, uncertainties=Uncertainties(fabrication=0.005))
    wide = joint_state(stated, reduce_survey(stated, [without(whole, "A1-4")])).uncertainties[:3]
    assert (wide > np.hypot(0.0015, 0.005)).all()


def test_the_uncertainty_of_a_carried_point_comes_true(deck, survey_of, listed):
    """Shapes with their scatter, surveyed with their noise: the gap errs as it says."""
    job, scatter, u = (
        whole_deck(deck, uncertainties=Uncertainties(fabrication=0.003)),
        0.003,
        0.0015,
    )
    rng = np.random.default_rng(8)
    errors = []
    for _ in range(150):
        found = []
        true = {}
        for s in SEGMENTS:
            o = survey_of(s)
            steel = o.design + rng.normal(0.0, scatter, o.design.shape)
            true |= dict(zip(o.ids, steel, strict=True))
            found.append(replace(o, surveyed=steel + rng.normal(0.0, u, steel.shape)))
        try:
            survey = reduce_survey(job, [without(listed(*found), "A1-4")])
        except SurveyRefused:
            # 450 segments at two tests of 0.1 % each
            continue
        state = joint_state(job, survey)
        axes = job.joints["J1"].axes_in_grid
        gap = float(axes[0] @ (true["A2-1"] - true["A1-4"])) - job.pairs["J1L"].opening
        index = next(i for i, c in enumerate(state.checks) if c.quantity == "gap")
        told = state.values[index] - gap
        errors.append(told / state.uncertainties[index])
    assert len(errors) >= 146
    # the spread of 150 normalised errors: 1 within 3.3 standard deviations of 0.058
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(1.0, abs=0.2)


def in_other_feet(deck, survey_of, listed, far):
    """A job so far from the origin of its grid [m], and its list read in the feet it is not in."""
    job, back = deck(), np.array(far) - np.array([412000.0, 5631000.0, 0.0])
    points = {n: replace(p, design=p.design + back) for n, p in job.points.items()}
    ratio = FACTORS["length"]["ft"] / FACTORS["length"]["ftUS"]
    whole = listed(*(survey_of(s) for s in SEGMENTS))

    def at(point: SurveyedPoint) -> SurveyedPoint:
        place = (point.position + back - [0.012, -0.020, 0.034]) * [ratio, ratio, 1.0]
        return replace(point, position=place)

    read = tuple(at(p) for p in whole.points)
    return replace(job, points=points), replace(whole, points=read)


def test_feet_of_another_kind_are_a_reservation(deck, survey_of, listed):
    """At 412 km and 5,631 km the two feet are metres apart; here the grid is near its origin."""
    job, read = in_other_feet(deck, survey_of, listed, [40_000.0, 30_000.0, 0.0])
    (line,) = reduce_survey(job, [read]).verdict.reservations
    assert line.startswith("all segments lie 99.9 mm")
    assert "as if US survey feet had been read as international feet" in line


def test_a_list_in_the_wrong_feet_is_a_reservation_though_it_is_near_the_origin(
    deck, survey_of, listed
):
    """Ten kilometres from the origin the feet are 20 mm apart: less than a deck may be off."""
    job, read = in_other_feet(deck, survey_of, listed, [4_200.0, 8_900.0, 0.0])
    (line,) = reduce_survey(job, [replace(read, unit="ft")]).verdict.reservations
    assert "as if US survey feet had been read as international feet" in line
    # in metres so small a shift is the deck's own
    assert not reduce_survey(job, [replace(read, unit="m")]).verdict.reservations
