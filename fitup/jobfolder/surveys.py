"""Put new surveys into the text of ``job.toml``; all that is not about them stays as written."""

from __future__ import annotations

import datetime as dt
import json
import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any, Final

from fitup.errors import InputError, Problem
from fitup.jobfolder.keys import FILE

_HEADER: Final = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(#.*)?$")


def survey_entries(text: str) -> list[dict[str, Any]]:
    """Return the ``[[survey]]`` tables of a job.toml that was read without a problem."""
    entries = tomllib.loads(text).get("survey", [])
    return [dict(entry) for entry in entries]


def with_surveys(
    text: str, entries: Sequence[Mapping[str, Any]], included: Sequence[str] = ()
) -> str:
    """Return a job.toml with other surveys.

    Parameters
    ----------
    text : str
    entries : sequence of mapping
        The new ``[[survey]]`` tables, in the order they are to stand; none leaves none.
    included : sequence of str
        Ids taken out of ``[exclude]``.

    Raises
    ------
    InputError
        If the surveys or exclusions are written in a way that cannot be changed line by line.
    """
    kept = _without(text, set(included))
    result = kept.rstrip("\n") + "\n"
    for entry in entries:
        result += "\n[[survey]]\n" + "".join(f"{k} = {_value(v)}\n" for k, v in entry.items())
    _require_only(text, result, entries, set(included))
    return result


def _without(text: str, included: set[str]) -> str:
    """Drop the lines of all surveys, and those of ids that are not excluded any more."""
    kept: list[str] = []
    dropped: list[str] = []
    section = ""
    for line in text.splitlines():
        header = _HEADER.match(line)
        if header:
            if section == "survey":
                kept += _remarks_before(dropped)
                dropped = []
            section = header[2]
        if section == "survey":
            dropped.append(line)
        elif section == "exclude" and _key(line) in included:
            continue
        else:
            kept.append(line)
    return "\n".join(kept) + "\n"


def _remarks_before(dropped: list[str]) -> list[str]:
    """Return the remarks that end a dropped section: they belong to what follows."""
    count = 0
    while count < len(dropped) and (
        not dropped[-1 - count].strip() or dropped[-1 - count].lstrip().startswith("#")
    ):
        count += 1
    return dropped[len(dropped) - count :]


def _key(line: str) -> str:
    return line.split("=", 1)[0].strip().strip("\"'")


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dt.datetime):
        return value.isoformat()
    if isinstance(value, list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, str):
        # a JSON string is a TOML basic string
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {_value(v)}" for k, v in value.items()) + "}"
    return repr(value)


def _require_only(
    old: str, new: str, entries: Sequence[Mapping[str, Any]], included: set[str]
) -> None:
    """Refuse a text that says anything else than the old one with other surveys."""
    wanted = tomllib.loads(old)
    wanted.pop("survey", None)
    if entries:
        wanted["survey"] = [dict(entry) for entry in entries]
    if "exclude" in wanted:
        wanted["exclude"] = {k: v for k, v in wanted["exclude"].items() if k not in included}
    try:
        said = tomllib.loads(new)
    except tomllib.TOMLDecodeError:
        said = {}
    if said != wanted:
        raise InputError(
            [
                Problem(
                    FILE,
                    "surveys or exclusions that cannot be changed line by line",
                    "[[survey]] blocks, and one id a line under [exclude]",
                    "write them so, or make the next job by hand",
                )
            ]
        )
