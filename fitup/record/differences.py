"""What changed between the files of two entries, in words: ``plate P10: count was 6, is 5``."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

from fitup.errors import InputError
from fitup.jobfolder.keys import FILE as SETTINGS
from fitup.jobfolder.schema import TABLES
from fitup.plainfile import parse_toml
from fitup.record.contents import SURVEY_SETTINGS, Files
from fitup.record.plan_changes import plan_changes
from fitup.record.plans import FILE as PLAN
from fitup.record.survey_changes import survey_changes, survey_lists
from fitup.record.table_changes import table_changes

Changes = Iterator[str]
_ONLY_LOOKS: Final = "{name}: only comments, spacing or order were changed"


def changes(before: Files, after: Files) -> tuple[str, ...]:
    """Say what changed from one set of files to another, file by file.

    Parameters
    ----------
    before, after : mapping of str to bytes
        Input files of a job by name, and ``plan.json`` where there is a plan.

    Returns
    -------
    tuple of str
        Empty where every byte is the same.
    """
    lists = survey_lists(before) | survey_lists(after)
    said: list[str] = []
    for name in sorted(before.keys() | after.keys()):
        old, new = before.get(name), after.get(name)
        if old == new:
            continue
        if old is None or new is None:
            said.append(f"{name} was {'added' if old is None else 'taken out'}")
        elif name not in lists:
            own = list(_of_file(name, old, new, before, after))
            said += own or [_ONLY_LOOKS.format(name=name)]
    said += _of_lists(lists, before, after)
    return tuple(said)


def _of_file(name: str, old: bytes, new: bytes, before: Files, after: Files) -> Changes:
    if name in TABLES:
        return table_changes(name, old, new)
    if name == SETTINGS:
        return _settings(name, old, new, lambda raw: parse_toml(raw.decode("utf-8-sig"), name))
    if name == SURVEY_SETTINGS:
        return _settings(SETTINGS, old, new, json.loads)
    if name == PLAN:
        return plan_changes(old, new, before, after)
    return iter([f"{name} was changed"])


def _of_lists(lists: frozenset[str], before: Files, after: Files) -> list[str]:
    """Say which targets moved; one line for the list where they cannot be stated."""
    changed = [n for n in sorted(lists) if before.get(n) != after.get(n)]
    if not changed:
        return []
    moved = survey_changes(before, after)
    if moved is None:
        return [f"{n} was changed" for n in changed if n in before and n in after]
    both = [n for n in changed if n in before and n in after]
    return moved or [_ONLY_LOOKS.format(name=n) for n in both]


def _settings(name: str, old: bytes, new: bytes, read: Callable[[bytes], Any]) -> Changes:
    try:
        one, other = _flat(read(old)), _flat(read(new))
    except (UnicodeDecodeError, ValueError, RecursionError, InputError):
        yield f"{name} was changed"
        return
    for key in sorted(one.keys() | other.keys()):
        if key not in other:
            yield f"{name}, {key}: was {one[key]}, is left out"
        elif key not in one:
            yield f"{name}, {key}: is new, {other[key]}"
        elif one[key] != other[key]:
            yield f"{name}, {key}: was {one[key]}, is {other[key]}"


def _flat(value: Any, at: str = "") -> dict[str, Any]:
    """Return settings by their path; a survey is called by its file."""
    if isinstance(value, Mapping):
        link = ", " if " " in at else "."
        parts = [(f"{at}{link}{key}" if at else str(key), v) for key, v in value.items()]
    elif isinstance(value, list) and value and all(isinstance(v, Mapping) for v in value):
        parts = [
            (f"{at} {v.get('file', v.get('observations', i + 1))}", v) for i, v in enumerate(value)
        ]
    else:
        return {at: value}
    return {key: v for path, part in parts for key, v in _flat(part, path).items()}
