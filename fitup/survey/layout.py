"""How a coordinate list is laid out: rows, delimiter, numbers, and the names of its columns."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from fitup.errors import Problem
from fitup.units import suffixes

#: what starts a comment line
COMMENTS: Final = ("#", "//", "!", ";")
#: delimiter -> its word
DELIMITERS: Final = {";": "semicolon", "\t": "tab", ",": "comma", " ": "spaces"}
COORDINATES: Final = ("E", "N", "H")
UNCERTAINTIES: Final = ("uE", "uN", "uH")
#: column -> what a header may call it, in small letters without blanks, points and underlines
NAMES: Final[dict[str, tuple[str, ...]]] = {
    "id": ("id", "point", "pt", "name", "pointid", "pointname", "ptid", "ptname", "target"),
    "E": ("e", "east", "easting"),
    "N": ("n", "north", "northing"),
    "H": ("h", "z", "height", "elevation", "elev"),
    "u": ("u", "sigma"),
    "uE": ("ue", "sigmae"),
    "uN": ("un", "sigman"),
    "uH": ("uh", "uz", "sigmah", "sigmaz"),
    "X": ("x",),
    "Y": ("y",),
    "skip": ("skip",),
}
_NAME_OF: Final = {spelling: name for name, all_ in NAMES.items() for spelling in all_}
_UNIT_OF: Final = {unit.casefold(): unit for unit in suffixes("length")}
_WITH_UNIT: Final = re.compile(r"(?P<base>.+?)(?:_|\s*[\[(])(?P<unit>[A-Za-z]+)[\])]?")
_NUMBER: Final = {
    mark: re.compile(
        rf"[+-]?(?:(?:[0-9]{{1,3}}(?:{group}[0-9]{{3}})+|[0-9]+)(?:{mark_}[0-9]*)?|{mark_}[0-9]+)"
        r"(?:[eE][+-]?[0-9]+)?"
    )
    for mark, mark_, group in ((".", r"\.", ","), (",", ",", r"\."))
}


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the file, cut into cells."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Title:
    """What one column is: its name (``other`` where it is none of ours), unit and spelling."""

    name: str
    unit: str | None
    text: str
    odd_unit: str | None = None


def parse_title(text: str) -> Title:
    """Understand a column title such as ``E_m``, ``Elev [ft]`` or ``uH_mm``.

    Examples
    --------
    >>> parse_title("N_ftUS").name, parse_title("N_ftUS").unit
    ('N', 'ftUS')
    >>> parse_title("remark").name
    'other'
    """
    whole = _NAME_OF.get(_plain(text))
    if whole is not None:
        return Title(whole, None, text)
    match = _WITH_UNIT.fullmatch(text.strip())
    base = _NAME_OF.get(_plain(match["base"])) if match else None
    if match is None or base is None or base in ("id", "skip"):
        return Title("other", None, text)
    unit = _UNIT_OF.get(match["unit"].casefold())
    return Title(base, unit, text, None if unit else match["unit"])


def _plain(text: str) -> str:
    return re.sub(r"[\s._-]", "", text).casefold()


def read_number(text: str, mark: str, declared: bool = True) -> float | None:
    """Return the number a text is under a decimal mark, or None.

    Groups of three digits may be set apart by the other mark. A lone point, as in 12.345, is
    taken for such a group only when the comma has been declared the decimal mark.

    Parameters
    ----------
    text : str
    mark : {'.', ','}
        Decimal mark.
    declared : bool
        Whether job.toml states the mark; if not, it was found from the numbers themselves.

    Examples
    --------
    >>> read_number("1,234", "."), read_number("1,234", ","), read_number("nan", ".")
    (1234.0, 1.234, None)
    """
    if not _NUMBER[mark].fullmatch(text):
        return None
    if mark == "," and not declared and "," not in text and text.count(".") == 1:
        return None
    other = "," if mark == "." else "."
    value = float(text.replace(other, "").replace(mark, "."))
    return value if abs(value) < float("inf") else None


def is_number(text: str) -> bool:
    """Tell whether a text is a number under either decimal mark, or claims to be none."""
    odd = text.casefold().lstrip("+-") in ("nan", "inf", "infinity")
    return odd or any(read_number(text, mark) is not None for mark in _NUMBER)


def cut_lines(
    text: str, shown: str, problems: list[Problem], *, fixed: bool = False
) -> tuple[list[Line], str, int]:
    """Cut a text into rows of cells, leaving out blank and comment lines.

    Parameters
    ----------
    text : str
        The whole file.
    shown : str
        Name of the file in problems.
    problems : list of Problem
        Added to.
    fixed : bool
        Columns of fixed width were cut already and stand between tabs.

    Returns
    -------
    lines : list of Line
    delimiter : str
        A key of ``DELIMITERS``.
    comments : int
        How many comment lines were left out.
    """
    numbered = [
        (number, line.strip(" \r\f\v"))
        for number, line in enumerate(re.split(r"\r\n|\n|\r", text), 1)
        if line.strip()
    ]
    plain = [line for _, line in numbered if not line.lstrip().startswith(COMMENTS)]
    delimiter = "\t" if fixed else find_delimiter(plain)
    lines: list[Line] = []
    comments = 0
    for number, line in numbered:
        # in a semicolon list a row may lack its first cell: that is a fault, not a comment
        empty_first = (
            delimiter == ";" and bool(plain) and line.count(";") == plain[-1].count(";") > 0
        )
        if line.lstrip().startswith(COMMENTS) and not (line.startswith(";") and empty_first):
            comments += 1
            continue
        try:
            lines.append(Line(number, _cells(line, delimiter)))
        except csv.Error:
            problems.append(
                Problem(
                    shown,
                    "a quotation mark that is not closed",
                    "both or none",
                    "close it or delete it",
                    row=number,
                )
            )
    return lines, delimiter, comments


def _cells(line: str, delimiter: str) -> tuple[str, ...]:
    if delimiter == " ":
        return tuple(line.split())
    reader = csv.reader([line], delimiter=delimiter, skipinitialspace=True, strict=True)
    return tuple(cell.strip() for cell in next(reader))


def find_delimiter(lines: Sequence[str]) -> str:
    """Return the delimiter of the lines: semicolon, tab, comma, or runs of spaces.

    Commas inside numbers of a list that falls into four or more columns at its spaces are
    decimal commas; any other comma is a delimiter.

    Examples
    --------
    >>> find_delimiter(["A1 1,25 2,5 3,75"]), find_delimiter(["A1,1.25,2.5,3.75"])
    (' ', ',')
    """
    for mark in (";", "\t"):
        if 2 * sum(mark in line for line in lines) > len(lines):
            return mark
    with_comma = [line.split() for line in lines if "," in line]
    if not with_comma:
        return " "
    spaced = all(
        len(tokens) >= 4 and all("," not in t or is_number(t) for t in tokens)
        for tokens in with_comma
    )
    return " " if spaced else ","


def find_mark(
    cells: Iterable[tuple[int, str, str]], declared: str | None, shown: str, where: str
) -> str | Problem:
    """Return the decimal mark under which every number can be read, or why there is none.

    Parameters
    ----------
    cells : iterable of (row, column title, text)
        The cells that should be numbers; those that are no number at all are passed over.
    declared : str, optional
        The mark declared in ``job.toml``; it settles the question.
    shown, where : str
        File and key in ``job.toml``, for the message.
    """
    if declared is not None:
        return declared
    first_not: dict[str, tuple[int, str, str]] = {}
    differs: tuple[int, str, str] | None = None
    for cell in cells:
        values = {mark: read_number(cell[2], mark, declared=False) for mark in _NUMBER}
        if all(value is None for value in values.values()):
            continue
        for mark, value in values.items():
            if value is None:
                first_not.setdefault(mark, cell)
        if None not in values.values() and values["."] != values[","]:
            differs = differs or cell
    if len(first_not) == 2:
        comma, point = first_not["."], first_not[","]
        return Problem(
            shown,
            f"'{comma[2]}' (row {comma[0]}) and '{point[2]}' (row {point[0]})",
            "one decimal mark in the whole list",
            "write all numbers alike",
        )
    if not first_not and differs is not None:
        row, title, text = differs
        comma_value, point_value = read_number(text, ","), read_number(text, ".")
        return Problem(
            shown,
            f"'{text}', which may be {comma_value:.10g} or {point_value:.10g}",
            "a decimal mark that is declared",
            f'declare decimal = "," or decimal = "." in job.toml ({where})',
            row=row,
            column=title,
        )
    return "," if "." in first_not else "."
