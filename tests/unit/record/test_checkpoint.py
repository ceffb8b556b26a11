"""An entry costs the same however many there are; what that leaves out, and what it does not."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.record import checkpoint, store
from fitup.record.connect import RecordBroken
from fitup.record.events import Event
from fitup.record.history import history_of
from fitup.record.seal import FILE as SEAL
from fitup.record.seal import read_seal
from fitup.record.store import FILE, Record, append

WHEN = "2031-04-02T06:00:00Z"


@pytest.fixture
def home(tmp_path_factory, monkeypatch) -> Path:
    """A user with a home, in which what was seen of records is noted."""
    place = tmp_path_factory.mktemp("home")
    monkeypatch.delenv("FITUP_WITNESS")
    monkeypatch.setenv("HOME", str(place))
    return place


@pytest.fixture
def seen(home, filled) -> Path:
    """A record of eight entries that this user saw whole."""
    with Record(filled) as record:
        record.whole()
    return filled


@pytest.fixture
def rows(monkeypatch) -> list[int]:
    """How many entries each check looked at."""
    looked: list[int] = []

    def check(rows, *more):
        looked.append(len(rows))
        return real(rows, *more)

    real = store.check_chain
    monkeypatch.setattr(store, "check_chain", check)
    return looked


def stop(folder: Path, keys, why: str = "fog") -> Event:
    return append(folder, "stop", WHEN, key=keys["ola"], says={"why": why})


def edit(folder: Path, statement: str) -> None:
    """Change the file and leave its seal."""
    connection = sqlite3.connect(folder / FILE)
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'"):
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute(statement)
    connection.commit()
    connection.close()


def test_entry_looks_at_none_that_were_seen_whole(seen, keys, rows):
    for _ in range(3):
        stop(seen, keys)
    assert sum(rows) == 0
    with Record(seen) as record:
        assert record.now().size == 11
        assert record.now()[-1].says == {"why": "fog"}
        assert sum(rows) == 0
        assert len(record.check().events) == 11
    assert rows[-1] == 11


def test_what_another_user_wrote_is_looked_at_once(seen, keys, rows, monkeypatch, tmp_path_factory):
    with monkeypatch.context() as other:
        other.setenv("HOME", str(tmp_path_factory.mktemp("other")))
        stop(seen, keys)
        stop(seen, keys)
    rows.clear()
    for _ in range(2):
        with Record(seen) as record:
            assert record.now().size == 10
    assert [n for n in rows if n] == [2]


def test_first_look_at_a_record_is_at_all_of_it(filled, home, rows):
    with Record(filled) as record:
        assert record.now().size == 8
    assert rows == [8]


def test_state_from_a_checkpoint_is_that_of_all_entries(seen, keys):
    for i in range(4):
        stop(seen, keys, f"reason {i}")
        with Record(seen) as record:
            now = record.now()
            whole = record.whole()
            assert now.work == whole.work
            assert now.last == whole.last
            assert now.of("stop") == whole.of("stop")
            assert now[:] == whole[:]
            assert record.people(now) == record.people(whole)


@pytest.mark.parametrize(
    ("statement", "line"),
    [
        ("UPDATE event SET body = x'7b7d' WHERE number = 9", "entry 9: its text was changed"),
        ("DELETE FROM event WHERE number = 9", "the seal knows 9 entries, 8 can be read"),
        (
            "UPDATE content SET bytes = zeroblob(size) WHERE size = 3",
            "the content of n was changed",
        ),
    ],
)
def test_what_came_since_is_checked(seen, keys, monkeypatch, tmp_path_factory, statement, line):
    with monkeypatch.context() as other:
        other.setenv("HOME", str(tmp_path_factory.mktemp("other")))
        append(seen, "stop", WHEN, key=keys["ola"], says={"why": "x"}, inputs={"n": b"new"})
    edit(seen, statement)
    with Record(seen) as record, pytest.raises(RecordBroken, match=line):
        record.now()
    with pytest.raises(RecordBroken, match=line):
        stop(seen, keys)


def test_cut_record_is_seen_without_reading_all_of_it(seen, keys):
    """Wound back with seal and all: the witness in the home tells, as it does a whole check."""
    kept = {name: (seen / name).read_bytes() for name in (FILE, SEAL)}
    stop(seen, keys, "crack heard")
    for name, content in kept.items():
        (seen / name).write_bytes(content)
    with Record(seen) as record, pytest.raises(RecordBroken, match="saw entry 9"):
        record.now()


def test_missing_seal_is_an_alarm(seen, keys):
    (seen / SEAL).unlink()
    with pytest.raises(RecordBroken, match=r"record\.seal is missing"):
        stop(seen, keys)


def test_old_content_that_was_changed_is_not_read(seen):
    """A quick look does not read it; whoever asks for it is stated."""
    edit(seen, "UPDATE content SET bytes = zeroblob(size) WHERE size = 1400")
    with Record(seen) as record:
        old = record.now().of("stop")[1]
        with pytest.raises(RecordBroken, match="was changed"):
            record.content(old.inputs["a.csv"])
        with pytest.raises(RecordBroken, match=r"entry 3: the content of a\.csv was changed"):
            record.whole()


def test_old_entry_that_a_witness_noted_is_seen_to_be_changed(seen):
    edit(seen, "UPDATE event SET body = x'7b7d' WHERE number = 3")
    with Record(seen) as record, pytest.raises(RecordBroken, match="saw entry 3 as"):
        record.now()


def test_old_entries_asked_for_one_by_one_are_all_checked(seen, monkeypatch, tmp_path):
    monkeypatch.setenv("FITUP_WITNESS", str(tmp_path / "one that noted nothing"))
    edit(seen, "UPDATE event SET body = x'7b7d' WHERE number = 3")
    with Record(seen) as record:
        now = record.now()
        with pytest.raises(RecordBroken, match="entry 3: its text was changed"):
            now[1]
        with pytest.raises(RecordBroken, match="entry 3: its text was changed"):
            list(now)


def kept(home: Path) -> Path:
    (path,) = (home / ".fitup" / "checkpoints").iterdir()
    return path


def forged(home: Path, **changed: object) -> None:
    """Put another checkpoint in place, with a sum that fits."""
    path = kept(home)
    content = json.loads(path.read_bytes().partition(b"\n")[2])
    content.update(changed)
    body = json.dumps(content).encode()
    path.write_bytes(hashlib.sha256(body).hexdigest().encode() + b"\n" + body)


def test_checkpoint_is_closed_to_others(seen, home):
    assert kept(home).stat().st_mode & 0o777 == 0o600
    assert kept(home).parent.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("mode", [0o620, 0o602, 0o666])
def test_checkpoint_that_others_may_write_is_not_believed(seen, home, rows, mode):
    kept(home).chmod(mode)
    with Record(seen) as record:
        record.now()
    assert rows == [8]


@pytest.mark.parametrize(
    "changed", [{"logic": "of another version"}, {"first": "0" * 64}, {"work": 3}, {"last": None}]
)
def test_checkpoint_of_something_else_is_not_believed(seen, home, rows, changed):
    forged(home, **changed)
    with Record(seen) as record:
        record.now()
    assert rows == [8]


@pytest.mark.parametrize("content", [b"", b"\n", b"{}", b"\xff\x00", b"[" * 100_000])
def test_checkpoint_that_is_none_is_not_believed(seen, home, rows, content):
    kept(home).write_bytes(hashlib.sha256(content).hexdigest().encode() + b"\n" + content)
    with Record(seen) as record:
        record.now()
    kept(home).write_bytes(content)
    with Record(seen) as record:
        record.now()
    assert rows == [8, 8]


def test_link_in_its_place_is_not_followed(seen, home, rows, tmp_path):
    own = kept(home)
    elsewhere = tmp_path / "elsewhere"
    own.rename(elsewhere)
    own.symlink_to(elsewhere)
    with Record(seen) as record:
        record.now()
    assert rows == [8]
    # it was put in the place of the link, not through it
    assert not own.is_symlink()


def test_home_that_cannot_be_written_costs_time_and_nothing_else(filled, keys, rows, monkeypatch):
    monkeypatch.delenv("FITUP_WITNESS")
    monkeypatch.setenv("HOME", "/dev/null")
    stop(filled, keys)
    with Record(filled) as record:
        assert record.now().size == 9
    assert rows.count(8) >= 1


def test_copy_that_is_only_played_with_leaves_no_checkpoint(filled, monkeypatch, tmp_path):
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    with Record(filled) as record:
        record.whole()
    assert not (tmp_path / "home").exists()


def test_large_record_is_sealed_at_its_last_entry_alone(seen, keys, monkeypatch):
    monkeypatch.setattr(store, "MOST_PAGES", 3)
    stop(seen, keys)
    seal = read_seal(seen)
    assert seal is not None
    assert (seal.events, seal.pages, seal.whole) == (9, (), "")
    with Record(seen) as record:
        assert record.check().broken == ()
    edit(seen, "DELETE FROM event WHERE number = 9")
    with Record(seen) as record:
        assert "the seal knows 9 entries, 8 can be read" in record.check().broken


PLANS = ("a" * 64, "b" * 64)
READINGS = st.lists(
    st.fixed_dictionaries(
        {
            "read": st.sampled_from(["ram J1", "lift-off J1", "J1/P1/step"]),
            "value_si": st.none() | st.floats(-1, 1) | st.integers(-9, 9),
            "pack": st.none() | st.just(["P20", "P5"]),
            "verdict": st.sampled_from(["go on", "hold", "stop"]),
            "words": st.text(max_size=5),
        }
    ),
    max_size=3,
)
EVENTS = st.one_of(
    st.tuples(st.just("people named"), st.just({})),
    st.tuples(st.just("survey accepted"), st.just({"understood": ["a"]})),
    st.tuples(
        st.just("plan made"), st.fixed_dictionaries({"readings": st.sampled_from(["", "r"])})
    ),
    st.tuples(
        st.just("plan approved"),
        st.fixed_dictionaries(
            {
                "stages": st.integers(0, 3),
                "readings": st.sampled_from(["", "r"]),
                "lift_off": st.just({"1": ["J1"]}),
            }
        ),
    ),
    st.tuples(st.just("plan rejected"), st.just({"why": "no"})),
    st.tuples(
        st.just("stage done"),
        st.fixed_dictionaries(
            {
                "stage": st.integers(0, 3),
                "verdict": st.just("hold"),
                "against": st.lists(st.text(max_size=3), max_size=2),
                "reasons": st.just([]),
                "readings": READINGS,
            }
        ),
    ),
    st.tuples(st.just("hold point released"), st.fixed_dictionaries({"stage": st.integers(0, 3)})),
    st.tuples(st.just("stop"), st.fixed_dictionaries({"why": st.text(max_size=4)})),
    st.tuples(st.just("stop lifted"), st.fixed_dictionaries({"stop": st.integers(1, 9)})),
    st.tuples(st.just("locked off"), st.just({"joints": ["J1"]})),
)
#: a plan is made of bytes, and so is whatever it says: what was written is what is read
RECORDS = st.lists(st.tuples(EVENTS, st.sampled_from(PLANS)), min_size=1, max_size=12)


@settings(deadline=None)
@given(RECORDS)
def test_every_state_comes_back_from_a_checkpoint(tmp_path_factory, stated):
    events = tuple(
        Event(n, kind, WHEN, "ola", plan, says=says)
        for n, ((kind, says), plan) in enumerate(stated, 1)
    )
    history = history_of(events)
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("FITUP_WITNESS")
        patch.setenv("HOME", str(tmp_path_factory.getbasetemp()))
        checkpoint.save(history)
        found = checkpoint.read(history.first)
    assert found is not None
    assert found.work == history.work
    assert found.last.hash == history.work.head
    # and whatever comes after it leads to the same
    again = history.plus(Event(99, "stop", WHEN, "ola", says={"why": "x"}))
    assert again.work == history_of((*events, again[-1])).work


def test_state_of_a_recovery_comes_back_as_it_was(home, seen, keys):
    """Half of it read, one reading outside its band: the next command goes on from there."""
    says = {"recovery": "a" * 64, "code": "", "stage": 1, "crew": 1, "goal": "safe"}
    rows = [
        {"read": "dial A-S1", "value_si": 0.047, "pack": None, "verdict": "stop", "words": "47"},
        {"read": "stands A-S1", "value_si": None, "pack": None, "verdict": "hold", "words": ""},
    ]
    done = {**says, "verdict": "stop", "against": [], "reasons": [], "readings": rows}
    append(seen, "recovery done", WHEN, key=keys["ola"], about="b" * 64, says=done)
    with Record(seen) as record:
        whole, now = record.whole().work, record.now().work
    found = checkpoint.read(record_first(seen))
    assert found is not None
    assert found.work == whole == now
    own = found.work.recoveries["a" * 64]
    assert own.report.missing == ("stands A-S1",)
    assert own.done == 0
    assert [s.about for s in found.work.stops if s.about] == ["a" * 64]


def record_first(folder: Path) -> str:
    with Record(folder) as record:
        return record.whole()[0].hash
