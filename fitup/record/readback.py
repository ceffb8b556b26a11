"""Readings as people give them: on the command line, in CSV, or filled into the workbook."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from fitup.errors import InputError, Problem
from fitup.jobfolder.table import parse_number
from fitup.jobfolder.textfile import MOST_BYTES, read_text
from fitup.model import Done, Job
from fitup.record.asdone import Asked, Read
from fitup.record.check_code import read_code
from fitup.units import FACTORS, to_si

#: the table that is filled in, in the workbook and as CSV
FORM: Final = "as-done"
_NEEDED: Final = ("plan", "stage", "name")
_FILLED: Final = ("read", "side", "pack")
_NOISE: Final = frozenset({"side", "too", "far", "by", "of", "start", "from"})


@dataclass(frozen=True, slots=True)
class Form:
    """A filled form as it lies in its file."""

    file: str
    content: bytes
    rows: tuple[tuple[int, Mapping[str, str]], ...]
    """Row in the file, and its cells by column."""
    comma: bool
    """Decimals have a comma."""


def read_form(path: Path) -> Form:
    """Read a filled form, CSV or workbook.

    Raises
    ------
    InputError
        If it is not one.
    """
    header, rows, comma = _table(path)
    problems = [
        Problem(path.name, "no such column", f"the form {FORM}", "fill that", row=1, column=name)
        for name in _NEEDED
        if name not in header
    ]
    if problems:
        raise InputError(problems)
    at = {name: i for i, name in enumerate(header) if name}
    named = tuple((n, {name: _cell(cells, i) for name, i in at.items()}) for n, cells in rows)
    return Form(path.name, path.read_bytes(), named, comma)


def code_of(form: Form, stage: int) -> str:
    """Return the check code that a form carries for a stage.

    Raises
    ------
    InputError
        If it has no row of the stage, or more than one code.
    """
    codes = {row["plan"] for _, row in form.rows if row["stage"] == str(stage)}
    if not codes:
        found, do = f"no row of stage {stage}", "name the form of this plan"
        raise InputError([Problem(form.file, found, "rows of the stage", do)])
    if len(codes) > 1:
        found = "rows of more than one plan: " + ", ".join(sorted(codes))
        raise InputError([Problem(form.file, found, "one plan", "do not mix forms")])
    return read_code(codes.pop(), f"{form.file}, plan")


def form_readings(form: Form, stage: int, asked: Sequence[Asked]) -> dict[str, Read]:
    """Return the readings of one stage; rows that are not filled are left out.

    Raises
    ------
    InputError
        With everything that cannot be read.
    """
    problems: list[Problem] = []
    by_name = {a.name: a for a in asked}
    out: dict[str, Read] = {}
    for number, row in form.rows:
        if row["stage"] == str(stage):
            _read_row(form, number, row, by_name, out, problems)
    if problems:
        raise InputError(problems)
    return out


def is_crew_table(path: Path) -> bool:
    """Say whether a file is the table of readings as done (docs/loop.md), not the form."""
    if path.suffix.lower() == ".xlsx" or not path.is_file():
        return False
    lines = (ln for ln in read_text(path, path.name).splitlines() if not ln.startswith("#"))
    return "moment" in re.split("[,;]", next(lines, ""))


def crew_readings(rows: Iterable[Done], job: Job, stage: int) -> dict[str, Read]:
    """Take readings of one stage from the table of readings as done.

    Rams and packs are those at the end; a load is the greatest of all moments, shared equally
    where it was read for the whole seat.
    """
    out: dict[str, Read] = {}
    loads: dict[str, float] = {}
    for row in (r for r in rows if r.stage == stage):
        jacks = [row.jack] if row.jack else [j.id for j in job.jacks_at(row.seat)]
        if row.load is not None:
            share = row.load / max(len(jacks), 1)
            loads |= {j: max(share, loads.get(j, 0.0)) for j in jacks}
        if row.moment == "end" and row.movement is not None:
            out |= {f"ram {j}": Read(row.movement) for j in jacks}
        if row.moment == "end" and row.pack is not None:
            out[f"pack {row.seat}"] = Read(pack=row.pack)
    return out | {f"load {j}": Read(load) for j, load in loads.items()}


def read_words(given: Sequence[str], asked: Sequence[Asked]) -> dict[str, Read]:
    """Read what stands on the command line: ``J1/P1/step = 0.4 mm ahead high``.

    Raises
    ------
    InputError
        With everything that cannot be read.
    """
    problems: list[Problem] = []
    by_name = {a.name: a for a in asked}
    out: dict[str, Read] = {}
    for text in given:
        name, sign, rest = (part.strip() for part in text.partition("="))

        def wrong(found: str, allowed: str, do: str, text: str = text) -> None:
            problems.append(Problem(f"--read '{text}'", found, allowed, do))

        if not sign or name not in by_name:
            wrong(
                f"'{name}'",
                "one of: " + ", ".join(by_name),
                'write e.g. "NAME = 0.4 mm ahead high"',
            )
        elif name in out:
            wrong(f"{name} again", "each reading once", "say which one holds")
        elif by_name[name].what == "pack":
            out[name] = _pack(rest)
        else:
            number, unit, side = _parts(rest)
            value = _value(by_name[name], number, unit, side, False, wrong)
            if value is not None:
                out[name] = Read(value)
    if problems:
        raise InputError(problems)
    return out


def _read_row(
    form: Form,
    number: int,
    row: Mapping[str, str],
    by_name: Mapping[str, Asked],
    out: dict[str, Read],
    problems: list[Problem],
) -> None:
    def wrong(found: str, allowed: str, do: str) -> None:
        problems.append(Problem(form.file, found, allowed, do, row=number, column=row["name"]))

    filled = {k: v for k, v in row.items() if v and k.split("_")[0] in _FILLED}
    if not filled:
        return
    asked = by_name.get(row["name"])
    if asked is None:
        wrong(f"'{row['name']}'", "a name of the form", "leave the names as they were printed")
    elif row["name"] in out:
        wrong("a second row of it", "each reading once", "delete one")
    elif asked.what == "pack":
        out[asked.name] = _pack(row.get("pack", ""))
    else:
        under = [k for k in filled if k.startswith("read_")]
        if under not in ([], *([name] for name in _reads(asked.dimension))):
            allowed = f"one value, under {' or '.join(_reads(asked.dimension))}"
            wrong(f"a value under {' and '.join(under)}", allowed, "write it under its own unit")
            return
        unit = under[0].removeprefix("read_") if under else ""
        size, side = filled.get(f"read_{unit}", ""), row.get("side", "")
        value = _value(asked, size, unit, side, form.comma, wrong)
        if value is not None:
            out[asked.name] = Read(value)


def _value(
    asked: Asked,
    number: str,
    unit: str,
    side: str,
    comma: bool,
    wrong: Callable[[str, str, str], None],
) -> float | None:
    """Return a reading in SI, with the sign of its side; None and a problem where it is unclear."""
    try:
        value = parse_number(number, comma)
    except ValueError:
        wrong(
            f"'{number}'", "a number, a unit and, where it is not 0, a side", "write what was read"
        )
        return None
    if unit not in FACTORS[asked.dimension]:
        units = ", ".join(FACTORS[asked.dimension])
        wrong(f"{number} in '{unit}'", f"a unit: {units}", "write the unit")
        return None
    if value < 0.0:
        wrong(number, "a size, without a sign", "say the side in a word")
        return None
    si = to_si(value, asked.dimension, unit)
    if asked.what == "load":
        return si
    return _sided(asked, si, side, wrong)


def _sided(
    asked: Asked, size: float, side: str, wrong: Callable[[str, str, str], None]
) -> float | None:
    allowed = " or ".join(asked.sides)
    if asked.opening is not None:
        allowed += ", or opening for the whole of it"
        if _bare(side) == "opening":
            return size - asked.opening
    for word, sign in zip(asked.sides, (1.0, -1.0), strict=True):
        if _bare(side) == _bare(word):
            return sign * size
    if asked.dimension == "force" and not side:
        return size  # a cable pulls
    if side or size:
        wrong(f"side '{side}'", allowed, "say which way")
        return None
    return 0.0


def _bare(side: str) -> str:
    """Return the words of a side that tell it from the other: 'ahead side high' is 'ahead high'."""
    return " ".join(w for w in side.lower().split() if w not in _NOISE)


def _parts(text: str) -> tuple[str, str, str]:
    """Return number, unit and side of ``0.4 mm ahead high``."""
    for number in (r"-?[\d.]+", r"\S*"):
        found = re.fullmatch(rf"({number})\s*([A-Za-z]*)\s*(.*)", text)
        if found:
            return found[1], found[2], found[3]
    return text, "", ""


def _pack(text: str) -> Read:
    return Read(pack=tuple(m for m in re.split(r"[+\s]+", text.strip().lstrip("'")) if m))


def _reads(dimension: str) -> list[str]:
    return [f"read_{unit}" for unit in FACTORS[dimension]]


def _cell(cells: Sequence[Any], at: int) -> str:
    value = cells[at] if at < len(cells) else None
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    # the form guards names that a spreadsheet would take for a formula
    return str(value).strip().removeprefix("'")


def _table(path: Path) -> tuple[list[str], Iterable[tuple[int, Sequence[Any]]], bool]:
    """Return header, numbered rows and whether decimals have a comma."""
    if path.suffix.lower() == ".xlsx":
        header, rows = _workbook(path)
        return header, rows, False
    text = read_text(path, path.name)
    first = text.splitlines()[0]
    semicolon = first.count(";") > first.count(",")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=";" if semicolon else ",")
    try:
        listed = [(reader.line_num, row) for row in reader]
    except csv.Error as error:
        raise InputError(
            [Problem(path.name, f"broken CSV ({error})", "one record a line", "save it again")]
        ) from None
    return [c.strip() for c in listed[0][1]], listed[1:], semicolon


def _workbook(path: Path) -> tuple[list[str], list[tuple[int, Sequence[Any]]]]:
    from openpyxl import load_workbook

    try:
        if path.stat().st_size > MOST_BYTES:
            raise ValueError("too large")
        book = load_workbook(path, data_only=True)
        rows = [tuple(row) for row in book[FORM].iter_rows(values_only=True)]
    except OSError as error:
        found = error.strerror or "an error"
        raise InputError([Problem(path.name, found, "a workbook", "check the path")]) from None
    except Exception as error:  # a file that only looks like a workbook fails in any way
        raise InputError(
            [
                Problem(
                    path.name,
                    f"no page '{FORM}' that can be read ({error})",
                    "sheets.xlsx, filled in",
                    "save it as XLSX under any name",
                )
            ]
        ) from None
    if not rows:
        raise InputError([Problem(path.name, "an empty page", "the form", "fill it in")])
    return [str(c or "").strip() for c in rows[0]], list(enumerate(rows[1:], 2))
