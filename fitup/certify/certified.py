"""Numbers that know which field of the certificate they are, so that nothing else is printed.

``with_paths`` gives every number of a certificate its path: field names, and of each record in a
tuple what tells it from its neighbours. Arithmetic gives plain numbers again, which have none. A
renderer that rounds a certified number keeps its path; ``Known`` finds what stands there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from typing import Any, Final, TypeVar

from fitup.model import ExpectedReading

Path = tuple[str | int, ...]
T = TypeVar("T")

#: records that their first field alone does not tell from their neighbours
_TOLD_BY: Final[dict[type, tuple[str, ...]]] = {ExpectedReading: ("instrument", "at")}


class CertifiedNumber(float):
    """A number of the certificate, and the path of its field."""

    path: Path

    def __new__(cls, value: float, path: Path) -> CertifiedNumber:
        """Return a value under a path."""
        made = super().__new__(cls, value)
        made.path = path
        return made

    def __deepcopy__(self, memo: object) -> float:
        """Return the plain number: a copy is no longer that field."""
        return float(self)

    def __reduce__(self) -> tuple[type[CertifiedNumber], tuple[float, Path]]:
        """Return how another process makes it again."""
        return CertifiedNumber, (float(self), self.path)


def beside(number: float, value: float, name: str, field: str, *place: int) -> float:
    """Return what follows from a certified number as another field of the same record.

    Parameters
    ----------
    number : float
        Of the field ``field``, or of a place in it.
    value : float
        What follows from it.
    name : str
        The property that this is.
    *place : int
        Its place there, where that is a tuple and ``field`` is none.
    """
    if not isinstance(number, CertifiedNumber):
        return value
    at = len(number.path) - 1 - number.path[::-1].index(field)
    return CertifiedNumber(value, (*number.path[:at], name, *(place or number.path[at + 1 :])))


def with_paths(record: T, path: Path = ()) -> T:
    """Return a record whose every number knows its path, those of records within it too."""
    assert is_dataclass(record) and not isinstance(record, type)
    values = {f.name: _known(getattr(record, f.name), (*path, f.name)) for f in fields(record)}
    made: T = replace(record, **values)
    return made


def _known(value: Any, path: Path) -> Any:
    if isinstance(value, float):
        return CertifiedNumber(value, path)
    if is_dataclass(value):
        return with_paths(value, path)
    if isinstance(value, tuple):
        return tuple(_known(v, (*path, _name(v, i))) for i, v in enumerate(value))
    return value


def _name(value: Any, i: int) -> str | int:
    """Return what tells an element of a tuple from the others: its first field, else its place."""
    if not is_dataclass(value) or isinstance(value, type):
        return i
    told_by = _TOLD_BY.get(type(value))
    if told_by is not None:
        return " ".join(str(getattr(value, name)) for name in told_by)
    first: str | int = getattr(value, fields(value)[0].name)
    return first


class Known:
    """All numbers of a record and of those within it, by path.

    Parameters
    ----------
    record : dataclass
        A certificate, or what is certified beside it.
    """

    def __init__(self, record: object) -> None:
        self._records: dict[Path, list[object]] = {}
        for path, one in _records(record, ()):
            self._records.setdefault(path, []).append(one)

    def value(self, path: Path) -> float | None:
        """Return the number under a path; None where there is none, or several that differ.

        Crews of one stage share its number: what only one of them has is found by it alone.
        """
        cut = next((n for n in range(len(path), 0, -1) if path[:n] in self._records), 0)
        found: list[object] = self._records[path[:cut]]
        for part in path[cut:]:
            found = [v for one in found for v in _step(one, part)]
        numbers = {float(v) for v in found if isinstance(v, int | float)}
        return numbers.pop() if len(numbers) == 1 else None


def _records(value: object, path: Path) -> Iterator[tuple[Path, object]]:
    if is_dataclass(value):
        yield path, value
        for own in fields(value):
            yield from _records(getattr(value, own.name), (*path, own.name))
    elif isinstance(value, tuple):
        for i, one in enumerate(value):
            yield from _records(one, (*path, _name(one, i)))


def _step(value: object, part: str | int) -> Iterator[object]:
    """Yield the field or property of a record, or the element of a tuple, that a part names."""
    if is_dataclass(value):
        named = {f.name for f in fields(value)} | {
            name for name, own in vars(type(value)).items() if isinstance(own, property)
        }
        if part in named:
            yield getattr(value, str(part))
    elif isinstance(value, tuple) and isinstance(part, int) and 0 <= part < len(value):
        yield value[part]
