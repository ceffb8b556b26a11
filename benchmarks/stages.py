"""The search for the fewest stages, and how it grows: piers in a row, four seats each.

Every pier is raised onto new packs; neighbouring piers may differ by so much while they move, so
that piers must go in parts, in turn. Beside it in the same run: all states that can be reached,
layer by layer, which finds the same number without bounds. Times are of this machine.

    python benchmarks/stages.py --piers 4 6 8 50
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from fitup.model import (
    CheckState,
    Influence,
    Jack,
    Job,
    Limit,
    Plate,
    Seat,
    SeatPlan,
    Segment,
    Staging,
)
from fitup.procedure.bounds import Bounds
from fitup.procedure.plan_stages import any_rest_bound, best_order
from fitup.procedure.search import _layers

UP = np.array([0.0, 0.0, 1.0])


def piers(count: int, crews: int, differ: float, seed: int = 7) -> tuple[Job, list[SeatPlan]]:
    """A deck on piers with four seats each, raised by 15 to 25 mm; neighbours within a limit."""
    rng = np.random.default_rng(seed)
    marks = {"P20": 20, "P10": 10, "P5": 5, "P2": 2, "P1": 1}
    plates = {m: Plate(m, t / 1e3, t / 1e3, 4 * count + 8, 0.3, 0.3) for m, t in marks.items()}
    segments, seats, jacks, limits, plans = {}, {}, {}, {}, []
    for i in range(count):
        name = f"S{i}"
        centre = np.array([0.0, 30.0 * i, 10.0])
        held = frozenset({"along", "across", "turn"})
        segments[name] = Segment(name, 0.0, 4.0e6, centre, held)
        rise = int(rng.integers(15, 26))
        for k, (e, n) in enumerate([(-4, -1), (4, -1), (4, 1), (-4, 1)], 1):
            seat = f"{name}-{k}"
            place = centre + np.array([e, n, -2.0])
            seats[seat] = Seat(
                id=seat, segment=name, position=place, direction=UP, pushes="up",
                stiffness=4.0e8, held_by="packs", pack=("P20",), pack_least=0.01,
                pack_most=0.08, most_plates=5, bedding=0.0, reaction_least=1.0e5,
                reaction_most=1.9e6, group=name,
            )  # fmt: skip
            jacks[f"J{seat}"] = Jack(f"J{seat}", seat, 2.0e6, 0.03, 0.15, 0.05, 5e-4, True)
            pack = ("P20", *_made(rise))
            plans.append(SeatPlan(seat, (), pack[1:], pack, rise / 1e3, True))
        if i:
            limits[f"L{i}"] = Limit(f"L{i}", "difference", (f"S{i - 1}-4", f"{name}-1"), differ)
    job = Job(
        name="piers", units="metric", grid="none", reference_temperature=288.15,
        segments=segments, points={}, joints={}, pairs={}, seats=seats, jacks=jacks,
        plates=plates, limits=limits, tolerances={}, staging=Staging(crews=crews),
    )  # fmt: skip
    return job, plans


def _made(height: int) -> tuple[str, ...]:
    marks = []
    for mark, thick in (("P20", 20), ("P10", 10), ("P5", 5), ("P2", 2), ("P1", 1)):
        while height >= thick and len(marks) < 4:
            marks.append(mark)
            height -= thick
    return tuple(marks)


def loads(job: Job) -> tuple[CheckState, Influence]:
    """No checks; reactions of rigid segments on four equal seats, by hand."""
    n = len(job.seats)
    R = np.zeros((n, n))
    warp = np.array([1.0, -1.0, 1.0, -1.0])
    for i in range(0, n, 4):
        R[i : i + 4, i : i + 4] = 1.0e8 * np.outer(warp, warp)
    state = CheckState((), np.zeros(0), np.zeros((0, 0)))
    return state, Influence((), tuple(job.seats), np.zeros((0, n)), R, np.full(n, 1.0e6), "table")


def main() -> None:
    """Print one line a case."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--piers", type=int, nargs="*", default=[2, 4, 8, 16, 50])
    parser.add_argument("--crews", type=int, default=2)
    parser.add_argument("--differ", type=float, default=16.0, help="mm between neighbours")
    parser.add_argument("--layers", type=int, default=4, help="most piers for all states")
    options = parser.parse_args()
    print("piers  seats  seconds  stages  no_fewer  any_rest  closed  layers_s  layers  ratio")
    for count in options.piers:
        job, plans = piers(count, options.crews, options.differ * 1e-3)
        state, influence = loads(job)
        begin = time.perf_counter()
        laid, outcome = best_order(job, state, influence, plans)
        seconds = time.perf_counter() - begin
        found = len(outcome.stages) if outcome.stages is not None else 0
        line = f"{count:5d}  {len(plans):5d}  {seconds:7.2f}  {found:6d}  {outcome.lower:8d}"
        line += f"  {any_rest_bound(laid):8d}  {'yes' if outcome.closed else 'no':>6}"
        if count <= options.layers:
            begin = time.perf_counter()
            order, _, _ = _layers(laid.course, Bounds(laid.course), 200_000)
            other = time.perf_counter() - begin
            line += f"  {other:8.2f}  {len(order or ()):6d}  {other / seconds:5.1f}"
        print(line, flush=True)


if __name__ == "__main__":
    main()
