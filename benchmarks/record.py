"""What the chain costs: entries of a record against bare rows of the same size, side by side.

Both are written through to the disk, a transaction each. The record also hashes its contents,
chains and signs the entry, checks all of itself before, and seals the file after; so its cost grows
with what is there. Times are of this machine: read the ratio.

    python benchmarks/record.py --entries 200
"""

from __future__ import annotations

import argparse
import hashlib
import os
import sqlite3
import tempfile
import time
from pathlib import Path

from fitup.record.keys import Key, make_key
from fitup.record.people import RIGHTS
from fitup.record.store import FILE, Record

CONTENT = 50_000
WHEN = "2031-04-02T04:10:09Z"


def bare(folder: Path, entries: int, contents: list[bytes]) -> float:
    """Write rows with their contents and nothing else [s for each]."""
    connection = sqlite3.connect(folder / "bare.sqlite", isolation_level=None)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("CREATE TABLE row (number INTEGER PRIMARY KEY, bytes BLOB)")
    begun = time.perf_counter()
    for content in contents:
        connection.execute("INSERT INTO row (bytes) VALUES (?)", (content,))
    passed = time.perf_counter() - begun
    connection.close()
    return passed / entries


def chained(folder: Path, entries: int, contents: list[bytes], key: Key) -> tuple[float, float]:
    """Write signed entries with the same contents, then check them all [s for each, s]."""
    people = f'[a]\nname = "A"\nmay = {list(RIGHTS)!r}\nkey = "{key.public}"\n'.encode()
    with Record(folder, create=True) as record:
        with record.writing() as pen:
            pen.append("people named", WHEN, key=key, inputs={"people.toml": people})
        begun = time.perf_counter()
        for content in contents:
            with record.writing() as pen:
                pen.append("stop", WHEN, key=key, inputs={"a": content}, says={"why": "x"})
        written = time.perf_counter() - begun
        begun = time.perf_counter()
        checked = record.check()
        looked = time.perf_counter() - begun
    assert not checked.broken
    assert len(checked.events) == entries + 1
    return written / entries, looked


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", type=int, default=200)
    entries = parser.parse_args().entries
    contents = [os.urandom(CONTENT) for _ in range(entries)]
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        row = bare(folder, entries, contents)
        entry, check = chained(folder, entries, contents, make_key(folder / "a.key"))
        begun = time.perf_counter()
        hashlib.sha256((folder / FILE).read_bytes()).hexdigest()
        plain = time.perf_counter() - begun
    print("entries  row_ms  entry_ms  entry_over_row  check_ms  hash_ms  check_over_hash")
    print(
        f"{entries:7d}  {1e3 * row:6.2f}  {1e3 * entry:8.2f}  {entry / row:14.1f}  "
        f"{1e3 * check:8.1f}  {1e3 * plain:7.1f}  {check / plain:15.1f}"
    )


if __name__ == "__main__":
    main()
