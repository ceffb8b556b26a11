"""Present loads that were computed, held against seats and jacks as measured ones are."""

from __future__ import annotations

from fitup.errors import StructureError
from fitup.model import Influence, Job, Seat
from fitup.units import DISPLAY

#: a computed load may pass a limit by this much, as rounding [N]
_ROUND = 1.0


def require_bearable(job: Job, influence: Influence) -> None:
    """Refuse a job whose seats or jacks could not bear even the present state.

    Measured loads were held against the limits when the job folder was read.

    Parameters
    ----------
    job : Job
    influence : Influence
        Its ``r0`` are the present reactions [N].

    Raises
    ------
    StructureError
        With one line for every seat outside its limits or above its jacks.
    """
    lines = [
        line
        for name, load in zip(influence.seats, influence.r0.tolist(), strict=True)
        if job.seats[name].reaction_now is None
        for line in _overloads(job, job.seats[name], load)
    ]
    if lines:
        raise StructureError("\n".join(lines))


def _overloads(job: Job, seat: Seat, load: float) -> list[str]:
    force = DISPLAY[job.units].force
    start = f"seat {seat.id}: carries {force.text(load)} now, computed from the weight, "
    lines = []
    if not seat.reaction_least - _ROUND <= load <= seat.reaction_most + _ROUND:
        lines.append(
            f"{start}outside its own limits of {force.text(seat.reaction_least)} to "
            f"{force.text(seat.reaction_most)}; check weight and limits, or give reaction_now in "
            "seats.csv"
        )
    capacity = sum(jack.capacity for jack in job.jacks_at(seat.id))
    if not seat.hold and load > capacity + _ROUND:
        lines.append(
            f"{start}on jacks of {force.text(capacity)} in all; more or larger jacks at this "
            "seat in jacks.csv, or hold = yes in seats.csv"
        )
    return lines
