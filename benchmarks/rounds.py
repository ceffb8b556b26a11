"""Rounds to inside tolerance, with learning against without, side by side in one run.

Simulated jobs: one continuous deck on six seats, a beam on springs, out of level by a centimetre
or two. The truth is not what the job assumes: seats are softer, packs bed more, jacks' scales are
off, or all of it. Each round is planned in whole plates, carried out in the truth, surveyed with
noise, and planned again from there: once with every assumption as it was, once with what the
rounds before taught. Everything is invented; the same seeds give the same table.

    python benchmarks/rounds.py --jobs 20 --figure docs/pictures/rounds.png
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fitup.checks import checks_of
from fitup.jobfolder.rounds import with_learned
from fitup.loop import learn, one_round
from fitup.loop.learn import corrections
from fitup.model import (
    CheckPoint,
    CheckState,
    Influence,
    Jack,
    Job,
    Learning,
    Moved,
    Plate,
    Seat,
    Segment,
    Tolerance,
    Uncertainties,
)
from fitup.plan.search_space import space_of, squares_goal
from fitup.problem.continuous import least_squares
from fitup.problem.packs import Choice
from fitup.problem.problem import build_problem
from fitup.solve.local_search import improve

SEATS, SPAN = 6, 20.0
#: assumed stiffness of a seat [N/m], bending stiffness of the deck [N m2], weight of a seat [N]
STIFF, EI, LOAD = 60e6, 4e10, 1.2e6
#: survey and tolerance [m]
U, TOLERANCE = 0.0003, 0.0015
MOST_ROUNDS = 8
UP = np.array([0.0, 0.0, 1.0])
#: mark -> thickness [mm], count
PLATES = {"P40": (40, 9), "P20": (20, 12), "P10": (10, 12), "P5": (5, 14), "P2": (2, 20),
          "P1": (1, 20), "P05": (0.5, 20)}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Truth:
    """What is really there, seat by seat: stiffness over assumed, bedding [m], jack scale."""

    stiffness: np.ndarray
    bedding: np.ndarray
    scale: np.ndarray


def truths(kind: str, rng: np.random.Generator) -> Truth:
    """Draw a truth of one kind."""
    one, bed = np.ones(SEATS), np.full(SEATS, 0.0003)
    soft = np.exp(rng.normal(-0.7, 0.25, SEATS)) if kind in ("soft seats", "all of it") else one
    beds = bed + np.abs(rng.normal(0.0015, 0.0004, SEATS))
    jacks = one + rng.normal(-0.08, 0.02)
    return Truth(
        soft,
        beds if kind in ("deep bedding", "all of it") else bed,
        jacks if kind in ("jacks off scale", "all of it") else one,
    )


def deck(kind: str) -> Job:
    """The job: packs at every seat, or lock nuts where the jacks are what may be wrong."""
    segment = Segment("D", 0.0, SEATS * LOAD, np.array([0.0, 50.0, 9.0]))
    nuts = kind == "jacks off scale"
    seats, points, jacks = {}, {}, {}
    for i in range(SEATS):
        name, place = f"S{i + 1}", np.array([0.0, i * SPAN, 8.0])
        nut = nuts or (kind == "all of it" and i % 2 == 1)
        seats[name] = Seat(
            id=name, segment="D", position=place, direction=UP, pushes="up", stiffness=STIFF,
            held_by="nut" if nut else "packs", pack=() if nut else ("P40", "P20", "P10"),
            pack_least=0.0, pack_most=0.2, most_plates=7, bedding=0.0003,
            reaction_least=1e4, reaction_most=9e6, reaction_now=LOAD,
            raise_most=0.05, lower_most=0.05, group="D-lift",
        )  # fmt: skip
        points[f"P{i + 1}"] = CheckPoint(f"P{i + 1}", "D", place + 2.0 * UP, watched=True)
        jacks[f"J{i + 1}"] = Jack(f"J{i + 1}", name, 9e6, 0.05, 0.4, 0.2, 0.0005, True)
    return Job(
        name="simulated", units="metric", grid="made", reference_temperature=288.15,
        segments={"D": segment}, points=points, joints={}, pairs={}, seats=seats, jacks=jacks,
        plates={m: Plate(m, t / 1e3, t / 1e3, n, 0.3, 0.3, 2e-5) for m, (t, n) in PLATES.items()},
        limits={}, tolerances={"level": Tolerance(TOLERANCE, "made")},
        influence_table="made",
        uncertainties=Uncertainties(stiffness=0.5, bedding=0.0015, expansion=0.1, steel=1.0),
        learning=Learning(movement=0.08, settlement=0.001),
    )  # fmt: skip


def beam(stiffness: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How the deck follows its seats (n, n), and the change of reactions [N/m] (n, n)."""
    size = 2 * SEATS
    K = np.zeros((size, size))
    L = SPAN
    part = EI / L**3 * np.array(
        [[12, 6 * L, -12, 6 * L], [6 * L, 4 * L**2, -6 * L, 2 * L**2],
         [-12, -6 * L, 12, -6 * L], [6 * L, 2 * L**2, -6 * L, 4 * L**2]]
    )  # fmt: skip
    for i in range(SEATS - 1):
        K[2 * i : 2 * i + 4, 2 * i : 2 * i + 4] += part
    heights = np.arange(0, size, 2)
    K[heights, heights] += stiffness
    follows = np.linalg.solve(K, np.eye(size)[:, heights] * stiffness)[heights]
    return follows, stiffness[:, None] * (np.eye(SEATS) - follows)


def influence_of(
    job: Job, stiffness: np.ndarray, loads: np.ndarray, scale: np.ndarray
) -> Influence:
    """Influence on every check of a deck on seats of these stiffnesses."""
    checks = checks_of(job)
    follows, reactions = beam(stiffness)
    A = np.array(
        [
            follows[int(c.point[1:]) - 1] if c.quantity == "level" else np.zeros(SEATS)
            for c in checks
        ]
    )
    return Influence(
        tuple(c.id for c in checks), tuple(job.seats), A * scale, reactions * scale, loads, "rigid"
    )


def assumed(job: Job, loads: np.ndarray) -> Influence:
    """The influence as the job with its corrections has it."""
    factor = {o.at: o.value for o in job.learned if o.what == "movement"}
    scale = np.array([factor.get(n, 1.0) for n in job.seats])
    return influence_of(job, np.array([s.stiffness for s in job.seats.values()]), loads, scale)


def surveyed(job: Job, level: np.ndarray, rng: np.random.Generator) -> CheckState:
    """The levels as a survey finds them; line and station are of no interest."""
    checks = checks_of(job)
    values = np.array(
        [level[int(c.point[1:]) - 1] if c.quantity == "level" else 0.0 for c in checks]
    )
    return CheckState(checks, values + rng.normal(0.0, U, len(checks)), U**2 * np.eye(len(checks)))


def chosen(job: Job, state: CheckState, influence: Influence) -> list[Choice] | None:
    """A good plan quickly, in whole plates; its proof is of no interest here."""
    problem = build_problem(job, state, influence)
    relaxed = least_squares(problem, None)
    if relaxed is None:
        return None
    selection, _ = improve(space_of(problem, relaxed.x, None), squares_goal(problem), 3)
    if selection is None:
        return None
    return [own[int(k)] for own, k in zip(problem.choices, selection, strict=True)]


def play(kind: str, seed: int, learning: bool) -> tuple[int, list[bool]]:
    """Rounds until the survey finds every level inside, and whether corrections cover the truth.

    One more than there is patience for where they do not get inside. A correction covers the
    truth where it is no further off than 1.96 of its stated standard uncertainties.
    """
    rng = np.random.default_rng(seed)
    truth = truths(kind, rng)
    # mostly a smooth shape: a beam that is bent sharply cannot be straightened by its seats
    along = np.linspace(-1.0, 1.0, SEATS)
    level = np.vander(along, 3) @ rng.normal(0.0, 0.012, 3) + rng.normal(0.0, 0.002, SEATS)
    loads = np.full(SEATS, LOAD)
    base = job = deck(kind)
    state = surveyed(job, level, rng)
    for played in range(MOST_ROUNDS):
        if np.abs(state.values).max() <= TOLERANCE:
            return played, covered(job, truth)
        influence = assumed(job, loads)
        selections = chosen(job, state, influence)
        if selections is None:
            break
        x = np.array([c.setting for c in selections])
        moved = np.array([c.disturbed for c in selections])
        arrives = arriving(job, truth, x, moved)
        follows, reactions = beam(STIFF * truth.stiffness)
        level, before, loads = level + follows @ arrives, loads, loads + reactions @ arrives
        after = surveyed(job, level, rng)
        read = 1.0 + rng.normal(0.0, 0.03, (2, SEATS))
        stated = tuple(
            Moved(n, float(x[i]), 0.0, float(before[i] * read[0, i]), float(loads[i] * read[1, i]),
                  "made")
            for i, n in enumerate(job.seats)
        )  # fmt: skip
        packs = {n: c.marks if c.disturbed else job.seats[n].pack
                 for n, c in zip(job.seats, selections, strict=True)}  # fmt: skip
        seats = {n: replace(s, pack=packs[n]) for n, s in job.seats.items()}
        later = replace(job, moved=stated, seats=seats)
        lessons = job.learned
        if learning:
            lesson = learn(one_round(job, state, influence, later, after))
            lessons = corrections(job, lesson, "made")
        fresh = {n: replace(base.seats[n], pack=packs[n]) for n in job.seats}
        job = with_learned(replace(base, seats=fresh, moved=stated), lessons)
        state = after
    return MOST_ROUNDS + 1, covered(job, truth)


def covered(job: Job, truth: Truth) -> list[bool]:
    """Whether each correction of a job lies within 1.96 of its uncertainties of the truth."""
    result = []
    for one in job.learned:
        i = list(job.seats).index(one.at)
        true = {"stiffness": truth.stiffness, "bedding": truth.bedding, "movement": truth.scale}
        off = one.value - true[one.what][i]
        if one.what == "stiffness":
            off = np.log(one.value / truth.stiffness[i])
        result.append(bool(abs(off) <= 1.96 * one.uncertainty))
    return result


def arriving(job: Job, truth: Truth, x: np.ndarray, moved: np.ndarray) -> np.ndarray:
    """What arrives at the seats: a nut's reading by its scale, a pack by its true bedding."""
    nut = np.array([s.held_by == "nut" for s in job.seats.values()])
    bedding = np.array([s.bedding for s in job.seats.values()])
    return np.where(nut, x * truth.scale, x + moved * (bedding - truth.bedding))


KINDS = ("as assumed", "soft seats", "deep bedding", "jacks off scale", "all of it")


def figure(shares: dict[str, dict[bool, list[float]]], path: Path) -> None:
    """Draw the share of jobs inside after each round, readable in black and white."""
    import matplotlib as mpl

    mpl.use("Agg")
    mpl.rcParams["svg.hashsalt"] = "rounds"
    from matplotlib import pyplot as plt

    drawn = plt.figure(figsize=(9.0, 2.6), layout="constrained")
    axes = drawn.subplots(1, len(shares), sharey=True)
    for axis, (kind, own) in zip(axes, shares.items(), strict=True):
        rounds = np.arange(1, 6)
        axis.plot(rounds, own[True][:5], "ko-", label="learning", linewidth=1.8)
        axis.plot(rounds, own[False][:5], "s--", color="0.45", label="not learning", mfc="white")
        axis.set_title(kind, fontsize=9)
        axis.set_xticks(rounds)
        axis.set_ylim(-4, 104)
        axis.set_xlabel("rounds", fontsize=8)
        axis.tick_params(labelsize=8)
    axes[0].set_ylabel("decks inside [%]", fontsize=8)
    axes[-1].legend(fontsize=7, loc="lower right")
    drawn.savefig(path, dpi=120, metadata={"Software": None})


def main(stated: Callable[[str], None] = print) -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--jobs", type=int, default=20, help="simulated jobs of each kind")
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=KINDS, help="which truths")
    parser.add_argument("--figure", type=Path, help="draw the shares into this file")
    options = parser.parse_args()
    stated(f"{'truth':<16} {'learning':<9} " + " ".join(f"after_{k}_%" for k in range(1, 6))
         + "  mean_rounds  covered_%")  # fmt: skip
    shares: dict[str, dict[bool, list[float]]] = {}
    for kind in options.kinds:
        shares[kind] = {}
        for learning in (False, True):
            played = [play(kind, seed, learning) for seed in range(options.jobs)]
            runs = np.array([rounds for rounds, _ in played])
            within = [hit for _, hits in played for hit in hits]
            share = [100.0 * float(np.mean(runs <= k)) for k in range(1, MOST_ROUNDS + 1)]
            shares[kind][learning] = share
            cover = f"{100.0 * np.mean(within):9.0f}" if within else "        -"
            row = " ".join(f"{s:9.0f}" for s in share[:5])
            stated(
                f"{kind:<16} {'yes' if learning else 'no':<9} {row}  {runs.mean():11.2f}  {cover}"
            )
    if options.figure:
        figure(shares, options.figure)


if __name__ == "__main__":
    main()
