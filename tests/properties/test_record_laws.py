"""Laws of the record: what is written comes back, and no change of it goes unseen."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fitup.record.canonical import canonical, number_text, read_json
from fitup.record.chain import check_chain
from fitup.record.check_code import check_code, read_code
from fitup.record.events import NOTHING, Event, read_body

TEXT = st.text(st.characters(codec="utf-8"), max_size=12)
PLAIN = st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats(allow_nan=False) | TEXT
VALUES = st.recursive(
    PLAIN, lambda v: st.lists(v, max_size=4) | st.dictionaries(TEXT, v, max_size=4), max_leaves=12
)
HASHES = st.binary(min_size=32, max_size=32).map(bytes.hex)
EVENTS = st.builds(
    Event,
    number=st.integers(1, 9999),
    kind=st.sampled_from(["plan made", "sheets printed"]),
    when=st.just("2031-04-02T04:10:09Z"),
    who=TEXT,
    about=TEXT,
    inputs=st.dictionaries(TEXT, HASHES, max_size=3),
    says=st.dictionaries(TEXT, st.integers(-99, 99) | TEXT, max_size=3),
    before=HASHES,
)


def finite(value: object) -> bool:
    if isinstance(value, float):
        return math.isfinite(value)
    if isinstance(value, list):
        return all(finite(v) for v in value)
    return all(finite(v) for v in value.values()) if isinstance(value, dict) else True


@given(VALUES)
def test_canonical_json_is_json_and_the_same_again(value: object) -> None:
    assume(finite(value))
    text = canonical(value)
    assert read_json(text) == value
    assert canonical(read_json(text)) == text


@given(st.dictionaries(TEXT, PLAIN.filter(finite), max_size=6))
def test_order_of_keys_does_not_matter(value: dict[str, object]) -> None:
    assert canonical(dict(reversed(value.items()))) == canonical(value)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_number_comes_back_exactly(value: float) -> None:
    assert float(number_text(value)) == value


@pytest.mark.parametrize("value", [2**53 + 1, -(2**53) - 1, 10**400, float("inf"), float("nan")])
def test_number_that_would_not_come_back_is_refused(value: float) -> None:
    with pytest.raises(ValueError):
        canonical({"a": value})


@given(EVENTS)
def test_entry_comes_back_as_it_was_written(event: Event) -> None:
    again = read_body(event.body(), "")
    assert again == event
    assert again.hash == event.hash


@given(EVENTS, st.data())
def test_no_byte_of_an_entry_changes_unseen(event: Event, data: st.DataObject) -> None:
    body = bytearray(event.body())
    at = data.draw(st.integers(0, len(body) - 1))
    body[at] ^= 1 << data.draw(st.integers(0, 7))
    row = (event.number, bytes(body), "", event.hash, event.before)
    assert check_chain([row], [], lambda digest: None).broken


@pytest.mark.parametrize("lost", [1, 2, 3, 4])
def test_no_entry_goes_missing_unseen(lost: int) -> None:
    rows, before = [], NOTHING
    for number in range(1, 6):
        event = Event(number, "plan made", "2031-04-02T04:10:09Z", "x", before=before)
        rows.append((number, event.body(), "", event.hash, before))
        before = event.hash
    rows = [row for row in rows if row[0] != lost]
    assert f"entry {lost} is missing" in check_chain(rows, [], lambda digest: None).broken


@given(HASHES)
def test_every_check_code_is_one(digest: str) -> None:
    code = check_code(digest)
    assert read_code(code.lower(), "--plan") == code


@given(EVENTS, EVENTS)
def test_different_entries_have_different_hashes(one: Event, other: Event) -> None:
    assert (one.hash == other.hash) == (one == other)
    assert replace(one, signature="00").hash != one.hash
