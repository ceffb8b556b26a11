"""Columns in words: the tables of the manual, and the notes that ``fitup start`` writes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from fitup import units
from fitup.model.column import Column

#: unit in which the manual states a bound, and its word
_UNIT: Final = {
    "length": ("mm", "mm"),
    "force": ("kN", "kN"),
    "stiffness": ("kN_per_mm", "kN/mm"),
    "area": ("cm2", "cm²"),
    "temperature": ("C", "°C"),
    "temperature_step": ("C", "°C"),
    "small_angle": ("mgon", "mgon"),
    "air_pressure": ("hPa", "hPa"),
    "expansion": ("per_C", "per °C"),
    "modulus": ("GPa", "GPa"),
    "line_load": ("kN_per_m", "kN/m"),
    "unit_weight": ("kN_per_m3", "kN/m³"),
}
_METRE: Final = 1.0


def table_of(columns: Iterable[Column]) -> str:
    """Return the table of the manual for some columns, as Markdown."""
    rows = ["| column | kind | default | meaning |", "|---|---|---|---|"]
    for one in columns:
        kind = "yes/no" if one.kind == "yesno" else one.kind
        rows.append(f"| `{one.name}` | {kind} | {default_of(one)} | {sentence(one)} |")
    return "\n".join(rows) + "\n"


def notes_of(columns: Iterable[Column]) -> list[str]:
    """Return a line for each column, to stand as comments above a table that is filled in."""
    lines = []
    for one in columns:
        state = "" if one.required else f" (may be empty: {default_of(one)})"
        lines.append(f"{one.name}: {one.meaning}{words_of(one)}{bounds_of(one)}{state}")
    return lines


def default_of(one: Column) -> str:
    """Return the default of a column in the words of the manual."""
    if one.required:
        return "needed"
    if one.kind == "yesno" and one.default is not None:
        return "yes" if one.default else "no"
    if one.default in (None, (), ""):
        return "none"
    return one.default if isinstance(one.default, str) else f"{one.default:g}"


def sentence(one: Column) -> str:
    """Return all that the manual says of a column: meaning, words, what is allowed."""
    return f"{one.meaning}{words_of(one, '`')}{one.more}{bounds_of(one)}"


def words_of(one: Column, mark: str = "") -> str:
    """Return the words of a column that its meaning does not name itself.

    Parameters
    ----------
    one : Column
    mark : str
        Set before and after each word.
    """
    if all(word in one.meaning for word in one.words):
        return ""
    return ": " + ", ".join(f"{mark}{word}{mark}" for word in one.words)


def bounds_of(one: Column) -> str:
    """Return the bounds of a column in words.

    Examples
    --------
    >>> bounds_of(Column("stroke", "length", "its full stroke", above=0.0, most=5.0))
    '; above 0, at most 5 m'
    """
    parts = []
    if one.above is not None:
        parts.append(f"above {_bound(one, one.above)}")
    if one.least is not None and one.most is not None and one.least == -one.most:
        parts.append(f"at most {_bound(one, one.most)} either way")
    else:
        if one.least is not None:
            parts.append(f"at least {_bound(one, one.least)}")
        if one.most is not None:
            parts.append(f"at most {_bound(one, one.most)}")
    return "; " + ", ".join(parts) if parts else ""


def _bound(one: Column, si: float) -> str:
    if si == 0.0:
        return "0"
    if one.kind not in _UNIT:
        return f"{si:,g}" if abs(si) < 1e6 else f"{si:g}"
    suffix, word = _UNIT[one.kind]
    if one.kind == "length" and abs(si) >= _METRE:
        suffix, word = "m", "m"
    value = round(units.from_si(si, one.kind, suffix), 9)
    whole = value == int(value) and abs(value) >= 1.0
    return f"{int(value):,} {word}" if whole else f"{value:.10g} {word}"
