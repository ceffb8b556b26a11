"""Small jobs made by seed with everything on at once, and every plan they have, weighed one by one.

What a plan may be is worked out here once more from the job itself, in the plainest way: all packs
by combination, all selections by product, every limit from what it means. Nothing of fitup's
problem, rows or search is used, so both can be held against it.
"""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from fitup.frames import Array
from fitup.model import (
    SPRINGS,
    Check,
    CheckState,
    ForceRow,
    Influence,
    Jack,
    Job,
    Joint,
    Limit,
    Pair,
    Plate,
    Quantity,
    Seat,
    Segment,
    Staging,
    Working,
)

#: most selections of a job
MOST = 20_000
#: kinds of seats: name, direction, pushes, held by, how often
KINDS = (
    ("lift", (0.0, 0.0, 1.0), "up", "packs", 0.45),
    ("nut", (0.0, 0.0, 1.0), "up", "nut", 0.2),
    ("push", (0.0, 1.0, 0.0), "ahead", "packs", 0.15),
    ("saddle", (0.0, 1.0, 0.0), "main_span", "packs", 0.1),
    ("hanger", (0.0, 0.0, 1.0), "shorten", "nut", 0.1),
)


@dataclass(frozen=True, eq=False)
class Made:
    """A job, its checks as surveyed and the influence of its seats."""

    job: Job
    state: CheckState
    influence: Influence


def made_job(seed: int) -> Made:
    """One to four segments on at most eight seats: packs, nuts, pushes, saddles and hangers."""
    rng = np.random.default_rng(seed)
    count = int(rng.choice([1, 2, 3, 4], p=[0.2, 0.35, 0.3, 0.15]))
    plates = {
        m: Plate(m, t, t + round(rng.normal(0.0, 3e-5), 6), int(rng.integers(0, 4)), 0.3, 0.3)
        for m, t in (("A", 0.010), ("B", 0.004), ("C", 0.0015))
    }
    seats = _seats(rng, count, list(plates))
    jacks = _unequal(np.random.default_rng([seed, 1]), _jacks(rng, seats))
    job = Job(
        name=f"made {seed}",
        units="metric",
        grid="invented",
        reference_temperature=288.15,
        segments={f"G{k}": Segment(f"G{k}", 0.0, 1e6, np.zeros(3)) for k in range(count)},
        points={},
        joints=_joints(rng, count),
        pairs={f"P{k}": Pair(f"P{k}", f"K{k}", "", "", 0.02, "LEFT") for k in range(count - 1)},
        seats=seats,
        jacks=jacks,
        plates=plates,
        limits=_limits(rng, seats),
        tolerances={},
        working=Working(insertion=0.002, jack_reserve=1.2),
        staging=Staging(friction=0.04),
    )
    state = _checks(rng, count)
    influence = _influence(rng, job, state)
    return Made(_few_enough(job, influence), state, influence)


def _seats(rng: np.random.Generator, count: int, marks: list[str]) -> dict[str, Seat]:
    """Seats of every segment, in no order along the deck."""
    seats = {}
    most = 7 if count == 1 else 8 // count
    for k in rng.permutation(count):
        for i in range(int(rng.integers(min(2, most), most + 1))):
            kind = KINDS[int(rng.choice(len(KINDS), p=[f for *_, f in KINDS]))]
            pack = tuple(rng.choice(marks, int(rng.integers(1, 3)))) if kind[3] == "packs" else ()
            name, r = f"G{k}-S{i}", rng.uniform
            seats[name] = Seat(
                id=name,
                segment=f"G{k}",
                position=np.array([r(-5.0, 5.0), 30.0 * k + r(0.0, 25.0), 0.0]),
                direction=np.array(kind[1]),
                pushes=kind[2],
                stiffness=1e8,
                held_by="packs" if kind[3] == "packs" else "nut",
                pack=pack,
                pack_least=round(r(0.0, 0.004), 4),
                pack_most=round(r(0.014, 0.030), 4),
                most_plates=int(rng.integers(2, 4)),
                bedding=round(r(0.0, 3e-4), 5) if kind[3] == "packs" else 0.0,
                reaction_least=round(r(-1e5, 3e5), -2),
                reaction_most=round(r(5e5, 9e5), -2),
                breakaway=round(r(0.0, 2e4), -2),
                raise_most=round(r(2e-3, 8e-3), 5),
                lower_most=None if rng.random() < 0.2 else round(r(2e-3, 8e-3), 5),
                group=f"G{k}-{'up' if kind[1][2] > 0.5 else 'plan'}",
                hold=bool(rng.random() < 0.12),
            )
    return seats


def _jacks(rng: np.random.Generator, seats: dict[str, Seat]) -> dict[str, Jack]:
    jacks = {}
    for name in seats:
        for i in range(int(rng.integers(1, 3))):
            jacks[f"{name}-J{i}"] = Jack(
                f"{name}-J{i}",
                name,
                round(rng.uniform(4e5, 9e5), -3),
                0.02,
                round(rng.uniform(0.004, 0.03), 4),
                round(rng.uniform(0.0, 0.006), 4),
                float(rng.choice([0.0013, 0.0021, 0.0034])),
                True,
                round(rng.uniform(0.0, 0.003), 4),
                0.004,
            )
    return jacks


def _unequal(rng: np.random.Generator, jacks: dict[str, Jack]) -> dict[str, Jack]:
    """Rams of two sizes; at half of the seats all jacks are on one circuit."""
    shared = {
        seat: bool(rng.random() < 0.5) for seat in dict.fromkeys(j.seat for j in jacks.values())
    }
    return {
        name: replace(
            j,
            ram_area=float(rng.choice([0.016, 0.02])),
            circuit=f"{j.seat}-C" if shared[j.seat] else "",
        )
        for name, j in jacks.items()
    }


def _joints(rng: np.random.Generator, count: int) -> dict[str, Joint]:
    def made(k: int) -> Joint:
        locked = round(rng.uniform(0.003, 0.008), 5) if rng.random() < 0.15 else None
        least = round(rng.uniform(0.008, 0.016), 5) if rng.random() < 0.4 else None
        return Joint(f"K{k}", f"G{k}", f"G{k + 1}", np.eye(3), least, locked)

    return {f"K{k}": made(k) for k in range(count - 1)}


def _limits(rng: np.random.Generator, seats: dict[str, Seat]) -> dict[str, Limit]:
    """Differences between two seats, and the warp of four, where a segment has so many."""
    limits = {}
    for segment in dict.fromkeys(s.segment for s in seats.values()):
        own = [s.id for s in seats.values() if s.segment == segment and s.lifts]
        if len(own) > 1:
            two = tuple(str(s) for s in rng.choice(own, 2, replace=False))
            limits[f"{segment}-d"] = Limit(
                f"{segment}-d", "difference", two, round(rng.uniform(2e-3, 7e-3), 6)
            )
        if len(own) > 3:
            limits[f"{segment}-w"] = Limit(
                f"{segment}-w", "warp", tuple(own[:4]), round(rng.uniform(2e-3, 7e-3), 6)
            )
    return limits


def _checks(rng: np.random.Generator, count: int) -> CheckState:
    """Step, gap and offset at every joint, two levels of every segment, some of them treated."""
    made: list[tuple[str, Quantity, str, str | None]] = [
        (f"K{k}/P{k}/{q}", q, f"K{k}", f"P{k}") for k in range(count - 1) for q in _AT_JOINT
    ]
    made += [(f"level/G{k}-{i}", "level", "", None) for k in range(count) for i in range(2)]
    checks, values = [], []
    for name, quantity, joint, pair in made:
        treat = rng.choice(["work", "leave", "shown"], p=[0.8, 0.12, 0.08])
        checks.append(
            Check(
                id=name,
                quantity=quantity,
                joint=joint,
                pair=pair,
                point=None,
                target=round(rng.normal(0.0, 5e-4), 6) if rng.random() < 0.3 else 0.0,
                tolerance=round(rng.uniform(1e-3, 3e-3), 5) if treat == "work" else None,
                weight=round(rng.uniform(0.4, 2.0), 2),
                source="invented",
                leave_within=round(rng.uniform(4e-3, 9e-3), 5) if treat == "leave" else None,
            )
        )
        values.append(rng.normal(0.0, 3e-3))
    return CheckState(
        tuple(checks),
        np.array(values),
        np.eye(len(checks)) * 1e-8,
        rng.normal(0.0, 2e-4, len(checks)),
        rng.normal(0.0, 2e-5, len(checks)),
    )


_AT_JOINT: tuple[Quantity, ...] = ("step", "gap", "offset")


def _influence(rng: np.random.Generator, job: Job, state: CheckState) -> Influence:
    """Each check and force answers to the seats of one segment or of two that meet."""
    names = tuple(job.seats)
    home = np.array([int(s.segment[1:]) for s in job.seats.values()])

    def row(first: int, last: int) -> Array:
        return np.where((home >= first) & (home <= last), rng.normal(0.0, 0.7, len(names)), 0.0)

    def span(check: Check) -> tuple[int, int]:
        k = int(check.id.split("/")[0][1:]) if check.joint else int(check.id.split("G")[1][0])
        return k, k + bool(check.joint)

    A = np.array([row(*span(c)) for c in state.checks])
    same = home[:, None] == home[None, :]
    push = rng.normal(0.0, 1.5e7, (len(names), len(names)))
    R = np.where(same, push + push.T, 0.0) + np.diag(rng.uniform(2e7, 5e7, len(names)))
    forces = []
    for k in range(len(job.segments)):
        now = rng.normal(0.0, 1e5)
        room = rng.uniform(1e5, 4e5, 2)
        least = -np.inf if rng.random() < 0.3 else now - room[0]
        forces.append(
            ForceRow(
                f"moment/M{k}",
                "moment",
                ("sagging", "hogging"),
                now,
                4e7 * row(k, min(k + 1, len(job.segments) - 1)),
                least,
                now + room[1],
            )
        )
    r0 = rng.uniform(3e5, 5e5, len(names))
    ids = tuple(c.id for c in state.checks)
    return Influence(ids, names, A, R, r0, "table", tuple(forces))


def _few_enough(job: Job, influence: Influence) -> Job:
    """Shorten the way of the seat with the most choices until all selections can be weighed."""
    while True:
        counts = {s: len(packs) for s, packs in every_pack(job, influence).items()}
        if np.prod([float(k) for k in counts.values()]) <= MOST:
            return job
        worst = max(counts, key=lambda s: counts[s])
        seat = job.seats[worst]
        down, up = _way(job, seat)
        less = replace(seat, raise_most=0.7 * up, lower_most=-0.7 * down)
        job = replace(job, seats={**job.seats, worst: less})


@dataclass(frozen=True, slots=True)
class Pack:
    """One state of a seat: move [m] and plates, as they must be in the store."""

    setting: float
    plates: tuple[str, ...]
    disturbed: bool


def _stroke(job: Job, seat: Seat) -> float:
    return min(j.stroke - j.stroke_used + j.base_most - j.base for j in job.jacks_at(seat.id))


def _insertion(job: Job, seat: Seat) -> float:
    return job.working.insertion if seat.held_by == "packs" and seat.comes_back else 0.0


def _stuck(job: Job, seat: Seat) -> bool:
    """A seat moves with its group: all of it can be lifted clear, or none."""
    group = [s for s in job.seats.values() if s.group == seat.group and not s.hold]
    return seat.hold or any(_stroke(job, s) < _insertion(job, s) for s in group)


def _way(job: Job, seat: Seat) -> tuple[float, float]:
    """How far a seat can go down and up [m]."""
    if _stuck(job, seat):
        return 0.0, 0.0
    up = _stroke(job, seat) - _insertion(job, seat)
    down = min(j.stroke_used + j.base for j in job.jacks_at(seat.id)) if seat.comes_back else 0.0
    if seat.raise_most is not None:
        up = min(up, seat.raise_most)
    if seat.lower_most is not None:
        down = min(down, seat.lower_most)
    return -max(down, 0.0), max(up, 0.0)


def every_pack(job: Job, influence: Influence) -> dict[str, list[Pack]]:
    """Every state of every seat, by combination of plates, or marks of its nut or its push."""
    present = Counter(m for s in job.seats.values() if not s.hold for m in s.pack)
    owned = {m: p.count + present[m] for m, p in job.plates.items()}
    return {
        name: _packs(job, seat, owned, _most_borne(job, influence, name))
        for name, seat in job.seats.items()
    }


def _most_borne(job: Job, influence: Influence, name: str) -> float:
    """Return the greatest load of a seat, every seat as far as it may go to make it so [N]."""
    i = influence.seats.index(name)
    load = float(influence.r0[i])
    for other, effect in zip(influence.seats, influence.R[i], strict=True):
        load += max(float(effect) * way for way in _way(job, job.seats[other]))
    return max(0.0, load)


def _pushed_packs(job: Job, seat: Seat, owned: dict[str, int], borne: float) -> list[Pack]:
    """Every mark the deck may be pushed to, with what then has room behind it."""
    step = max(j.resolution for j in job.jacks_at(seat.id))
    thin = min(p.measured for p in job.plates.values() if seat.may_hold(p))
    need = job.staging.slide + job.staging.spring_back + min(borne, seat.breakaway) / seat.stiffness
    marks = [k * step for k in range(1, int(_way(job, seat)[1] / step + 1e-6) + 1)]
    now = sum(job.plates[m].measured for m in seat.pack)
    found = [Pack(0.0, seat.pack, False)]
    found += [Pack(v, seat.pack, True) for v in marks if v < thin + need - 1e-9 * step]
    for size in range(1, seat.most_plates + 1):
        for plates in itertools.combinations_with_replacement(sorted(job.plates), size):
            height = sum(job.plates[m].measured for m in plates)
            inside = seat.pack_least - 1e-9 <= height <= seat.pack_most + 1e-9
            enough = all(plates.count(m) <= owned[m] for m in plates)
            if inside and enough and height > now + 2e-9 and sorted(plates) != sorted(seat.pack):
                roomy = [v for v in marks if v >= height - now + need - 1e-9 * step]
                found += [Pack(v, plates, True) for v in roomy[: max(1, round(thin / step))]]
    return found


def _packs(job: Job, seat: Seat, owned: dict[str, int], borne: float) -> list[Pack]:
    stays = Pack(0.0, seat.pack, False)
    if seat.hold:
        return [stays]
    down, up = _way(job, seat)
    if seat.held_by == "nut":
        step = max(j.resolution for j in job.jacks_at(seat.id))
        steps = range(int(down / step) - 1, int(up / step) + 2)
        return [Pack(k * step, (), k != 0) for k in steps if down - 1e-9 <= k * step <= up + 1e-9]
    if seat.pushes == "ahead" and (seat.breakaway > 0.0 or not job.jacks_at(seat.id)[0].lock_nut):
        return _pushed_packs(job, seat, owned, borne)
    found = [stays]
    now = sum(job.plates[m].measured for m in seat.pack)
    for size in range(1, seat.most_plates + 1):
        for marks in itertools.combinations_with_replacement(sorted(job.plates), size):
            height = sum(job.plates[m].measured for m in marks)
            setting = height - now - seat.bedding
            inside = seat.pack_least - 1e-9 <= height <= seat.pack_most + 1e-9
            inside = inside and down - 1e-9 <= setting <= up + 1e-9
            enough = all(marks.count(m) <= owned[m] for m in marks)
            if inside and enough and sorted(marks) != sorted(seat.pack):
                found.append(Pack(setting, marks, True))
    return found


@dataclass(frozen=True, eq=False)
class Weighed:
    """Picks (N, n) as moves [m], their worst ratios (N,) and squares (N,), and which are kept."""

    x: Array
    worst: Array
    squares: Array
    kept: Array

    def least_worst(self) -> float:
        """Return the least worst ratio of any plan; infinite where there is none."""
        return float(self.worst[self.kept].min(initial=np.inf))

    def least_squares(self, cap: float | None) -> float:
        """Return the least squares of any plan with every ratio within ``cap``."""
        kept = self.kept if cap is None else self.kept & (self.worst <= cap)
        return float(self.squares[kept].min(initial=np.inf))


def weigh_all(made: Made, move_price: float) -> Weighed:
    """Weigh every selection of a job."""
    packs = every_pack(made.job, made.influence)
    x = _product([np.array([p.setting for p in own]) for own in packs.values()])
    marks = sorted(made.job.plates)
    used = np.zeros((len(x), len(marks)), dtype=np.int64)
    for t, mark in enumerate(marks):
        columns = [
            np.array([0 if made.job.seats[s].hold else p.plates.count(mark) for p in own])
            for s, own in packs.items()
        ]
        used[:, t] = _product(columns).sum(axis=1)
    return weigh(made, x, used, move_price)


def _product(columns: list[Array]) -> Array:
    grids = np.meshgrid(*columns, indexing="ij")
    return np.stack([g.ravel() for g in grids], axis=1)


def weigh(made: Made, x: Array, used: Array, move_price: float) -> Weighed:
    """Weigh selections: moves (N, n), and plates (N, t) that stand in packs, marks in order."""
    job, state, influence = made.job, made.state, made.influence
    y = state.values + x @ influence.A.T
    worst, squares = np.zeros(len(x)), move_price * (x**2).sum(axis=1)
    for i, check in enumerate(state.checks):
        if check.tolerance is not None:
            ratio = (y[:, i] - check.target) / check.tolerance
            worst = np.maximum(worst, np.abs(ratio))
            squares += check.weight * ratio**2
    present = Counter(m for s in job.seats.values() if not s.hold for m in s.pack)
    owned = np.array([job.plates[m].count + present[m] for m in sorted(job.plates)])
    kept = np.all(used <= owned, axis=1)
    for value, least, most in _bounded(made, x, y):
        care = 1e-9 * max(1.0, abs(least) if np.isfinite(least) else 0.0)
        care = max(care, 1e-9 * abs(most) if np.isfinite(most) else 0.0)
        kept &= (value >= least - care) & (value <= most + care)
    return Weighed(x, worst, squares, kept)


def _bounded(made: Made, x: Array, y: Array) -> list[tuple[Array, float, float]]:
    """Everything that must stay between two values in the end: values (N,), least, most."""
    job, state, influence = made.job, made.state, made.influence
    r = influence.r0 + x @ influence.R.T
    rows: list[tuple[Array, float, float]] = []
    at = {name: i for i, name in enumerate(job.seats)}
    for name, seat in job.seats.items():
        i = at[name]
        rows.append((r[:, i], seat.reaction_least, seat.reaction_most))
        if _stuck(job, seat):
            continue
        load = r[:, i] * (1.0 + job.staging.friction) + seat.breakaway
        rows.append((load, -np.inf, _capacity(job, name) / job.working.jack_reserve))
        if _insertion(job, seat) > 0.0:
            # lifted clear of its pack while others of its group go down
            room = _stroke(job, seat) - _insertion(job, seat)
            rows += [
                (x[:, i] - x[:, at[s.id]], -np.inf, room)
                for s in job.seats.values()
                if s.group == seat.group and s.id != name
            ]
    rows += [(f.now + x @ f.row, f.least, f.most) for f in influence.forces]
    for limit in job.limits.values():
        value = _difference_or_warp(job, limit, x[:, [at[s] for s in limit.seats]])
        rows.append((value, -limit.most, limit.most))
    for i, check in enumerate(state.checks):
        if check.leave_within is not None:
            rows.append((y[:, i], -check.leave_within, check.leave_within))
        joint = job.joints.get(check.joint)
        if joint is None:
            continue
        if joint.locked_within is not None:
            rows.append((y[:, i] - state.values[i], -joint.locked_within, joint.locked_within))
        if check.quantity == "gap" and joint.least_opening is not None:
            assert check.pair is not None
            cold = state.least_change(i, job.gates.temperature_apart)
            rows.append(
                (job.pairs[check.pair].opening + y[:, i] + cold, joint.least_opening, np.inf)
            )
    return rows


def _capacity(job: Job, seat: str) -> float:
    """Load of a seat [N] as the first of its jacks comes to its capacity.

    On one circuit all jacks have one pressure; otherwise all are pressed in equally, every one
    being its oil column on its base.
    """
    jacks = job.jacks_at(seat)
    if len({j.circuit for j in jacks}) == 1 and jacks[0].circuit:
        pressure = min(j.capacity / j.ram_area for j in jacks)
        return sum(pressure * j.ram_area for j in jacks)
    gives = [
        (j.stroke_used + SPRINGS.dead) / (SPRINGS.oil * j.ram_area) + 1.0 / SPRINGS.base
        for j in jacks
    ]
    pressed = min(j.capacity * give for j, give in zip(jacks, gives, strict=True))
    return sum(pressed / give for give in gives)


def _difference_or_warp(job: Job, limit: Limit, own: Array) -> Array:
    if limit.kind == "difference":
        return own[:, 0] - own[:, 1]
    # the weights of four points that no plane changes, the greatest of them one
    plan = np.array([job.seats[s].position[:2] for s in limit.seats])
    three = np.linalg.solve(np.c_[np.ones(3), plan[:3]].T, np.r_[1.0, plan[3]])
    weights = np.r_[three, -1.0]
    return own @ (weights / np.abs(weights).max())
