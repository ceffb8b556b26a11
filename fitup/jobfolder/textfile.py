"""Read a text file as crews send it: with a byte-order mark, too big, binary, or forbidden."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

from fitup.errors import InputError, Problem

MOST_BYTES = 50_000_000


def read_bytes(path: Path) -> bytes:
    """Return the bytes of a plain file, at most one more than :data:`MOST_BYTES`.

    A pipe or a device in its place holds nobody up: it is not read at all.

    Raises
    ------
    OSError
        If it cannot be read, or is a folder, a pipe or a device.
    """
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(handle, "rb") as source:
        mode = os.fstat(source.fileno()).st_mode
        if stat.S_ISDIR(mode):
            raise IsADirectoryError(errno.EISDIR, "a folder", str(path))
        if not stat.S_ISREG(mode):
            raise OSError(errno.EINVAL, "a pipe or a device, not a file", str(path))
        return source.read(MOST_BYTES + 1)


def read_whole(path: Path, shown: str) -> bytes:
    """Return all bytes of a file.

    Parameters
    ----------
    path : Path
        File to read.
    shown : str
        Name of the file as the user knows it, for messages.

    Raises
    ------
    InputError
        If the file is missing, unreadable, or larger than 50 MB.
    """

    def refuse(found: str, allowed: str, do: str) -> InputError:
        return InputError([Problem(shown, found, allowed, do)])

    try:
        raw = read_bytes(path)
    except FileNotFoundError:
        raise refuse("no such file", "a text file", "create it or correct its name") from None
    except IsADirectoryError:
        raise refuse("a folder", "a text file", "name the file itself") from None
    except PermissionError:
        raise refuse("no permission to read", "a readable file", "ask for read access") from None
    except OSError as error:
        raise refuse(f"{error.strerror or error}", "a readable file", "check the path") from None
    if len(raw) > MOST_BYTES:
        size = max(len(raw), path.stat().st_size)
        allowed = f"at most {MOST_BYTES / 1e6:.0f} MB"
        raise refuse(f"{size / 1e6:.0f} MB", allowed, "is this the right file?")
    return raw


def read_text(path: Path, shown: str) -> str:
    """Return the text of a file, without its byte-order mark.

    Parameters
    ----------
    path : Path
        File to read.
    shown : str
        Name of the file as the user knows it, for messages.

    Raises
    ------
    InputError
        If the file is missing, unreadable, empty, not text, or larger than 50 MB.
    """

    def refuse(found: str, allowed: str, do: str) -> InputError:
        return InputError([Problem(shown, found, allowed, do)])

    raw = read_whole(path, shown)
    if not raw.strip():
        raise refuse("an empty file", "a table with a header", "was it saved?")
    for mark, encoding in ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if raw.startswith(mark):
            try:
                return raw.decode(encoding)
            except UnicodeDecodeError:
                raise refuse("broken UTF-16", "UTF-8 text", "save it again as UTF-8") from None
    if b"\x00" in raw:
        raise refuse("binary data", "plain text", "export it as CSV, not as a workbook")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = raw[: error.start].count(b"\n") + 1
        raise InputError(
            [
                Problem(
                    shown,
                    f"byte 0x{raw[error.start]:02x}, which is not UTF-8",
                    "UTF-8 text",
                    "save it again as UTF-8 (or plain ASCII)",
                    row=row,
                )
            ]
        ) from None
