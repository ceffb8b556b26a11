"""Is the record whole? Every entry, its place in the chain, its signature and its contents."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from fitup.errors import InputError
from fitup.record.events import KINDS, NOTHING, PEOPLE_NAMED, Event, hash_of, read_body
from fitup.record.keys import signed_by
from fitup.record.people import FILE, People, read_people
from fitup.record.work_state import WorkState

#: hash -> bytes, None where they are not there
Contents = Callable[[str], bytes | None]
#: an entry as it lies in the file: number, body, signature, hash, hash of the one before
Row = tuple[int, bytes, str, str, str]
#: (entry, 'in' or 'out', path, hash)
Held = tuple[int, str, str, str]


@dataclass(frozen=True, slots=True)
class Checked:
    """Entries that can be read, what is broken, and what is only worth knowing."""

    events: tuple[Event, ...]
    broken: tuple[str, ...]
    notes: tuple[str, ...]


def check_chain(
    rows: Sequence[Row],
    held: Iterable[Held],
    contents: Contents,
    after: Event | None = None,
    people: People | None = None,
) -> Checked:
    """Check entries as they lie in the file, and name every one that is wrong.

    Parameters
    ----------
    rows, held
        All of them, or all after an entry.
    contents : callable
        Where contents are looked up.
    after : Event, optional
        Up to this one they were checked before.
    people : mapping, optional
        The people of the job after that one.
    """
    events: list[Event] = []
    broken: list[str] = []
    expected, previous = (1, NOTHING) if after is None else (after.number + 1, after.hash)
    for number, body, signature, digest, _ in rows:
        if number != expected:
            broken.append(_missing(expected, number - 1))
        event = _read(number, body, signature, digest, broken)
        if event is not None:
            if number == expected and event.before != previous:
                broken.append(
                    f"{_name(event)}: it does not follow entry {number - 1} as that now stands: "
                    "the earlier entry was changed, or this one belongs to another record"
                )
            events.append(event)
        expected, previous = number + 1, digest
    broken += _contents(events, held, contents)
    broken += _signatures(events, contents, people or {})
    known = [] if after is None else [after]
    return Checked(tuple(events), tuple(broken), tuple(_clock([*known, *events])))


def people_at(work: WorkState, contents: Contents) -> People:
    """Return the people of the record at a state of it; none before they were named.

    Parameters
    ----------
    work
    contents : callable
        Where the list of people is looked up by its hash.
    """
    return {} if work.people is None else _people(work.people, contents)


def went_back(earlier: str, later: str) -> str:
    """Say by how much a clock went backwards between two times, empty where it did not.

    Parameters
    ----------
    earlier, later : str
        Times in ISO 8601, the one recorded first and the one after it.

    Returns
    -------
    str
        Such as ``1 h 5 min``, to the whole second.
    """
    apart = (datetime.fromisoformat(earlier) - datetime.fromisoformat(later)).total_seconds()
    if apart <= 0.0:
        return ""
    hours, rest = divmod(round(apart), 3600)
    minutes, seconds = divmod(rest, 60)
    parts = ((hours, "h"), (minutes, "min"), (seconds, "s"))
    return " ".join(f"{n} {unit}" for n, unit in parts if n)


def _name(event: Event) -> str:
    return f"entry {event.number} ({event.kind}, {event.when})"


def _missing(first: int, last: int) -> str:
    return (
        f"entry {first} is missing" if first == last else f"entries {first} to {last} are missing"
    )


def _read(number: int, body: bytes, signature: str, digest: str, broken: list[str]) -> Event | None:
    try:
        event = read_body(body, signature)
        changed = hash_of(body, signature) != digest or event.number != number
        datetime.fromisoformat(event.when)
    except (ValueError, TypeError, AttributeError, RecursionError):
        broken.append(f"entry {number}: its text was changed and cannot be read")
        return None
    if changed:
        broken.append(f"{_name(event)}: it was changed after it was written")
    return event


def _contents(events: Sequence[Event], held: Iterable[Held], contents: Contents) -> list[str]:
    said = {
        (e.number, part, path, digest)
        for e in events
        for part, paths in (("in", e.inputs), ("out", e.outputs))
        for path, digest in paths.items()
    }
    readable = {e.number for e in events}
    wrong = [
        f"entry {n}: its list of contents was changed at {path}"
        for n, _, path, _ in sorted({h for h in held if h[0] in readable} ^ said)
    ]
    state: dict[str, str] = {}
    for number, _, path, digest in sorted(said):
        if digest not in state:
            found = contents(digest)
            whole = found is not None and hashlib.sha256(found).hexdigest() == digest
            state[digest] = "" if whole else "is missing" if found is None else "was changed"
            if state[digest]:
                wrong.append(f"entry {number}: the content of {path} {state[digest]}")
    return wrong


def _signatures(events: Sequence[Event], contents: Contents, people: People) -> list[str]:
    wrong = []
    if events and events[0].number == 1 and events[0].kind != PEOPLE_NAMED:
        wrong.append(f"{_name(events[0])}: a record begins with the people of the job")
    for event in events:
        if event.kind == PEOPLE_NAMED:
            named = _people(event, contents)
            # nobody is there yet to name the first people: they name themselves
            people = people or named
        else:
            named = people
        fault = _fault(event, people)
        if fault:
            wrong.append(f"{_name(event)}: {fault}")
        else:
            people = named
    return wrong


def _fault(event: Event, people: People) -> str:
    if event.kind not in KINDS:
        return "a kind of entry this version does not know"
    right = KINDS[event.kind]
    if right is None:
        return ""
    person = people.get(event.who)
    if not event.signature:
        return "it is not signed"
    if person is None:
        return f"'{event.who}' is not one of the people of the job"
    if right and right not in person.may:
        return f"{person.name} may not {right}"
    if not signed_by(person.key, event.signature, event.to_sign()):
        return f"the signature is not that of {person.name} under this entry: forged or borrowed"
    return ""


def _people(event: Event, contents: Contents) -> People:
    content = contents(event.inputs.get(FILE, ""))
    try:
        return read_people(content or b"")
    except InputError:
        return {}


def _clock(events: Sequence[Event]) -> Iterable[str]:
    for one, other in pairwise(events):
        back = went_back(one.when, other.when)
        if back:
            yield (
                f"entry {other.number} ({other.when}) bears an earlier time than entry "
                f"{one.number}: the clock went back by {back}"
            )
