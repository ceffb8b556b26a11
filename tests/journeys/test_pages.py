"""The move sheet of the shipped joint as a crew holds it: few pages, large print."""

from __future__ import annotations

import io
import re
from collections import Counter
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import pytest
from pypdf import PdfReader

from fitup.openjob import OpenJob, open_job
from fitup.sheets import SheetSet
from fitup.sheets.pdf import move_pdf, pocket_pdf

EXAMPLE = Path(__file__).parents[2] / "examples" / "skerrin-closure"
#: A4 and letter in points, 72 to the inch
PAPER = {"metric": (595.3, 841.9), "US": (612.0, 792.0)}


@dataclass(frozen=True)
class Printed:
    sheets: SheetSet
    pages: list[str]
    words: list[tuple[str, float, tuple[int, int]]]
    """Words with their size [pt] and their line: page, and height on it [pt]."""
    paper: tuple[float, float]


def opened_in(opened: OpenJob, units: str) -> OpenJob:
    job = replace(opened.job, units=units)
    return opened.changed(job, influence=opened.influence).with_plan(opened.plan)


def read(pdf: bytes) -> tuple[list[str], list[tuple[str, float, tuple[int, int]]], tuple]:
    words: list[tuple[str, float, tuple[int, int]]] = []
    pages: list[str] = []

    def visit(text, cm, tm, font, size):
        # the matrices of this writer flip the page; the place is their product
        at = (len(pages), round(tm[4] * cm[1] + tm[5] * cm[3] + cm[5]))
        words.extend((w, round(size * abs(tm[3]) * abs(cm[3]), 1), at) for w in text.split())

    reader = PdfReader(io.BytesIO(pdf))
    for page in reader.pages:
        pages.append(" ".join(page.extract_text(visitor_text=visit).split()))
    box = reader.pages[0].mediabox
    return pages, words, (float(box.width), float(box.height))


@pytest.fixture(scope="module", params=["metric", "US"])
def printed(request, closure_opened) -> Printed:
    sheets, confirmed = opened_in(closure_opened, request.param).sheets()
    assert confirmed > 1000
    pages, words, paper = read(move_pdf(sheets, "K1"))
    assert paper == pytest.approx(PAPER[request.param], abs=0.5)
    return Printed(sheets, pages, words, paper)


@pytest.fixture(scope="module")
def closure_opened() -> OpenJob:
    return open_job(EXAMPLE)


def stages_of(pages):
    """Count the pages of each crew and stage, and those of its way back by themselves."""
    count: Counter[tuple[str, bool]] = Counter()
    own = ""
    back = False
    for text in pages:
        head = re.search(r"STAGE (\d+) of \d+( CREW \d+)?", text)
        if head:
            own, back = head[0], re.search(r"WAY BACK, lines \d", text) is not None
        if own and "This side is empty" not in text:
            count[own, back] += 1
    return count


def test_three_pages_a_crew_and_stage_and_the_way_back_apart(printed):
    count = stages_of(printed.pages)
    work = {own: n for (own, back), n in count.items() if not back}
    way = {own: n for (own, back), n in count.items() if back}
    assert len(work) == len(printed.sheets.stages) == 6
    assert max(work.values()) <= 3
    assert len(way) == 2  # nobody pushes a deck back
    assert max(way.values()) <= 2


def test_the_foot_of_an_approved_plan_costs_no_page(printed):
    """Who decided, by which key and where in the record stand at the foot of every page."""
    by = "by Ines Calder (key 3f2a-91cc-08de), 2031-04-02 05:00 UTC, entry 12 of the record"
    header = replace(
        printed.sheets.header,
        status="APPROVED",
        approved=True,
        decided=by,
        record="entry 14, EHRE-FAFE-NTLEX",
    )
    pages, _, _ = read(move_pdf(replace(printed.sheets, header=header), "K1"))
    assert stages_of(pages) == stages_of(printed.pages)
    foot = "".join(f"APPROVED {by}. Record at entry 14, EHRE-FAFE-NTLEX".split())
    assert all(foot in "".join(text.split()) for text in pages)


def test_every_stage_begins_on_a_new_leaf(printed):
    starts = [i for i, text in enumerate(printed.pages) if "Moves in this stage" in text]
    assert len(starts) == 6
    assert all(i % 2 == 0 for i in starts)
    empty = [text for text in printed.pages if "This side is empty" in text]
    assert all("Take the load" not in text for text in empty)


def test_nothing_on_sheet_or_card_is_under_eight_points(printed):
    assert min(size for _, size, _ in printed.words) >= 8.0
    _, card, _ = read(pocket_pdf(printed.sheets, "K1"))
    assert min(size for _, size, _ in card) >= 8.0


def test_amounts_are_large_and_stops_at_least_as_large(printed):
    """What is worked towards stands in 11 pt, what is read in 10 pt, stops in 10 pt and more."""
    sizes: dict[str, set[float]] = {}
    for word, size, _ in printed.words:
        sizes.setdefault(word, set()).add(size)
    for crew in printed.sheets.crews:
        for row in (row for part in crew.parts for line in part.lines for row in line.rows):
            for reading in (r for r in row.reads if r is not None):
                assert max(sizes[reading.number.size]) >= (11.0 if reading.aim else 10.0)
            for words in row.stop.words if row.stop else ():
                numbers = re.findall(r"\d+(?:\.\d+)?", words)
                assert all(max(sizes[n]) >= 10.0 for n in numbers)


def test_side_and_unit_stand_on_the_line_of_their_number(printed):
    lines: dict[tuple[int, int], list[str]] = {}
    for word, _, at in printed.words:
        lines.setdefault(at, []).append(word)
    text = [" ".join(words) for words in lines.values()]
    assert not any(re.match(r"(mm|in|bar|psi|above|below|up)\b", line) for line in text)


def test_lines_bands_and_readings_of_all_crews_are_there(printed):
    text = " ".join(printed.pages)
    for crew in printed.sheets.crews:
        place = 0
        for line in (line for part in (*crew.parts, *crew.back) for line in part.lines):
            found = text.find(f"{line.number} {line.who.upper()}", place)
            assert found >= 0, line
            place = found
            for row in line.rows:
                for reading in (r for r in row.reads if r is not None):
                    assert f"{reading.number.size} {reading.number.unit}" in text
                for band in (b for b in (row.stop, row.hold) if b is not None):
                    assert all(words in text for words in band.words)
        for row in crew.joint:
            for check in row.reads:
                assert check.outside in text
                assert f"{check.expect.number.size} {check.expect.number.unit}" in text


def test_what_holds_for_all_stages_is_said_once(printed):
    text = " ".join(printed.pages)
    for condition in printed.sheets.stages[0].conditions:
        if condition.short:
            assert text.count(condition.words) == 1
            assert text.count(condition.short) == len(printed.sheets.stages)
    assert text.count("IF A STOP IS REACHED") == 1
    for own in printed.sheets.maps:
        for mark in own.sketch.marks:
            assert mark.title in text


def test_a_nut_that_follows_stands_on_the_page_of_its_ram(printed):
    """Nobody turns the page between a raise and the nut that makes it safe."""
    for crew in printed.sheets.crews:
        lines = [line for part in (*crew.parts, *crew.back) for line in part.lines]
        for ram, nut in pairwise(lines):
            if nut.asks in ("NUT FOLLOWS", "PLATES FOLLOW"):
                heads = [f"{ram.number} {ram.who.upper()}", f"{nut.number} {nut.who.upper()}"]
                assert any(all(re.search(rf"\b{h}", t) for h in heads) for t in printed.pages)


def test_points_say_what_is_read_at_them(printed):
    text = " ".join(printed.pages)
    read_at = [r for crew in printed.sheets.crews for row in crew.joint for r in row.reads]
    points = [r for r in read_at if r.point]
    assert points
    for point in points:
        assert f"{point.head} {point.point}" in text
