"""What stands open: a STOP that was called, hold points reached and not yet released."""

from __future__ import annotations

from collections.abc import Sequence

from fitup.record.check_code import check_code
from fitup.record.events import APPROVED, RELEASED, STAGE_DONE, STOP, Event


def open_stop(events: Sequence[Event]) -> str:
    """Return the last STOP in words, empty where none stands.

    It stands until somebody releases a hold point or approves a plan; both then need the reason.
    """
    settled = max((e.number for e in events if e.kind in (RELEASED, APPROVED)), default=0)
    stops = [e for e in events if e.kind == STOP and e.number > settled]
    return f"STOP was called (entry {stops[-1].number}): {stops[-1].says['why']}" if stops else ""


def open_holds(events: Sequence[Event]) -> tuple[str, ...]:
    """Return in words a STOP that stands, and hold points after stages not released since."""
    waiting: dict[tuple[str, int], None] = {}
    for event in events:
        if event.kind == STAGE_DONE:
            waiting[event.about, int(event.says["stage"])] = None
        elif event.kind == RELEASED:
            waiting.pop((event.about, int(event.says["stage"])), None)
    stop = open_stop(events)
    return (
        *((stop,) if stop else ()),
        *(f"hold point after stage {stage} of plan {check_code(plan)}" for plan, stage in waiting),
    )
