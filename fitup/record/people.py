"""The people of a job, their public keys and what each may do: ``people.toml``.

The record goes by the list that was taken into it, signed by one who may name people, and not by
the file that lies in the folder now.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Final

from fitup.errors import InputError, Problem
from fitup.plainfile import parse_toml
from fitup.record.check_code import check_code

FILE: Final = "people.toml"
NAME_PEOPLE: Final = "name people"
ACCEPT: Final = "accept surveys"
APPROVE: Final = "approve packs"
REPORT: Final = "report stages"
RELEASE: Final = "release hold points"
LOCK: Final = "lock off"
RIGHTS: Final = (NAME_PEOPLE, ACCEPT, APPROVE, REPORT, RELEASE, LOCK)
_KEYS: Final = ("name", "may", "key")


@dataclass(frozen=True, slots=True)
class Person:
    """One who signs: id, name, public key in hexadecimal figures, and what he or she may do."""

    id: str
    name: str
    key: str
    may: frozenset[str]

    @property
    def fingerprint(self) -> str:
        """Return a short code of the key, to be compared by voice like any other."""
        return check_code(sha256(bytes.fromhex(self.key)).hexdigest())


People = Mapping[str, Person]


def read_people(content: bytes) -> People:
    """Read a list of people.

    Raises
    ------
    InputError
        With everything that is wrong with it.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            [Problem(FILE, str(error), "TOML", "correct it, see docs/record.md")]
        ) from None
    document = parse_toml(text, FILE)
    problems: list[Problem] = []
    people = {i: _person(i, entry, problems) for i, entry in document.items()}
    _check_all(people, problems)
    if problems:
        raise InputError(problems)
    return people


def person_of(people: People, public: str) -> Person | None:
    """Return the person a public key belongs to.

    Parameters
    ----------
    people : mapping of str to Person
    public : str
        In hexadecimal figures.

    Returns
    -------
    Person or None
        None where the key is nobody's.
    """
    return next((p for p in people.values() if p.key == public), None)


def _person(name: str, entry: Any, problems: list[Problem]) -> Person:
    def wrong(key: str, found: str, allowed: str, do: str) -> None:
        problems.append(Problem(FILE, found, allowed, do, column=f"{name}.{key}"))

    table = entry if isinstance(entry, dict) else {}
    for key in table.keys() - set(_KEYS):
        wrong(key, "an unknown key", ", ".join(_KEYS), "correct its name")
    shown, may, public = (table.get(key) for key in _KEYS)
    if not isinstance(shown, str) or not shown.strip():
        wrong("name", repr(shown), "the person's name", "add it")
    if not _is_public(public):
        wrong("key", repr(public), "64 hexadecimal figures", "copy the line fitup key printed")
    if not isinstance(may, list) or not all(right in RIGHTS for right in may):
        wrong("may", repr(may), "a list of: " + ", ".join(RIGHTS), "say what the person may do")
        may = []
    return Person(name, str(shown), str(public).lower(), frozenset(may))


def _is_public(value: Any) -> bool:
    if not isinstance(value, str) or len(value) != 64:
        return False
    return all(c in "0123456789abcdefABCDEF" for c in value)


def _check_all(people: People, problems: list[Problem]) -> None:
    if not any(NAME_PEOPLE in p.may for p in people.values()):
        problems.append(
            Problem(
                FILE,
                f"nobody who may {NAME_PEOPLE}",
                "at least one",
                "give that right to whoever answers for the job",
            )
        )
    seen: dict[str, str] = {}
    for person in people.values():
        if person.key in seen:
            problems.append(
                Problem(
                    FILE,
                    f"the key of {seen[person.key]} again",
                    "one key for one person",
                    "make another with: fitup key NAME",
                    column=f"{person.id}.key",
                )
            )
        seen.setdefault(person.key, person.id)
