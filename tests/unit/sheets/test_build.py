"""The sheet model: every number a person acts on is listed, as printed."""

from __future__ import annotations

import json
import re
from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest

from fitup.certify import confirm
from fitup.certify.facts import ExpectedFact, SummaryFact
from fitup.errors import CertificateRefused
from fitup.model import ObjectiveResult
from fitup.record import check_code
from fitup.record.asdone import asked_of
from fitup.sheets import build_sheets
from fitup.sheets.build import _proof
from fitup.sheets.figure_joint import levels
from fitup.sheets.figures import judged
from fitup.sheets.model import Across
from fitup.sheets.numbers import Number, printed_in, rounded, uncertified
from fitup.sheets.places import place_words, spread
from fitup.sheets.recovery import event_words
from fitup.sheets.table_files import json_bytes
from fitup.sheets.tables import tables
from fitup.units import METRIC


def built(made):
    return build_sheets(made.job, made.survey, made.plan, made.certificate)


def acted_on(certificate):
    """Return the paths that a person acts on, from the certificate alone."""
    keys = set()
    for stage in certificate.stages:
        for jack in stage.jacks:
            key = ("stages", stage.number, "jacks", jack.jack)
            keys |= {(*key, "up", i) for i in range(len(jack.up))}
            keys |= {(*key, "down", i) for i in range(len(jack.down))}
            keys |= {(*key, "pressures_up", i) for i in range(len(jack.up))}
            keys |= {(*key, "pressures_down", i) for i in range(len(jack.down))}
            for state in ("start", "raised", "stop", "low", "end"):
                keys |= {(*key, f"load_{state}"), (*key, f"pressure_{state}")}
            keys.add((*key, "move_band"))
        for pack in stage.packs:
            key = ("stages", stage.number, "packs", pack.seat)
            keys |= {(*key, w) for w in ("height_new", "move")}
        for check in certificate.checks:
            if check.is_length:
                key = ("stages", stage.number, "expected", check.id)
                keys |= {(*key, w) for w in ("expect", "low", "high")}
    for jack in certificate.lift_offs:
        key = ("lift_offs", jack.jack)
        keys |= {(*key, w, i) for w in ("loads", "pressures") for i in range(len(jack.steps))}
        keys |= {(*key, w) for w in ("load_stop", "pressure_stop")}
    # one for the whole group
    keys.add(("lift_offs", certificate.lift_offs[0].jack, "creep"))
    for seat in certificate.seats:
        keys |= {("seats", seat.seat, w) for w in ("height_now", "height_new", "move", "needed")}
    for check in certificate.checks:
        keys |= {("checks", check.id, "before"), ("checks", check.id, "after")}
    keys |= {("stock", s.mark, "measured") for s in certificate.stock}
    keys |= {("surveys", "survey-0410.csv", w) for w in ("steel_from", "steel_to")}
    keys |= {("summary", w) for w in ("worst_ratio", "least_squares", "seats_disturbed")}
    for stage, event in ((p.stage, e) for p in certificate.procedures for e in p.events):
        for reading in event.readings:
            at = ("procedures", stage, "events", event.line, "readings")
            key = (*at, f"{reading.instrument} {reading.at}")
            keys.add((*key, "value"))
            for band in reading.bands:
                ends = {"low": band.low, "high": band.high}
                keys |= {
                    (*key, "bands", band.meaning, w) for w, v in ends.items() if np.isfinite(v)
                }
    return keys


@pytest.mark.parametrize("which", ["made", "made_us", "made_large"])
def test_every_printed_number_is_the_certificates_and_none_is_missing(which, request):
    made = request.getfixturevalue(which)
    printed = built(made).printed()
    assert confirm(made.certificate, printed) == len(printed)
    if which == "made":
        assert acted_on(made.certificate) <= {p.key for p in printed}


def test_a_number_that_comes_from_nowhere_cannot_be_printed(made):
    """One that the sheets reckon themselves has lost its path, wherever it stands."""
    sheets = built(made)
    card = sheets.seats[0]
    reckoned = rounded(made.certificate.seats[0].height_new + 0.0, METRIC.plate)
    wrong = replace(sheets, seats=(replace(card, height_new=reckoned), *sheets.seats[1:]))
    with pytest.raises(CertificateRefused) as refused:
        confirm(made.certificate, wrong.printed())
    assert str(refused.value) == "'height_new' would be printed, but nothing recomputes it"


def test_an_input_is_printed_as_it_is_and_not_compared(made):
    assert printed_in(uncertified(0.005, METRIC.move)) == ()
    assert len(printed_in((1, "a", None, rounded(0.005, METRIC.move)))) == 1
    # and there are few of them: what the job says of plates, surveys and how the crew works
    assert inputs_in(built(made)) == {
        *("deck_load", "follow_up", "insertion", "move_band", "reference", "thickness", "back"),
    }


def inputs_in(value, name=""):
    """The fields of the sheets whose numbers no certificate recomputes, found afresh."""
    if isinstance(value, Number):
        return {name} if value.path is None else set()
    if is_dataclass(value):
        parts = ((getattr(value, f.name), f.name) for f in fields(value))
        return {n for part, own in parts for n in inputs_in(part, name if own == "number" else own)}
    if isinstance(value, tuple):
        return {n for part in value for n in inputs_in(part, name)}
    return set()


def test_sheets_of_old_are_read_by_their_old_keys(made):
    told = json.loads(json_bytes(built(made), []))
    asked = asked_of(told, made.job, 1)
    for number in told["printed"]:
        key = number["key"]
        if key[0] == "stages" and key[2] == "jacks":
            number["key"] = ["jack", key[1], *key[3:]]
        elif key[0] == "stages" and key[2] == "expected":
            end = {"low": "from", "high": "to"}.get(key[4], key[4])
            number["key"] = ["stage", key[1], key[3], end]
        elif key[0] == "procedures":
            number["key"] = ["event", key[3], *key[5].split(" ", 1), *key[6:]]
            number["key"] = [part for part in number["key"] if part != "bands"]
    assert asked_of(told, made.job, 1) == asked
    assert len(asked) > 10


def test_a_number_in_the_place_of_another_cannot_be_printed(made):
    """Right, certified, and under the wrong name."""
    sheets = built(made)
    card = sheets.seats[0]
    wrong = replace(sheets, seats=(replace(card, height_new=card.height_now), *sheets.seats[1:]))
    with pytest.raises(CertificateRefused) as refused:
        confirm(made.certificate, wrong.printed())
    said = f"'seats {card.seat} height_now' would be printed as height_new"
    assert str(refused.value) == said


def test_a_wrong_number_would_be_seen(made):
    """The printed value is what stands on paper, not the exact one behind it."""
    sheets = built(made)
    heights = {p.key: p.value_si for p in sheets.printed() if p.key[-1] == "height_new"}
    card = next(c for c in sheets.seats if c.seat == "KD8-BL")
    assert card.height_new.full == "17.99 mm"
    assert heights["seats", "KD8-BL", "height_new"] == pytest.approx(0.01799, abs=1e-15)


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
        replace(s, expected=(*s.expected, ExpectedFact("level/KD8-L", 0.0012, -0.0008, 0.0032)))
        for s in made.certificate.stages
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
