"""Read a file as crews send it: with a byte-order mark, too big, binary, forbidden, or a trap.

A pipe or a device in its place, or a file that grows while it is read, holds nobody up. What cannot
be seen in a text is refused, so that nothing can pass for a line that the program wrote.
"""

from __future__ import annotations

import errno
import os
import stat
import tomllib
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import Any, Final

from fitup.errors import InputError, Problem

MOST_BYTES = 50_000_000
#: what old instruments write at the end of a file
_END: Final = "\x1a"
#: categories of Unicode that show nothing: controls, formats, halves, private and unknown ones
_HIDDEN: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
#: they join or part letters where a script needs it
_JOINERS: Final = frozenset("\u200c\u200d")
#: a settings file is some kilobytes [characters]
_MOST_TOML: Final = 1_000_000
#: whole numbers of TOML have 64 bits
_WHOLE: Final = 2**63
#: steps that keys of many parts may cost the parser, which takes their square
_MOST_STEPS: Final = 10_000_000
_held: ContextVar[dict[Path, bytes] | None] = ContextVar("held", default=None)


@contextmanager
def read_once() -> Iterator[None]:
    """Read every file only once within, so that all who ask see the same bytes."""
    token = _held.set({})
    try:
        yield
    finally:
        _held.reset(token)


def read_bytes(path: Path) -> bytes:
    """Return the bytes of a plain file, at most one more than :data:`MOST_BYTES`.

    A pipe or a device in its place holds nobody up: it is not read at all.

    Raises
    ------
    OSError
        If it cannot be read, or is a folder, a pipe or a device.
    """
    held = _held.get()
    if held is not None and path in held:
        return held[path]
    raw = _read_bytes(path)
    if held is not None:
        held[path] = raw
    return raw


def _read_bytes(path: Path) -> bytes:
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(handle, "rb") as source:
        mode = os.fstat(source.fileno()).st_mode
        if stat.S_ISDIR(mode):
            raise IsADirectoryError(errno.EISDIR, "a folder", str(path))
        if not stat.S_ISREG(mode):
            raise OSError(errno.EINVAL, "a pipe or a device, not a file", str(path))
        return source.read(MOST_BYTES + 1)


def _refusal(shown: str) -> Callable[[str, str, str], InputError]:
    """Return what makes the error of a file from what was found, what is allowed, what to do."""
    return lambda found, allowed, do: InputError([Problem(shown, found, allowed, do)])


def write_whole(path: Path, content: bytes) -> None:
    """Write a file beside its place, then put it there in one step.

    Raises
    ------
    OSError
        If it cannot be written; what was there is then as it was.
    """
    beside = path.with_name(f".{path.name}.part")
    # what lies there was left by a killed run, or put there as a link to another file
    beside.unlink(missing_ok=True)
    try:
        with beside.open("xb") as target:
            target.write(content)
            target.flush()
            os.fsync(target.fileno())
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


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
    refuse = _refusal(shown)
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
    refuse = _refusal(shown)
    raw = read_whole(path, shown)
    if not raw.strip():
        raise refuse("an empty file", "a table with a header", "was it saved?")
    return seen_text(_decoded(raw, shown, refuse), shown)


def _decoded(raw: bytes, shown: str, refuse: Callable[[str, str, str], InputError]) -> str:
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


def hidden_in(text: str) -> str:
    """Name the first character of a text that does not show; empty where all do.

    Examples
    --------
    >>> hidden_in("P1\\u202e"), hidden_in("Brückenlager 5 mm")
    ('U+202E, which does not show', '')
    """
    if text.isprintable():
        return ""
    for sign in text:
        if unicodedata.category(sign) in _HIDDEN and sign not in _JOINERS:
            return f"U+{ord(sign):04X}, which does not show"
    return ""


def plain(text: str, kept: str = "\n\t") -> str:
    """Return a text with an escape for each character that does not show.

    Parameters
    ----------
    text : str
    kept : str
        Characters that stay as they are although they do not show.

    Examples
    --------
    >>> plain("P1\\x1b[2J")
    'P1\\\\x1b[2J'
    """
    return "".join(
        c if c in kept or c.isprintable() or not hidden_in(c) else repr(c)[1:-1] for c in text
    )


def seen_text(text: str, shown: str) -> str:
    """Return the text of a file whose every character shows or ends a line.

    Parameters
    ----------
    text : str
    shown : str
        Name of the file as the user knows it, for messages.

    Returns
    -------
    str
        Without the Ctrl-Z that old instruments write at the end.

    Raises
    ------
    InputError
        If one does not: it could hide, turn round or forge what is printed.
    """
    text = text.rstrip(_END)
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    for row, line in enumerate(lines, 1):
        found = "" if line.isprintable() else hidden_in(line.replace("\t", " "))
        if found:
            do = "delete it, or save the file as plain text"
            raise InputError(
                [Problem(shown, f"a character {found}", "text that can be seen", do, row=row)]
            )
    return text


def parse_toml(text: str, shown: str) -> dict[str, Any]:
    """Return the document of a TOML text whose every string shows.

    Parameters
    ----------
    text : str
    shown : str
        Name of the file as the user knows it, for messages.

    Raises
    ------
    InputError
        If it is broken, too long, nested too deep, or hides something.
    """
    refuse = _refusal(shown)
    if len(text) > _MOST_TOML:
        raise refuse(f"{len(text)} characters", f"at most {_MOST_TOML}", "is this the right file?")
    if _steps(text) > _MOST_STEPS:
        raise refuse("keys of thousands of parts", "keys of a few parts", "is this the right file?")
    try:
        document = tomllib.loads(text)
        _show_all(document, "", refuse)
    except RecursionError:
        raise refuse("values nested without end", "a few levels", "correct it") from None
    except tomllib.TOMLDecodeError as error:
        raise refuse(f"broken TOML ({error})", "TOML 1.0", "correct the line") from None
    except ValueError:
        # Python reads no whole number of thousands of figures
        raise refuse("a number of thousands of figures", "a number", "correct it") from None
    return document


def _steps(text: str) -> int:
    """Return about how many steps the parser takes for the keys of a text."""
    steps = depth = 0
    for line in text.split("\n"):
        parts = line.count(".") + 1
        depth = parts if line.lstrip().startswith("[") else depth
        steps += parts * (parts + depth)
    return steps


def _show_all(value: Any, where: str, refuse: Callable[[str, str, str], InputError]) -> None:
    """Refuse a string or key that does not show on one line, and a number beyond TOML's."""
    if isinstance(value, str):
        found = hidden_in(value)
        if found:
            name = hidden_in(where) or where
            raise refuse(f"{name}: a character {found}", "text that can be seen", "delete it")
    elif isinstance(value, int) and not -_WHOLE <= value < _WHOLE:
        raise refuse(f"{where}: a whole number of more than 64 bits", "a number", "correct it")
    elif isinstance(value, dict):
        for key, one in value.items():
            _show_all(key, where or "a key", refuse)
            _show_all(one, f"{where}.{key}" if where else key, refuse)
    elif isinstance(value, list):
        for one in value:
            _show_all(one, where, refuse)
