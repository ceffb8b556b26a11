"""Laws of what crosses a joint: turning the grid, moving both sides alike, changing the order."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.checks import checks_of, parts_of
from fitup.checks.bolts import bolt_reading
from fitup.checks.bores import bore_reading
from fitup.checks.ride import ride_reading
from fitup.frames import Array, joint_axes, rotation
from fitup.model import BoltGroup, Bore, CheckPoint, Job, RidePath

RINGS = (-3.0, -0.4, 0.5, 3.2)
HOLES = [(0.1, 0.2), (0.1, 0.6), (0.3, 0.4)]


def crossed(job: Job, azimuth: float, origin: Array) -> Job:
    """A joint with a path, a bore and a bolt group, at a place and direction of the grid."""
    axes = joint_axes(azimuth, 0.03, -0.02)
    joint = replace(job.joints["J1"], axes_in_grid=axes)
    points: dict[str, CheckPoint] = {}

    def add(name: str, ahead: float, left: float, up: float) -> str:
        place = origin + np.array([ahead, left, up]) @ axes
        points[name] = CheckPoint(name, "A" if ahead < 0.0 else "B", place)
        return name

    path = [add(f"P{i}", x, 0.2 * (i % 2), 0.0) for i, x in enumerate((-6, -2, -0.01, 0.01, 3, 7))]
    rings = tuple(
        tuple(
            add(f"R{r}{k}", x, 2.0 + 0.5 * np.cos(k * 1.3), -1.0 + 0.5 * np.sin(k * 1.3))
            for k in range(5)
        )
        for r, x in enumerate(RINGS)
    )
    back = tuple(add(f"HB{k}", -a, 1.0, -u) for k, (a, u) in enumerate(HOLES))
    ahead = tuple(add(f"HA{k}", 0.02 + a, 1.0, -u) for k, (a, u) in enumerate(HOLES))
    return replace(
        job,
        joints={"J1": joint},
        pairs={},
        points=points,
        ride_paths={"W": RidePath("W", "J1", tuple(path), "LEFT lane")},
        bores={"O": Bore("O", "J1", rings, 1.0, 0.98, "LEFT cell")},
        bolts={"G": BoltGroup("G", "J1", back, ahead, "web", 0.002, "LEFT web")},
    )


def found(job: Job, where: dict[str, Array]) -> np.ndarray:
    """Every check of what crosses, and every reading, as one row of numbers."""
    numbers = []
    for check in (c for c in checks_of(job) if c.item is not None):
        part = parts_of(job, check)
        numbers.append(part.constant + sum(float(r @ where[n]) for n, r in part.points.items()))
    ride = ride_reading(job, job.ride_paths["W"], where)
    bolts = bolt_reading(job, job.bolts["G"], where)
    room = bore_reading(job, job.bores["O"], where).room
    return np.array([*numbers, ride.gap, ride.roughness, room, bolts.worst, bolts.fitted])


def misfit(job: Job, seed: int) -> dict[str, Array]:
    """Displacements of a few millimetres in the axes of the joint, by point."""
    rng = np.random.default_rng(seed)
    return {name: rng.normal(0.0, 0.003, 3) for name in job.points}


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.0, 6.28), st.floats(-500.0, 500.0))
def test_turning_and_shifting_the_grid_changes_nothing(small_case, seed, azimuth, shift):
    rows = []
    for way, origin in ((0.3, np.zeros(3)), (azimuth, np.array([shift, -2 * shift, 40.0]))):
        job = crossed(small_case[0], way, origin)
        axes = job.joints["J1"].axes_in_grid
        moves = misfit(job, seed)
        rows.append(found(job, {n: p.design + moves[n] @ axes for n, p in job.points.items()}))
    assert len(rows[0]) == 14
    assert rows[1] == pytest.approx(rows[0], abs=1e-8)


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10**6), st.floats(-2e-3, 2e-3), st.floats(-0.05, 0.05))
def test_moving_both_sides_alike_changes_nothing(small_case, seed, turn, shift):
    """The whole bridge shifted and turned a little: to first order nothing at the joint changes."""
    job = crossed(small_case[0], 0.7, np.array([100.0, 200.0, 10.0]))
    axes, moves = job.joints["J1"].axes_in_grid, misfit(job, seed)
    where = {n: p.design + moves[n] @ axes for n, p in job.points.items()}
    matrix = rotation(turn * np.array([0.5, -0.3, 0.8]))
    centre = np.array([100.0, 200.0, 10.0])
    alike = {n: centre + matrix @ (p - centre) + shift for n, p in where.items()}
    # holes lie up to 0.6 m apart and answer to the turn by so much; the rest to second order,
    # 2e-3 rad squared over 7 m, and the straightedge to where it is laid down
    before, after = found(job, where), found(job, alike)
    holes = [7, 8, 12, 13]
    assert after[holes] == pytest.approx(before[holes], abs=0.65 * abs(turn) + 1e-6)
    assert np.delete(after, holes) == pytest.approx(np.delete(before, holes), abs=1e-4)


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 10**6))
def test_the_order_of_points_round_a_ring_and_of_holes_changes_nothing(small_case, seed):
    job = crossed(small_case[0], 2.0, np.zeros(3))
    axes, moves = job.joints["J1"].axes_in_grid, misfit(job, seed)
    where = {n: p.design + moves[n] @ axes for n, p in job.points.items()}
    rng = np.random.default_rng(seed)
    bore, group = job.bores["O"], job.bolts["G"]
    mixed = tuple(tuple(str(n) for n in rng.permutation(ring)) for ring in bore.rings)
    order = rng.permutation(len(group.back))
    other = replace(
        job,
        bores={"O": replace(bore, rings=mixed)},
        bolts={
            "G": replace(
                group,
                back=tuple(group.back[i] for i in order),
                ahead=tuple(group.ahead[i] for i in order),
            )
        },
    )
    assert found(other, where) == pytest.approx(found(job, where), abs=1e-9)
