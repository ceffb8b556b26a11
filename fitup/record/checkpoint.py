"""A checkpoint: how far this user has seen a record to be whole, and the state of the work there.

Whoever checked a record up to an entry need not check all of it again before the next entry: what
comes after it is enough. The checkpoint lies in the home of the user, never in the job folder nor
on a shared drive, for what it says is believed; a file there that others may write is not. It
holds for one version of :mod:`fitup.record.work_state`: another may read the same entries anew.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import stat
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Final

import msgspec

from fitup.record.events import Event
from fitup.record.history import History
from fitup.record.witness import VARIABLE
from fitup.record.work_state import WorkState

#: its text decides what follows from the entries
_LOGIC: Final = ("fitup.record.work_state", "fitup.record.stage_work", "fitup.record.events")
_MOST: Final = 50_000_000


class Checkpoint(msgspec.Struct, frozen=True):
    """Where a check may go on from.

    Parameters
    ----------
    logic : str
        Which version drew the state from the entries.
    first : str
        Hash of the first entry of the record.
    last : Event
        The last entry that was seen.
    work : WorkState
        The state of the work after it.
    """

    logic: str
    first: str
    last: Event
    work: WorkState


def save(history: History) -> None:
    """Keep how far a record was found whole; where that cannot be written it is left."""
    path = _place(history.first)
    if path is None or history.last is None:
        return
    body = msgspec.json.encode(Checkpoint(_logic(), history.first, history.last, history.work))
    new = path.with_suffix(".new")
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        new.unlink(missing_ok=True)
        with os.fdopen(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as target:
            target.write(hashlib.sha256(body).hexdigest().encode("ascii") + b"\n" + body)
        new.replace(path)


def read(first: str) -> Checkpoint | None:
    """Return the checkpoint of the record that begins with an entry; None where there is none."""
    path = _place(first)
    raw = None if path is None else _own(path)
    if raw is None:
        return None
    total, _, body = raw.partition(b"\n")
    if hashlib.sha256(body).hexdigest().encode("ascii") != total:
        return None
    try:
        found = msgspec.json.decode(body, type=Checkpoint)
    except (msgspec.MsgspecError, RecursionError):
        return None
    return found if (found.logic, found.first) == (_logic(), first) else None


def _place(first: str) -> Path | None:
    """Return where the checkpoint of a record lies; none for a copy that is only played with."""
    if not first or not _logic() or os.environ.get(VARIABLE) == "":
        return None
    try:
        return Path.home() / ".fitup" / "checkpoints" / f"{first}.json"
    except RuntimeError:
        return None


def _own(path: Path) -> bytes | None:
    """Return the bytes of a file that nobody but the user may write."""
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0)
    with contextlib.suppress(OSError), os.fdopen(os.open(path, flags), "rb") as source:
        found = os.fstat(source.fileno())
        own = not hasattr(os, "getuid") or found.st_uid == os.getuid()
        if own and stat.S_ISREG(found.st_mode) and not found.st_mode & 0o022:
            return source.read(_MOST)
    return None


@cache
def _logic() -> str:
    """Return a sum over what decides the state; empty where its text is not there."""
    total = hashlib.sha256()
    for name in _LOGIC:
        spec = find_spec(name)
        text = getattr(spec.loader, "get_source", lambda _: None)(name) if spec else None
        if text is None:
            return ""
        total.update(text.encode("utf-8"))
    return total.hexdigest()
