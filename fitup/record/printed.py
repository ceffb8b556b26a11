"""What a printed set of sheets says, as one hash: it is signed, and later prints must say it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from fitup.record.canonical import canonical
from fitup.record.readback import FORM

#: what of ``sheets.json`` a person acts on; where the plan stands is said beside it and may change
_CONTENT: Final = (
    "job",
    "plan_id",
    "inside",
    "tables",
    "cautions",
    "understood",
    "statements",
    "printed",
)


@dataclass(frozen=True, slots=True)
class Signed:
    """What an approval signs beside the plan and its files: the printed set that was read.

    Parameters
    ----------
    content : str
        Hash of what the sheets say, recomputed; see :func:`content_of`.
    stages : int
        How many there are.
    lift_off : mapping of str to sequence of str
        Stage -> jacks whose load must have been measured before it.
    contingencies : str
        Id of the answers to failures that are approved with it, empty where none are.
    """

    content: str = ""
    stages: int = 0
    lift_off: Mapping[str, Sequence[str]] = field(default_factory=dict)
    contingencies: str = ""


def _without_record(tables: Mapping[str, Any]) -> dict[str, Any]:
    """Leave out of the form where the record stood when it was printed: that may change too."""
    return {
        name: [{k: v for k, v in row.items() if k != "record"} for row in rows]
        if name == FORM
        else rows
        for name, rows in tables.items()
    }


def content_of(listed: bytes) -> str:
    """Return the hash of what a set of sheets says, from its ``sheets.json``.

    Raises
    ------
    ValueError
        If it is not the list of a set.
    """
    try:
        data: Mapping[str, Any] = json.loads(listed)
        content = {name: data[name] for name in _CONTENT}
        content["tables"] = _without_record(content["tables"])
        return hashlib.sha256(canonical(content)).hexdigest()
    except (KeyError, TypeError, AttributeError, RecursionError) as error:
        raise ValueError(f"not the list of a set of sheets: {error!r}") from None
