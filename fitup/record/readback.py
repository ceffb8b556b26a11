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
from fitup.jobfolder.workbook import read_sheets
from fitup.model import Done, Job
from fitup.plainfile import hidden_in, read_text
from fitup.record.asdone import SUPPORTS, Asked, Read
from fitup.record.check_code import read_code
from fitup.record.stage_work import LIFT_OFF
from fitup.units import FACTORS, to_si

#: the table that is filled in, in the workbook and as CSV
FORM: Final = "as-done"
_NEEDED: Final = ("plan", "stage", "name")
_FILLED: Final = ("read", "side", "pack", "stands")
#: an opening nominally below this may be taken for an error of it [m]
_OPENING: Final = 0.010
#: how the form says that a pack has none
NO_PLATES: Final = "no plates"
_TIMES: Final = "\u00d7"
_NOISE: Final = frozenset({"side", "too", "far", "by", "of", "start", "from"})


@dataclass(frozen=True, slots=True)
class FilledForm:
    """A filled form as it lies in its file."""

    file: str
    content: bytes
    rows: tuple[tuple[int, Mapping[str, str]], ...]
    """Row in the file, and its cells by column."""
    comma: bool
    """Decimals have a comma."""


def read_form(path: Path) -> FilledForm:
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
    return FilledForm(path.name, path.read_bytes(), named, comma)


def code_of(form: FilledForm, stage: int) -> str:
    """Return the check code that a form carries for a stage.

    Parameters
    ----------
    form
    stage : int
        0 for the lift-off.

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


def lost_heads(form: FilledForm, code_at: Callable[[int], str]) -> tuple[str, ...]:
    """Say which entries a form quotes that the record no longer holds.

    Parameters
    ----------
    form : FilledForm
        Each row may quote the last entry of the record when it was printed.
    code_at : callable
        Number of an entry -> its record code as it now stands, empty where there is none.
    """
    quoted = dict.fromkeys(row.get("record", "") for _, row in form.rows)
    found = []
    for text in quoted:
        parts = re.fullmatch(r"entry (\d{1,9}), (\S+)", text)
        if parts and code_at(int(parts[1])) != parts[2]:
            found.append(
                f"the form was printed when the record had {text}, which it no longer has: it was "
                "cut or put back to an earlier one"
            )
        elif text and not parts:
            found.append(f"the form quotes '{text[:40]}', which is no entry of a record")
    return tuple(found)


def form_readings(form: FilledForm, stage: int, asked: Sequence[Asked]) -> dict[str, Read]:
    """Return the readings of one stage; rows that are not filled are left out.

    Parameters
    ----------
    form
    stage : int
        0 for the lift-off.
    asked : sequence of Asked
        What the sheets ask to be read after it.

    Returns
    -------
    dict of str to Read
        By the name of what is asked.

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

    Parameters
    ----------
    rows : iterable of Done
        Of any stage and moment.
    job : Job
        As it was planned: the jacks of every seat.
    stage : int
        0 for the lift-off.

    Returns
    -------
    dict of str to Read
        By name, such as ``ram J-A1``.
    """
    out: dict[str, Read] = {}
    loads: dict[str, float] = {}
    if stage == LIFT_OFF:
        return _lifted((r for r in rows if r.moment == "lift-off"), job)
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


def _lifted(rows: Iterable[Done], job: Job) -> dict[str, Read]:
    out: dict[str, Read] = {}
    for row in (r for r in rows if r.load is not None):
        jacks = [row.jack] if row.jack else [j.id for j in job.jacks_at(row.seat)]
        out |= {f"lift-off {j}": Read((row.load or 0.0) / max(len(jacks), 1)) for j in jacks}
    return out


def read_words(given: Sequence[str], asked: Sequence[Asked]) -> dict[str, Read]:
    """Read what stands on the command line: ``J1/P1/step = 0.4 mm ahead high``.

    Parameters
    ----------
    given : sequence of str
        Each a name, an equals sign and what was read.
    asked : sequence of Asked
        What may be named.

    Returns
    -------
    dict of str to Read
        By the name of what is asked.

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
            out[name] = _pack(by_name[name], rest)
        elif by_name[name].what == "support":
            stands = _stands(rest, wrong)
            if stands is not None:
                out[name] = stands
        else:
            number, unit, side = _parts(rest)
            read = _value(by_name[name], number, unit, side, False, wrong)
            if read is not None:
                out[name] = read
    if problems:
        raise InputError(problems)
    return out


def _read_row(
    form: FilledForm,
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
        out[asked.name] = _pack(asked, row.get("pack", ""))
    elif asked.what == "support":
        stands = _stands(row.get("stands_on", ""), wrong)
        if stands is not None:
            out[asked.name] = stands
    else:
        under = [k for k in filled if k.startswith("read_")]
        if under not in ([], *([f"read_{unit}"] for unit in _units(asked))):
            allowed = f"one value, under {' or '.join(f'read_{unit}' for unit in _units(asked))}"
            wrong(f"a value under {' and '.join(under)}", allowed, "write it under its own unit")
            return
        unit = under[0].removeprefix("read_") if under else ""
        size, side = filled.get(f"read_{unit}", ""), row.get("side", "")
        read = _value(asked, size, unit, side, form.comma, wrong)
        if read is not None:
            out[asked.name] = read


def _value(
    asked: Asked,
    number: str,
    unit: str,
    side: str,
    comma: bool,
    wrong: Callable[[str, str, str], None],
) -> Read | None:
    """Return a reading in SI, with the sign of its side; None and a problem where it is unclear."""
    try:
        value = parse_number(number, comma)
    except ValueError:
        wrong(
            f"'{number}'", "a number, a unit and, where it is not 0, a side", "write what was read"
        )
        return None
    if unit not in _units(asked):
        wrong(f"{number} in '{unit}'", f"a unit: {', '.join(_units(asked))}", "write the unit")
        return None
    if value < 0.0:
        wrong(number, "a size, without a sign", "say the side in a word")
        return None
    if unit not in FACTORS[asked.dimension]:
        # a gauge shows pressure; the load is what the ram makes of it
        gauge = to_si(value, "pressure", unit)
        return Read(gauge * asked.area, understood=f"{number} {unit}", pressure=gauge)
    si = to_si(value, asked.dimension, unit)
    if asked.what == "load":
        return Read(si)
    whole = _whole(asked, si, side)
    if whole is not None:
        return Read(whole, understood=f"{number} {unit} on the tape")
    signed = _sided(asked, si, side, wrong)
    return None if signed is None else Read(signed)


def _whole(asked: Asked, size: float, side: str) -> float | None:
    """Return how far a gap is off where the tape's whole opening was written, None where not.

    A size of half the nominal opening and more is no error of an opening, but the opening. A side
    that contradicts it is taken as written.
    """
    if asked.opening is None:
        return None
    off = size - asked.opening
    if _bare(side) == "opening":
        return off
    if asked.opening < _OPENING or size < 0.5 * asked.opening:
        return None
    meant = asked.sides[0 if off > 0.0 else 1]
    return off if not side or not off or _bare(side) == _bare(meant) else None


def _units(asked: Asked) -> tuple[str, ...]:
    """Return the units a reading may be in: a load also in those of the gauge."""
    gauge = FACTORS["pressure"] if asked.area else ()
    return (*FACTORS[asked.dimension], *gauge)


def _sided(
    asked: Asked, size: float, side: str, wrong: Callable[[str, str, str], None]
) -> float | None:
    allowed = " or ".join(asked.sides)
    if asked.opening is not None:
        allowed += ", or opening for the whole of it"
    for word, sign in zip(asked.sides, (1.0, -1.0), strict=True):
        if _bare(side) == _bare(word):
            return sign * size
    if asked.dimension == "force" and not side:
        return size  # a cable pulls
    if size or _bare(side) not in ("", "at"):
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


def _pack(asked: Asked, text: str) -> Read:
    """Read plates as people write them: ``P40+P10``, ``p40, p10``, ``2 x P20``."""
    if text.strip().lstrip("'").casefold() == NO_PLATES:
        return Read(pack=())
    known = {mark.casefold(): mark for mark in asked.marks}
    plain = re.sub(rf"\b(\d+)\s*[xX*{_TIMES}]\s*", rf"\1{_TIMES}", text.strip().lstrip("'"))
    marks: list[str] = []
    for part in re.split(r"[+,;/\s]+", plain):
        count, times, mark = part.rpartition(_TIMES)
        if times and not count.isdecimal():
            count, mark = "1", part
        marks += [known.get(mark.casefold(), mark)] * (min(int(count), 99) if times else 1)
    pack = tuple(m for m in marks if m)
    same = "+".join(pack) == text.strip().lstrip("'") or not pack
    return Read(pack=pack, understood="" if same else f"written {text.strip()}")


def _stands(text: str, wrong: Callable[[str, str, str], None]) -> Read | None:
    """Read what a seat stands on: ``lock nut``, ``nut``, ``its pack``, ``temporary plates``."""
    said = {word.casefold().strip(".") for word in text.split()}
    meant = [s for s, words in SUPPORTS.items() if {s, words.casefold().split()[-1]} & said]
    # plates may lie in a pack too: what is meant must be said
    if len(meant) != 1:
        allowed = ", ".join(SUPPORTS.values())
        wrong(f"'{text}'", allowed, "write what the seat stands on")
        return None
    return Read(stands=meant[0])


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
    rows = read_sheets(path, path.name, FORM).get(FORM)
    if not rows:
        do = "save it as XLSX under any name"
        raise InputError([Problem(path.name, f"no page '{FORM}'", "sheets.xlsx, filled in", do)])
    width = max(len(row) for row in rows)
    whole = [(*row, *([None] * (width - len(row)))) for row in rows]
    for number, row in enumerate(whole, 1):
        found = hidden_in("".join(c.replace("\n", "") for c in row if isinstance(c, str)))
        if found:
            allowed = "text that can be seen"
            raise InputError(
                [Problem(path.name, f"a character {found}", allowed, "delete it", row=number)]
            )
    return [str(c or "").strip() for c in whole[0]], list(enumerate(whole[1:], 2))
