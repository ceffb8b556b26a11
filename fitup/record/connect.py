"""Open the record's file: how SQLite is set, old files brought up to date, its errors in words."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Final
from urllib.parse import quote

from fitup.errors import EXIT_BROKEN, FitupError, InputError, Problem
from fitup.record.seal import RECORD, broken_pages, read_seal

FILE: Final = RECORD
#: how long one waits for another's entry [s]
BUSY: Final = 20.0
#: by which a file manager and we know the file: "fitu"
_APPLICATION: Final = 0x66697475
#: what an entry is and what it is about, as the index has it
KIND: Final = "json_extract(CAST(body AS TEXT), '$.kind')"
ABOUT: Final = "json_extract(CAST(body AS TEXT), '$.about')"
#: what an older program wrote is brought up to date step by step; a step is never changed
MIGRATIONS: Final[tuple[str, ...]] = (
    """
    CREATE TABLE content (
        hash TEXT NOT NULL PRIMARY KEY,
        size INTEGER NOT NULL CHECK (size = length(bytes)),
        bytes BLOB NOT NULL
    ) STRICT;
    CREATE TABLE event (
        number INTEGER NOT NULL PRIMARY KEY,
        body BLOB NOT NULL,
        signature TEXT NOT NULL,
        hash TEXT NOT NULL UNIQUE,
        before TEXT UNIQUE REFERENCES event (hash)
    ) STRICT;
    CREATE TABLE held (
        event INTEGER NOT NULL REFERENCES event (number),
        part TEXT NOT NULL CHECK (part IN ('in', 'out')),
        path TEXT NOT NULL,
        hash TEXT NOT NULL REFERENCES content (hash),
        PRIMARY KEY (event, part, path)
    ) STRICT, WITHOUT ROWID;
    CREATE TRIGGER event_in_order BEFORE INSERT ON event
    WHEN new.number <> (SELECT coalesce(max(number), 0) + 1 FROM event)
      OR new.before IS NOT (SELECT hash FROM event ORDER BY number DESC LIMIT 1)
    BEGIN SELECT raise(ABORT, 'an entry follows the last one'); END;
    """
    + "".join(
        f"""
    CREATE TRIGGER {table}_{what.lower()} BEFORE {what} ON {table}
    BEGIN SELECT raise(ABORT, 'the record is only added to'); END;
    """
        for table in ("content", "event", "held")
        for what in ("UPDATE", "DELETE")
    ),
    # entries of a kind and of a plan are found without reading all
    f"CREATE INDEX event_about ON event ({KIND}, {ABOUT});",
)


class RecordBroken(FitupError):
    """The record is not as it was written; carries every finding."""

    exit_code = EXIT_BROKEN

    def __init__(self, findings: tuple[str, ...]) -> None:
        self.findings = findings
        super().__init__("\n".join(findings))


def connect(folder: Path, *, create: bool) -> sqlite3.Connection:
    """Open the record of a folder, brought up to date where it may be written.

    Parameters
    ----------
    folder : Path
        Job folder.
    create : bool
        Make the file where there is none, if the folder may be written.

    Raises
    ------
    sqlite3.Error
        If the file cannot be used; call it inside :func:`in_words`.
    InputError
        If it is not a record, or of a newer version.
    """
    path, writable = folder / FILE, may_write(folder)
    mode = ("rwc" if create else "rw") if writable else "ro"
    if not writable and not _log_waits(folder):
        # without a log nobody is writing, and in a closed folder nobody can begin to
        mode += "&immutable=1"
    address = f"file:{quote(str(path.absolute()))}?mode={mode}"
    connection = sqlite3.connect(address, uri=True, timeout=BUSY, isolation_level=None)
    try:
        for setting in ("foreign_keys=ON", "recursive_triggers=ON", "cell_size_check=ON"):
            connection.execute(f"PRAGMA {setting}")
        connection.execute("PRAGMA synchronous=FULL")
        _bring_up_to_date(connection, folder, writable)
    except BaseException:
        connection.close()
        raise
    return connection


def may_write(folder: Path) -> bool:
    """Say whether the record of a folder may be written, or made there."""
    path = folder / FILE
    return os.access(path if path.exists() else folder, os.W_OK) and os.access(folder, os.W_OK)


def schema_of(connection: sqlite3.Connection) -> int:
    """Return the version of the file's tables; 0 where there are none yet."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


@contextlib.contextmanager
def in_words(folder: Path) -> Iterator[None]:
    """Turn what SQLite says of a file into one line for the user."""
    try:
        yield
    except sqlite3.Error as error:
        raise _in_words(error, folder) from error
    except UnicodeDecodeError as error:
        # SQLite quotes what it stumbled over, whatever the bytes
        raise RecordBroken((f"{FILE}: the file is damaged", *_where(folder))) from error


def _log_waits(folder: Path) -> bool:
    log = folder / f"{FILE}-wal"
    return log.exists() and log.stat().st_size > 0


def _bring_up_to_date(connection: sqlite3.Connection, folder: Path, writable: bool) -> None:
    version = schema_of(connection)
    if version != len(MIGRATIONS) and (damage := _where(folder, version)):
        raise RecordBroken(damage)
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    if version and application != _APPLICATION:
        raise _problem("another program's database", "a record of fitup", "name its job folder")
    if version > len(MIGRATIONS):
        raise _problem(
            f"a record of version {version}",
            f"at most version {len(MIGRATIONS)}",
            "it was written by a newer fitup: install that",
        )
    if version == len(MIGRATIONS) or not writable:
        return
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("BEGIN IMMEDIATE")
    try:
        for script in MIGRATIONS[schema_of(connection) :]:
            for statement in _statements(script):
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id={_APPLICATION}")
        connection.execute(f"PRAGMA user_version={len(MIGRATIONS)}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _statements(script: str) -> Iterator[str]:
    """Yield the statements of a script; a trigger has semicolons inside."""
    begun = ""
    for part in script.split(";"):
        begun += part + ";"
        if sqlite3.complete_statement(begun):
            if begun.strip(" \n;"):
                yield begun
            begun = ""


def _in_words(error: sqlite3.Error, folder: Path) -> FitupError:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_SCHEMA):
        return RecordBroken((f"{FILE}: the file is damaged ({error})", *_where(folder)))
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return _problem("another's entry that does not end", "a record nobody holds", "try again")
    if code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
        return _problem(
            f"no room to write ({error}); nothing was recorded",
            "free space",
            "make room, try again",
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return _problem(
            f"no permission ({error}); nothing was recorded",
            "a record and a folder that may be written",
            "ask for access",
        )
    return RecordBroken((f"{FILE}: it does not read as a record ({error})", *_where(folder)))


def _where(folder: Path, version: int | None = None) -> tuple[str, ...]:
    """Say which page of a file is not as it was sealed, when it was of another version than now."""
    with contextlib.suppress(OSError, ValueError):
        seal = read_seal(folder)
        if seal is not None and seal.schema != version and not _log_waits(folder):
            pages = broken_pages(seal, (folder / FILE).read_bytes())
            return (f"{FILE}: {pages}",) if pages else ()
    return ()


def _problem(found: str, allowed: str, do: str) -> InputError:
    return InputError([Problem(FILE, found, allowed, do)])
