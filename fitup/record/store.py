"""The record of a job: one SQLite file, only ever added to, that survives a power cut.

Every entry is one transaction with full synchronisation, write-ahead log and foreign keys. Several
processes may write at once; each waits its turn, and chains and signs its entry while it has it.
"""

from __future__ import annotations

import contextlib
import hashlib
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final, Self

from fitup.errors import FitupError, InputError, Problem
from fitup.plainfile import hidden_in
from fitup.record import checkpoint
from fitup.record.chain import Checked, Held, Row, check_chain, people_at
from fitup.record.connect import (
    ABOUT,
    FILE,
    KIND,
    RecordBroken,
    connect,
    in_words,
    may_write,
    schema_of,
)
from fitup.record.events import KINDS, NOTHING, PEOPLE_NAMED, Event, hash_of, read_body
from fitup.record.history import History, history_of
from fitup.record.keys import Key
from fitup.record.people import FILE as PEOPLE_FILE
from fitup.record.people import People, Person, person_of, read_people
from fitup.record.seal import FILE as SEAL_FILE
from fitup.record.seal import Seal, held_to_seal, read_seal, seal_of, write_seal
from fitup.record.witness import Seen, missed, note, seen_of
from fitup.record.work_state import WorkState

#: of a file of more pages the seal holds the last entry alone [4 MB]
MOST_PAGES: Final = 1024


class NotAllowed(FitupError):
    """The person may not do this, or this may not be done now."""


def has_record(folder: Path) -> bool:
    """Say whether a job has a record."""
    return (folder / FILE).exists()


def require_record(folder: Path) -> None:
    """Refuse a job without a record.

    Raises
    ------
    InputError
        If there is none.
    """
    if not has_record(folder):
        found, allowed = "no record in the job folder", "a record that was opened"
        do = f"write {PEOPLE_FILE} and open it with: fitup people JOB"
        raise InputError([Problem(FILE, found, allowed, do)])


class Record:
    """An open record. Use it in a ``with`` statement.

    Parameters
    ----------
    folder : Path
        The job folder.
    create : bool
        Make the file where it is missing.

    Raises
    ------
    InputError
        If there is no record, or it is of a newer version, or busy, or cannot be read.
    RecordBroken
        If the file is damaged so that it cannot be read at all.
    """

    def __init__(self, folder: Path, *, create: bool = False) -> None:
        self.folder = folder
        if not create:
            require_record(folder)
        with in_words(folder):
            self._connection = connect(folder, create=create)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._connection.close()

    @property
    def may_write(self) -> bool:
        """Say whether entries can be added here: its file and folder may be written."""
        return may_write(self.folder)

    def check(self) -> Checked:
        """Check the whole record: entries, signatures, contents, every byte, and its witnesses."""
        checked = self.check_file()
        lost = missed(seen_of(checked.events))
        return replace(checked, broken=(*checked.broken, *lost))

    def check_file(self) -> Checked:
        """Check the record by itself, whatever witnesses know of it."""
        with in_words(self.folder), self._reading() as seal_fault:
            seal, fault = seal_fault
            checked = self._chain()
            image = self._connection.serialize()
            schema = schema_of(self._connection)
        head = checked.events[-1].hash if checked.events else NOTHING
        broken, notes = held_to_seal(seal, schema, len(checked.events), head, image)
        return Checked(checked.events, (*checked.broken, *fault, *broken), (*checked.notes, *notes))

    def whole(self) -> History:
        """Return all entries of a record, each of them checked.

        Raises
        ------
        RecordBroken
            With everything that is wrong with it.
        """
        checked = self.check()
        if checked.broken:
            raise RecordBroken(checked.broken)
        return self._seen(history_of(checked.events))

    def now(self) -> History:
        """Return the record as it stands, checked from where this user last saw it whole.

        It takes as long for many entries as for few. Where there is no checkpoint, or the record
        does not hold what it says, everything is checked.

        Raises
        ------
        RecordBroken
            With everything that is wrong with it.
        """
        with in_words(self.folder), self._reading() as (seal, fault):
            start = self._checkpoint()
            history = None if start is None else self._after(start)
            schema = schema_of(self._connection)
            lost: tuple[str, ...] = ()
            if history is not None:
                lost_once = frozenset(history.work.taken_up)
                seen = Seen(history.first, history.size, lost_once, self._hash_at)
                lost = missed(seen, recent=True)
        if history is None:
            return self.whole()
        broken, _ = held_to_seal(seal, schema, history.size, history.work.head, None)
        if fault or broken or lost:
            raise RecordBroken((*fault, *broken, *lost))
        return self._seen(history) if history.added else history

    def written(self, number: int) -> Event | None:
        """Return one entry as it lies in the file, unchecked; None where there is none."""
        with in_words(self.folder):
            found = self._connection.execute(
                "SELECT body, signature FROM event WHERE number = ?", (number,)
            ).fetchone()
        return None if found is None else read_body(bytes(found[0]), str(found[1]))

    def content(self, digest: str) -> bytes | None:
        """Return the bytes of a hash, None where the record does not hold them.

        Raises
        ------
        RecordBroken
            If it holds others in their place.
        """
        with in_words(self.folder):
            found = self._bytes(digest)
        if found is not None and _hash(found) != digest:
            raise RecordBroken((f"content {digest} was changed",))
        return found

    def files(self, paths: Mapping[str, str]) -> dict[str, bytes]:
        """Return the bytes of an entry's inputs or outputs by path."""
        return {path: self.content(digest) or b"" for path, digest in paths.items()}

    @contextlib.contextmanager
    def writing(self, known: Sequence[Event] | None = None) -> Iterator[Pen]:
        """Hold the record for writing; all or nothing of what is written in the block stays.

        Parameters
        ----------
        known : sequence of Event, optional
            Entries that were checked already, by somebody who answers for what they found.

        Raises
        ------
        RecordBroken
            If the record is not whole: nothing is added to a broken one.
        InputError
            If it stays busy, or the disk is full, or it may not be written.
        """
        history = self.now() if known is None else history_of(known)
        with in_words(self.folder):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                # another may have written meanwhile
                now = self._after(history)
                pen = Pen(self, history_of(self._sound()) if now is None else now)
                yield pen
                self._connection.execute("COMMIT")
            except BaseException:
                # a full disk has rolled back already
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise
        self._reseal()
        self._seen(pen.events)

    def people(self, history: History) -> People:
        """Return the people of the job as the record stands."""
        return people_at(history.work, self.content)

    @contextlib.contextmanager
    def _reading(self) -> Iterator[tuple[Seal | None, tuple[str, ...]]]:
        """Hold the record as it now is, with its seal or what is wrong with that."""
        # the seal first: whatever it speaks of is then in what is read after it
        fault: tuple[str, ...] = ()
        try:
            seal = read_seal(self.folder)
        except ValueError as error:
            seal, fault = None, (f"{SEAL_FILE}: {error}",)
        self._connection.execute("BEGIN")
        try:
            yield seal, fault
        finally:
            self._connection.execute("ROLLBACK")

    def _seen(self, history: History) -> History:
        if history.last is not None:
            note(history.first, history.last)
            checkpoint.save(history)
        return history

    def _checkpoint(self) -> History | None:
        """Return the history up to where this user last saw this record whole."""
        if schema_of(self._connection) == 0:
            return None
        found = checkpoint.read(self._hash_at(1))
        if found is None:
            return None
        number = found.last.number
        return History(
            size=number,
            first=found.first,
            work=found.work,
            last=found.last,
            load=lambda: self._sound()[:number],
            find=lambda kind, about: self._find(kind, about, number),
        )

    def _after(self, start: History) -> History | None:
        """Return a history with the entries that follow it now; None where it does not go on so.

        Raises
        ------
        RecordBroken
            If what follows is not whole.
        """
        last = start.last
        if last is not None and self._hash_at(last.number) != last.hash:
            return None
        checked = self._chain(start)
        if checked.broken:
            raise RecordBroken(checked.broken)
        for event in checked.events:
            start = start.plus(event)
        return start

    def _sound(self) -> tuple[Event, ...]:
        checked = self._chain()
        if checked.broken:
            raise RecordBroken(checked.broken)
        return checked.events

    def _hash_at(self, number: int) -> str:
        """Return the hash of an entry as it now lies in the file, empty where there is none."""
        found = self._connection.execute(
            "SELECT body, signature FROM event WHERE number = ?", (number,)
        ).fetchone()
        return "" if found is None else hash_of(bytes(found[0]), str(found[1]))

    def _find(self, kind: str, about: str | None, most: int) -> tuple[Event, ...]:
        """Return the entries of a kind up to a number, by the index."""
        asked: list[str | int] = [most, kind]
        query = f"SELECT body, signature FROM event WHERE number <= ? AND {KIND} = ?"
        if about is not None:
            query, asked = f"{query} AND {ABOUT} = ?", [*asked, about]
        with in_words(self.folder):
            rows = self._connection.execute(f"{query} ORDER BY number", asked).fetchall()
        try:
            return tuple(read_body(bytes(body), str(signature)) for body, signature in rows)
        except ValueError:
            raise RecordBroken((f"an entry '{kind}' was changed and cannot be read",)) from None

    def _bytes(self, digest: str) -> bytes | None:
        found = self._connection.execute(
            "SELECT bytes FROM content WHERE hash = ?", (digest,)
        ).fetchone()
        return None if found is None else bytes(found[0])

    def _chain(self, after: History | None = None) -> Checked:
        if schema_of(self._connection) == 0:
            return Checked((), (), ())
        number = 0 if after is None else after.size
        rows: list[Row] = self._connection.execute(
            "SELECT number, body, signature, hash, before FROM event WHERE number > ? "
            "ORDER BY number",
            (number,),
        ).fetchall()
        held: list[Held] = self._connection.execute(
            "SELECT event, part, path, hash FROM held WHERE event > ?", (number,)
        ).fetchall()
        if after is None or after.last is None:
            return check_chain(rows, held, self._bytes)
        return check_chain(rows, held, self._bytes, after.last, self.people(after))

    def _reseal(self) -> None:
        """Seal the file as it now is; a seal that cannot be written is only left behind."""
        with contextlib.suppress(OSError, sqlite3.Error):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                last = self._connection.execute(
                    "SELECT number, hash FROM event ORDER BY number DESC LIMIT 1"
                ).fetchone()
                state = schema_of(self._connection), *(last or (0, NOTHING))
                pages = int(self._connection.execute("PRAGMA page_count").fetchone()[0])
                small = pages <= MOST_PAGES
                write_seal(
                    self.folder,
                    seal_of(self._connection.serialize(), *state) if small else Seal(*state),
                )
            finally:
                self._connection.execute("ROLLBACK")


class Pen:
    """Writes entries while the record is held; ``events`` are all there are so far."""

    def __init__(self, record: Record, events: History) -> None:
        self._record = record
        self.events = events

    @property
    def work(self) -> WorkState:
        """The state of the work after all entries so far."""
        return self.events.work

    def append(
        self,
        kind: str,
        when: str,
        *,
        key: Key | None = None,
        who: str = "",
        about: str = "",
        inputs: Mapping[str, bytes] | None = None,
        outputs: Mapping[str, bytes] | None = None,
        says: Mapping[str, Any] | None = None,
    ) -> Event:
        """Add one entry, chained to the last, and signed where its kind is.

        Parameters
        ----------
        kind : str
            One of ``KINDS``.
        when : str
            Time by the caller's clock, UTC, ``2031-04-02T04:10:09Z``.
        key : Key
            Of the person who signs; needed where the kind is signed.
        who : str
            Who called the program, where nobody signs.
        about : str
            Id of the plan, or empty.
        inputs, outputs : mapping of str to bytes
            Path -> content; equal contents are kept once.
        says : mapping
            JSON values.

        Raises
        ------
        NotAllowed
            If nobody of the job has that key, or the person may not do this.
        InputError
            If what it says would not show as it is.
        """
        _require_seen(says or {})
        if not self.events.size and kind != PEOPLE_NAMED:
            raise NotAllowed("the record is not opened yet: fitup people JOB")
        given, made = dict(inputs or {}), dict(outputs or {})
        last = None if self.events.last is None else self.events.last.hash
        event = Event(
            number=self.events.size + 1,
            kind=kind,
            when=when,
            who=self._signer(kind, key, given) if KINDS[kind] is not None else who,
            about=about,
            inputs={path: _hash(content) for path, content in given.items()},
            outputs={path: _hash(content) for path, content in made.items()},
            says=dict(says or {}),
            before=last or NOTHING,
        )
        if KINDS[kind] is not None and key is not None:
            event = replace(event, signature=key.sign(event.to_sign()))
        self._insert(event, last, [*given.values(), *made.values()])
        self.events = self.events.plus(event)
        return event

    def _signer(self, kind: str, key: Key | None, inputs: Mapping[str, bytes]) -> str:
        people = self._record.people(self.events)
        if kind == PEOPLE_NAMED and not people:
            people = read_people(inputs[PEOPLE_FILE])
        return signer(people, kind, key).id

    def _insert(self, event: Event, last: str | None, contents: list[bytes]) -> None:
        execute = self._record._connection.execute
        for content in contents:
            execute(
                "INSERT INTO content (hash, size, bytes) VALUES (?, ?, ?) "
                "ON CONFLICT (hash) DO NOTHING",
                (_hash(content), len(content), content),
            )
        execute(
            "INSERT INTO event (number, body, signature, hash, before) VALUES (?, ?, ?, ?, ?)",
            (event.number, event.body(), event.signature, event.hash, last),
        )
        for part, paths in (("in", event.inputs), ("out", event.outputs)):
            for path, digest in paths.items():
                execute(
                    "INSERT INTO held (event, part, path, hash) VALUES (?, ?, ?, ?)",
                    (event.number, part, path, digest),
                )


def signer(people: People, kind: str, key: Key | None) -> Person:
    """Return the person who signs an entry of a kind with a key.

    Parameters
    ----------
    people
    kind : str
        One of ``KINDS``.
    key : Key, optional
        None: nobody's.

    Raises
    ------
    NotAllowed
        If the key is nobody's, or the person may not.
    """
    right = KINDS[kind]
    person = None if key is None else person_of(people, key.public)
    if person is None:
        raise NotAllowed(
            "this key belongs to nobody in the record's list of people; name people with: "
            "fitup people JOB"
        )
    if right and right not in person.may:
        listed = [p.name for p in people.values() if right in p.may]
        raise NotAllowed(f"{person.name} may not {right}; {' or '.join(listed) or 'nobody'} may")
    return person


def _require_seen(says: Mapping[str, Any]) -> None:
    """Refuse a reason or the like that would not stand on one line as it is."""
    for name, text in says.items():
        found = hidden_in(text) if isinstance(text, str) else ""
        if found:
            allowed = "text on one line that can be seen"
            raise InputError([Problem(name, f"a character {found}", allowed, "delete it")])


def _hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def append(folder: Path, kind: str, when: str, **more: Any) -> Event:
    """Add one entry to the record of a job.

    Parameters
    ----------
    folder, kind, when, **more
        The job folder, and the rest as for :meth:`Pen.append`.
    """
    with Record(folder) as record, record.writing() as pen:
        return pen.append(kind, when, **more)
