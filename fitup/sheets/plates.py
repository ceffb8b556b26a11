"""Packs of one stage as the crew handles them: cards, temporary plates, the way back, resets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from fitup.certify.facts import PackFact, ResetFact, StageFact
from fitup.model import Job
from fitup.sheets.numbers import rounded, uncertified
from fitup.sheets.places import place_words
from fitup.sheets.words import move_words
from fitup.sheets.work import PlateLine, ResetLine, SeatCard
from fitup.units import DISPLAY


def stage_cards(
    job: Job, stage: StageFact, by_seat: Mapping[str, SeatCard]
) -> tuple[SeatCard, ...]:
    """Return the card of every seat of a stage, with the packs of that stage.

    Parameters
    ----------
    job, stage
    by_seat : mapping of str to SeatCard
        Cards of the whole plan. Seats whose pack does not change in the stage keep theirs.
    """
    packs = {p.seat: p for p in stage.packs}
    return tuple(
        _card(job, by_seat[seat], packs[seat]) if seat in packs else by_seat[seat]
        for seat in stage.seats
    )


def _card(job: Job, card: SeatCard, pack: PackFact) -> SeatCard:
    units = DISPLAY[job.units]

    def lines(marks: Sequence[str]) -> tuple[PlateLine, ...]:
        return tuple(PlateLine(m, uncertified(job.plates[m].measured, units.plate)) for m in marks)

    return replace(
        card,
        move=move_words(card.pushes, pack.move, units),
        pack_now=lines(pack.before),
        out=lines(pack.out),
        put_in=lines(pack.put_in),
        build_up=lines(pack.after),
        height_new=rounded(pack.height_new, units.plate),
        for_good=pack.after == tuple(p.mark for p in card.build_up),
    )


def plates_order(stage: StageFact) -> str:
    """Say in which order the packs of a stage are changed."""
    if not any(p.out or p.put_in for p in stage.packs):
        return ""
    if stage.one_by_one:
        return (
            "One seat after the other, in the order of these cards: its temporary plates and old "
            "plates out, new plates in, the temporary plates listed on top; then the next seat."
        )
    if any(p.out for p in stage.packs):
        return (
            "Lock nuts hold the load. First the plates OUT at all seats, then the plates IN: a "
            "plate may go from one seat to another."
        )
    return "Lock nuts hold the load while the plates go in."


def back_steps(job: Job, stage: StageFact, cards: Sequence[SeatCard]) -> tuple[str, ...]:
    """Return the way back to the last hold point in steps; none where a push only holds.

    Parameters
    ----------
    job, stage
    cards : sequence of SeatCard
        From :func:`stage_cards`.
    """
    if not stage.jacks or any(not job.seats[s].comes_back for s in stage.seats):
        return ()
    units = DISPLAY[job.units]
    packs = "; ".join(
        f"{c.seat} {'+'.join(p.mark for p in c.pack_now) or 'no plates'}"
        for c in cards
        if c.held_by == "packs"
    )
    changed = any(p.out or p.put_in for p in stage.packs)
    steps = []
    if changed and any(j.down for j in stage.jacks):
        steps.append(
            "If a jack has begun to come down: all jacks together back up, step by step, to the "
            "reading of the last step up."
        )
    if changed:
        steps.append(f"If a plate has been changed: packs back as they were, {packs}.")
    steps.append(
        "From the step where you are, all jacks together through the readings of the RAISE, "
        "PUSH or PULL lines above it, in reverse order, nuts or the same temporary plates "
        "following, to START."
    )
    loads = ", ".join(f"{j.jack} {rounded(j.load_start, units.force).full}" for j in stage.jacks)
    rest = " and ".join(
        word
        for kind, word in (("packs", "packs"), ("nut", "lock nuts"))
        if any(c.held_by == kind for c in cards)
    )
    steps.append(f"At START each jack should read: {loads}. Let the load off onto the {rest}.")
    before = stage.number - 1
    point = f"hold point {before}" if before else "the survey"
    steps.append(f"Read the joint again: it must be as at {point}. The engineer decides.")
    return tuple(steps)


def reset_line(job: Job, reset: ResetFact) -> ResetLine:
    """Return the step in which one jack is set anew.

    Parameters
    ----------
    job, reset
    """
    move = DISPLAY[job.units].move
    return ResetLine(
        jack=reset.jack,
        seat=reset.seat,
        place=place_words(job, job.seats[reset.seat]),
        add=reset.base_new > reset.base_now,
        base_now=rounded(reset.base_now, move),
        base_new=rounded(reset.base_new, move),
        out_now=rounded(reset.out_now, move),
        out_new=rounded(reset.out_new, move),
    )
