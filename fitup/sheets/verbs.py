"""What the verbs of a procedure are called where a group does not push up.

A cable is pulled and a saddle is pushed as a deck is raised and lowered: by the same events. A
crew must not read RAISE where nothing goes up.
"""

from __future__ import annotations

from collections.abc import Sequence

from fitup.model import Job


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


def part_called(job: Job, seats: Sequence[str], title: str) -> str:
    """Return what a part of the work is called.

    Parameters
    ----------
    job : Job
    seats : sequence of str
        All seats of the crew.
    title : str
        Where the group pushes up.
    """
    if _on_nuts(job, seats) and "change the packs" in title:
        return "Onto the lock nuts, free the load"
    if _lifts(job, seats):
        return title
    out = verb_called(job, seats, "RAISE").capitalize()
    return {"Lift": out, "Lower and land": "Let back and land"}.get(title, title)


def note_called(job: Job, seats: Sequence[str], note: str) -> str:
    """Return the note of an event: where nuts hold, nuts come loose and not packs.

    Parameters
    ----------
    job : Job
    seats : sequence of str
        All seats of the crew.
    note : str
        Where packs hold.
    """
    if _on_nuts(job, seats):
        return note.replace("every pack loose", "every lock nut loose")
    return note


def _on_nuts(job: Job, seats: Sequence[str]) -> bool:
    return all(job.seats[s].held_by == "nut" for s in seats)


def _lifts(job: Job, seats: Sequence[str]) -> bool:
    return any(job.seats[s].pushes == "up" for s in seats)
