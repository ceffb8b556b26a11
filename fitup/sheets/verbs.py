"""What the verbs of a procedure are called where a group does not push up.

A cable is pulled and a saddle is pushed as a deck is raised and lowered: by the same events. A
crew must not read RAISE where nothing goes up.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from fitup.model import Job, WorkEvent
from fitup.model.procedure import Phase

#: what a verb asks, where it is not the verb itself
_ASKS: Final = {
    "TAKE UP": "TAKE UP, gauge to",
    "RAISE": "RAISE, ram to",
    "LOWER": "LOWER, ram to",
    "PUSH": "PUSH, ram to",
    "PULL": "PULL, ram to",
    "LET BACK": "LET BACK, ram to",
    "FOLLOW WITH NUT": "NUT FOLLOWS",
    "FOLLOW WITH PLATES": "PLATES FOLLOW",
}
#: where a dial stands that is not on the deck: direction of the seats -> its place
_DIALS: Final = {"shorten": "dial at the end of the cable", "main_span": "dial on the saddle"}


def verb_called(job: Job, seats: Sequence[str], verb: str) -> str:
    """Return the verb a crew reads.

    Parameters
    ----------
    job : Job
    seats : sequence of str
        All seats of the crew.
    verb : str
        Of the event.
    """
    if _lifts(job, seats):
        return verb
    out = "PULL" if all(job.seats[s].pushes == "shorten" for s in seats) else "PUSH"
    return {"RAISE": out, "LOWER": "LET BACK"}.get(verb, verb)


def line_called(job: Job, seats: Sequence[str], event: WorkEvent) -> str:
    """Return what a line asks, and after a comma by what it is read.

    Parameters
    ----------
    job : Job
    seats : sequence of str
        All seats of the crew.
    event : WorkEvent
    """
    if event.verb == "FOLLOW WITH NUT" and event.phase == "lower":
        return "NUT BACK, gap of"
    verb = verb_called(job, seats, event.verb)
    return _ASKS.get(verb, verb)


#: parts of the work of a crew that only pushes: nothing is lifted, nothing lands
_OF_A_PUSH: Final = {
    "set": "Touch",
    "touch": "Touch",
    "rest": "Onto the lock nuts",
    "plates": "Change the packs by tool",
    "off": "Jacks off",
}


def part_called(job: Job, seats: Sequence[str], title: str, phase: Phase) -> str:
    """Return what a part of the work is called.

    Parameters
    ----------
    job : Job
    seats : sequence of str
        All seats of the crew.
    title : str
        Where the group pushes up.
    phase : str
        Of the events in it.
    """
    if _on_nuts(job, seats) and "change the packs" in title:
        return "Onto the lock nuts, free the load"
    if _lifts(job, seats):
        return title
    if not any(job.seats[s].comes_back for s in seats):
        return _OF_A_PUSH.get(phase, title)
    out = verb_called(job, seats, "RAISE").capitalize()
    return {"Lift": out, "Lower and land": "Let back and land"}.get(title, title)


def note_called(job: Job, seats: Sequence[str], note: str) -> str:
    """Return the note of an event, true of what holds the seats and of what moves.

    A lock nut that holds carries until START: it is not run back when the jack is set, and comes
    loose as a pack does.

    Parameters
    ----------
    job : Job
    seats : sequence of str
        All seats of the crew.
    note : str
        Where packs hold, jacks have lock nuts and the deck is lifted.
    """
    note = note.replace("nut run back, valves", f"{_nuts_at_first(job, seats)}valves")
    if _on_nuts(job, seats):
        note = note.replace("every pack loose", "every lock nut loose")
    if _lifts(job, seats):
        return note
    note = note.replace("plumb on its base", "square on its base")
    pushes = {job.seats[s].pushes for s in seats}
    for own, where in _DIALS.items():
        if pushes == {own}:
            note = note.replace("dial on the deck", where)
    return note


def _nuts_at_first(job: Job, seats: Sequence[str]) -> str:
    """Say what is done with lock nuts while a jack is set; the load is not on it yet."""
    if _on_nuts(job, seats):
        return "the lock nut that holds stays home, "
    if any(job.seats[s].held_by == "nut" for s in seats):
        return "nut run back, but a lock nut that holds stays home, "
    return "nut run back, " if any(j.lock_nut for s in seats for j in job.jacks_at(s)) else ""


def _on_nuts(job: Job, seats: Sequence[str]) -> bool:
    return all(job.seats[s].held_by == "nut" for s in seats)


def _lifts(job: Job, seats: Sequence[str]) -> bool:
    return any(job.seats[s].pushes == "up" for s in seats)
