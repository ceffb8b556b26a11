"""A foreman's sheets: every move in words, plates drawn as listed, stock that adds up."""

from __future__ import annotations

import csv
import json
import re
from collections import Counter

import pytest
from pypdf import PdfReader

#: a plus or minus sign before a number, where neither a word nor a date stands before it
SIGNED = re.compile(r"(?<![\w.)-])[-+\u2212\u00b1]\s?\d")


def read_table(path):
    with path.open(encoding="utf-8-sig", newline="") as source:
        return list(csv.DictReader(source))


@pytest.fixture(scope="module")
def sheets(tmp_path_factory, small_job_writer, fitup):
    folder = small_job_writer(tmp_path_factory.mktemp("foreman"))
    said = fitup("sheets", folder, "--json")
    assert said.code == 0
    return folder / "out", json.loads(said.out)


@pytest.fixture(scope="module")
def pages(sheets):
    return [page.extract_text() for page in PdfReader(sheets[0] / "move-J1.pdf").pages]


@pytest.fixture(scope="module")
def moves(sheets):
    return read_table(sheets[0] / "moves.csv")


def test_every_page_carries_plan_and_page_count(sheets, pages):
    plan = sheets[1]["plan"]["id"]
    for number, text in enumerate(pages, 1):
        assert f"Plan {plan} page {number} of {len(pages)}" in text


def test_every_move_stands_in_words(pages, moves):
    text = " ".join(" ".join(pages).split())
    moved = [m for m in moves if m["move"] != "stays"]
    assert len(moved) == 3
    for move in moved:
        words = f"{move['seat']} {move['move']} {float(move['move_mm']):.1f} mm"
        assert text.count(words) >= 2, words  # in the order of work and in its stage
    assert {m["move"] for m in moved} <= {"RAISE", "LOWER"}


def test_nothing_depends_on_a_sign(sheets, pages):
    assert SIGNED.search("move -3.0 mm") is not None
    assert SIGNED.search("\u22123.0") is not None
    for name in ("move-J1.pdf", "shim-schedule.pdf"):
        for page in PdfReader(sheets[0] / name).pages:
            found = SIGNED.search(page.extract_text())
            assert found is None, found
    for move in read_table(sheets[0] / "moves.csv"):
        assert float(move["move_mm"]) >= 0.0


def test_pack_drawn_is_the_pack_listed(pages, moves, small_files):
    measured = {
        row["mark"]: float(row["measured_mm"])
        for row in csv.DictReader(small_files["plates.csv"].splitlines())
    }
    text = " ".join(" ".join(pages).split())
    for move in moves:
        if move["move"] == "stays":
            continue
        marks = move["build_up_bottom_first"].split()
        card = text[text.index(f"PLATES {move['seat']} ") :]
        card = card[: card.index("STOP BELOW")]
        assert move["place"] in card
        height = sum(measured[mark] for mark in marks)
        assert f"height {height:.2f} mm" in card
        assert "+".join(marks) in card.replace("\u200b", "")
        assert float(move["height_new_mm"]) == pytest.approx(height, abs=0.005)
        for word, column in (("OUT", "plates_out"), ("IN", "plates_in")):
            if move[column]:
                assert f"{word} {', '.join(move[column].split())}" in card


def test_plates_out_and_in_make_the_new_pack(moves, small_files):
    now = {
        row["id"]: row["pack"].split("+")
        for row in csv.DictReader(small_files["seats.csv"].replace("\\\n", "").splitlines())
    }
    for move in moves:
        pack = Counter(now[move["seat"]])
        pack.subtract(move["plates_out"].split())
        pack.update(move["plates_in"].split())
        assert +pack == Counter(move["build_up_bottom_first"].split())


def test_stock_adds_up(sheets, moves, small_files):
    loose = {
        row["mark"]: int(row["count"])
        for row in csv.DictReader(small_files["plates.csv"].splitlines())
    }
    stock = read_table(sheets[0] / "stock.csv")
    assert {row["mark"]: int(row["loose_before"]) for row in stock} == loose
    taken = Counter(mark for m in moves for mark in m["plates_in"].split())
    back = Counter(mark for m in moves for mark in m["plates_out"].split())
    for row in stock:
        mark = row["mark"]
        assert int(row["taken"]) == taken[mark]
        assert int(row["given_back"]) == back[mark]
        assert int(row["loose_after"]) == loose[mark] - taken[mark] + back[mark] >= 0
