"""Surveys of ``job.toml``: the files, when they were taken, and what a list does not say itself."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any, Final, cast

from fitup import units
from fitup.jobfolder.keys import KeyReader, spellings
from fitup.model import Epoch

#: keys that coordinate lists alone have
_OF_LISTS: Final = ("unit", "order", "decimal", "widths")
#: characters of the widest column
_WIDEST: Final = 200
#: years of a survey
_FIRST, _LAST = 1950, 2200


def read_epochs(reader: KeyReader, entries: object) -> tuple[Epoch, ...]:
    """Return the surveys of ``job.toml``; what is wrong with them goes to the reader.

    Parameters
    ----------
    reader : KeyReader
    entries : object
        What stands under ``survey``.
    """
    if entries is None:
        reader.complain("survey", "no survey", "[[survey]] with file, taken, ...", "add one")
        return ()
    if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
        reader.complain("survey", "not a list of tables", "[[survey]]", "use double brackets")
        return ()
    epochs = [_epoch(reader, f"survey {i}.", entry) for i, entry in enumerate(entries, 1)]
    return tuple(e for e in epochs if e is not None)


def _epoch(reader: KeyReader, where: str, entry: Mapping[str, Any]) -> Epoch | None:
    named = [
        "file",
        "observations",
        "levelling",
        "taken",
        *spellings("steel_temperature", "temperature"),
        *spellings("deck_load", "force"),
        *spellings("u", "length"),
        "unit",
        "order",
        "decimal",
        "widths",
    ]
    bare = ("steel_temperature", "deck_load", "u")
    reader.unknown(where, {k: v for k, v in entry.items() if k not in bare}, named)
    observed = "observations" in entry
    if observed and "file" in entry:
        reader.complain(
            f"{where}observations", "file and observations", "one of them", "delete one"
        )
    file = reader.text(where, entry, "observations" if observed else "file")
    if "levelling" in entry and not observed:
        reader.complain(
            f"{where}levelling", "no observations", "levelling beside observations", "name the file"
        )
    for key in (*_OF_LISTS, *spellings("u", "length")) if observed else ():
        if key in entry:
            reader.complain(
                f"{where}{key}", "a key of coordinate lists", "no such key here", "delete it"
            )
    temperature = reader.number(where, entry, "steel_temperature", "temperature", needed=True)
    load = reader.number(where, entry, "deck_load", "force", needed=True)
    u = reader.number(where, entry, "u", "length")
    taken = entry.get("taken")
    if not isinstance(taken, dt.datetime):
        found = "no such key" if taken is None else f"'{taken}'"
        reader.complain(
            f"{where}taken", found, "a date and time such as 2031-04-02T04:10:00", "write it down"
        )
        return None
    if not _FIRST <= taken.year <= _LAST:
        found, allowed = f"'{taken}'", f"a year from {_FIRST} to {_LAST}"
        reader.complain(f"{where}taken", found, allowed, "correct it")
        return None
    if taken.tzinfo is not None:
        reader.complain(
            f"{where}taken",
            f"'{taken.isoformat()}'",
            "the site's own time, without an offset",
            "leave the offset out; all surveys of a job are in one local time",
        )
        return None
    if u is not None and u <= 0.0:
        key, written = reader.given(entry, "u", "length")
        reader.complain(f"{where}{key}", written, "above zero", "give the standard uncertainty")
        return None
    unit = entry.get("unit")
    if unit is not None and unit not in units.FACTORS["length"]:
        allowed = ", ".join(units.suffixes("length"))
        reader.complain(f"{where}unit", repr(unit), allowed, "name the unit of the list")
        return None
    order = entry.get("order")
    if order is not None and not (
        isinstance(order, list) and all(isinstance(o, str) for o in order)
    ):
        reader.complain(
            f"{where}order", repr(order), 'a list such as ["id", "N", "E", "H"]', "correct it"
        )
        return None
    decimal = entry.get("decimal")
    if decimal not in (None, ".", ","):
        reader.complain(f"{where}decimal", repr(decimal), '"." or ","', "correct it")
        return None
    widths = entry.get("widths")
    if widths is not None and not _are_widths(widths):
        reader.complain(
            f"{where}widths",
            repr(widths),
            "the characters of each column, such as [8, 12, 12, 9]",
            "count them in the list",
        )
        return None
    if not file or temperature is None or load is None:
        return None
    return Epoch(
        file,
        taken.isoformat(timespec="minutes"),
        temperature,
        load,
        u,
        cast("str | None", unit),
        None if order is None else tuple(order),
        decimal,
        observed,
        reader.text(where, entry, "levelling", needed=False) or None,
        None if widths is None else tuple(widths),
    )


def _are_widths(value: object) -> bool:
    whole = isinstance(value, list) and all(type(w) is int and 0 < w <= _WIDEST for w in value)
    return whole and bool(value)
