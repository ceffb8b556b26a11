"""What was reported of the stages of a plan, as the table that the next round starts from."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from fitup.model import Job
from fitup.record.events import STAGE_DONE, Event
from fitup.record.people import People
from fitup.units import from_si

#: as docs/loop.md has them, but times are UTC, as all times of the record: said beside who read
_COLUMNS: Final = (
    "stage", "moment", "seat", "jack", "movement_mm", "side", "load_kN", "pack", "who", "time",
)  # fmt: skip
#: what is read -> its moment in that table
_LOADS: Final = {"load": "raised", "lift-off": "lift-off"}


def crew_table(events: Sequence[Event], people: People, plan: str, job: Job) -> str:
    """Return what was reported of every stage of a plan as CSV.

    Parameters
    ----------
    events, people
        Of the record.
    plan : str
        Its id.
    job : Job
        As it was planned: which seat a jack serves and which way it pushes.
    """
    target = io.StringIO()
    writer = csv.DictWriter(target, _COLUMNS, lineterminator="\n")
    writer.writeheader()
    reports = [e for e in events if e.kind == STAGE_DONE and e.about == plan]
    for stage in sorted({int(e.says["stage"]) for e in reports}):
        own = [e for e in reports if e.says["stage"] == stage]
        # what several crews report of a stage is one table: of each reading the last one counts
        last = {r["read"]: (e, r) for e in own for r in e.says["readings"] if _taken(r)}
        for event in own:
            rows = [reading for e, reading in last.values() if e is event]
            who = people[event.who].name if event.who in people else event.who
            same = {"stage": stage, "who": f"{who} (UTC)", "time": event.when[:16]}
            writer.writerows({**row, **same} for row in _rows(rows, job))
    return target.getvalue()


def _taken(reading: Mapping[str, Any]) -> bool:
    return reading["value_si"] is not None or reading["pack"] is not None


def _rows(readings: Sequence[Mapping[str, Any]], job: Job) -> Iterator[dict[str, Any]]:
    for reading in readings:
        what, _, name = str(reading["read"]).partition(" ")
        value, pack = reading["value_si"], reading["pack"]
        if what == "ram" and value is not None:
            seat = job.seats[job.jacks[name].seat]
            words = ("above", "below") if seat.pushes == "up" else ("beyond", "short")
            size = f"{from_si(abs(value), 'length', 'mm'):.3f}"
            side = "" if not value else words[0 if value > 0.0 else 1]
            moved = {"movement_mm": size, "side": side}
            yield {"moment": "end", "seat": seat.id, "jack": name, **moved}
        elif what in _LOADS and value is not None:
            load = f"{from_si(value, 'force', 'kN'):.3f}"
            seat_id = job.jacks[name].seat
            yield {"moment": _LOADS[what], "seat": seat_id, "jack": name, "load_kN": load}
        elif what == "pack" and pack is not None:
            yield {"moment": "end", "seat": name, "pack": "+".join(pack)}
