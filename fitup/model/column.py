"""A column of a table, declared once: on the field of the record that holds its value.

A field says in its annotation from which columns it is read::

    @dataclass(frozen=True)
    class Jack:
        id: Annotated[str, column("id", "the number painted on the jack")]
        stroke: Annotated[float, column("length", "its full stroke", above=0.0, most=5.0)]

Reading, messages, data frames, the comments of ``fitup start`` and the tables of the manual are
all made from this.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import MISSING, dataclass, replace
from typing import Any, Final, get_type_hints

from fitup import units

_NEEDED: Final = object()
#: the widest that a column of a kind can mean, either way, where it declares no bound of its own
#: [SI] (common practice, no source)
WIDEST: Final = {
    "length": 1e8,
    "force": 1e10,
    "stiffness": 1e16,
    "area": 1e3,
    "pressure": 1e9,
    "modulus": 1e14,
    "second_moment": 1e5,
    "moment": 1e13,
    "line_load": 1e9,
    "turn_stiffness": 1e18,
    "angle": 4.0 * math.pi,
    "slope": 10.0,
    "temperature_step": 200.0,
    "number": 1e9,
    "count": 1e6,
}


@dataclass(frozen=True, slots=True)
class Column:
    """One declared column.

    Parameters
    ----------
    name : str
        Name without unit.
    kind : str
        ``text``, ``id``, ``ids`` (separated by spaces or +), ``yesno``, ``count``, ``number``,
        ``word`` or a dimension of :mod:`fitup.units`.
    meaning : str
        What it is, for messages and for the manual.
    required : bool
        The column must stand in the header and every cell must be filled.
    default : object
        Value of an empty cell or a missing column that is not required.
    words : tuple of str
        Allowed words of kind ``word``.
    least, most : float, optional
        Bounds in SI: the limits of the method, or the widest that can be meant.
    above : float, optional
        The value must be greater than this.
    more : str
        What the manual says of it after its meaning.
    """

    name: str
    kind: str
    meaning: str
    required: bool = True
    default: Any = None
    words: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None
    above: float | None = None
    more: str = ""

    @property
    def has_unit(self) -> bool:
        """True when the column name must end in a unit."""
        return self.kind in units.FACTORS or self.kind == "temperature"

    def names(self) -> tuple[str, ...]:
        """Return every spelling the header may use."""
        if not self.has_unit:
            return (self.name,)
        return tuple(f"{self.name}_{s}" for s in units.suffixes(self.kind))


def column(
    kind: str,
    meaning: str,
    more: str = "",
    *,
    name: str = "",
    default: Any = _NEEDED,
    words: tuple[str, ...] = (),
    least: float | None = None,
    most: float | None = None,
    above: float | None = None,
) -> Column:
    """Declare a column in the annotation of a field.

    Parameters
    ----------
    kind, meaning, more, words, least, most, above
        As for :class:`Column`.
    name : str
        Where it is not that of the field.
    default : object
        Of an empty cell, where the field itself has no default.
    """
    required = default is _NEEDED
    default = None if required else default
    return Column(name, kind, meaning, required, default, words, least, most, above, more)


def grid(prefix: str, of: str, *, needed: bool = True) -> tuple[Column, Column, Column]:
    """Declare easting, northing and height, which make one array (3,) [m].

    Parameters
    ----------
    prefix : str
        Before ``E``, ``N`` and ``H`` in the column names.
    of : str
        Of what, such as ``" of the centre of gravity"``.
    needed : bool
        False: all three may be empty.
    """
    parts = (("E", "easting", 1e8), ("N", "northing", 1e8), ("H", "height", 1e4))
    e, n, h = (
        Column(f"{prefix}{axis}", "length", f"the {word}{of}", needed, None, (), -most, most)
        for axis, word, most in parts
    )
    return e, n, h


@dataclass(frozen=True, slots=True)
class Declared:
    """A field of a record with the columns that it is made from."""

    name: str
    columns: tuple[Column, ...]
    has_default: bool


#: record -> its fields, found once
_KNOWN: Final[dict[type[Any], tuple[Declared, ...]]] = {}


def declared(record: type[Any]) -> tuple[Declared, ...]:
    """Return the fields of a record with their columns, in order."""
    if record not in _KNOWN:
        hints = get_type_hints(record, include_extras=True)
        fields = dataclasses.fields(record)
        _KNOWN[record] = tuple(_declared(field, hints[field.name]) for field in fields)
    return _KNOWN[record]


def _declared(field: dataclasses.Field[Any], hint: Any) -> Declared:
    given = getattr(hint, "__metadata__", ())
    flat = [c for one in given for c in (one if isinstance(one, tuple) else (one,))]
    own = [c for c in flat if isinstance(c, Column)]
    columns = tuple(_completed(c, field, len(own)) for c in own)
    return Declared(field.name, columns, field.default is not MISSING)


def _completed(one: Column, field: dataclasses.Field[Any], count: int) -> Column:
    """Return a column with the name of its field and its default, unless it has its own."""
    named = replace(one, name=one.name or field.name)
    if not one.required or field.default is MISSING or count > 1:
        return named
    default = field.default
    if isinstance(default, frozenset):
        default = tuple(sorted(default))
    if isinstance(default, float) and not math.isfinite(default):
        default = None
    return replace(named, required=False, default=default)


def columns_of(*records: type[Any]) -> tuple[Column, ...]:
    """Return the columns of a table, in the order of the fields of its records.

    Parameters
    ----------
    *records : type
        What a row is made into: one, or several where it makes one of them or some of each. A
        column that they share is declared alike in all.
    """
    found: dict[str, Column] = {}
    for record in records:
        for one in (c for field in declared(record) for c in field.columns):
            assert found.setdefault(one.name, one) == one, f"{record.__name__}: {one.name}"
    return tuple(found.values())
