"""Do the stated probabilities come true? Simulated jobs, surveyed, planned, moved, and looked at.

Every job is the one ``fitup start`` writes, with a deck that lies elsewhere. It is surveyed with
the stated errors, its steel read with an error, its seats as soft, its steel as expansive, its
plates as thick and its packs as bedded as they happen to be. What the survey says goes through the
tool's own reduction, direct readings and uncertainty budget; packs are the nearest to least
squares. Then the deck is moved, and what is really there is held against the probabilities stated
before: of the checks stated to be inside with 90 %, nine in ten must be.

    python benchmarks/calibration.py --jobs 10000 --figure docs/pictures/calibration.png
"""

from __future__ import annotations

import argparse
import itertools
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from fitup.checks import joint_state
from fitup.checks.state import surveyed_checks
from fitup.checks.thermal import per_kelvin
from fitup.errors import SurveyRefused
from fitup.frames import Array, rotation
from fitup.jobfolder import read_job
from fitup.model import Check, CheckState, Influence, Job, Plan, Seat, SeatPlan, Uncertainties
from fitup.problem import FitProblem, build_problem
from fitup.structure import rigid_influence
from fitup.survey import CoordinateList, Survey, SurveyedPoint, read_survey, reduce_survey
from fitup.survey.pose import fit_pose
from fitup.survey.temperature import growth
from fitup.trust import make_budget
from fitup.trust.conformity import aim_of, allowed_of, conformity, probability_inside
from fitup.trust.joint import joint_probability

EXAMPLE = Path(__file__).parents[1] / "fitup" / "jobfolder" / "template"
JOINT = "J1"
DOUBTS = Uncertainties(
    steel=0.15, expansion=0.03, plate=5e-5, bedding=2e-4, dial=1e-4, stiffness=0.1, reading=5e-4
)
RISK = 0.05
#: jobs simulated in one go
_PART = 250
#: how far points of a segment lie off its drawing [m]
SHAPE = 0.004


@dataclass(frozen=True, eq=False)
class Site:
    """What all simulated jobs share."""

    job: Job
    survey: Survey
    problem: FitProblem
    settings: tuple[Array, ...]
    checks: tuple[Check, ...]
    rate: Array
    influence: Influence
    effect: Callable[[Job], Influence]


def site() -> Site:
    """The shipped joint, its uncertainties stated, every point surveyed."""
    job = replace(read_job(EXAMPLE), uncertainties=DOUBTS, ride_paths={})
    survey = read_survey(EXAMPLE, job)
    influence = rigid_influence(job, survey)
    state = joint_state(job, survey)
    problem = build_problem(job, state, influence)
    known: dict[tuple[float, ...], Influence] = {}

    def effect(other: Job) -> Influence:
        key = tuple(s.stiffness for s in other.seats.values())
        if key not in known:
            known[key] = rigid_influence(other, survey)
        return known[key]

    settings = tuple(np.array([c.setting for c in own]) for own in problem.choices)
    return Site(
        job,
        survey,
        problem,
        settings,
        state.checks,
        per_kelvin(job, state.checks),
        influence,
        effect,
    )


@dataclass(frozen=True, eq=False)
class Truth:
    """What is really there: checks before the moves, and the job as it really is."""

    values: Array
    job: Job
    survey: Survey


def simulate(at: Site, rng: np.random.Generator) -> tuple[Truth, Job, Survey]:
    """Lay the deck near where the example has it, and survey it."""
    job = _as_built(at.job, rng)
    alpha = 1.0 + DOUBTS.expansion * rng.standard_normal()
    seats = {n: _softer(s, rng) for n, s in job.seats.items()}
    true = replace(job, seats=seats, readings=(), uncertainties=Uncertainties())
    epoch = job.epochs[0]
    warm = epoch.temperature - job.reference_temperature + DOUBTS.steel * rng.standard_normal()
    there: dict[str, Any] = {}
    for segment in job.segments.values():
        turn = rotation(rng.normal(0.0, 1e-4, 3))
        shift = rng.normal(0.0, 0.004, 3)
        found = at.survey.poses[segment.id].design2site
        for point in (p for p in job.points.values() if p.segment == segment.id):
            arm = found.apply(point.design) - segment.centre
            there[point.id] = segment.centre + shift + turn @ arm
    exact = _exact(true, there)
    values = surveyed_checks(true, exact, at.checks)[0]
    u = float(epoch.uncertainty or 0.0)
    seen = {}
    for name, position in there.items():
        point = job.points[name]
        grown = alpha * growth(point.design, job.segments[point.segment], warm)
        seen[name] = position + grown + rng.normal(0.0, u, 3)
    readings = []
    index = {c.id: i for i, c in enumerate(at.checks)}
    for one in job.readings:
        i = index[f"{JOINT}/{one.pair}/{one.quantity}"]
        value = values[i] + alpha * at.rate[i] * warm + rng.normal(0.0, one.uncertainty)
        readings.append(replace(one, value=float(value)))
    told = replace(job, readings=tuple(readings))
    return Truth(values, true, exact), told, _survey(told, seen, epoch.temperature, u)


def _as_built(job: Job, rng: np.random.Generator) -> Job:
    """The segments as the shop measured them: faces that no move can make quite alike.

    A probability stated from a measurement alone supposes that anything was possible before it.
    Faces exactly as drawn would make every statement safer than it says.
    """
    points = {
        n: replace(p, design=p.design + rng.normal(0.0, SHAPE, 3)) for n, p in job.points.items()
    }
    return replace(job, points=points)


def _softer(seat: Seat, rng: np.random.Generator) -> Seat:
    share = max(0.1, 1.0 + DOUBTS.stiffness * rng.standard_normal())
    return replace(seat, stiffness=seat.stiffness * share)


def _exact(job: Job, positions: dict[str, Any]) -> Survey:
    """Where everything really is, at the reference."""
    spread = np.full(3, 1e-5)
    points = {n: SurveyedPoint(n, p, spread, 0, 0) for n, p in positions.items()}
    poses = {}
    for name in job.segments:
        own = [p for p in job.points.values() if p.segment == name]
        design = np.array([p.design for p in own])
        found = np.array([positions[p.id] for p in own])
        poses[name] = fit_pose(
            name, [p.id for p in own], design, found, np.tile(spread, (len(own), 1))
        )
    epochs = dict.fromkeys(job.segments, job.epochs[0])
    return Survey(points, poses, epochs, {}, ())


def _survey(job: Job, positions: dict[str, Any], temperature: float, u: float) -> Survey:
    spread = np.full(3, u)
    epoch = replace(job.epochs[0], temperature=temperature)
    points = tuple(
        SurveyedPoint(name, position, spread, 0, row)
        for row, (name, position) in enumerate(positions.items(), 2)
    )
    surveyed = replace(job, epochs=(epoch,))
    return reduce_survey(surveyed, [CoordinateList(epoch.file, points, (), ())])


def plan_for(at: Site, state: CheckState) -> Plan:
    """The nearest packs to least squares: whether limits are kept does not matter here."""
    rows = [i for i, c in enumerate(state.checks) if c.tolerance is not None and c.weight > 0.0]
    tolerance = np.array([state.checks[i].tolerance for i in rows], dtype=float)
    target = np.array([state.checks[i].target for i in rows])
    goal = (target - state.values[rows]) / tolerance
    ideal = np.linalg.lstsq(at.influence.A[rows] / tolerance[:, None], goal, rcond=None)[0]
    seats = []
    own = zip(at.problem.seats, at.problem.choices, at.settings, ideal, strict=True)
    for name, choices, settings, x in own:
        best = choices[int(np.argmin(np.abs(settings - x)))]
        now = list(at.job.seats[name].pack)
        new = list(best.marks if best.disturbed else now)
        put_in = tuple(_less(new, now))
        seats.append(
            SeatPlan(name, tuple(_less(now, new)), put_in, tuple(new), best.setting, best.disturbed)
        )
    return Plan(tuple(seats), (), (), "nearest packs", tuple(float(v) for v in ideal), True)


def _less(marks: list[str], others: list[str]) -> list[str]:
    left = list(marks)
    for mark in others:
        if mark in left:
            left.remove(mark)
    return left


def moved(at: Site, truth: Truth, plan: Plan, rng: np.random.Generator) -> Any:
    """What every check really is when the plan is done."""
    x = np.zeros(len(plan.seats))
    for i, own in enumerate(plan.seats):
        seat = at.job.seats[own.seat]
        x[i] = own.setting
        if not own.disturbed:
            continue
        if seat.held_by == "nut":
            half = 0.5 * max(j.resolution for j in at.job.jacks_at(seat.id))
            x[i] += rng.uniform(-half, half) + rng.normal(0.0, DOUBTS.dial)
            continue
        for mark in (*own.out, *own.put_in):
            x[i] += rng.normal(0.0, at.job.plates[mark].spread or DOUBTS.plate)
        x[i] += rng.normal(0.0, DOUBTS.bedding)
    really = rigid_influence(truth.job, truth.survey)
    return truth.values + really.A @ x


@dataclass(slots=True)
class Tally:
    """Stated probabilities beside what came true, and what was called inside or outside."""

    stated: list[float]
    inside: list[bool]
    joint_stated: list[float]
    joint_inside: list[bool]
    called_inside: list[bool]
    called_outside: list[bool]
    refused: int = 0


def run(jobs: int, seed: int, workers: int = 1) -> Tally:
    """Simulate jobs and note what was stated and what came true; the same for any workers."""
    parts = [(seed, k, min(k + _PART, jobs)) for k in range(0, jobs, _PART)]
    if workers == 1:
        return _together([_part(p) for p in parts])
    with ProcessPoolExecutor(workers) as pool:
        return _together(list(pool.map(_part, parts)))


def _part(part: tuple[int, int, int]) -> Tally:
    seed, first, last = part
    at = site()
    tally = Tally([], [], [], [], [], [])
    for k in range(first, last):
        _one(at, np.random.default_rng([seed, k]), tally)
    print(f"  ... jobs {first} to {last}", file=sys.stderr)
    return tally


def _together(parts: list[Tally]) -> Tally:
    lists = [[x for p in parts for x in getattr(p, f.name)] for f in fields(Tally)[:-1]]
    return Tally(*lists, sum(p.refused for p in parts))


def _one(at: Site, rng: np.random.Generator, tally: Tally) -> None:
    try:
        truth, job, survey = simulate(at, rng)
        state = joint_state(job, survey)
    except SurveyRefused:
        # each of the survey's tests refuses a thousandth of good surveys
        tally.refused += 1
        return
    plan = plan_for(at, state)
    budget = make_budget(job, survey, state, at.influence, plan, effect=at.effect)
    real = moved(at, truth, plan, rng)
    u = budget.u
    rows = [i for i in budget.judged(JOINT) if budget.checks[i].point is None]
    good = []
    for i in rows:
        check = budget.checks[i]
        allowed = float(allowed_of(check) or 0.0)
        off = float(budget.values[i]) - aim_of(check)
        good.append(bool(abs(real[i] - aim_of(check)) <= allowed))
        tally.stated.append(probability_inside(off, float(u[i]), allowed))
        tally.inside.append(good[-1])
        said = conformity(off, float(u[i]), allowed, RISK)
        if said == "inside":
            tally.called_inside.append(good[-1])
        elif said == "outside":
            tally.called_outside.append(good[-1])
    # all at once, with tolerances widened so that every probability occurs
    wide = rng.uniform(1.5, 6.0)
    checks = tuple(replace(c, tolerance=c.tolerance and wide * c.tolerance) for c in budget.checks)
    widened = replace(budget, checks=checks)
    rows = [i for i in rows if checks[i].tolerance is not None]
    tally.joint_stated.append(joint_probability(widened, rows, 251))
    tally.joint_inside.append(
        all(abs(real[i] - checks[i].target) <= (checks[i].tolerance or 0.0) for i in rows)
    )


def bins(stated: list[float], inside: list[bool], count: int = 12) -> list[tuple[float, ...]]:
    """Mean stated probability, share that came true, its standard error, how many; by tenths."""
    p, good = np.array(stated), np.array(inside, dtype=float)
    edges = np.linspace(0.0, 1.0, count + 1)
    found = []
    for low, high in itertools.pairwise(edges):
        here = (p >= low) & ((p < high) | (high == 1.0))
        n = int(here.sum())
        if n:
            share = float(good[here].mean())
            mean = float(p[here].mean())
            found.append((mean, share, float(np.sqrt(max(mean * (1.0 - mean), 1e-9) / n)), n))
    return found


def draw(tally: Tally, path: Path) -> None:
    """Draw stated against observed, for single checks and for the whole joint."""
    from matplotlib import style
    from matplotlib.figure import Figure

    with style.context("default"):
        figure = Figure(figsize=(7.0, 3.6))
        panels = figure.subplots(1, 2, sharex=True, sharey=True)
        for panel, title, points in (
            (panels[0], "each check", bins(tally.stated, tally.inside)),
            (panels[1], "the whole joint", bins(tally.joint_stated, tally.joint_inside)),
        ):
            panel.plot([0, 1], [0, 1], color="0.6", lw=1.0)
            x, y, e, n = np.array(points).T
            panel.errorbar(x, y, 2.0 * e, fmt="o", color="black", ms=4, capsize=2, lw=0.8)
            for a, b, count in zip(x, y, n, strict=True):
                panel.annotate(
                    f"{count:.0f}", (a, b), (5, -9), textcoords="offset points", fontsize=6
                )
            panel.set_title(title, fontsize=9)
            panel.set_xlabel("probability stated before the moves", fontsize=8)
            panel.set_aspect("equal")
        panels[0].set_ylabel("share really inside after them", fontsize=8)
        figure.tight_layout()
        figure.savefig(path, dpi=130, metadata={"Software": None})


def main() -> None:
    """Print the tables, and draw them where asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--jobs", type=int, default=10000)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--seed", type=int, default=20310402)
    parser.add_argument("--figure", type=Path)
    options = parser.parse_args()
    tally = run(options.jobs, options.seed, options.workers)
    for title, stated, inside in (
        ("each check", tally.stated, tally.inside),
        ("the whole joint", tally.joint_stated, tally.joint_inside),
    ):
        print(f"{title}: stated, came true, standard error, how many")
        for mean, share, error, n in bins(stated, inside):
            print(f"  {mean:6.3f}  {share:6.3f}  {error:6.3f}  {n:7.0f}")
    right = np.mean(tally.called_inside or [True])
    wrong = np.mean(tally.called_outside or [False])
    print(f"called inside at a risk of {RISK:g}: {right:.4f} were, of {len(tally.called_inside)}")
    print(f"called outside: {wrong:.4f} were inside, of {len(tally.called_outside)}")
    print(f"surveys refused: {tally.refused} of {options.jobs}")
    if options.figure is not None:
        draw(tally, options.figure)


if __name__ == "__main__":
    main()
