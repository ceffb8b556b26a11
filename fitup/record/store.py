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
from fitup.record.chain import Checked, Held, Row, check_chain, people_at
from fitup.record.connect import FILE, RecordBroken, connect, schema_of, told
from fitup.record.events import KINDS, NOTHING, PEOPLE_NAMED, Event, read_body
from fitup.record.keys import Key
from fitup.record.people import FILE as PEOPLE_FILE
from fitup.record.people import People, Person, person_of, read_people
from fitup.record.seal import FILE as SEAL_FILE
from fitup.record.seal import Seal, broken_pages, read_seal, seal_of, write_seal
from fitup.record.witness import missed, note
from fitup.record.work_state import Work, work_of


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
        with told(folder):
            self._connection = connect(folder, create=create)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._connection.close()

    def check(self) -> Checked:
        """Check the whole record: entries, signatures, contents, every byte, and its witnesses."""
        checked = self.check_file()
        return replace(checked, broken=(*checked.broken, *missed(checked.events)))

    def check_file(self) -> Checked:
        """Check the record by itself, whatever witnesses know of it."""
        with told(self.folder):
            # the seal first: whatever it speaks of is then in what is read after it
            fault: tuple[str, ...] = ()
            try:
                seal = read_seal(self.folder)
            except ValueError as error:
                seal, fault = None, (f"{SEAL_FILE}: {error}",)
            self._connection.execute("BEGIN")
            try:
                checked = self._chain()
                image = self._connection.serialize()
                schema = schema_of(self._connection)
            finally:
                self._connection.execute("ROLLBACK")
        broken, notes = _held_to_seal(checked, seal, image, schema)
        return Checked(checked.events, (*checked.broken, *fault, *broken), (*checked.notes, *notes))

    def whole(self) -> tuple[Event, ...]:
        """Return all entries of a record that is whole.

        Raises
        ------
        RecordBroken
            With everything that is wrong with it.
        """
        checked = self.check()
        if checked.broken:
            raise RecordBroken(checked.broken)
        note(checked.events)
        return checked.events

    def written(self, number: int) -> Event | None:
        """Return one entry as it lies in the file, unchecked; None where there is none."""
        with told(self.folder):
            found = self._connection.execute(
                "SELECT body, signature FROM event WHERE number = ?", (number,)
            ).fetchone()
        return None if found is None else read_body(bytes(found[0]), str(found[1]))

    def content(self, digest: str) -> bytes | None:
        """Return the bytes of a hash, None where the record does not hold them."""
        with told(self.folder):
            found = self._connection.execute(
                "SELECT bytes FROM content WHERE hash = ?", (digest,)
            ).fetchone()
        return None if found is None else bytes(found[0])

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
        events = self.whole() if known is None else tuple(known)
        with told(self.folder):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                if len(events) != self._count():
                    checked = self._chain()
                    if checked.broken:
                        raise RecordBroken(checked.broken)
                    events = checked.events
                pen = Pen(self, events)
                yield pen
                self._connection.execute("COMMIT")
            except BaseException:
                # a full disk has rolled back already
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise
        self._reseal()
        note(pen.events)

    def people(self, events: tuple[Event, ...]) -> People:
        """Return the people of the job after these entries."""
        return people_at(events, self.content)

    def _count(self) -> int:
        return int(self._connection.execute("SELECT count(*) FROM event").fetchone()[0])

    def _chain(self) -> Checked:
        if schema_of(self._connection) == 0:
            return Checked((), (), ())
        rows: list[Row] = self._connection.execute(
            "SELECT number, body, signature, hash, before FROM event ORDER BY number"
        ).fetchall()
        held: list[Held] = self._connection.execute(
            "SELECT event, part, path, hash FROM held"
        ).fetchall()
        return check_chain(rows, held, self.content)

    def _reseal(self) -> None:
        """Seal the file as it now is; a seal that cannot be written is only left behind."""
        with contextlib.suppress(OSError, sqlite3.Error):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                last = self._connection.execute(
                    "SELECT number, hash FROM event ORDER BY number DESC LIMIT 1"
                ).fetchone()
                image = self._connection.serialize()
                number, head = last or (0, NOTHING)
                write_seal(self.folder, seal_of(image, schema_of(self._connection), number, head))
            finally:
                self._connection.execute("ROLLBACK")


class Pen:
    """Writes entries while the record is held; ``events`` are all there are so far."""

    def __init__(self, record: Record, events: tuple[Event, ...]) -> None:
        self._record = record
        self.events = events

    @property
    def work(self) -> Work:
        """The state of the work after all entries so far."""
        return work_of(self.events)

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
        """
        if not self.events and kind != PEOPLE_NAMED:
            raise NotAllowed("the record is not opened yet: fitup people JOB")
        given, made = dict(inputs or {}), dict(outputs or {})
        last = self.events[-1].hash if self.events else None
        event = Event(
            number=len(self.events) + 1,
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
        self.events = (*self.events, event)
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


def _held_to_seal(
    checked: Checked, seal: Seal | None, image: bytes, schema: int
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Hold a file to its seal; what is broken, and what is only worth knowing."""
    count = len(checked.events)
    head = checked.events[-1].hash if checked.events else NOTHING
    if seal is None:
        if count <= 1:
            # killed before the first one was written
            return (), ()
        return (NO_SEAL,), ()
    if (seal.schema, seal.events, seal.head) == (schema, count, head):
        pages = broken_pages(seal, image)
        return ((f"{FILE}: {pages}",) if pages else ()), ()
    if seal.events > count:
        return (f"the seal knows {seal.events} entries, {count} can be read",), ()
    return (), (f"sealed up to entry {seal.events}; for later ones the chain alone was held to",)


#: an alarm, for whoever cuts a record takes its seal away too
NO_SEAL: Final = (
    f"{SEAL_FILE} is missing: entries at the end may have been cut off; put it back, or let one "
    "who may name people take the record up again: fitup people JOB --resume REASON"
)


def _hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def append(folder: Path, kind: str, when: str, **more: Any) -> Event:
    """Add one entry to the record of a job; ``more`` as for :meth:`Pen.append`."""
    with Record(folder) as record, record.writing() as pen:
        return pen.append(kind, when, **more)
