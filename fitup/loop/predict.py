"""One round: what stood before, what was moved, what was found after; and what was to be found."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fitup.errors import InputError, Problem
from fitup.frames import Array
from fitup.jobfolder.rounds import MOVED_FILE
from fitup.model import CheckState, Influence, Job, Moved


@dataclass(frozen=True, eq=False)
class Round:
    """Two surveys and the moves between them.

    Parameters
    ----------
    job : Job
        The one the moves were planned from.
    before, after : CheckState
        Checks at the reference temperature; the same checks in the same order.
    influence : Influence
        Of the job before, about the moves.
    moves, variances : Array (n,)
        Settings reached, as plates or jacks tell [m], and their variances [m2], in the order of
        the influence.
    loaded : Array (k,)
        Indices of the seats whose reaction was measured before and after the moves.
    load_change, load_variances : Array (k,)
        What those reactions changed by [N], and the variances [N2].
    load_shift : Array (k,)
        What of it is no slope, because other seats of a frame carry after the moves [N].
    """

    job: Job
    before: CheckState
    after: CheckState
    influence: Influence
    moves: Array
    variances: Array
    loaded: Array
    load_change: Array
    load_shift: Array
    load_variances: Array

    @property
    def found(self) -> Array:
        """Change (m + k,) of all checks, then of the measured reactions, less what is no slope."""
        shift = self.influence.shift
        change = self.after.values - self.before.values
        loads = self.load_change - self.load_shift
        return np.concatenate([change if shift is None else change - shift, loads])

    @property
    def rows(self) -> Array:
        """How ``found`` answers to the moves (m + k, n)."""
        return np.vstack([self.influence.A, self.influence.R[self.loaded]])

    @property
    def covariance(self) -> Array:
        """Of found less predicted (m + k, m + k): both surveys, loads read, moves reached."""
        m = len(self.before.values)
        total = self.rows @ (self.variances[:, None] * self.rows.T)
        total[:m, :m] += self.before.covariance + self.after.covariance
        total[m:, m:] += np.diag(self.load_variances)
        return 0.5 * (total + total.T)


@dataclass(frozen=True, eq=False)
class Prediction:
    """What every check should read after the moves as done, before anyone looks.

    ``values`` (m,) hold at the reference temperature, ``at_survey`` (m,) is what the steel of the
    new survey adds; ``covariance`` (m, m) is of the first survey and the moves.
    """

    values: Array
    covariance: Array
    at_survey: Array
    reactions: Array
    """(n,) [N]"""


def as_assumed(later: Job, job: Job) -> Job:
    """Return the later job with the thermal expansion that the one before assumed.

    Corrections learned since must not hide what they were learned from.

    Parameters
    ----------
    later : Job
        The next job, with what was learned since.
    job : Job
        The one before. Segments that it does not have keep what ``later`` says.
    """
    segments = {
        name: replace(segment, expansion=job.segments[name].expansion)
        if name in job.segments
        else segment
        for name, segment in later.segments.items()
    }
    return replace(later, segments=segments)


def about_moves(influence: Influence, later: Job) -> Influence:
    """Return the influence about the moves as done: there other seats of a frame may carry.

    Parameters
    ----------
    influence : Influence
        About the surveyed state.
    later : Job
        Its ``moved`` say what was done.
    """
    moved = {m.seat: m.setting for m in later.moved}
    if influence.exact is None or set(moved) != set(influence.seats):
        return influence
    return influence.exact.about(np.array([moved[name] for name in influence.seats]))


def one_round(
    job: Job, before: CheckState, influence: Influence, later: Job, after: CheckState
) -> Round:
    """Put a round together from the job before and the job after.

    Parameters
    ----------
    job, before, influence
        Of the job that the moves were planned from; the influence about the surveyed state.
    later : Job
        The next job; its ``moved`` say what was done in between.
    after : CheckState
        Of the next job, with the expansion that ``job`` assumed (:func:`as_assumed`).

    Raises
    ------
    InputError
        If the two jobs do not belong together.
    """
    _require_same(job, before, later, after)
    present, influence = influence.r0, about_moves(influence, later)
    moved = {m.seat: m for m in later.moved}
    rows = [moved[name] for name in influence.seats]
    read = _measured_before(job, rows)
    loaded = [i for i, (m, b) in enumerate(zip(rows, read, strict=True)) if _both(m, b)]
    first = np.array([read[i] for i in loaded], dtype=float)
    last = np.array([rows[i].load_after for i in loaded], dtype=float)
    share = job.learning.load_reading
    return Round(
        job=job,
        before=before,
        after=after,
        influence=influence,
        moves=np.array([m.setting for m in rows]),
        variances=np.array([m.uncertainty**2 for m in rows]),
        loaded=np.array(loaded, dtype=int),
        load_change=last - first,
        load_shift=(influence.r0 - present)[loaded],
        load_variances=share**2 * (first**2 + last**2),
    )


def _both(moved: Moved, before: float | None) -> bool:
    return before is not None and moved.load_after is not None


def _measured_before(job: Job, rows: list[Moved]) -> list[float | None]:
    """Return the measured reactions before the moves: at lift-off, or as the job was stated."""
    result: list[float | None] = []
    for moved in rows:
        stated = job.seats[moved.seat].reaction_now if job.load_measured(moved.seat) else None
        result.append(stated if moved.load_before is None else moved.load_before)
    return result


def _require_same(job: Job, before: CheckState, later: Job, after: CheckState) -> None:
    problems = []
    if not later.moved:
        problems.append(
            Problem(
                MOVED_FILE,
                "no moves",
                "a row for every seat, in the job after the moves",
                "make that job with: fitup next JOB --to NEWJOB",
            )
        )
    elif {m.seat for m in later.moved} != set(job.seats):
        odd = sorted({m.seat for m in later.moved} ^ set(job.seats))
        problems.append(
            Problem(MOVED_FILE, f"not the seats of the job before: {', '.join(odd)}",
                    "a row for every seat of it", "name the two jobs of one round")
        )  # fmt: skip
    if [c.id for c in before.checks] != [c.id for c in after.checks]:
        problems.append(
            Problem("the two jobs", "different points, pairs or joints", "the same in both",
                    "name the two jobs of one round")
        )  # fmt: skip
    if not problems:
        problems += _other_packs(job, later)
    if problems:
        raise InputError(problems)


def _other_packs(job: Job, later: Job) -> list[Problem]:
    """Hold the moves against the packs of both jobs: they must tell the same story."""
    problems = []
    for moved in later.moved:
        old, new = job.seats[moved.seat], later.seats[moved.seat]
        if old.held_by != "packs" or new.held_by != "packs" or old.pack == new.pack:
            continue
        stated = later.pack_height(new.pack) - job.pack_height(old.pack) - old.bedding
        past = moved.setting - stated
        if past < -1e-5 or (past > 1e-5 and not job.stays_pushed(old)):
            problems.append(
                Problem(
                    MOVED_FILE,
                    f"seat {moved.seat} moved {moved.setting * 1e3:.2f} mm its way, but the packs "
                    f"of the two jobs differ by {stated * 1e3:.2f} mm",
                    "one story",
                    "name the two jobs of one round, or correct the pack in seats.csv",
                    column="move",
                )
            )
    return problems


def predict(one: Round) -> Prediction:
    """Return what the new survey should find, from the first survey and the moves as done."""
    A, x = one.influence.A, one.moves
    there = one.after.at_survey
    return Prediction(
        values=one.before.values + one.influence.straight(x)[0],
        covariance=one.before.covariance + A @ (one.variances[:, None] * A.T),
        at_survey=np.zeros(len(A)) if there is None else there,
        reactions=one.influence.r0 + one.influence.R @ x,
    )
