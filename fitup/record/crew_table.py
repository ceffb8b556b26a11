"""What was reported of the stages of a plan, as the table that the next round starts from."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from fitup.model import Job
from fitup.record.acts import stage_done
from fitup.record.events import Event
from fitup.record.people import People
from fitup.units import from_si

#: as docs/loop.md has them, but times are UTC, as all times of the record: said beside who read
_COLUMNS: Final = (
    "stage", "moment", "seat", "jack", "movement_mm", "side", "load_kN", "pack", "who", "time",
)  # fmt: skip


def crew_table(events: Sequence[Event], people: People, plan: str, job: Job) -> str:
    """Return the last report of every stage of a plan as CSV.

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
    stages = sorted({e.says["stage"] for e in events if e.about == plan and "verdict" in e.says})
    for stage in stages:
        event = stage_done(events, plan, stage)
        if event is not None:
            who = people[event.who].name if event.who in people else event.who
            own = {"stage": stage, "who": f"{who} (UTC)", "time": event.when[:16]}
            writer.writerows({**row, **own} for row in _rows(event.says["readings"], job))
    return target.getvalue()


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
        elif what == "load" and value is not None:
            load = f"{from_si(value, 'force', 'kN'):.3f}"
            yield {"moment": "raised", "seat": job.jacks[name].seat, "jack": name, "load_kN": load}
        elif what == "pack" and pack is not None:
            yield {"moment": "end", "seat": name, "pack": "+".join(pack)}
