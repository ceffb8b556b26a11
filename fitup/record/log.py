"""The record as it is printed, and as CSV: one line an entry."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any, Final

from fitup.record.check_code import check_code
from fitup.record.events import Event
from fitup.record.people import People

COLUMNS: Final = (
    "entry",
    "when_utc",
    "what",
    "who",
    "plan",
    "stage",
    "says",
    "inputs",
    "outputs",
    "signed",
    "sha256",
)
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def log_rows(events: Sequence[Event], people: People) -> list[dict[str, Any]]:
    """Return one row an entry, its keys those of ``COLUMNS``.

    Parameters
    ----------
    events
    people : mapping of str to Person
        By id; whoever is not among them is shown by the id.
    """
    return [
        {
            "entry": e.number,
            "when_utc": e.when,
            "what": e.kind,
            "who": people[e.who].name if e.who in people else e.who,
            "plan": check_code(e.about) if e.about else "",
            "stage": e.says.get("stage", ""),
            "says": says_words(e),
            "inputs": len(e.inputs),
            "outputs": len(e.outputs),
            "signed": "yes" if e.signature else "no",
            "sha256": e.hash,
        }
        for e in events
    ]


def says_words(event: Event) -> str:
    """Say in a line what an entry adds to its kind."""
    says = event.says
    if "after" in says:
        return f"goes on from record code {check_code(str(says['after']))}"
    parts: list[str] = [str(says[k]) for k in ("verdict", "status", "goal", "why") if says.get(k)]
    parts += [str(line) for line in says.get("reasons", ())]
    if "joints" in says:
        parts.append("joints " + ", ".join(says["joints"]))
    if says.get("contingencies") and "content" in says:
        parts.append(f"with contingencies {check_code(str(says['contingencies']))}")
    if "inside" in says:
        parts.append("every check inside" if says["inside"] else "a check OUTSIDE")
    return "; ".join(parts)


def log_csv(rows: Iterable[dict[str, Any]]) -> str:
    """Return the log as CSV."""
    target = io.StringIO()
    writer = csv.writer(target, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in rows:
        # a name must not become a formula in a spreadsheet
        writer.writerow(
            f"'{v}" if isinstance(v, str) and v.startswith(_FORMULA) else v for v in row.values()
        )
    return target.getvalue()


def head_code(events: Sequence[Event]) -> str:
    """Return the short code of a whole record: that of its last entry."""
    return check_code(events[-1].hash) if events else ""
