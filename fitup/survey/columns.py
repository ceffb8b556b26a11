"""Which column of a coordinate list is what, from its header and from ``job.toml``."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fitup.errors import Problem
from fitup.model import Epoch
from fitup.survey.layout import COORDINATES, UNCERTAINTIES, Line, Title, is_number, parse_title
from fitup.units import suffixes

UNIT_WORDS: Final = {
    "m": "metre",
    "mm": "millimetre",
    "cm": "centimetre",
    "in": "inch",
    "ft": "international foot",
    "ftUS": "US survey foot",
}
_EXAMPLE: Final = 'order = ["id", "E", "N", "H"]'
_UNITS: Final = ", ".join(suffixes("length"))


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns of one list: where each stands, its title and unit, and who said so."""

    at: Mapping[str, int]
    title: Mapping[str, str]
    unit: Mapping[str, str]
    uncertainties: tuple[str, ...]
    """``("u",)``, ``("uE", "uN", "uH")`` or nothing."""
    width: int
    first_row: int
    """Index of the first row that is not the header."""
    order: tuple[str, ...]
    source: str
    unit_source: str
    ignored: tuple[str, ...]


def find_columns(
    lines: Sequence[Line], epoch: Epoch, key: str, problems: list[Problem]
) -> Columns | None:
    """Find the columns of a list, or add to ``problems`` why they cannot be known.

    Parameters
    ----------
    lines : sequence of Line
        All rows, the header first where there is one.
    epoch : Epoch
        Declares order and unit where the header does not.
    key : str
        Key of the survey in ``job.toml``, for messages.
    problems : list of Problem
        Filled with what is wrong.
    """
    if not lines:
        problems.append(Problem(epoch.file, "no rows", "a row for every point", "was it saved?"))
        return None
    titles = [parse_title(text) for text in lines[0].cells]
    named = sum(t.name not in ("other", "skip") for t in titles)
    header = not any(is_number(text) for text in lines[0].cells[1:]) and (
        epoch.order is None or named >= 2
    )
    if epoch.order is None and not header:
        problems.append(
            Problem(
                epoch.file,
                "no header",
                "a header, or the order of the columns declared in job.toml",
                f"write a header, or declare e.g. {_EXAMPLE} ({key})",
                row=lines[0].number,
            )
        )
        return None
    before = len(problems)
    row = lines[0].number if header else None
    if epoch.order is not None:
        titles = _declared(epoch, titles if header else None, key, row, problems)
    _check_titles(titles, epoch, key, row, problems)
    if len(problems) > before:
        return None
    unit_source, default = _unit(titles, epoch, key, row, problems)
    if len(problems) > before:
        return None
    return _build(titles, epoch, header, unit_source, default)


def _declared(
    epoch: Epoch,
    header: list[Title] | None,
    key: str,
    row: int | None,
    problems: list[Problem],
) -> list[Title]:
    """Return the declared titles, units completed from the header, contradictions reported."""
    declared = [parse_title(text) for text in epoch.order or ()]
    for title in declared:
        if title.name == "other":
            problems.append(
                Problem(
                    "job.toml",
                    f"'{title.text}'",
                    "id, E, N, H, u_mm, uE_mm, uN_mm, uH_mm or skip",
                    "correct it; call a column that is not needed skip",
                    column=f"{key}.order",
                )
            )
    if header is None:
        return declared
    conflict = [
        (d, h)
        for d, h in zip(declared, header, strict=False)
        if h.name not in ("other", "skip", "X", "Y") and d.name not in ("skip", h.name)
    ]
    if conflict or len(declared) != len(header):
        problems.append(
            Problem(
                epoch.file,
                f"the header {', '.join(h.text for h in header)}, but job.toml declares the order "
                f"{', '.join(epoch.order or ())}",
                "one order",
                f"correct the one that is wrong ({key})",
                row=row,
            )
        )
        return declared
    return [_merged(d, h, epoch, key, row, problems) for d, h in zip(declared, header, strict=True)]


def _merged(
    declared: Title, header: Title, epoch: Epoch, key: str, row: int | None, problems: list[Problem]
) -> Title:
    if declared.unit and header.unit and declared.unit != header.unit:
        problems.append(
            Problem(
                epoch.file,
                f"'{header.text}', but job.toml declares {declared.text}",
                "one unit",
                f"correct the one that is wrong ({key})",
                row=row,
                column=header.text,
            )
        )
    unit = declared.unit or header.unit
    return Title(declared.name, unit, header.text, declared.odd_unit or header.odd_unit)


def _check_titles(
    titles: Sequence[Title], epoch: Epoch, key: str, row: int | None, problems: list[Problem]
) -> None:
    """Ambiguous, doubled and missing columns, and units that are none."""

    def complain(found: str, allowed: str, do: str, column: str | None = None) -> None:
        problems.append(Problem(epoch.file, found, allowed, do, row=row, column=column))

    count = Counter(t.name for t in titles)
    unclear = [t.text for t in titles if t.name in ("X", "Y")]
    if unclear:
        instead = {"X": "?", "Y": "?", "other": "skip"}
        shape = ", ".join(f'"{instead.get(t.name, t.name)}"' for t in titles)
        complain(
            f"{' and '.join(unclear)}: which is easting, which northing?",
            "E and N",
            f"declare the order in job.toml ({key}): order = [{shape}] with E and N for ?",
        )
    for title in titles:
        if title.odd_unit is not None:
            complain(f"unit '{title.odd_unit}'", f"one of: {_UNITS}", "correct it", title.text)
        elif title.name.startswith("u") and title.unit is None:
            complain("no unit", f"{title.name}_mm", "write its unit into the name", title.text)
    for name in ("id", *COORDINATES, "u", *UNCERTAINTIES):
        if count[name] > 1:
            complain(f"{name} {count[name]} times", "each column once", "delete one")
        elif count[name] == 0 and name in ("id", *COORDINATES) and not unclear:
            complain(f"no column {name}", f"id, E, N, H in any order ({key})", "name or declare it")
    own = [name for name in UNCERTAINTIES if count[name]]
    if (own and count["u"]) or len(own) in (1, 2):
        complain(
            f"uncertainties {', '.join(own)}" + (" and u" if count["u"] else ""),
            "u_mm alone, or uE_mm with uN_mm and uH_mm",
            "give one or all three",
        )


def _unit(
    titles: Sequence[Title], epoch: Epoch, key: str, row: int | None, problems: list[Problem]
) -> tuple[str, str]:
    """Return who named the unit of the coordinates, and the unit."""
    given = {t.unit for t in titles if t.name in COORDINATES}
    named = sorted(unit for unit in given if unit is not None)
    if not named and epoch.unit is not None:
        return "declared in job.toml", epoch.unit
    if not named:
        problems.append(
            Problem(
                epoch.file,
                "no unit for the coordinates",
                f"one of: {_UNITS}",
                f'write it into the header (E_m, N_m, H_m), or declare unit = "m" ({key})',
                row=row,
            )
        )
        return "", ""
    if len(given) > 1:
        spelled = ", ".join(t.text for t in titles if t.name in COORDINATES)
        problems.append(
            Problem(
                epoch.file,
                f"{spelled}: different units",
                "one unit for easting, northing and height",
                "write the same unit into all three names",
                row=row,
            )
        )
    elif epoch.unit is not None and epoch.unit != named[0]:
        problems.append(
            Problem(
                epoch.file,
                f'unit {named[0]} in the column names, but unit = "{epoch.unit}" in job.toml',
                "one unit",
                f"correct the one that is wrong ({key})",
                row=row,
            )
        )
    return ("declared in job.toml" if row is None else "from the header"), named[0]


def _build(
    titles: Sequence[Title], epoch: Epoch, header: bool, unit_source: str, default: str
) -> Columns:
    used = {
        t.name: (i, t) for i, t in enumerate(titles) if t.name not in ("other", "skip", "X", "Y")
    }
    uncertainties = tuple(name for name in ("u", *UNCERTAINTIES) if name in used)
    declared = epoch.order is not None
    ignored = tuple(
        t.text if t.name == "other" or header else f"column {i + 1}"
        for i, t in enumerate(titles)
        if t.name in ("other", "skip")
    )
    return Columns(
        at={name: i for name, (i, _) in used.items()},
        title={name: t.text if header else name for name, (_, t) in used.items()},
        unit={name: t.unit or default for name, (_, t) in used.items() if name != "id"},
        uncertainties=uncertainties,
        width=len(titles),
        first_row=1 if header else 0,
        order=tuple(used),
        source="declared in job.toml" if declared else "from the header",
        unit_source=unit_source,
        ignored=ignored,
    )


def whole_rows(
    lines: list[Line],
    columns: Columns,
    epoch: Epoch,
    delimiter: str,
    text: str,
    problems: list[Problem],
) -> list[Line]:
    """Return the rows with a cell for every column that is needed; say what is wrong with others.

    Columns at the end that are not needed may be missing, and in a list with spaces a remark at
    the end may have several words.

    Parameters
    ----------
    lines : list of Line
        Rows below the header.
    columns : Columns
    epoch : Epoch
        Names the file in problems.
    delimiter : str
        A key of ``DELIMITERS``; a blank for columns set apart by spaces.
    text : str
        The whole file: without a line end its last row may be cut off.
    problems : list of Problem
        Added to.
    """
    rows: list[Line] = []
    before = len(problems)
    width, needed = columns.width, max(columns.at.values()) + 1
    remark_last = delimiter == " " and needed < width
    for line in lines:
        count = len(line.cells)
        surplus = [] if remark_last else [c for c in line.cells[width:] if c]
        numbers = [c for c in line.cells[1:] if c]
        if delimiter == "," and surplus and all(c.lstrip("+-").isdigit() for c in numbers):
            problems.append(
                Problem(
                    epoch.file,
                    "commas both as decimal mark and between the columns",
                    "one use of the comma",
                    "export the list with semicolons, or with decimal points",
                    row=line.number,
                )
            )
            return []
        if count >= needed and not surplus:
            rows.append(line)
            continue
        cut = line is lines[-1] and count < needed and text[-1] not in "\r\n"
        problems.append(
            Problem(
                epoch.file,
                f"{count} cells" + (" in the last line, which has no line end" if cut else ""),
                f"{width} cells",
                "the file is cut off: send it again" if cut else "a cell is missing or too many",
                row=line.number,
            )
        )
    if not lines:
        problems.append(Problem(epoch.file, "no rows", "a row for every point", "was it saved?"))
    if (
        delimiter == " "
        and len(lines) > 1
        and not rows
        and all(len(r.cells) < needed for r in lines)
    ):
        # one cause, and not as many as there are rows
        del problems[before:]
        problems.append(
            Problem(
                epoch.file,
                f"{len(lines[0].cells)} cells, and too few in every other row too",
                f"{width} cells set apart by blanks",
                "columns of fixed width touch each other here: declare the characters of each in "
                "job.toml, widths = [8, 12, 12, 9], or export the list with semicolons",
                row=lines[0].number,
            )
        )
    return rows
