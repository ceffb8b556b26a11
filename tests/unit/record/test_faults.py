"""What befalls a file: full, closed, shared, flipped, edited, cut. Nothing is lost in silence."""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import textwrap
from pathlib import Path

import pytest

from fitup.errors import FitupError, InputError
from fitup.record import connect
from fitup.record.connect import RecordBroken
from fitup.record.seal import FILE as SEAL
from fitup.record.seal import NO_SEAL
from fitup.record.store import FILE, Record, append

WHEN = "2031-04-02T05:00:00Z"


def findings(folder: Path) -> tuple[str, ...]:
    """Return what is broken, apart from a missing seal."""
    try:
        with Record(folder) as record:
            return tuple(line for line in record.check().broken if line != NO_SEAL)
    except RecordBroken as error:
        return error.findings


def edit(folder: Path, *statements: str) -> None:
    """Change the file as one who knows SQL would, triggers dropped first."""
    connection = sqlite3.connect(folder / FILE)
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'"):
        connection.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        connection.execute(statement)
    connection.commit()
    connection.close()
    (folder / SEAL).unlink()


def test_whole_record_has_no_findings(filled):
    with Record(filled) as record:
        checked = record.check()
    assert (checked.broken, checked.notes) == ((), ())
    assert [e.number for e in checked.events] == list(range(1, 9))


def test_whoever_may_read_the_record_may_read_its_seal(filled, keys):
    for mode in (0o640, 0o664):
        (filled / FILE).chmod(mode)
        append(filled, "stop", WHEN, key=keys["ola"], says={"why": "x"})
        assert (filled / SEAL).stat().st_mode & 0o777 == mode


@pytest.mark.parametrize("part", range(4))
def test_flipped_bit_anywhere_is_found_and_named(filled, part):
    raw = (filled / FILE).read_bytes()
    rng = random.Random(part)
    for at in rng.sample(range(len(raw)), 100):
        spoiled = bytearray(raw)
        spoiled[at] ^= 1 << rng.randrange(8)
        (filled / FILE).write_bytes(spoiled)
        for beside in ("-wal", "-shm"):
            (filled / f"{FILE}{beside}").unlink(missing_ok=True)
        said = findings(filled)
        page = at // 4096
        place = f"page {page + 1} (bytes {page * 4096} to {page * 4096 + 4095})"
        assert any(place in line or line.startswith("entr") for line in said), (at, said)


def test_flipped_bit_in_the_seal_is_named(filled):
    raw = bytearray((filled / SEAL).read_bytes())
    raw[len(raw) // 2] ^= 4
    (filled / SEAL).write_bytes(raw)
    assert findings(filled) == ("record.seal: the sum of the seal does not fit it",)


@pytest.mark.parametrize(
    ("statement", "line"),
    [
        (
            "UPDATE event SET body = x'7b7d' WHERE number = 4",
            "entry 4: its text was changed and cannot be read",
        ),
        (
            "UPDATE event SET body = CAST(replace(CAST(body AS TEXT), 'reason 3', 'reason 9') "
            "AS BLOB) WHERE number = 4",
            "entry 4 (stop, 2031-04-02T04:13:09Z): it was changed after it was written",
        ),
        ("DELETE FROM event WHERE number = 5", "entry 5 is missing"),
        ("DELETE FROM event WHERE number IN (3, 4, 5)", "entries 3 to 5 are missing"),
        (
            "UPDATE event SET signature = (SELECT signature FROM event WHERE number = 3) "
            "WHERE number = 4",
            "entry 4 (stop, 2031-04-02T04:13:09Z): it was changed after it was written",
        ),
        (
            "UPDATE content SET bytes = zeroblob(size) WHERE size = 1400",
            "entry 3: the content of a.csv was changed",
        ),
        ("DELETE FROM content WHERE size = 1400", "entry 3: the content of a.csv is missing"),
        (
            "UPDATE held SET path = 'c.csv' WHERE event = 3 AND path = 'a.csv'",
            "entry 3: its list of contents was changed at a.csv",
        ),
    ],
)
def test_edited_record_is_named(filled, statement, line):
    edit(filled, statement)
    assert findings(filled)[0] == line


def test_entry_rewritten_with_a_fitting_hash_breaks_the_chain(filled):
    from fitup.record.events import hash_of

    connection = sqlite3.connect(filled / FILE)
    body, signature = connection.execute(
        "SELECT body, signature FROM event WHERE number = 4"
    ).fetchone()
    connection.close()
    new = body.replace(b"reason 3", b"reason 9")
    edit(
        filled,
        "PRAGMA foreign_keys=OFF",
        f"UPDATE event SET body = x'{new.hex()}', hash = '{hash_of(new, signature)}' "
        "WHERE number = 4",
    )
    assert findings(filled) == (
        "entry 5 (stop, 2031-04-02T04:14:09Z): it does not follow entry 4 as that now stands: the "
        "earlier entry was changed, or this one belongs to another record",
        "entry 4 (stop, 2031-04-02T04:13:09Z): the signature is not that of Ola Finch under this "
        "entry: forged or borrowed",
    )


def test_entries_cut_off_at_the_end_are_missed_by_the_seal(filled):
    seal = (filled / SEAL).read_bytes()
    edit(filled, "DELETE FROM held WHERE event = 8", "DELETE FROM event WHERE number = 8")
    (filled / SEAL).write_bytes(seal)
    assert findings(filled) == ("the seal knows 8 entries, 7 can be read",)


def test_nothing_is_added_to_a_broken_record(filled, keys):
    edit(filled, "DELETE FROM event WHERE number = 5")
    before = (filled / FILE).read_bytes()
    with pytest.raises(RecordBroken, match="entry 5 is missing"):
        append(filled, "stop", WHEN, key=keys["ola"], says={"why": "x"})
    assert (filled / FILE).read_bytes() == before


@pytest.mark.parametrize("table", ["event", "content", "held"])
@pytest.mark.parametrize("change", ["UPDATE {} SET hash = ''", "DELETE FROM {}"])
def test_tables_are_only_added_to(filled, table, change):
    connection = sqlite3.connect(filled / FILE)
    with pytest.raises(sqlite3.IntegrityError, match="the record is only added to"):
        connection.execute(change.format(table))
    connection.close()


def test_entry_out_of_order_is_not_taken(filled):
    connection = sqlite3.connect(filled / FILE)
    with pytest.raises(sqlite3.IntegrityError, match="an entry follows the last one"):
        connection.execute("INSERT INTO event VALUES (12, x'00', '', 'h', NULL)")
    connection.close()


def test_clock_that_went_back_is_told_and_breaks_nothing(filled, keys):
    with Record(filled) as record, record.writing() as pen:
        pen.append("stop", "2031-04-02T02:47:04Z", key=keys["ola"], says={"why": "x"})
    with Record(filled) as record:
        checked = record.check()
    assert checked.broken == ()
    assert checked.notes == (
        "entry 9 (2031-04-02T02:47:04Z) bears an earlier time than entry 8: the clock went back by "
        "1 h 30 min 5 s",
    )


@pytest.mark.parametrize("why", ["fog\nAPPROVED", "fog\r", "\x1b[2Jfog", "f\u202eog"])
def test_reason_that_would_forge_a_line_is_not_taken(filled, keys, why):
    with pytest.raises(InputError, match=r"why: found a character U\+00(0A|0D|1B)|U\+202E"):
        append(filled, "stop", WHEN, key=keys["ola"], says={"why": why})
    with Record(filled) as record:
        assert len(record.whole()) == 8


def test_failure_half_way_leaves_nothing(filled, keys):
    def two(record: Record) -> None:
        with record.writing() as pen:
            pen.append("stop", WHEN, key=keys["ola"], says={"why": "one"}, inputs={"n": b"new"})
            raise OSError("the printer is on fire")

    with Record(filled) as record:
        with pytest.raises(OSError, match="on fire"):
            two(record)
        assert len(record.whole()) == 8
        assert (
            record.content("11507a0e2f5e69d5dfa40a62a1bd7b6ee57e6bcd85c67c9b8431b36fff21c437")
            is None
        )


def run(folder: Path, code: str, **more: object) -> subprocess.CompletedProcess[str]:
    """Run a few lines in a process of its own."""
    return subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code), str(folder)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        **more,
    )


ADD = """
import sys
from pathlib import Path
from fitup.errors import FitupError
from fitup.record.store import Record
folder = Path(sys.argv[1])
{before}
added = 0
try:
    with Record(folder) as record:
        for i in range({count}):
            with record.writing() as pen:
                pen.append("plan made", "2031-04-02T05:00:00Z", who="{who}", about="p",
                           inputs={{"a": bytes([i % 250]) * 3000}},
                           says={{"code": "", "inside": True}})
            added += 1
except FitupError as error:
    print(error)
print(added)
"""


def test_full_disk_loses_nothing_and_says_so(filled):
    limit = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (60000, 60000))"
    done = run(filled, ADD.format(before=limit, count=60, who="x"))
    line, added = done.stdout.splitlines()
    assert line.startswith("record.sqlite: found no room to write (")
    assert line.endswith("; nothing was recorded; allowed: free space; make room, try again")
    assert 0 < int(added) < 60
    with Record(filled) as record:
        assert len(record.whole()) == 8 + int(added)


def test_several_writers_at_once_each_get_their_turn(filled):
    code = ADD.format(before="", count=12, who="{}")
    running = [
        subprocess.Popen(
            [sys.executable, "-c", textwrap.dedent(code.replace("{}", who)), str(filled)],
            stdout=subprocess.PIPE,
            text=True,
        )
        for who in ("a", "b", "c")
    ]
    said = [child.communicate(timeout=60)[0].split() for child in running]
    assert said == [["12"]] * 3
    with Record(filled) as record:
        events = record.whole()
    assert [e.number for e in events] == list(range(1, 45))
    assert {who: sum(e.who == who for e in events) for who in "abc"} == {"a": 12, "b": 12, "c": 12}


READ_ONLY = """
import os
with Record(folder) as record:
    record.whole()  # whatever Python loads late is loaded while it may be read
if os.getuid() == 0:
    os.setuid(65534)
"""


@pytest.fixture
def closed(filled):
    """The record in a folder that may only be read."""
    place = Path(tempfile.mkdtemp())
    folder = place / "job"
    folder.mkdir()
    for name in (FILE, SEAL):
        shutil.copy(filled / name, folder / name)
        (folder / name).chmod(0o444)
    folder.chmod(0o555)
    place.chmod(0o755)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(place)


def test_record_that_may_only_be_read_is_read_and_not_written(closed):
    code = ADD.format(before=READ_ONLY, count=1, who="x")
    assert "\nadded = 0\n" in code
    read = code.replace("added = 0", "with Record(folder) as r: print(len(r.whole()))\nadded = 0")
    done = run(closed, read)
    assert done.stderr == ""
    count, line, added = done.stdout.splitlines()
    assert (count, added) == ("8", "0")
    assert line == (
        "record.sqlite: found no permission (attempt to write a readonly database); nothing was "
        "recorded; allowed: a record and a folder that may be written; ask for access"
    )


def test_missing_record_is_one_line(tmp_path):
    with pytest.raises(InputError) as refused:
        Record(tmp_path)
    assert str(refused.value) == (
        "record.sqlite: found no record in the job folder; allowed: a record that was opened; "
        "write people.toml and open it with: fitup people JOB"
    )


@pytest.mark.parametrize("content", [b"not a database at all, but long enough to be taken for one"])
def test_file_that_is_no_record_is_named(tmp_path, content):
    (tmp_path / FILE).write_bytes(content * 40)
    assert findings(tmp_path) == ("record.sqlite: the file is damaged (file is not a database)",)


def test_database_of_another_program_is_left_alone(tmp_path):
    other = sqlite3.connect(tmp_path / FILE)
    other.execute("CREATE TABLE t (x)")
    other.execute("PRAGMA user_version=1")
    other.close()
    with pytest.raises(FitupError) as refused:
        Record(tmp_path)
    assert str(refused.value) == (
        "record.sqlite: found another program's database; allowed: a record of fitup; name its "
        "job folder"
    )


def test_record_of_a_newer_version_is_refused(filled):
    changed = sqlite3.connect(filled / FILE)
    changed.execute("PRAGMA user_version=9")
    changed.close()
    (filled / SEAL).unlink()
    with pytest.raises(FitupError) as refused:
        Record(filled)
    assert str(refused.value) == (
        "record.sqlite: found a record of version 9; allowed: at most version 2; it was written by "
        "a newer fitup: install that"
    )


def test_old_record_opens_in_a_newer_version_and_goes_on(filled, keys, monkeypatch):
    newer = (*connect.MIGRATIONS, "CREATE TABLE remark (event INTEGER REFERENCES event (number));")
    monkeypatch.setattr(connect, "MIGRATIONS", newer)
    with Record(filled) as record:
        assert len(record.whole()) == 8
        with record.writing() as pen:
            pen.append("stop", WHEN, key=keys["ola"], says={"why": "in the new version"})
        assert record._connection.execute("SELECT count(*) FROM remark").fetchone() == (0,)
    with Record(filled) as record:
        checked = record.check()
    assert (len(checked.events), checked.broken, checked.notes) == (9, (), ())


def test_record_of_version_1_still_opens(tmp_path):
    """A file as version 1 wrote it, kept as bytes: later versions must go on reading it."""
    kept = Path(__file__).with_name("record-version-1.sqlite")
    shutil.copy(kept, tmp_path / FILE)
    with Record(tmp_path) as record:
        events = record.check().events
    stated = json.loads(Path(__file__).with_name("record-version-1.json").read_text("utf-8"))
    assert [e.hash for e in events] == stated
