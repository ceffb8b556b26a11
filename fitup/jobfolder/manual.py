"""Columns in words: the tables of the manual, and the comments that ``fitup start`` writes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
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


def noted(text: str, columns: Sequence[Column]) -> str:
    """Return a table to be filled in with a comment on each column, below what is said of it all.

    Parameters
    ----------
    text : str
        The table; comments on columns that it has are replaced.
    columns : sequence of Column
        Those that it may have.

    Examples
    --------
    >>> stroke = Column("stroke", "length", "its full stroke", above=0.0, most=5.0)
    >>> print(noted("# What moves a seat.\\nstroke_mm\\n100\\n", [stroke]), end="")
    # What moves a seat.
    # stroke: its full stroke; above 0, at most 5 m
    stroke_mm
    100
    """
    notes = {one.name: f"# {one.name}: {note_of(one)}" for one in columns}
    lines = text.splitlines()
    start = next(i for i, line in enumerate(lines) if not line.startswith("#"))
    own = [line for line in lines[:start] if line[2:].split(":")[0] not in notes]
    return "\n".join([*own, *notes.values(), *lines[start:]]) + "\n"


def note_of(one: Column) -> str:
    """Return what a comment says of a column: meaning, words, bounds, what an empty cell is."""
    plain = default_of(one)
    state = {"needed": "", "none": " (may be empty)"}.get(plain, f" (empty: {plain})")
    return f"{one.meaning}{words_of(one)}{bounds_of(one)}{state}"


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
