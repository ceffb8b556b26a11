"""Look keys up in the tables of ``job.toml``: any unit, nothing unknown, nothing beyond measure."""

from __future__ import annotations

import difflib
import math
import warnings
from collections.abc import Mapping
from typing import Any, Final

from fitup import units
from fitup.errors import Problem
from fitup.model.trust import COLDEST_STEEL, HOTTEST_STEEL

FILE: Final = "job.toml"
#: tables of job.toml that had another name before
_RENAMED: Final = {"wishes": "objectives"}
#: a name or source that stands on a sheet [characters]
_LONGEST: Final = 500
#: the widest that can be meant by any key of a dimension, in SI (common practice, no source)
_WIDEST: Final = {
    "": (-1e9, 1e9),
    "length": (-100.0, 100.0),
    "force": (-1e9, 1e9),
    "stiffness": (-1e13, 1e13),
    "slope": (-1.0, 1.0),
    "roughness": (-1.0, 1.0),
    "angle": (-7.0, 7.0),
    "temperature": (COLDEST_STEEL, HOTTEST_STEEL),
    "temperature_step": (-100.0, 100.0),
    "time": (-3.2e8, 3.2e8),
    "time_s": (-1e7, 1e7),
}


class KeyReader:
    """Collects problems while it looks keys up in nested tables of a TOML document."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems

    def complain(self, key: str, found: str, allowed: str, do: str) -> None:
        """Note a problem of one key.

        Parameters
        ----------
        key : str
            With the tables that it stands in, such as ``influence.model``.
        found, allowed, do : str
            As in :class:`fitup.errors.Problem`.
        """
        self.problems.append(Problem(FILE, found, allowed, do, column=key))

    def unknown(self, where: str, table: Mapping[str, Any], allowed: list[str]) -> None:
        """Note the keys of a table that are not allowed.

        Parameters
        ----------
        where : str
            What stands before its keys in a problem, such as ``gates.``; empty at the top.
        table : mapping
        allowed : list of str
            Keys with their unit suffixes.
        """
        for key in table:
            if key in allowed:
                continue
            near = difflib.get_close_matches(key, allowed, n=1, cutoff=0.5)
            advice = f"did you mean {near[0]}?" if near else "delete it or correct its name"
            self.complain(f"{where}{key}", "an unknown key", ", ".join(allowed), advice)

    def number(
        self, where: str, table: Mapping[str, Any], name: str, dimension: str, needed: bool = False
    ) -> float | None:
        """Find a number under any unit suffix of its dimension and return it in SI.

        Parameters
        ----------
        where : str
            What stands before its keys in a problem, such as ``gates.``; empty at the top.
        table : mapping
        name : str
            Key without its unit.
        dimension : str
            As for :func:`spellings`.
        needed : bool
            Whether it is a problem if there is no such key.

        Returns
        -------
        float or None
            None where there is none, or a problem is noted.
        """
        names = spellings(name, dimension)
        present = [n for n in names if n in table]
        if len(present) > 1:
            self.complain(
                f"{where}{present[1]}", "the same value in two units", "one unit", "delete one"
            )
            return None
        if not present:
            if name in table and name not in names:
                self.complain(
                    f"{where}{name}", "no unit", "one of: " + ", ".join(names), "add the unit"
                )
            elif needed:
                self.complain(
                    f"{where}{names[0]}", "no such key", "one of: " + ", ".join(names), "add it"
                )
            return None
        key = present[0]
        value = table[key]
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not math.isfinite(value)
        ):
            self.complain(f"{where}{key}", repr(value), "a finite number", "correct it")
            return None
        suffix = key[len(name) + 1 :]
        known = dimension in units.FACTORS or dimension == "temperature"
        si = units.to_si(float(value), dimension, suffix) if known else float(value)
        least, most = _WIDEST.get(dimension, (-math.inf, math.inf))
        if not least <= si <= most:
            bounds = [units.from_si(b, dimension, suffix) if known else b for b in (least, most)]
            allowed = f"{bounds[0]:.10g} to {bounds[1]:.10g}"
            self.complain(f"{where}{key}", f"{value:g}", allowed, "correct it, or its unit")
            return None
        return si

    def given(self, table: Mapping[str, Any], name: str, dimension: str) -> tuple[str, str]:
        """Return the key under which a number stands, and the number, as they were written.

        Parameters
        ----------
        table : mapping
            Known to hold the number.
        name : str
            Key without its unit.
        dimension : str
            As for :func:`spellings`.
        """
        key = next(k for k in spellings(name, dimension) if k in table)
        return key, f"{table[key]:g}"

    def text(self, where: str, table: Mapping[str, Any], name: str, needed: bool = True) -> str:
        """Return a text, empty where there is none or it is noted as a problem.

        Parameters
        ----------
        where : str
            What stands before its keys in a problem, such as ``gates.``; empty at the top.
        table : mapping
        name : str
        needed : bool
            Whether it is a problem if there is no such key.
        """
        value = table.get(name)
        if value is None and not needed:
            return ""
        if not isinstance(value, str) or not value.strip():
            found = "no such key" if value is None else repr(value)
            self.complain(f"{where}{name}", found, "a text in quotes", "add it")
            return ""
        if len(value) > _LONGEST:
            found, allowed = f"{len(value)} characters", f"at most {_LONGEST}"
            self.complain(f"{where}{name}", found, allowed, "say it in fewer words")
            return ""
        return value.strip()


def spellings(name: str, dimension: str) -> list[str]:
    """Return the keys under which a value of a dimension may stand.

    Parameters
    ----------
    name : str
        Key without its unit.
    dimension : str
        One of :mod:`fitup.units`, ``time`` (hours or minutes) or ``time_s``; any other has no unit.
    """
    if dimension == "time":
        return [f"{name}_h", f"{name}_min"]
    if dimension == "time_s":
        return [f"{name}_s"]
    if dimension in units.FACTORS or dimension == "temperature":
        return [f"{name}_{s}" for s in units.suffixes(dimension)]
    return [name]


def take_new_names(reader: KeyReader, document: dict[str, Any]) -> None:
    """Put tables under an old name under the new one, with a warning.

    Parameters
    ----------
    reader : KeyReader
    document : dict
        All of ``job.toml``; changed in place.
    """
    for old, new in _RENAMED.items():
        if old not in document:
            continue
        if new in document:
            reader.complain(old, f"[{old}] beside [{new}]", f"[{new}]", f"delete [{old}]")
            del document[old]
            continue
        document[new] = document.pop(old)
        text = f"{FILE}: [{old}] is called [{new}] now; the old name is still read, rename it"
        warnings.warn(text, FutureWarning, stacklevel=2)
