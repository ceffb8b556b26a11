"""Cautions that go on every sheet, in the crew's words."""

from __future__ import annotations

from fitup.model import Job, circuits_of
from fitup.sheets.numbers import rounded
from fitup.sheets.work import Condition
from fitup.units import DISPLAY

#: at the foot of every page
STRIP = (
    "AID TO A COMPETENT ENGINEER ONLY: local codes, the project specification and licensed "
    "practice govern. Nobody works or reaches under a load that stands on jacks alone: packs or "
    "lock nuts follow the lift. STOP when a band is passed. Plates go in by tool, never by hand. "
    "Valid only for the survey, steel temperature and loads stated."
)


def cautions(job: Job) -> tuple[str, ...]:
    """Return the full list of cautions with the job's own follow-up distance."""
    follow = rounded(job.working.follow_up, DISPLAY[job.units].move)
    valves = ", ".join(circuit.id for circuit in circuits_of(job, job.seats))
    linked = f", but on {valves}, where these sheets link them on purpose" if valves else ""
    return (
        *(f"WAIVED IN WRITING: {line}." for line in job.waived),
        "This sheet is an aid to a competent engineer. Local codes, the project specification "
        "and licensed practice govern, and come before anything printed here.",
        "Nobody works, stands or reaches under a load that is held by jacks alone. Packs or lock "
        f"nuts follow the load at once, never more than {follow.full} behind.",
        "Movement governs; pressure is the alarm. STOP when either passes its limit. Equal "
        "pressure does not mean equal movement.",
        "One person calls the moves. Anybody may call STOP, and everybody stops.",
        "Nobody under the deck, or in line with jacks, hoses, bars or wedges, while pressure is "
        "on or changing.",
        "Plates are slid with push tools. No hand or foot goes into a pack gap, ever.",
        "No jack goes past its marked capacity or its positive stop. Jacks stand plumb on a firm, "
        "level, non-slip base under a stiffened point of the deck; gauges are in calibration.",
        f"Jacks of different ram area never share one line without separate flow control{linked}.",
        "Pump power or a hose lost: lock nuts down and packs up first, think afterwards.",
        "Never let a ram all the way in under load. After a shock, a crack, a bang or a dial that "
        "runs backwards: stop, make safe, inspect, call the engineer.",
        "The plan holds for the survey, steel temperature and deck loads stated, and for nothing "
        "else. If one of them has changed, ask the engineer before the first stroke.",
    )


#: to tick before every stage: the words beside the box, and in full on the first leaf
EVERY_STAGE = (
    Condition(
        "No crane, truck or stored material has moved on the deck since the survey.",
        "nothing moved on the deck",
    ),
    Condition(
        "Present and named: jacking supervisor (the one who calls), pump hands, shim hands, dial "
        "readers, surveyor, engineer for the hold point, safety watch.",
        "everybody present and named",
    ),
    Condition(
        "Exclusion zone closed and watched: under the segment that moves and in line with its "
        "jacks, hoses and bars.",
        "zone closed, watched",
    ),
    Condition(
        "Jack ids painted on the jacks agree with this sheet; gauges and dials read; plates laid "
        "out by mark and measured again.",
        "jack ids, gauges, dials, plates",
    ),
    Condition(
        "Wind and weather are within what the engineer allows; steel temperature read at the deck.",
        "wind, weather, steel temperature",
    ),
    Condition(
        "Everything that could hold the deck (bolts, keys, bars, tacks) is free as the engineer "
        "ordered.",
        "nothing holds the deck",
    ),
)


def conditions(*own: str) -> tuple[Condition, ...]:
    """Return the lines to tick before a stage starts: its own, then those of every stage."""
    return (*(Condition(line) for line in own if line), *EVERY_STAGE)


def way_back(*, vertical: bool, nuts: bool, returns: bool = False) -> str:
    """Say how a stage is left in the middle; only the engineer orders it.

    Parameters
    ----------
    vertical : bool
        A seat of the stage pushes up; the other two then do not matter.
    nuts : bool
        All its seats are held by lock nuts, none by packs.
    returns : bool
        The pull of a cable brings all its seats back by itself.
    """
    if vertical:
        return (
            "WAY BACK to the last hold point: the side after the hold point, only when the "
            "engineer orders it."
        )
    if returns:
        return (
            "WAY BACK, only when the engineer orders it: all jacks together, the same steps in "
            "reverse, packs or nuts following, back to what each seat had before this stage. The "
            "cable brings it back: never let it go faster than the jacks."
        )
    hold = "nuts run up" if nuts else "packs set up"
    return (
        f"WAY BACK, only when the engineer orders it: {hold} to the deck where it stands, then "
        "let the load off all jacks together. Do not push the deck back."
    )


#: what the crew does when a band is passed
BAND_PASSED = (
    "STOP all pumps. Hold the valves shut. Say jack id and reading on the radio.",
    "Lock nuts down, packs up to the load. Do not lower to 'put it right'.",
    "Write the reading of every jack and gauge beside the step where you stopped.",
    "Call the engineer. Go on only with the engineer's name and time in the hold box.",
)

#: who must sign the hold point after a stage
HOLD = "Nobody goes on until the engineer has read the checks and signed."
