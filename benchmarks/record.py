"""What an entry costs in a record of many entries beside one of few, and against a bare row.

All are written through to the disk, a transaction each. The record also hashes its contents,
chains and signs the entry, checks what came since it was last seen, and seals the file after.
Entries are written in turns to a short record and to a long one, so that both meet the same
machine: read the ratio of each pair, not the times.

    python benchmarks/record.py --few 10 --many 100000
"""

from __future__ import annotations

import argparse
import os
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from fitup.record.keys import Key, make_key
from fitup.record.people import RIGHTS
from fitup.record.store import Record
from fitup.record.witness import VARIABLE

CONTENT = 2_000
#: entries of one transaction, where a record is made to be long
BLOCK = 500
WHEN = "2031-04-02T04:10:09Z"


def filled(folder: Path, entries: int, key: Key) -> Path:
    """Make a record of so many entries: STOPs called and lifted in turn."""
    folder.mkdir()
    people = (
        f'[a]\nname = "A of {folder.name}"\nmay = {list(RIGHTS)!r}\nkey = "{key.public}"\n'.encode()
    )
    with Record(folder, create=True) as record, record.writing() as pen:
        pen.append("people named", WHEN, key=key, inputs={"people.toml": people})
    for begun in range(1, entries - 1, BLOCK):
        with Record(folder) as record, record.writing() as pen:
            while pen.events.size < min(entries - 1, begun + BLOCK):
                event = pen.append("stop", WHEN, key=key, says={"why": "wind"})
                says = {"stop": event.number, "why": "calm"}
                pen.append("stop lifted", WHEN, key=key, says=says)
    return folder


def entry(folder: Path, key: Key) -> Callable[[], None]:
    """Return what writes one entry as a command does: open, check, write, seal, close."""

    def write() -> None:
        with Record(folder) as record, record.writing() as pen:
            stops = pen.work.stops
            if stops:
                says = {"stop": stops[0].entry, "why": "calm"}
                pen.append(
                    "stop lifted", WHEN, key=key, says=says, inputs={"a": os.urandom(CONTENT)}
                )
            else:
                pen.append(
                    "stop", WHEN, key=key, says={"why": "x"}, inputs={"a": os.urandom(CONTENT)}
                )

    return write


def row(folder: Path) -> Callable[[], None]:
    """Return what writes a bare row of the same size."""
    path = folder / "bare.sqlite"
    with sqlite3.connect(path) as made:
        made.execute("PRAGMA journal_mode=WAL")
        made.execute("CREATE TABLE row (number INTEGER PRIMARY KEY, bytes BLOB)")

    def write() -> None:
        connection = sqlite3.connect(path, isolation_level=None)
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("INSERT INTO row (bytes) VALUES (?)", (os.urandom(CONTENT),))
        connection.close()

    return write


def took(call: Callable[[], object]) -> float:
    begun = time.perf_counter()
    call()
    return time.perf_counter() - begun


def checked(folder: Path) -> None:
    """Check a record as a whole."""
    with Record(folder) as record:
        assert not record.check().broken


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--few", type=int, default=10)
    parser.add_argument("--many", type=int, default=10_000)
    parser.add_argument("--pairs", type=int, default=100)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        # a home of its own, for what this user has seen of the records
        os.environ["HOME"] = place
        os.environ.pop(VARIABLE, None)
        key = make_key(folder / "a.key")
        short = filled(folder / "short", options.few, key)
        long = filled(folder / "long", options.many, key)
        calls = entry(short, key), entry(long, key), row(folder)
        turns = [tuple(took(call) for call in calls) for _ in range(options.pairs)]
        whole = took(lambda: checked(long))
    few, many, bare = (statistics.median(column) for column in zip(*turns, strict=True))
    ratio = statistics.median(b / a for a, b, _ in turns)
    print("few  many    pairs  row_ms  few_ms  many_ms  many_over_few  few_over_row  check_s")
    print(
        f"{options.few:<4d} {options.many:<7d} {options.pairs:5d}  {1e3 * bare:6.2f}  "
        f"{1e3 * few:6.2f}  {1e3 * many:7.2f}  {ratio:13.2f}  {few / bare:12.1f}  {whole:7.1f}"
    )


if __name__ == "__main__":
    main()
