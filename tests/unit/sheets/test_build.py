"""The sheet model: every number a person acts on is listed, as printed."""

from __future__ import annotations

import re
from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest

from fitup.certify.facts import SummaryFact
from fitup.model import ObjectiveResult
from fitup.record import check_code
from fitup.sheets import build_sheets
from fitup.sheets.build import _proof
from fitup.sheets.figure_joint import levels
from fitup.sheets.figures import judged
from fitup.sheets.model import Across
from fitup.sheets.numbers import Number
from fitup.sheets.places import place_words, spread
from fitup.sheets.recovery import event_words
from fitup.sheets.tables import tables


def built(made):
    return build_sheets(made.job, made.survey, made.plan, made.certificate)


def expected_keys(made):
    keys = set()
    for stage in made.certificate.stages:
        for jack in stage.jacks:
            key = ("jack", stage.number, jack.jack)
            keys |= {(*key, "up", i) for i in range(len(jack.up))}
            keys |= {(*key, "down", i) for i in range(len(jack.down))}
            keys |= {(*key, "pressure_up", i) for i in range(len(jack.up))}
            keys |= {(*key, "pressure_down", i) for i in range(len(jack.down))}
            for state in ("start", "raised", "stop", "low", "end"):
                keys |= {(*key, f"load_{state}"), (*key, f"pressure_{state}")}
            keys.add((*key, "move_band"))
        for pack in stage.packs:
            keys |= {("pack", stage.number, pack.seat, w) for w in ("height_new", "move")}
        for check in made.certificate.checks:
            if check.is_length:
                keys |= {("stage", stage.number, check.id, w) for w in ("expect", "from", "to")}
    for jack in made.certificate.lift_offs:
        key = ("lift-off", jack.jack)
        keys |= {(*key, w, i) for w in ("load", "pressure") for i in range(len(jack.steps))}
        keys |= {(*key, w) for w in ("load_stop", "pressure_stop", "creep")}
    for seat in made.certificate.seats:
        keys |= {("seat", seat.seat, w) for w in ("height_now", "height_new", "move")}
    for check in made.certificate.checks:
        keys |= {("check", check.id, "before"), ("check", check.id, "after")}
    keys |= {("plate", s.mark, "measured") for s in made.certificate.stock}
    keys |= {("survey", "survey-0410.csv", w) for w in ("steel_from", "steel_to")}
    keys |= {("summary", objective.name) for objective in made.plan.objectives}
    events = [e for p in made.certificate.procedures for e in p.events]
    for event in events:
        for reading in event.readings:
            key = ("event", event.line, reading.instrument, reading.at)
            keys.add((*key, "value"))
            for band in reading.bands:
                ends = {"low": band.low, "high": band.high}
                keys |= {(*key, band.meaning, w) for w, v in ends.items() if np.isfinite(v)}
    return keys


def test_every_number_a_person_acts_on_is_listed_once(made):
    printed = [p.key for p in built(made).printed()]
    assert len(printed) == len(set(printed))
    assert set(printed) == expected_keys(made)


@pytest.mark.parametrize("which", ["made", "made_us"])
def test_printed_numbers_lie_within_half_a_step_of_the_certificate(which, request):
    made = request.getfixturevalue(which)
    printed = {p.key: p for p in built(made).printed()}
    exact = {}
    for stage in made.certificate.stages:
        for jack in stage.jacks:
            key = ("jack", stage.number, jack.jack)
            exact |= {(*key, "up", i): v for i, v in enumerate(jack.up)}
            exact |= {(*key, "down", i): v for i, v in enumerate(jack.down)}
            exact[*key, "load_stop"] = jack.load_stop
            exact[*key, "pressure_stop"] = jack.pressure_stop
        exact |= {
            ("stage", stage.number, k, "from"): v - made.job.working.move_band
            for k, v in stage.expected
            if ("stage", stage.number, k, "from") in printed
        }
    for seat in made.certificate.seats:
        exact["seat", seat.seat, "height_new"] = seat.height_new
        exact["seat", seat.seat, "move"] = seat.setting
    for check in made.certificate.checks:
        exact["check", check.id, "after"] = check.after
    for key, value in exact.items():
        assert abs(printed[key].value_si - value) <= printed[key].half_step * (1 + 1e-6), key


def test_a_wrong_number_would_be_seen(made):
    """The printed value is what stands on paper, not the exact one behind it."""
    sheets = built(made)
    heights = {p.key: p.value_si for p in sheets.printed() if p.key[-1] == "height_new"}
    card = next(c for c in sheets.seats if c.seat == "KD8-BL")
    assert card.height_new.full == "17.99 mm"
    assert heights["seat", "KD8-BL", "height_new"] == pytest.approx(0.01799, abs=1e-15)


def test_header(made):
    head = built(made).header
    assert head.status == "NOT APPROVED - for review"
    assert head.check_code == check_code(made.plan.id)
    (valid,) = head.valid
    assert (valid.steel_from.full, valid.steel.full, valid.steel_to.full) == (
        "6.2 °C",
        "9.2 °C",
        "12.2 °C",
    )
    assert valid.taken == "2031-04-02 04:10"
    assert valid.segments == ("KD7", "KD8")


def test_a_certificate_of_another_plan_is_refused(made):
    other = replace(made.certificate, plan_id="another")
    with pytest.raises(ValueError, match="certificate is for plan 'another'"):
        build_sheets(made.job, made.survey, made.plan, other)


def test_a_stage_is_on_one_sheet_only(made):
    sheets = built(made)
    assert [s.sheet for s in sheets.stages] == ["E3", "E3", "E3"]
    assert sheets.sheets == ("E3",)


def texts(value):
    """Yield every text a reader could see in the sheet model."""
    if isinstance(value, Number):
        yield value.full
    elif isinstance(value, str):
        yield value
    elif is_dataclass(value):
        for field in fields(value):
            yield from texts(getattr(value, field.name))
    elif isinstance(value, tuple):
        for entry in value:
            yield from texts(entry)


@pytest.mark.parametrize("which", ["made", "made_us", "made_large"])
def test_no_signed_number_anywhere_in_words(which, request):
    sheets = built(request.getfixturevalue(which))
    for text in texts(sheets):
        assert not re.search(r"(?<![\w.\-])[+\-\u2212]\s?\d", text), text


def test_seats_are_found_on_the_side_they_stand_on(made):
    seats = made.job.seats
    assert place_words(made.job, seats["KD8-BL"]) == "LEFT, BACK end"
    assert place_words(made.job, seats["KD8-AR"]) == "RIGHT, AHEAD end"


def test_sketch_looks_ahead(made):
    """Ahead is at the top, LEFT is on the left, and labels keep their distance."""
    sheets = built(made)
    marks = {m.title: m for m in sheets.maps[0].sketch.marks}
    assert marks["KD8-AL"].y < marks["KD8-BL"].y
    assert marks["KD8-AL"].x < marks["KD8-AR"].x
    assert marks["KD8-AL"].side == "left"
    moved = {card.seat for card in sheets.seats if card.disturbed}
    assert {m.title for m in marks.values() if m.works} == moved & set(marks) != set()


def test_labels_of_many_seats_stay_apart_and_on_the_sketch(made_large):
    sketch = built(made_large).maps[0].sketch
    for side in ("left", "right"):
        ys = sorted(m.label_y for m in sketch.marks if m.side == side)
        assert len(ys) == 8
        assert np.diff(ys).min() >= 13.0 - 1e-6
        assert ys[0] >= 6.5
        assert ys[-1] <= sketch.height - 6.5


def test_spread_keeps_order_and_limits():
    assert spread([5.0, 5.0, 5.0], 2.0, 0.0, 6.0) == [2.0, 4.0, 6.0]
    assert spread([], 2.0, 0.0, 6.0) == []


def test_left_checks_say_so(made):
    twist = next(line for j in built(made).joints for line in j.lines if line.quantity == "twist")
    assert twist.aim == "left, within 2.00 mm/m"
    assert twist.verdict == "left"
    assert twist.note == "taken up in the overlay, note EE-117"


def test_a_level_is_read_only_with_its_own_segment(made):
    level = replace(
        made.certificate.checks[0],
        id="level/KD8-L",
        quantity="level",
        joint="",
        place="KD8-L",
        target=0.001,
    )
    stages = tuple(
        replace(s, expected=(*s.expected, ("level/KD8-L", 0.0012))) for s in made.certificate.stages
    )
    certificate = replace(made.certificate, checks=(*made.certificate.checks, level), stages=stages)
    sheets = build_sheets(made.job, made.survey, made.plan, certificate)
    read = {s.segment: [e.id for e in s.expected] for s in sheets.stages}
    assert "level/KD8-L" in read["KD8"]
    assert "level/KD8-L" not in read["KD7"]
    assert sheets.stages[0].expected[-1].expect.words == "high by 1.2 mm (aim: high by 1.0 mm)"
    assert sheets.joints[-1].id == "Watched points"


def test_columns_carry_units(made, made_us):
    metric = {t.name: t.columns for t in tables(built(made))}
    us = {t.name: t.columns for t in tables(built(made_us))}
    assert "move_mm" in metric["moves"]
    assert "move_in" in us["moves"]
    assert {"load_stop_kN", "pressure_stop_bar"} <= set(metric["jacks"])
    assert {"load_stop_kip", "pressure_stop_psi"} <= set(us["jacks"])


@pytest.mark.parametrize(
    ("objective", "shown"),
    [
        (("worst ratio", 0.5564, 0.3969, True), ("0.622", "0.397", "met")),
        (("least squares", 1.8404, 1.8404, True), ("1.840", "1.840", "proven least")),
        (("least squares", 1.7696, 1.7696, True), ("1.840", "1.770", "given up for less work")),
        (("least squares", 1.7696, 1.5, False), ("1.840", "1.500", "not proven")),
        (("seats disturbed", 14.0, 13.2, True), ("14", "14", "proven least")),
        (("plates handled", 28.0, 15.0, False), ("28", "15", "not proven")),
    ],
)
def test_values_of_objectives_are_the_certificates_beside_bounds_of_the_plan(objective, shown):
    summary = SummaryFact(0.6216, 1.8404, 14, 28, 52, 3)
    line = _proof(ObjectiveResult(*objective, "remark"), summary)
    assert (line.plan.size, line.bound, line.proven) == shown


def test_a_bound_above_the_certified_value_by_rounding_is_not_printed_above_it():
    line = _proof(
        ObjectiveResult("least squares", 1.7700, 1.7700, True, ""),
        SummaryFact(0.6, 1.7694, 1, 1, 1, 1),
    )
    assert (line.plan.size, line.bound, line.proven) == ("1.769", "1.769", "proven least")


def test_pairs_at_two_heights_are_two_lines():
    spots = {"A": (6.0, 1.6), "B": (-6.0, 1.5), "C": (3.0, -1.6), "D": (0.0, 1.7)}
    nil = (0.0, 0.0)
    words = (("", "", ""), ("", "", ""))
    across = [Across(k, "", x, y, nil, nil, nil, words) for k, (x, y) in spots.items()]
    assert [[a.pair for a in line] for line in levels(across)] == [["A", "D", "B"], ["C"]]


def level_of(made, point, after):
    return replace(
        made.certificate.checks[0],
        id=f"level/{point}",
        quantity="level",
        joint="",
        place=point,
        target=0.0,
        after=after,
        tolerance=0.01,
    )


def test_tolerance_figure_draws_joint_checks_and_the_worst_point_only(made):
    points = (level_of(made, "KD8-L", 0.001), level_of(made, "KD7-L", -0.006))
    certificate = replace(made.certificate, checks=(*made.certificate.checks, *points))
    drawn = judged(build_sheets(made.job, made.survey, made.plan, certificate))
    of_joint = [line.id for _, line in drawn[:-1]]
    assert of_joint == [c.id for c in made.certificate.checks]
    assert drawn[-1][1].id == "level/KD7-L"


def test_a_ram_that_lets_in_is_drawn_the_way_the_deck_moves(made):
    marks = [m for own in built(made).maps for m in own.sketch.marks]
    mark = next(m for m in marks if m.title == "KD8-XL")
    assert mark.move.startswith("LET BACK")
    assert mark.shape == "back"


def test_way_back_depends_on_what_carries_the_deck(made):
    first, _, last = built(made).stages
    assert "the side after the hold point" in first.way_back
    assert first.back[1].startswith("If a plate has been changed: packs back as they were, KD8-BL ")
    assert first.back[-1] == (
        "Read the joint again: it must be as at the survey. The engineer decides."
    )
    assert last.back == ()
    assert "nuts run up to the deck where it stands" in last.way_back


def test_a_reading_below_its_mark_is_said_by_its_side_alone(made):
    table = next(t for t in tables(built(made)) if t.name == "procedure")
    should = [dict(zip(table.columns, row, strict=True))["should_read"] for row in table.rows]
    below = [words for words in should if words.endswith(" below")]
    assert below
    # "minus 3.0 mm below" would be above
    assert all(re.fullmatch(r"\d+\.\d mm below", words) for words in below), below
    lines = [n for c in built(made).crews for p in c.parts for n in p.lines if "LOWER" in n.asks]
    said = " ".join(event_words(line) for line in lines)
    assert " mm below" in said
    assert "minus" not in said
