"""A sum over every page of the record file, kept beside it: a flipped byte is found and placed.

The chain guards what the entries say. Between them a database file has bytes that say nothing; the
seal guards those too, and tells when entries at the end are gone. It is written after each entry
and may lag behind by those of a process that was killed; then the chain alone is held to.
"""

from __future__ import annotations

import json
import os
import tempfile
import zlib
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Final

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
    pages: tuple[str, ...]
    """CRC-32 of each page; the SHA-256 of the file stands before them."""
    whole: str


def seal_of(image: bytes, schema: int, events: int, head: str) -> Seal:
    """Return the seal of a record file's bytes."""
    pages = tuple(f"{zlib.crc32(image[at : at + PAGE]):08x}" for at in range(0, len(image), PAGE))
    return Seal(schema, events, head, pages, sha256(image).hexdigest())


def write_seal(folder: Path, seal: Seal) -> None:
    """Put a seal in place of the one before, in one step.

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
    handle, name = tempfile.mkstemp(prefix=f".{FILE}-", dir=folder)
    try:
        with os.fdopen(handle, "wb") as target:
            # whoever may read the record may hold it to its seal
            Path(name).chmod((folder / RECORD).stat().st_mode & 0o777)
            target.write(sha256(body).hexdigest().encode("ascii") + b"\n" + body + b"\n")
            target.flush()
            os.fsync(target.fileno())
        Path(name).replace(folder / FILE)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def read_seal(folder: Path) -> Seal | None:
    """Return the seal of a record, None where there is none.

    Raises
    ------
    ValueError
        If the seal itself was changed.
    """
    try:
        raw = (folder / FILE).read_bytes()
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
    """Say which pages of a file differ from its seal; empty where none does."""
    now = seal_of(image, seal.schema, seal.events, seal.head)
    if now.whole == seal.whole:
        return ""
    if len(now.pages) != len(seal.pages):
        return f"the file has {len(now.pages)} pages; {len(seal.pages)} were sealed"
    wrong = [i for i, (a, b) in enumerate(zip(now.pages, seal.pages, strict=True)) if a != b]
    places = ", ".join(f"{i + 1} (bytes {i * PAGE} to {(i + 1) * PAGE - 1})" for i in wrong[:5])
    more = f" and {len(wrong) - 5} more" if len(wrong) > 5 else ""
    return f"bytes were changed in page {places}{more}"
