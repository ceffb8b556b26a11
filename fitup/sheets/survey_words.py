"""What a survey means for the crew and for the joint, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from fitup.checks.reliability import Unseen
from fitup.errors import SurveyRefused
from fitup.model import Job
from fitup.network.congruency import Congruency, control_changes, epoch_changes
from fitup.network.report import ResidualLine
from fitup.network.solve import Solved
from fitup.network.words import way_words
from fitup.sheets.words import NAMES, shown_for
from fitup.survey.verdict import Verdict
from fitup.units import DISPLAY, DisplayUnits

#: what each kind of observation is called
KINDS: Final[Mapping[str, str]] = {
    "hz": "direction",
    "v": "zenith angle",
    "sd": "distance",
    "dh": "levelling",
    "E": "control easting",
    "N": "control northing",
    "H": "control height",
}
#: what a residual above and below zero is called
_WAYS: Final[Mapping[str, tuple[str, str]]] = {
    "hz": ("right", "left"),
    "v": ("low", "high"),
    "sd": ("long", "short"),
    "dh": ("high", "low"),
    "E": ("east", "west"),
    "N": ("north", "south"),
    "H": ("high", "low"),
}
#: an unseen error is stated when it moves a check by more than this share of its tolerance
WORTH: Final = 0.1
#: at most so many lines, the largest shares first
MOST: Final = 6


@dataclass(frozen=True, eq=False)
class SurveyReportWords:
    """All that a survey report tells: epochs, earlier ones, reliability, and the verdict."""

    solved: Mapping[int, Solved]
    since: tuple[Solved, ...]
    unseen: tuple[Unseen, ...]
    verdict: Verdict


def unseen_words(job: Job, unseen: tuple[Unseen, ...]) -> tuple[str, ...]:
    """Tell which errors would have gone unseen and still move a check with a tolerance.

    The largest share of a tolerance comes first.

    Parameters
    ----------
    job : Job
    unseen : tuple of Unseen
        Those at checks without a tolerance are passed over.

    Returns
    -------
    tuple of str
        At most :data:`MOST` lines; past the first, only shares of :data:`WORTH` or more.
    """
    judged = [(abs(u.effect) / u.check.tolerance, u) for u in unseen if u.check.tolerance]
    judged.sort(key=lambda entry: -entry[0])
    units = DISPLAY[job.units]
    lines: list[str] = []
    for share, one in judged[:MOST]:
        if share < WORTH and lines:
            break
        quantity = one.check.quantity
        where = one.check.pair or one.check.point or f"joint {one.check.joint}"
        lines.append(
            f"{NAMES[quantity].lower()} at {where}: an error of {units.move.text(one.at_target)} "
            f"in {_observation(one)} would have gone unseen and moves it by "
            f"{shown_for(quantity, units).text(abs(one.effect))}"
        )
    return tuple(lines)


def residual_words(line: ResidualLine, units: DisplayUnits) -> str:
    """Return a residual at the target with its side as a word.

    Parameters
    ----------
    line, units
    """
    if units.move.number(line.at_target) == 0.0:
        return units.move.text(0.0)
    side = _WAYS[line.kind][line.at_target < 0.0]
    return f"{units.move.text(abs(line.at_target))} {side}"


def reading_words(value: float | None, units: DisplayUnits) -> str:
    """Return an instrument error: how much too large or small face 1 reads.

    Parameters
    ----------
    value : float or None
        Error of face 1 [rad], above zero where it reads too large; None where it is not known.
    units : DisplayUnits
    """
    if value is None:
        return "not known"
    if units.small_angle.number(value) == 0.0:
        return units.small_angle.text(0.0)
    return f"{units.small_angle.text(abs(value))} too {'large' if value > 0.0 else 'small'}"


def _observation(one: Unseen) -> str:
    parts = one.observation.split("/")
    if one.kind == "dh":
        return f"the levelling from {parts[1]} to {parts[2]}"
    if one.kind in ("E", "N", "H"):
        return f"the {KINDS[one.kind].removeprefix('control ')} of control point {parts[0]}"
    return f"the {KINDS[one.kind]} from {parts[0]} to {parts[1]}"


def changes_words(
    job: Job, solved: Mapping[int, Solved], since: Sequence[Solved] = ()
) -> tuple[str, ...]:
    """Say of control, and of points seen in two epochs, what has moved and which way.

    Parameters
    ----------
    job : Job
    solved : mapping
        Epochs of the job.
    since : sequence of Solved
        Epochs of an earlier job.
    """
    lines: list[str] = []
    for one in solved.values():
        who = f"{one.epoch.file}: control"
        try:
            lines += _changed(job, control_changes(one), who, " since control.csv")
        except SurveyRefused:
            lines.append(f"{who}: does not fit at all: nothing can be said of single points")
    for before, after in compared(solved, since):
        who = f"{after.epoch.file}: against {before.epoch.file} of {_day(before)}, points"
        lines += _changed(job, epoch_changes(before, after), who, "")
    return tuple(lines)


def compared(
    solved: Mapping[int, Solved], since: Sequence[Solved] = ()
) -> list[tuple[Solved, Solved]]:
    """Return the pairs of epochs that are compared, the earlier one first.

    Parameters
    ----------
    solved : mapping of int to Solved
        Epochs of the job, the earliest first: each is compared with the next.
    since : sequence of Solved
        Epochs of an earlier job: each is compared with all of ``solved``.
    """
    own = list(solved.values())
    return [*pairwise(own), *((before, after) for before in since for after in own)]


def _day(solved: Solved) -> str:
    return solved.epoch.taken.replace("T", " ")


def _changed(job: Job, found: Congruency | None, who: str, when: str) -> list[str]:
    if found is None:
        return [f"{who}: fewer than three in common: nothing can be said"]
    if not found.agreed:
        return [f"{who}: no three agree with each other: nothing can be said of single points"]
    moved = [c for c in found.changes if c.moved]
    stable = ", ".join(c.id for c in found.changes if c.stable)
    epoch = who.split(":", maxsplit=1)[0]
    lines = [f"{who} {stable} where they were"] if stable else []
    lines += [f"{epoch}: {c.id} has moved {way_words(job, c)}{when}" for c in moved]
    if not moved and len(found.changes) > sum(c.stable for c in found.changes):
        lines.append(f"{epoch}: no other point moved by more than its uncertainty")
    return lines
