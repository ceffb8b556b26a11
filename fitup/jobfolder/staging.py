"""What the crews have: ``[staging]`` of job.toml, pumps.csv and groups.csv, checked."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final, Protocol

from fitup.errors import Problem
from fitup.jobfolder.table import Row
from fitup.model import Jack, Job, Staging

#: key of [staging] -> dimension, least, whether it must be above the least
KEYS: Final[dict[str, tuple[str, float, bool]]] = {
    "crews": ("", 1.0, False),
    "stage_lift": ("length", 0.0, True),
    "out_of_step": ("length", 0.0, False),
    "friction": ("", 0.0, False),
    "pressure_error": ("", 0.0, False),
    "worst_reserve": ("", 1.0, False),
    "creep": ("length", 0.0, True),
    "slide": ("length", 0.0, False),
    "spring_back": ("length", 0.0, False),
    "base_step": ("length", 0.0, True),
    "outwards_from": ("text", 0.0, False),
}
_SHARES: Final = ("friction", "pressure_error")


class KeyLookup(Protocol):
    """What looks keys up in ``job.toml`` and notes problems."""

    def complain(self, key: str, found: str, allowed: str, do: str) -> None:
        """Note a problem of one key.

        Parameters
        ----------
        key : str
            With the table that it stands in.
        found, allowed, do : str
            As in :class:`fitup.errors.Problem`.
        """

    def unknown(self, where: str, table: Mapping[str, Any], allowed: list[str]) -> None:
        """Note the keys that are not allowed.

        Parameters
        ----------
        where : str
            What stands before its keys in a problem.
        table : mapping
        allowed : list of str
            Keys with their unit suffixes.
        """

    def number(
        self, where: str, table: Mapping[str, Any], name: str, dimension: str, needed: bool = False
    ) -> float | None:
        """Return a number in SI, or None where it is missing or wrong.

        Parameters
        ----------
        where : str
            What stands before its keys in a problem.
        table : mapping
        name, dimension : str
            Key without its unit, and what is measured.
        needed : bool
            Whether it is a problem if there is no such key.
        """

    def given(self, table: Mapping[str, Any], name: str, dimension: str) -> tuple[str, str]:
        """Return a key and its number as they were written.

        Parameters
        ----------
        table : mapping
            Known to hold the number.
        name, dimension : str
            Key without its unit, and what is measured.
        """

    def text(self, where: str, table: Mapping[str, Any], name: str, needed: bool = True) -> str:
        """Return a text.

        Parameters
        ----------
        where : str
            What stands before its keys in a problem.
        table : mapping
        name : str
        needed : bool
            Whether it is a problem if there is no such key.
        """


def read_staging(
    reader: KeyLookup,
    table: Mapping[str, Any],
    jack_reserve: float,
    spellings: Callable[[str, str], list[str]],
) -> Staging:
    """Return the table ``[staging]`` of a job; the reader notes what is wrong in it.

    Parameters
    ----------
    reader : KeyLookup
    table : mapping
        ``[staging]`` of ``job.toml``; empty gives the defaults.
    jack_reserve : float
        Capacity over calculated load that the job asks for; the default of ``worst_reserve`` is
        never above it.
    spellings : callable
        From a key and its dimension to the keys with units.
    """
    numbers = {name: rule for name, rule in KEYS.items() if rule[0] != "text"}
    allowed = [s for n, (d, _, _) in numbers.items() for s in spellings(n, d)]
    bare = {k: v for k, v in table.items() if k not in numbers}
    reader.unknown("staging.", bare, [*allowed, "outwards_from"])
    # 80 % of capacity on the worst load (common practice, no source), never more than is asked
    # of the calculated load
    given: dict[str, Any] = {"worst_reserve": min(Staging().worst_reserve, jack_reserve)}
    for name, (dimension, least, above) in numbers.items():
        value = reader.number("staging.", table, name, dimension)
        if value is None:
            continue
        wrong = value < least or (above and value == least)
        if wrong or (name in _SHARES and value >= 1.0) or (name == "crews" and value % 1.0):
            spelled, written = reader.given(table, name, dimension)
            reader.complain(f"staging.{spelled}", written, _allowed(name), "correct it")
            continue
        given[name] = int(value) if name == "crews" else value
    if "outwards_from" in table:
        given["outwards_from"] = reader.text("staging.", table, "outwards_from")
    return Staging(**given)


def _allowed(name: str) -> str:
    if name == "crews":
        return "a whole number, at least 1"
    if name in _SHARES:
        return "a share from 0 to below 1"
    _, least, above = KEYS[name]
    return "above zero" if above else f"at least {least:g}"


def check_staging(
    job: Job, tables: Mapping[str, list[Row]], broken: frozenset[str], problems: list[Problem]
) -> None:
    """Find what pumps.csv, groups.csv and ``[staging]`` say wrongly of other tables.

    Parameters
    ----------
    job : Job
    tables : mapping of str to list of Row
        By file name; tables that may be left out may be missing.
    broken : frozenset of str
        Files that failed to read; what rests on them is not checked.
    problems : list of Problem
        What is wrong is added to it.
    """
    if not broken & {"jacks.csv", "seats.csv", "pumps.csv"}:
        _pumps(job, tables.get("pumps.csv", []), problems)
    if not broken & {"seats.csv", "segments.csv", "groups.csv"}:
        _groups(job, tables.get("groups.csv", []), problems)
    _bases(tables.get("jacks.csv", []), problems)
    start = job.staging.outwards_from
    if broken & {"seats.csv", "segments.csv", "points.csv"}:
        return
    if start and not (start in job.segments or start in job.seats or start in job.points):
        problems.append(
            Problem(
                "job.toml",
                f"'{start}'",
                "an id of segments.csv, seats.csv or points.csv",
                "correct it",
                column="staging.outwards_from",
            )
        )


def rated(jacks: Mapping[str, Jack], pumps: Sequence[Row]) -> dict[str, Jack]:
    """Return jacks with no more capacity than the strongest of their pumps gives them.

    Parameters
    ----------
    jacks : mapping of str to Jack
        By id.
    pumps : sequence of Row
        Of ``pumps.csv``; a pump without a greatest pressure limits nothing.

    Returns
    -------
    dict of str to Jack
        By id; a jack at no pump keeps its capacity.
    """
    found = {}
    for name, jack in jacks.items():
        own = [row["pressure_most"] for row in pumps if name in row["jacks"]]
        least = jack.capacity if not own or None in own else max(own) * jack.ram_area
        found[name] = replace(jack, capacity=min(jack.capacity, least))
    return found


def _pumps(job: Job, rows: list[Row], problems: list[Problem]) -> None:
    for row in rows:
        for name in row["jacks"]:
            if name not in job.jacks:
                problems.append(
                    row.problem("jacks", f"'{name}'", "ids of jacks.csv", "correct it or add it")
                )
    driven = {name for row in rows for name in row["jacks"]}
    for jack in job.jacks.values() if rows else ():
        seat = job.seats.get(jack.seat)
        if seat is not None and not seat.hold and jack.id not in driven:
            problems.append(
                Problem(
                    "pumps.csv",
                    f"jack {jack.id} at no pump",
                    "every jack that works at some pump",
                    "add it to a pump, or leave pumps.csv out",
                    column="jacks",
                )
            )


def _groups(job: Job, rows: list[Row], problems: list[Problem]) -> None:
    known = {s.group for s in job.seats.values()}
    after = {row["id"]: row["after"] for row in rows}
    for row in rows:
        for column, names in (("id", (row["id"],)), ("after", row["after"])):
            for name in names:
                if name not in known:
                    allowed = "a group of seats.csv: " + ", ".join(sorted(known))
                    problems.append(row.problem(column, f"'{name}'", allowed, "correct it"))
        if _reaches(after, row["id"]):
            problems.append(
                row.problem(
                    "after",
                    f"'{' '.join(row['after'])}', which waits for {row['id']} itself",
                    "an order without a circle",
                    "take one of them out",
                )
            )


def _reaches(after: Mapping[str, tuple[str, ...]], start: str) -> bool:
    """Say whether a group waits for itself through the others."""
    seen: set[str] = set()
    open_ = list(after[start])
    while open_:
        name = open_.pop()
        if name == start:
            return True
        if name not in seen:
            seen.add(name)
            open_.extend(after.get(name, ()))
    return False


def _bases(rows: list[Row], problems: list[Problem]) -> None:
    for row in rows:
        if row["base_most"] is not None and row["base_most"] < row["base"] - 1e-12:
            problems.append(
                row.problem("base_most", "less than base", "at least base", "correct one of them")
            )
