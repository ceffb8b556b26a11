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
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fitup.record.check_code import check_code
from fitup.record.events import RESUMED, Event

#: names witness files, apart as in PATH; empty for none
VARIABLE: Final = "FITUP_WITNESS"
#: so much of the end of a witness is read [bytes]
_READ: Final = 1 << 20
_NEAR: Final = 1 << 16
_HASH: Final = 64
#: so many of the last lines of a record are held against one that is not checked as a whole
RECENT: Final = 64


@dataclass(frozen=True, slots=True)
class Seen:
    """What a witness asks of a record.

    Parameters
    ----------
    first : str
        Hash of its first entry, by which it is known; empty without entries.
    size : int
        How many entries it has.
    taken_up : frozenset of str
        Hashes of the entries that were signed for as lost.
    hash_at : callable
        Number of an entry -> its hash as it now stands, empty where there is none.
    """

    first: str
    size: int
    taken_up: frozenset[str]
    hash_at: Callable[[int], str]


def seen_of(events: Sequence[Event]) -> Seen:
    """Return what a witness asks of a record whose entries were all read."""
    by_number = {e.number: e for e in events}
    return Seen(
        events[0].hash if events else "",
        len(events),
        frozenset(str(d) for e in events if e.kind == RESUMED for d in e.says["lost"]),
        lambda number: by_number[number].hash if number in by_number else "",
    )


def witnesses() -> tuple[Path, ...]:
    """Return the witness files to go by."""
    named = os.environ.get(VARIABLE)
    if named is not None:
        return tuple(Path(part) for part in named.split(os.pathsep) if part)
    try:
        return (Path.home() / ".fitup" / "witness",)
    except RuntimeError:
        return ()


def missed(seen: Seen, *, recent: bool = False) -> tuple[str, ...]:
    """Say what witnesses know of a record and it does not hold, a line each.

    Parameters
    ----------
    seen
    recent : bool
        Hold it only to what each witness noted last.
    """
    found = []
    for path in witnesses() if seen.first else ():
        noted = _noted(path, seen.first, _NEAR if recent else _READ)
        lost = [
            (number, digest)
            for number, digest in (noted[-RECENT:] if recent else noted)
            if digest not in seen.taken_up and seen.hash_at(number) != digest
        ]
        if lost:
            found.append(_contradiction(path, seen, *max(lost)))
    return tuple(found)


def lost_entries(seen: Seen) -> tuple[str, ...]:
    """Return the hashes of all entries that witnesses know and a record does not hold."""
    noted = {pair for path in witnesses() for pair in _noted(path, seen.first, _READ)}
    return tuple(sorted(digest for n, digest in noted if seen.hash_at(n) != digest))


def note(first: str, last: Event) -> None:
    """Note the last entry of a record that is whole; a witness that cannot be written is left.

    Parameters
    ----------
    first : str
        Hash of its first entry, by which witnesses know it.
    last : Event
    """
    line = f"{first} {last.number} {last.hash} {last.when}\n".encode("ascii")
    for path in witnesses():
        if (last.number, last.hash) in _noted(path, first, _NEAR):
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


def _noted(path: Path, first: str, most: int) -> list[tuple[int, str]]:
    """Return what a witness noted of the record that begins with an entry: number and hash."""
    try:
        if not path.is_file():
            return []
        with path.open("rb") as source:
            source.seek(max(0, path.stat().st_size - most))
            text = source.read(most).decode("ascii", "replace")
    except OSError:
        return []
    noted = []
    for line in text.splitlines():
        parts = line.split(" ")
        if len(parts) == 4 and parts[0] == first and _is_entry(parts[1], parts[2]):
            noted.append((int(parts[1]), parts[2]))
    return noted


def _is_entry(number: str, digest: str) -> bool:
    return number.isdecimal() and len(number) < 10 and len(digest) == _HASH


def _contradiction(path: Path, seen: Seen, number: int, digest: str) -> str:
    there = f"the record ends with entry {seen.size}"
    if number <= seen.size:
        there = f"the record has {check_code(seen.hash_at(number))} there"
    return (
        f"the witness {path} saw entry {number} as {check_code(digest)}; {there}: it was cut, put "
        "back to an earlier one, or goes on in two copies"
    )
