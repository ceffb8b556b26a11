"""Packs that the engineer asks for, seat by seat, on the command line: ``--give SEAT=PACK``."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

import click

from fitup.errors import InputError, Problem
from fitup.model import Job, Seat
from fitup.openjob import OpenJob
from fitup.sheets.words import directions
from fitup.units import DISPLAY

give_option = click.option(
    "--give",
    multiple=True,
    metavar="SEAT=PACK",
    help="The pack a seat is to get, as W7-S1=P40+P5, or the move of its nut in words.",
)


def with_given(opened: OpenJob, given: tuple[str, ...]) -> OpenJob:
    """Return an opened job in which seats get the packs asked for.

    Raises
    ------
    InputError
        For a seat, plate or move that the job does not have, and a seat that is to stay.
    """
    job = opened.job
    asked: dict[str, tuple[str, ...] | float] = {}
    problems: list[Problem] = []
    for text in given:
        try:
            name, wanted = _read(job, text)
        except InputError as error:
            problems += error.problems
            continue
        if name in asked:
            problems.append(_problem(text, "each seat once", "leave one of the two out"))
        asked[name] = wanted
    if problems:
        raise InputError(problems)
    return opened.changed(replace(job, given=asked)) if asked else opened


def given_words(job: Job, given: tuple[str, ...]) -> str:
    """Say which packs were asked for, and what that leaves to the proof; empty where none."""
    if not given:
        return ""
    rest = len(job.seats) - len(given)
    proof = f"the proof holds for the other {rest} seats" if rest else "nothing was left to choose"
    return f"Packs given by hand: {', '.join(given)}; {proof}."


def _read(job: Job, text: str) -> tuple[str, tuple[str, ...] | float]:
    name, sign, what = text.partition("=")
    if not sign or not what:
        allowed = "SEAT=PACK, e.g. W7-S1=P40+P5"
        raise InputError([_problem(text, allowed, "write seat, an equals sign and the pack")])
    if name not in job.seats:
        allowed = f"a seat of the job: {', '.join(job.seats)}"
        raise InputError([_problem(text, allowed, "mend the name")])
    seat = job.seats[name]
    wanted = _move(job, seat, what, text) if seat.held_by == "nut" else _pack(job, what, text)
    stays = 0.0 if seat.held_by == "nut" else seat.pack
    if (seat.hold or name in job.objectives.leave_alone) and wanted != stays:
        allowed = "nothing: this seat is to stay as it is"
        raise InputError([_problem(text, allowed, "take hold or leave_alone out of the job first")])
    return name, wanted


def _pack(job: Job, what: str, text: str) -> tuple[str, ...]:
    marks = tuple(mark.strip() for mark in what.split("+"))
    if any(mark not in job.plates for mark in marks):
        allowed = f"plate marks joined by +: {', '.join(job.plates)}"
        raise InputError([_problem(text, allowed, "mend the marks")])
    return marks


def _move(job: Job, seat: Seat, what: str, text: str) -> float:
    """Read a move of a nut as it is printed, and return the step of its jack [m]."""
    shown = DISPLAY[job.units].move
    step = max(jack.resolution for jack in job.jacks_at(seat.id))
    for setting in _settings(seat.pushes, shown.word, what):
        exact = shown.back(setting)
        nearest = round(exact / step) * step
        if abs(nearest - exact) <= shown.half_step * (1.0 + 1e-6):
            return nearest
    out, back = directions(seat.pushes)
    allowed = (
        f"stays, {out} or {back} and whole steps of {shown.text(step)}, as fitup plan prints it"
    )
    raise InputError([_problem(text, allowed, "mend the move")])


def _settings(pushes: str, unit: str, what: str) -> Iterator[float]:
    """Yield the number in the unit of moves, with its sign, where the words are understood."""
    if what.strip() == "stays":
        yield 0.0
    for sign, word in zip((1.0, -1.0), directions(pushes), strict=True):
        found = re.fullmatch(rf"{word} (\d+(?:\.\d+)?) {unit}", what.strip())
        if found:
            yield sign * float(found[1])


def _problem(found: str, allowed: str, do: str) -> Problem:
    return Problem("command line", repr(found), allowed, do, None, "--give")
