"""A record that was cut, wound back or copied is noticed by a witness kept elsewhere."""

from __future__ import annotations

import os
import shutil
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from fitup.record import acts
from fitup.record.check_code import check_code
from fitup.record.connect import RecordBroken
from fitup.record.seal import FILE as SEAL
from fitup.record.seal import NO_SEAL
from fitup.record.store import FILE, NotAllowed, Record, append

WHEN = "2031-04-02T06:00:00Z"


@pytest.fixture
def witness(tmp_path_factory, monkeypatch):
    path = tmp_path_factory.mktemp("elsewhere") / "notes" / "witness"
    monkeypatch.setenv("HOME", str(tmp_path_factory.mktemp("home")))
    monkeypatch.setenv("FITUP_WITNESS", str(path))
    return path


@pytest.fixture
def seen(witness, filled):
    """A record of eight entries that its witness has seen."""
    with Record(filled) as record:
        record.whole()
    return filled


def wound_back(folder: Path, entries: int) -> str:
    """Put the record back to its first entries as one who knows how, seal and all."""
    connection = sqlite3.connect(folder / FILE)
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'"):
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute("DELETE FROM held WHERE event > ?", (entries,))
    connection.execute("DELETE FROM event WHERE number > ?", (entries,))
    connection.commit()
    connection.close()
    (folder / SEAL).unlink()
    with Record(folder) as record:
        record._reseal()
        checked = record.check_file()
    assert (len(checked.events), checked.broken) == (entries, ())
    return checked.events[-1].hash


def test_record_that_was_cut_with_a_new_seal_is_told(seen, witness, keys):
    with Record(seen) as record:
        last = record.whole()[-1]
    wound_back(seen, 7)
    line = (
        f"the witness {witness} saw entry 8 as {check_code(last.hash)}; the record ends with entry "
        "7: it was cut, put back to an earlier one, or goes on in two copies"
    )
    with Record(seen) as record:
        assert record.check().broken == (line,)
        with pytest.raises(RecordBroken, match="it was cut"):
            record.whole()
    with pytest.raises(RecordBroken, match="it was cut"):
        append(seen, "stop", WHEN, key=keys["ola"], says={"why": "x"})


def test_yesterdays_record_that_goes_on_is_told(seen, witness, keys, tmp_path_factory, monkeypatch):
    yesterday = tmp_path_factory.mktemp("yesterday")
    for name in (FILE, SEAL):
        shutil.copy(seen / name, yesterday / name)
    append(seen, "stop", WHEN, key=keys["ola"], says={"why": "crack heard"})
    for name in (FILE, SEAL):
        shutil.copy(yesterday / name, seen / name)
    with monkeypatch.context() as elsewhere:
        # on a machine whose witness knows nothing the copy goes on
        elsewhere.setenv("FITUP_WITNESS", "")
        append(seen, "stop", WHEN, key=keys["ola"], says={"why": "fog"})
    with Record(seen) as record:
        (line,) = record.check().broken
    assert f"the witness {witness} saw entry 9 as " in line
    assert "; the record has " in line


def test_every_entry_is_noted_once_whoever_reads(seen, witness, keys):
    for _ in range(3):
        with Record(seen) as record:
            record.whole()
    append(seen, "stop", WHEN, key=keys["ola"], says={"why": "fog"})
    assert [line.split()[1] for line in witness.read_text().splitlines()] == [
        str(n) for n in range(1, 10)
    ]


def test_several_witnesses_and_one_that_cannot_be_written(filled, keys, tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    one, other = tmp_path / "one", tmp_path / "two"
    (tmp_path / "file").write_text("")
    bad = tmp_path / "file" / "witness"
    monkeypatch.setenv("FITUP_WITNESS", os.pathsep.join(map(str, (one, bad, other))))
    append(filled, "stop", WHEN, key=keys["ola"], says={"why": "fog"})
    assert one.read_text() == other.read_text() != ""


@pytest.mark.parametrize("content", [b"", b"\xff\x00\n\n", b"a b c d\n", b"9" * 100_000])
def test_witness_that_is_no_witness_says_nothing(seen, witness, content):
    witness.write_bytes(content)
    with Record(seen) as record:
        assert record.check().broken == ()


def test_pipe_in_the_place_of_a_witness_holds_nobody_up(filled, witness):
    witness.parent.mkdir(parents=True)
    os.mkfifo(witness)
    with Record(filled) as record:
        assert len(record.whole()) == 8


def test_pipe_in_the_place_of_the_seal_holds_nobody_up(filled):
    (filled / SEAL).unlink()
    os.mkfifo(filled / SEAL)
    with Record(filled) as record, pytest.raises(OSError, match="a pipe or a device, not a file"):
        record.whole()


def test_home_is_the_witness_when_nothing_is_said(filled, tmp_path, monkeypatch):
    monkeypatch.delenv("FITUP_WITNESS")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    with Record(filled) as record:
        record.whole()
    noted = (tmp_path / "home" / ".fitup" / "witness").read_text()
    assert noted.split()[1] == "8"


def test_missing_seal_is_an_alarm_and_no_writing_mends_it(filled, keys):
    (filled / SEAL).unlink()
    with Record(filled) as record:
        assert record.check().broken == (NO_SEAL,)
    with pytest.raises(RecordBroken, match=r"record\.seal is missing"):
        append(filled, "stop", WHEN, key=keys["ola"], says={"why": "x"})
    assert not (filled / SEAL).exists()


def test_record_is_taken_up_again_by_one_who_may_and_signs_for_what_is_lost(seen, witness, keys):
    with Record(seen) as record:
        last = record.whole()[-1]
    with pytest.raises(NotAllowed, match="nothing is missing"):
        acts.resume(seen, keys["ines"], WHEN, "disk broke")
    wound_back(seen, 7)
    (seen / SEAL).unlink()
    with pytest.raises(NotAllowed, match="Ola Finch may not name people"):
        acts.resume(seen, keys["ola"], WHEN, "disk broke")
    event = acts.resume(seen, keys["ines"], WHEN, "disk broke, copy of yesterday")
    assert event.says["lost"] == [last.hash]
    assert event.says["found"][0] == NO_SEAL
    append(seen, "stop", WHEN, key=keys["ola"], says={"why": "fog"})
    with Record(seen) as record:
        assert len(record.whole()) == 9
    # it covers what was lost then, and nothing that is lost after it
    wound_back(seen, 8)
    with Record(seen) as record:
        (line,) = record.check().broken
    assert "saw entry 9 as" in line


def test_broken_record_is_not_taken_up(filled, keys):
    wound_back(filled, 8)
    connection = sqlite3.connect(filled / FILE)
    connection.execute("UPDATE content SET bytes = zeroblob(size) WHERE size = 1400")
    connection.commit()
    connection.close()
    (filled / SEAL).unlink()
    with pytest.raises(RecordBroken, match=r"the content of a\.csv was changed"):
        acts.resume(filled, keys["ines"], WHEN, "whatever")


def test_old_entry_rewritten_to_take_the_record_up_covers_nothing(
    seen, witness, keys, monkeypatch, tmp_path_factory
):
    """What a user saw whole is not read again; an entry put there in place signs for nothing."""
    with monkeypatch.context() as other:
        other.setenv("HOME", str(tmp_path_factory.mktemp("other")))
        lost = append(seen, "stop", WHEN, key=keys["ola"], says={"why": "a crack was heard"})
    wound_back(seen, 8)
    with Record(seen) as record:
        old = record.written(2)
    assert old is not None
    forged = replace(old, kind="record taken up again", says={"why": "x", "lost": [lost.hash]})
    connection = sqlite3.connect(seen / FILE)
    connection.execute("UPDATE event SET body = ? WHERE number = 2", (forged.body(),))
    connection.commit()
    connection.close()
    # so long a record that the witness is not asked for entry 2 any more
    monkeypatch.setattr("fitup.record.witness.RECENT", 1)
    with Record(seen) as record, pytest.raises(RecordBroken, match="saw entry 9 as"):
        record.now()


def test_two_records_opened_in_the_same_second_are_told_apart(
    witness, tmp_path_factory, keys, toml
):
    """The same people, the same list, the same second: no witness takes one for the other."""
    folders = [tmp_path_factory.mktemp("job") for _ in range(2)]
    first = [acts.name_people(folder, keys["ines"], WHEN, toml(keys)) for folder in folders]
    assert first[0].hash != first[1].hash
    with Record(folders[0]) as record:
        acts.call_stop(record, keys["ola"], WHEN, "fog")
        assert len(record.whole()) == 2
    with Record(folders[1]) as record:
        assert len(record.whole()) == 1
