"""A witness kept elsewhere: what the record was seen to hold, so that a cut or old one is noticed.

Whoever may write in the job folder can put yesterday's record in place of today's, seal and all;
within the record nothing tells. A witness is a small file on another disk, in the user's home when
nothing else is said. Every command that reads or writes a record notes its last entry there, and
holds the record to what was noted before.

One line an entry: hash of the record's first entry, number, hash, its time. Lines are only added.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from fitup.record.check_code import check_code
from fitup.record.events import RESUMED, Event

#: names witness files, apart as in PATH; empty for none
VARIABLE: Final = "FITUP_WITNESS"
#: so much of the end of a witness is read [bytes]
_READ: Final = 1 << 20
_HASH: Final = 64


def witnesses() -> tuple[Path, ...]:
    """Return the witness files to go by."""
    named = os.environ.get(VARIABLE)
    if named is not None:
        return tuple(Path(part) for part in named.split(os.pathsep) if part)
    try:
        return (Path.home() / ".fitup" / "witness",)
    except RuntimeError:
        return ()


def missed(events: Sequence[Event], places: Sequence[Path] | None = None) -> tuple[str, ...]:
    """Say what witnesses know of a record and it does not hold, a line each.

    Parameters
    ----------
    events : sequence of Event
        Every entry of the record.
    places : sequence of Path, optional
        Those of :func:`witnesses` when not given.
    """
    if not events:
        return ()
    taken_up = {str(h) for e in events if e.kind == RESUMED for h in e.says["lost"]}
    found = []
    for path in witnesses() if places is None else places:
        lost = [
            (number, digest)
            for number, digest in _noted(path, events[0].hash)
            if digest not in taken_up and not _holds(events, number, digest)
        ]
        if lost:
            found.append(_told(path, events, *max(lost)))
    return tuple(found)


def lost_entries(events: Sequence[Event]) -> tuple[str, ...]:
    """Return the hashes of all entries that witnesses know and a record does not hold."""
    noted = {pair for path in witnesses() for pair in _noted(path, events[0].hash)}
    return tuple(sorted(digest for n, digest in noted if not _holds(events, n, digest)))


def note(events: Sequence[Event]) -> None:
    """Note the last entry of a record that is whole; a witness that cannot be written is left."""
    if not events:
        return
    last = events[-1]
    line = f"{events[0].hash} {last.number} {last.hash} {last.when}\n".encode("ascii")
    for path in witnesses():
        if (last.number, last.hash) in _noted(path, events[0].hash):
            continue
        try:
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | getattr(os, "O_NONBLOCK", 0)
            handle = os.open(path, flags, 0o600)
        except OSError:
            continue
        with os.fdopen(handle, "ab", buffering=0) as target:
            if stat.S_ISREG(os.fstat(target.fileno()).st_mode):
                target.write(line)


def _noted(path: Path, first: str) -> set[tuple[int, str]]:
    """Return what a witness noted of the record that begins with an entry: number and hash."""
    try:
        if not path.is_file():
            return set()
        with path.open("rb") as source:
            source.seek(max(0, path.stat().st_size - _READ))
            text = source.read(_READ).decode("ascii", "replace")
    except OSError:
        return set()
    noted = set()
    for line in text.splitlines():
        parts = line.split(" ")
        if len(parts) == 4 and parts[0] == first and _is_entry(parts[1], parts[2]):
            noted.add((int(parts[1]), parts[2]))
    return noted


def _is_entry(number: str, digest: str) -> bool:
    return number.isdecimal() and len(number) < 10 and len(digest) == _HASH


def _holds(events: Sequence[Event], number: int, digest: str) -> bool:
    return 0 < number <= len(events) and events[number - 1].hash == digest


def _told(path: Path, events: Sequence[Event], number: int, digest: str) -> str:
    there = f"the record ends with entry {len(events)}"
    if number <= len(events):
        there = f"the record has {check_code(events[number - 1].hash)} there"
    return (
        f"the witness {path} saw entry {number} as {check_code(digest)}; {there}: it was cut, put "
        "back to an earlier one, or goes on in two copies"
    )
