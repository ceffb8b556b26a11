"""Lists and job together: one survey to believe, or every finding at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.errors import InputError, SurveyRefused
from fitup.survey import CoordinateList, read_survey, reduce_survey

SEGMENTS = ("A1", "A2", "A3")


def only(observed, *keep):
    rows = [observed.ids.index(k) for k in keep]
    return replace(
        observed,
        ids=keep,
        design=observed.design[rows],
        surveyed=observed.surveyed[rows],
        u=observed.u[rows],
    )


def refusal(job, *lists):
    with pytest.raises(SurveyRefused) as caught:
        reduce_survey(job, lists)
    return caught.value.findings


def two_epochs(deck, **changes):
    first = deck().epochs[0]
    return deck(epochs=(first, replace(first, file="south.csv", **changes)))


def story(survey):
    """What was understood, after the verdict."""
    return survey.understood[len(survey.verdict.lines) :]


def test_a_clean_survey(deck, survey_of, listed):
    survey = reduce_survey(deck(), [listed(*(survey_of(s) for s in SEGMENTS))])
    assert list(survey.poses) == list(SEGMENTS)
    assert len(survey.points) == 21
    assert {e.file for e in survey.epoch_of.values()} == {"night.csv"}
    pose = survey.poses["A2"]
    assert pose.points == tuple(f"A2-{i}" for i in range(1, 8))
    assert pose.design2site.shift == pytest.approx([0.012, -0.020, 0.034], abs=0.002)
    assert story(survey) == (
        "night.csv: 21 points read",
        "segment A1: 7 points, largest residual 2.7 mm at A1-7; its middle lies 12.6 mm ahead, "
        "20.2 mm right, 33.4 mm high; ahead end low 0.02 mm/m, left edge high 0.02 mm/m",
        "segment A2: 7 points, largest residual 1.9 mm at A2-4; its middle lies 11.4 mm ahead, "
        "20.0 mm right, 33.4 mm high; ahead end low 0.04 mm/m, right edge high 0.04 mm/m, turned "
        "right 0.05 mm/m",
        "segment A3: 7 points, largest residual 4.6 mm at A3-2; its middle lies 12.5 mm ahead, "
        "19.4 mm right, 34.5 mm high; ahead end low 0.03 mm/m, right edge high 0.05 mm/m, turned "
        "right 0.02 mm/m",
    )


def test_the_story_in_us_units(deck, survey_of, listed):
    survey = reduce_survey(deck(units="US"), [listed(*(survey_of(s) for s in SEGMENTS))])
    assert story(survey)[1] == (
        "segment A1: 7 points, largest residual 0.107 in at A1-7; its middle lies 0.497 in ahead, "
        "0.793 in right, 1.315 in high; ahead end low 0.0002 in/ft, left edge high 0.0002 in/ft"
    )


def test_where_a_segment_lies_in_words(deck, survey_of, listed):
    def said(shift, turn):
        observed = survey_of()
        centre = observed.design.mean(axis=0)
        arms = observed.design - centre
        moved = observed.design + shift + np.cross(turn, arms)
        rest = [replace(survey_of(s), surveyed=survey_of(s).design.copy()) for s in ("A1", "A3")]
        survey = reduce_survey(deck(), [listed(replace(observed, surveyed=moved), *rest)])
        return next(line for line in story(survey) if line.startswith("segment A2"))

    still = "segment A2: 7 points, largest residual 0.0 mm at A2-"
    # the deck runs east: ahead is east, left is north
    assert said([0, 0, 0], [0, 0, 0]).endswith("its middle lies on its design; not turned")
    assert said([0, 0, 0], [0, 0, 0]).startswith(still)
    assert said([0.01, 0.02, 0.03], [0, 0, 0]).endswith(
        "its middle lies 10.0 mm ahead, 20.0 mm left, 30.0 mm high; not turned"
    )
    assert said([-0.01, -0.02, -0.03], [0, 0, 0]).endswith(
        "its middle lies 10.0 mm back, 20.0 mm right, 30.0 mm low; not turned"
    )
    # about east by the right hand the north edge rises; about north the east end sinks;
    # about up the head turns from east to north
    assert said([0, 0, 0], [1e-4, 2e-4, 3e-4]).endswith(
        "on its design; ahead end low 0.20 mm/m, left edge high 0.10 mm/m, turned left 0.30 mm/m"
    )
    assert said([0, 0, 0], [-1e-4, -2e-4, -3e-4]).endswith(
        "on its design; ahead end high 0.20 mm/m, right edge high 0.10 mm/m, turned right 0.30 mm/m"
    )


def test_three_points_are_used_but_their_heights_are_said_to_be_unchecked(deck, survey_of, listed):
    three = only(survey_of("A2"), "A2-1", "A2-3", "A2-5")
    survey = reduce_survey(deck(), [listed(survey_of("A1"), three, survey_of("A3"))])
    assert story(survey)[2].startswith(
        "segment A2: 3 points (three: nothing checks their heights), largest residual "
    )


def test_the_order_of_rows_does_not_matter(deck, survey_of, listed):
    whole = listed(*(survey_of(s) for s in SEGMENTS))
    shuffled = replace(whole, points=tuple(reversed(whole.points)))
    one, other = reduce_survey(deck(), [whole]), reduce_survey(deck(), [shuffled])
    for segment in SEGMENTS:
        assert np.array_equal(one.poses[segment].residuals, other.poses[segment].residuals)
        assert one.poses[segment].points == other.poses[segment].points


def test_an_excluded_point_is_left_out_and_said(deck, survey_of, listed):
    job = deck(excluded={"A2-3": "target bent, seen by the party chief"})
    survey = reduce_survey(job, [listed(*(survey_of(s) for s in SEGMENTS))])
    assert "A2-3" not in survey.points
    assert "A2-3" not in survey.poses["A2"].points
    assert story(survey)[1] == (
        "A2-3 left out (night.csv, row 11): target bent, seen by the party chief"
    )


def test_excluding_the_bad_point_clears_the_survey(deck, survey_of, listed):
    bad = survey_of()
    bad.surveyed[2] += [0.1, 0.0, 0.0]
    lists = [listed(survey_of("A1"), bad, survey_of("A3"))]
    (finding,) = refusal(deck(), *lists)
    assert finding.startswith("segment A2: if target A2-3 alone is wrong (")
    survey = reduce_survey(deck(excluded={"A2-3": "bent"}), lists)
    assert len(survey.poses["A2"].points) == 6


def test_an_excluded_name_must_exist(deck, survey_of, listed):
    job = deck(excluded={"A9-9": "gone"})
    assert refusal(job, listed(*(survey_of(s) for s in SEGMENTS))) == (
        "job.toml, exclude.A9-9: not an id of points.csv or readings.csv; correct it",
    )


def test_missing_segments_are_told_all_at_once(deck, survey_of, listed):
    assert refusal(deck(), listed(survey_of("A1"), only(survey_of("A2"), "A2-1", "A2-4"))) == (
        "segment A2: 2 surveyed points (A2-1, A2-4); its place needs at least 3, not in a line; "
        "survey more of its points",
        "segment A3: 0 surveyed points (none); its place needs at least 3, not in a line; survey "
        "more of its points",
    )


def test_a_segment_surveyed_twice(deck, survey_of, listed):
    first = listed(*(survey_of(s) for s in SEGMENTS))
    second = listed(survey_of("A2", seed=8), epoch=1, file="south.csv")
    stated = ("segment A2 surveyed twice (night.csv and south.csv): keep one [[survey]] of it",)
    assert refusal(two_epochs(deck), first, second) == stated
    part = listed(only(survey_of("A2", seed=8), "A2-1", "A2-3", "A2-5"), epoch=1, file="south.csv")
    assert refusal(two_epochs(deck), first, part) == stated


def test_one_point_in_two_lists(deck, survey_of, listed):
    first = listed(*(survey_of(s) for s in SEGMENTS))
    second = listed(only(survey_of("A2", seed=8), "A2-3"), epoch=1, file="south.csv")
    job = two_epochs(deck)
    assert refusal(job, first, second) == (
        "segment A2: point A2-3 in two lists (night.csv row 11 and south.csv row 2); delete it "
        "from "
        "one of them, or exclude it in job.toml [exclude]",
    )
    survey = reduce_survey(replace(job, excluded={"A2-3": "seen twice"}), [first, second])
    assert len(survey.poses["A2"].points) == 6


def test_a_segment_in_two_parts(deck, survey_of, listed):
    ids = survey_of("A2").ids
    first = listed(survey_of("A1"), only(survey_of("A2"), *ids[:4]), survey_of("A3"))
    second = listed(only(survey_of("A2"), *ids[4:]), epoch=1, file="south.csv")
    assert refusal(two_epochs(deck), first, second) == (
        "segment A2: surveyed partly in night.csv and south.csv; all points of a segment must come "
        "from one epoch; survey it again in one go, or exclude the points of one list in job.toml "
        "[exclude]",
    )


def test_gates_and_mistakes_are_told_together(deck, survey_of, listed):
    swapped = survey_of("A2")
    swapped.surveyed[[0, 2]] = swapped.surveyed[[2, 0]]
    job = two_epochs(deck, taken="2031-04-02T09:40")
    findings = refusal(
        job,
        listed(survey_of("A1"), swapped),
        listed(survey_of("A3"), epoch=1, file="south.csv"),
    )
    assert len(findings) == 2
    assert findings[0].startswith("joint J2: back segment A2 (night.csv) taken at")
    assert findings[1].startswith("segment A2: if targets A2-1 and A2-3 are exchanged")


def test_a_common_datum_shift_is_told_once(deck, survey_of, listed):
    moved = [
        replace(survey_of(s), surveyed=np.add(survey_of(s).surveyed, [0.0, 0.0, 47.0]))
        for s in SEGMENTS
    ]
    (finding,) = refusal(deck(), listed(*moved))
    assert finding.startswith("segments A1, A2, A3: all lie 47.0338 m high of their design")


def test_temperature_is_taken_out_and_said(deck, survey_of, listed):
    job = deck()
    fixed = job.points["A1-1"].design
    segments = {k: replace(s, expansion=12e-6, fixed_point=fixed) for k, s in job.segments.items()}
    epoch = replace(job.epochs[0], temperature=job.reference_temperature - 9.0)
    cold = []
    for s in SEGMENTS:
        observed = survey_of(s)
        shrunk = observed.design - 12e-6 * 9.0 * (observed.design - fixed)
        cold.append(replace(observed, surveyed=shrunk))
    survey = reduce_survey(replace(job, segments=segments, epochs=(epoch,)), [listed(*cold)])
    for point in survey.points.values():
        assert point.position == pytest.approx(job.points[point.id].design, abs=1e-9)
    for pose in survey.poses.values():
        assert np.abs(pose.design2site.shift).max() < 1e-8
    assert story(survey)[3] == (
        "segment A3: brought from 11.0 °C to 20.0 °C by free expansion about its fixed point"
    )


def write(path, observed):
    rows = [
        f"{i},{p[0]:.5f},{p[1]:.5f},{p[2]:.5f}"
        for o in observed
        for i, p in zip(o.ids, o.surveyed, strict=True)
    ]
    path.write_text("\n".join(["id,E_m,N_m,H_m", *rows, ""]))


def test_reading_a_folder(tmp_path, deck, survey_of):
    job = two_epochs(deck)
    write(tmp_path / "night.csv", [survey_of("A1"), survey_of("A2")])
    write(tmp_path / "south.csv", [survey_of("A3")])
    survey = read_survey(tmp_path, job)
    assert survey.epoch_of["A3"].file == "south.csv"
    assert survey.points["A3-1"].epoch == 1 and survey.points["A3-1"].row == 2
    assert story(survey)[0] == "night.csv: 14 points read"
    assert story(survey)[-1].startswith("segment A3: 7 points, largest residual ")


def test_problems_of_all_lists_come_together(tmp_path, deck):
    job = two_epochs(deck)
    (tmp_path / "night.csv").write_text("id,E_m,N_m,H_m\nA1-1,nan,2,3\n")
    with pytest.raises(InputError) as caught:
        read_survey(tmp_path, job)
    assert [str(p) for p in caught.value.problems] == [
        "night.csv, row 2, E_m: found 'nan'; allowed: a finite number; give the easting, or delete "
        "the row",
        "south.csv: found no such file; allowed: a text file; create it or correct its name",
    ]


def test_a_notebook_needs_no_files(deck, survey_of, listed):
    assert isinstance(listed(survey_of("A1")), CoordinateList)
    survey = reduce_survey(deck(), [listed(survey_of(s)) for s in SEGMENTS])
    assert set(survey.poses) == set(SEGMENTS)
