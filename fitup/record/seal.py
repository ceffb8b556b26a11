"""A sum over every page of the record file, kept beside it: a flipped byte is found and placed.

The chain guards what the entries say. Between them a database file has bytes that say nothing; the
seal guards those too, and tells when entries at the end are gone. It is written after each entry
and may lag behind by those of a process that was killed; then the chain alone is held to. Of a
large file it holds the last entry alone, so that an entry costs the same however many there are.
"""

from __future__ import annotations

import json
import os
import zlib
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Final

from fitup.plainfile import read_bytes
from fitup.record.canonical import canonical

RECORD: Final = "record.sqlite"
FILE: Final = "record.seal"
PAGE: Final = 4096


@dataclass(frozen=True, slots=True)
class Seal:
    """What the file was like after an entry."""

    schema: int
    events: int
    head: str
    """Hash of the last entry."""
    pages: tuple[str, ...] = ()
    """CRC-32 of each page; none of a large file."""
    whole: str = ""
    """SHA-256 of the file, where the pages are there."""


def seal_of(image: bytes, schema: int, events: int, head: str) -> Seal:
    """Return the seal of a record file's bytes.

    Parameters
    ----------
    image : bytes
        The whole file.
    schema : int
        Version of its tables.
    events : int
        How many entries it holds.
    head : str
        Hash of the last entry.
    """
    pages = tuple(f"{zlib.crc32(image[at : at + PAGE]):08x}" for at in range(0, len(image), PAGE))
    return Seal(schema, events, head, pages, sha256(image).hexdigest())


def write_seal(folder: Path, seal: Seal) -> None:
    """Put a seal in place of the one before, in one step.

    Parameters
    ----------
    folder : Path
        Job folder; its record lends the seal its permissions.
    seal

    Raises
    ------
    OSError
        If it cannot be written; the one before is then still there.
    """
    body = canonical(
        {
            "schema": seal.schema,
            "events": seal.events,
            "head": seal.head,
            "whole": seal.whole,
            "pages": " ".join(seal.pages),
        }
    )
    # one writer at a time: what a killed one left is taken away by the next
    new = folder / f".{FILE}.new"
    new.unlink(missing_ok=True)
    try:
        with os.fdopen(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as target:
            # whoever may read the record may hold it to its seal
            new.chmod((folder / RECORD).stat().st_mode & 0o777)
            target.write(sha256(body).hexdigest().encode("ascii") + b"\n" + body + b"\n")
            target.flush()
            os.fsync(target.fileno())
        new.replace(folder / FILE)
    except BaseException:
        new.unlink(missing_ok=True)
        raise


def read_seal(folder: Path) -> Seal | None:
    """Return the seal of a record, None where there is none.

    Raises
    ------
    ValueError
        If the seal itself was changed.
    """
    try:
        raw = read_bytes(folder / FILE)
    except FileNotFoundError:
        return None
    total, _, rest = raw.partition(b"\n")
    body = rest[:-1]
    if rest[-1:] != b"\n" or sha256(body).hexdigest().encode("ascii") != total:
        raise ValueError("the sum of the seal does not fit it")
    content = json.loads(body)
    return Seal(
        content["schema"],
        content["events"],
        content["head"],
        tuple(content["pages"].split()),
        content["whole"],
    )


def broken_pages(seal: Seal, image: bytes) -> str:
    """Say which pages of a file differ from its seal; empty where none does.

    Parameters
    ----------
    seal : Seal
        Without sums of pages, as of a large file, nothing is found.
    image : bytes
        The whole file as it is now.

    Returns
    -------
    str
        In words, with bytes of the first five pages.
    """
    if not seal.whole:
        return ""
    now = seal_of(image, seal.schema, seal.events, seal.head)
    if now.whole == seal.whole:
        return ""
    if len(now.pages) != len(seal.pages):
        return f"the file has {len(now.pages)} pages; {len(seal.pages)} were sealed"
    wrong = [i for i, (a, b) in enumerate(zip(now.pages, seal.pages, strict=True)) if a != b]
    places = ", ".join(f"{i + 1} (bytes {i * PAGE} to {(i + 1) * PAGE - 1})" for i in wrong[:5])
    more = f" and {len(wrong) - 5} more" if len(wrong) > 5 else ""
    return f"bytes were changed in page {places}{more}"


#: an alarm, for whoever cuts a record takes its seal away too
NO_SEAL: Final = (
    f"{FILE} is missing: entries at the end may have been cut off; put it back, or let one "
    "who may name people take the record up again: fitup people JOB --resume REASON"
)


def held_to_seal(
    seal: Seal | None, schema: int, count: int, head: str, image: bytes | None
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Hold a record to its seal.

    Parameters
    ----------
    seal : Seal, optional
        None where it is missing.
    schema, count, head
        Version of the file, its entries and the hash of the last.
    image : bytes, optional
        Of the file; without it the bytes are not looked at.

    Returns
    -------
    broken, notes : tuple of str
        What is broken, and what is only worth knowing.
    """
    if seal is None:
        # killed before the first one was written
        return ((), ()) if count <= 1 else ((NO_SEAL,), ())
    if (seal.schema, seal.events, seal.head) == (schema, count, head):
        pages = "" if image is None else broken_pages(seal, image)
        return ((f"{RECORD}: {pages}",) if pages else ()), ()
    if seal.events > count:
        return (f"the seal knows {seal.events} entries, {count} can be read",), ()
    return (), (f"sealed up to entry {seal.events}; for later ones the chain alone was held to",)
