"""Hold points of printed stages that were reached and not yet released."""

from __future__ import annotations

from collections.abc import Sequence

from fitup.record.check_code import check_code
from fitup.record.events import RELEASED, STAGE_DONE, Event


def open_holds(events: Sequence[Event]) -> tuple[str, ...]:
    """Return in words the hold points after stages that were reported and not released since."""
    waiting: dict[tuple[str, int], None] = {}
    for event in events:
        if event.kind == STAGE_DONE:
            waiting[event.about, int(event.says["stage"])] = None
        elif event.kind == RELEASED:
            waiting.pop((event.about, int(event.says["stage"])), None)
    return tuple(
        f"hold point after stage {stage} of plan {check_code(plan)}" for plan, stage in waiting
    )
