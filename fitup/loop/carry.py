"""From a job, its plan and what was done to the values of the next job, each with its source."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Literal

import numpy as np

from fitup.certify.plane import off_plane
from fitup.errors import InputError, Problem
from fitup.frames import Array
from fitup.jobfolder.rewrite import Cell
from fitup.model import Done, Influence, Job, Moved, Plan, Seat
from fitup.plan.restage import at_the_seats
from fitup.structure.rebase import Rebased, carried, lift_offs, rebase_loads, seat_load
from fitup.structure.rigid import WEIGHT_FIT
from fitup.structure.weighed import linked_seats
from fitup.units import DISPLAY

#: what counts for a seat the plan moves and no reading tells of
Rest = Literal["refuse", "planned", "still"]
#: a limit that is used up keeps this much, for a table holds nothing that is zero [m]
_USED_UP: Final = 1e-6
#: the least of a limit that was used that is worth a line [m]
_SMALL: Final = 1e-7


@dataclass(frozen=True, slots=True)
class CarriedValue:
    """One value of the next job that is not the old one, in words."""

    file: str
    row: str
    column: str
    before: str
    after: str
    source: str


@dataclass(slots=True)
class NextJob:
    """What the next job is to hold: changed cells by file, moves, and the story of each."""

    moved: tuple[Moved, ...] = ()
    changes: dict[str, dict[tuple[str, str], Cell]] = field(default_factory=dict)
    carried: list[CarriedValue] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def put(self, place: tuple[str, str, str], value: Cell, words: tuple[str, str, str]) -> None:
        """Change one cell of a table and say from what to what, and why.

        Parameters
        ----------
        place : tuple of str
            File, row and column.
        value : Cell
            What stands there in the next job.
        words : tuple of str
            What it was before, what it is after, and where that comes from.
        """
        file, row, column = place
        self.changes.setdefault(file, {})[row, column] = value
        self.carried.append(CarriedValue(file, row, column, *words))


@dataclass(frozen=True, slots=True)
class _Reached:
    """Where one seat is now."""

    setting: float
    uncertainty: float
    pack: tuple[str, ...]
    source: str


def carry(
    job: Job,
    influence: Influence,
    plan: Plan,
    done: Sequence[Done] = (),
    *,
    shown: str = "readings",
    rest: Rest = "refuse",
) -> NextJob:
    """Return the values of the next job.

    Parameters
    ----------
    job, influence, plan
        As planned.
    done : sequence of Done
        Readings as done; none at all: everything as planned.
    shown : str
        Name of their file, for messages.
    rest : {'refuse', 'planned', 'still'}
        What counts for a seat the plan moves when there are readings, but none of its end.

    Raises
    ------
    InputError
        If the readings do not fit the plan, or plates are in place that were not there.
    """
    _require_fit(plan, done, shown, rest)
    reached = {p.seat: _reached(job, plan, p.seat, done, rest) for p in plan.seats}
    result = NextJob()
    _packs_and_stock(job, reached, result)
    rebased = _measured(job, influence, plan, reached, done)
    _loads(job, influence, rebased, reached, done, result)
    _strokes(job, reached, done, result)
    _windows(job, reached, result)
    _limits(job, reached, result)
    _hold_against_dials(job, reached, done, result)
    for hold in job.holds:
        if hold.signed:
            words = (hold.signed, "", "open again: it was signed for the survey before")
            result.put(("holds.csv", hold.id, "signed"), "", words)
    result.warnings += rebased.warnings
    return result


def _ends(done: Sequence[Done], seat: str) -> list[Done]:
    """Return the end rows of a seat from the last stage that has any."""
    own = [row for row in done if row.seat == seat and row.moment == "end"]
    last = max((row.stage for row in own), default=0)
    return [row for row in own if row.stage == last]


def _require_fit(plan: Plan, done: Sequence[Done], shown: str, rest: Rest) -> None:
    stages: dict[int, tuple[str, ...]] = {}
    for stage in plan.stages:
        # crews that work at the same time share a number
        stages[stage.number] = (*stages.get(stage.number, ()), *stage.seats)
    problems = []
    for row in done:
        if row.stage and row.seat not in stages.get(row.stage, ()):
            held = ", ".join(stages.get(row.stage, ())) or "no stage of that number"
            problems.append(
                Problem(
                    shown,
                    f"seat {row.seat} in stage {row.stage}",
                    f"the seats of that stage on the sheets ({held}), or stage 0 for what was "
                    "done beside them",
                    "correct the stage, or use the sheets' own plan",
                    row=row.row,
                    column="stage",
                )
            )
    missing = [p.seat for p in plan.seats if p.disturbed and not _ends(done, p.seat)]
    if done and missing and rest == "refuse":
        problems.append(
            Problem(
                shown,
                f"no end reading of {', '.join(missing)}, which the plan moves",
                "a row with moment end for each",
                "add them, or say what counts: --rest planned or --rest still",
            )
        )
    if problems:
        raise InputError(problems)


def _reached(job: Job, plan: Plan, name: str, done: Sequence[Done], rest: Rest) -> _Reached:
    seat = job.seats[name]
    planned = next(p for p in plan.seats if p.seat == name)
    ends = _ends(done, name)
    still = bool(done) and not ends and rest == "still"
    stated = "as planned, not read" if not ends else "as planned; not stated in the readings"
    if still or not (planned.disturbed or ends):
        return _Reached(0.0, 0.0, seat.pack, "left as it was")
    pack: tuple[str, ...] = ()
    if seat.held_by == "packs":
        packs = [row for row in ends if row.pack is not None]
        pack = (packs[-1].pack if packs else planned.build_up) or ()
        if not job.stays_pushed(seat):
            return _on_pack(job, seat, pack, _who(packs) if packs else stated)
    # a nut, or a deck that stays where its ram left it
    read = [row.movement for row in ends if row.movement is not None]
    setting = float(np.mean(read)) if read else planned.setting
    step = max(jack.resolution for jack in job.jacks_at(name)) / np.sqrt(12.0)
    back = 0.0 if seat.held_by == "nut" or read else job.staging.spring_back / np.sqrt(3.0)
    source = _who([row for row in ends if row.movement is not None]) if read else stated
    return _Reached(setting, float(np.hypot(step, back)) if setting else 0.0, pack, source)


def _on_pack(job: Job, seat: Seat, pack: tuple[str, ...], source: str) -> _Reached:
    if Counter(pack) == Counter(seat.pack):
        return _Reached(0.0, 0.0, pack, "left as it was")
    setting = job.pack_height(pack) - job.pack_height(seat.pack) - seat.bedding
    changed = (Counter(pack) - Counter(seat.pack)) + (Counter(seat.pack) - Counter(pack))
    variance = sum(
        (n**2 if job.plates[mark].alike else n) * job.plates[mark].spread ** 2
        for mark, n in changed.items()
    )
    return _Reached(float(setting), float(np.sqrt(variance)), pack, source)


def _who(rows: Sequence[Done]) -> str:
    """Say who read a value and when."""
    row = rows[-1]
    return f"read by {row.who}, {row.time.replace('T', ' ')}"


def _packs_and_stock(job: Job, reached: Mapping[str, _Reached], result: NextJob) -> None:
    result.moved = tuple(
        Moved(name, at.setting, at.uncertainty, None, None, at.source)
        for name, at in reached.items()
    )
    stored = {mark: plate.count + plate.kept_back for mark, plate in job.plates.items()}
    loose = Counter(stored)
    for name, at in reached.items():
        old = job.seats[name].pack
        loose.update(old)
        loose.subtract(at.pack)
        if at.pack != old:
            words = ("+".join(old), "+".join(at.pack), at.source)
            result.put(("seats.csv", name, "pack"), "+".join(at.pack), words)
    short = [f"{-n} of {mark}" for mark, n in loose.items() if n < 0]
    if short:
        raise InputError(
            [
                Problem(
                    "plates.csv",
                    f"packs as done that need plates nobody had: {', '.join(short)}",
                    "plates of the store and of packs that were taken apart",
                    "look at the packs again, or count the store and correct plates.csv",
                )
            ]
        )
    for mark, count in stored.items():
        if loose[mark] != count:
            words = (str(count), str(loose[mark]), "counted: plates in packs before and now")
            result.put(("plates.csv", mark, "count"), loose[mark], words)


def _measured(
    job: Job,
    influence: Influence,
    plan: Plan,
    reached: Mapping[str, _Reached],
    done: Sequence[Done],
) -> Rebased:
    """Re-base the loads before the moves by lift-off, what earlier stages did taken out."""
    index = {name: i for i, name in enumerate(influence.seats)}
    latest = {reading.seat: reading for reading in lift_offs(job, done)}
    readings = []
    for reading, at_seat in zip(latest.values(), at_the_seats(job, latest.values()), strict=True):
        # stage 0: lifted off before the first stage in which it moves
        first = min((s.number for s in plan.stages if reading.seat in s.seats), default=0)
        lift = reading.lift or first
        earlier = _settings_before(plan, reached, lift)
        x = np.array([earlier.get(name, 0.0) for name in influence.seats])
        # on linked jacks a whole segment is weighed, wherever its seats had been moved
        whole = job.seats[reading.seat].segment in linked_seats(job)
        added = 0.0 if whole else float(influence.R[index[reading.seat]] @ x)
        readings.append(replace(at_seat, load=at_seat.load - added))
    return rebase_loads(job, influence, readings)


def _settings_before(plan: Plan, reached: Mapping[str, _Reached], number: int) -> dict[str, float]:
    """Return where the seats of earlier stages stood before a stage: as reached, or half-way."""
    last = {seat: stage.number for stage in plan.stages for seat in stage.seats}
    result = {}
    for stage in plan.stages:
        if stage.number >= number:
            continue
        for i, seat in enumerate(stage.seats):
            ended = (stage.down or stage.up or (stage.start,))[-1]
            done = last[seat] == stage.number
            result[seat] = reached[seat].setting if done else ended[i]
    return result


def _loads(
    job: Job,
    influence: Influence,
    rebased: Rebased,
    reached: Mapping[str, _Reached],
    done: Sequence[Done],
    result: NextJob,
) -> None:
    """Carry reactions: as read at the end, else what counted before and what the moves add."""
    x = np.array([reached[name].setting for name in influence.seats])
    # other seats of a frame may carry there; what lift-off measured beside the calculated stays
    now = influence.state(x)[1] + rebased.r0 - influence.r0
    if influence.origin == "frame":
        result.warnings.append(
            "the frame's loads and the openings of its seats stand as for the survey before; "
            "correct them for this stage"
        )
    force = DISPLAY[job.units].force
    moved = {m.seat: m for m in result.moved}
    loads: dict[str, float] = {}
    for before, value in zip(rebased.loads, now.tolist(), strict=True):
        name = before.seat
        rows = [row for row in _ends(done, name) if row.load is not None]
        load = seat_load(job, rows) if rows else float(value)
        source = _who(rows) if rows else _computed(job, before.how, name)
        loads[name] = round(load)
        old = job.seats[name].reaction_now
        words = ("" if old is None else force.text(old), force.text(load), source)
        result.put(("seats.csv", name, "reaction_now"), loads[name], words)
        m = moved[name]
        moved[name] = Moved(
            name, m.setting, m.uncertainty, before.measured, load if rows else None, m.source
        )
    result.moved = tuple(moved[name] for name in reached)
    _weights(job, loads, {s.seat for s in rebased.loads if s.how != "as calculated"}, result)


def _computed(job: Job, how: str, name: str) -> str:
    if how == "measured":
        return "computed: measured at lift-off, and what the moves add"
    if how != "as calculated":
        return f"computed: {how}, and what the moves add"
    if job.influence_by == "frame":
        start = "from the frame and its loads"
    elif job.seats[name].reaction_now is None:
        start = "shared from the weight"
    else:
        start = "given in the last job" if job.load_measured(name) else "computed in the last job"
    return f"computed, not measured: {start}, and what the moves add"


def _weights(job: Job, loads: Mapping[str, float], rebased: set[str], result: NextJob) -> None:
    """Carry the weight that measured loads show where it is too far from the one written down."""
    read = rebased | {m.seat for m in result.moved if m.load_after is not None}
    force = DISPLAY[job.units].force
    for name, segment in job.segments.items():
        seats = job.seats_of(name)
        total = carried(seats, loads)
        if read & {s.id for s in seats} and abs(total - segment.weight) > (
            WEIGHT_FIT * segment.weight
        ):
            words = (force.text(segment.weight), force.text(total), "sum of the loads of its seats")
            result.put(("segments.csv", name, "weight"), round(total), words)
            result.warnings.append(
                f"segment {name}: its seats carry {force.text(total)}, its weight was written down "
                f"as {force.text(segment.weight)}; find out what the segment really weighs"
            )


def _strokes(
    job: Job, reached: Mapping[str, _Reached], done: Sequence[Done], result: NextJob
) -> None:
    shown = DISPLAY[job.units].move
    for jack in job.jacks.values():
        at = reached[jack.seat]
        stated = [
            row
            for row in _ends(done, jack.seat)
            if row.stroke_out is not None and row.jack in (None, jack.id)
        ]
        if stated:
            value, source = float(stated[-1].stroke_out or 0.0), _who(stated)
        else:
            value = float(np.clip(jack.stroke_used + at.setting, 0.0, jack.stroke))
            source = "computed: out at the touch, and the move; read it as the jack touches again"
        if abs(value - jack.stroke_used) > _SMALL:
            words = (shown.text(jack.stroke_used), shown.text(value), source)
            result.put(("jacks.csv", jack.id, "stroke_used"), round(value, 7), words)


def _windows(job: Job, reached: Mapping[str, _Reached], result: NextJob) -> None:
    """Carry how far a seat may still go: a window stays where it is, the seat moves in it."""
    shown = DISPLAY[job.units].move
    for name, at in reached.items():
        seat = job.seats[name]
        for column, old, used in (
            ("raise_most", seat.raise_most, at.setting),
            ("lower_most", seat.lower_most, -at.setting),
        ):
            # a push in plan cannot be taken back, so that a move leaves no more way back
            if old is not None and at.setting != 0.0 and (seat.lifts or used > 0.0):
                left = max(0.0, old - used)
                words = (shown.text(old), shown.text(left), "counted: what the move used up")
                result.put(("seats.csv", name, column), round(left, 7), words)


def _limits(job: Job, reached: Mapping[str, _Reached], result: NextJob) -> None:
    """Carry what is left of a limit between seats, as if every further move went the same way."""
    shown = DISPLAY[job.units].move
    settings = {name: at.setting for name, at in reached.items()}
    for limit in job.limits.values():
        seats = [job.seats[s] for s in limit.seats]
        if limit.kind == "difference":
            used = abs(settings[seats[0].id] - settings[seats[1].id])
        else:
            used = off_plane(seats, settings)
        if used <= _SMALL:
            continue
        left = max(limit.most - used, _USED_UP)
        words = (shown.text(limit.most), shown.text(left), "counted: less what the moves used up")
        result.put(("limits.csv", limit.id, "most"), round(left, 7), words)
        if left <= _USED_UP:
            result.warnings.append(
                f"limit {limit.id} is used up; the engineer decides what may still be moved"
            )


def _hold_against_dials(
    job: Job, reached: Mapping[str, _Reached], done: Sequence[Done], result: NextJob
) -> None:
    """Warn where a dial and the plates of a pack do not tell the same move."""
    shown = DISPLAY[job.units].move
    for name, at in reached.items():
        read = [row.movement for row in _ends(done, name) if row.movement is not None]
        seat = job.seats[name]
        if seat.held_by == "nut" or seat.comes_back or job.stays_pushed(seat) or not read:
            # a ram that landed goes with the springs of jack and pack, not with the plates; a deck
            # that stays where it is pushed does not bear on them
            continue
        apart = float(np.mean(read)) - at.setting
        if abs(apart) > job.working.move_band:
            result.warnings.append(
                f"seat {name}: the movement read and its plates differ by "
                f"{shown.text(abs(apart))}; the plates count, look at the pack again"
            )


def settings_of(result: NextJob) -> Array:
    """Return the settings reached (n,) [m] in the order of the plan."""
    return np.array([m.setting for m in result.moved])
