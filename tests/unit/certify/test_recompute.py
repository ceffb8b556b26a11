"""Settings, equilibrium, checks, tables and arcs of the second path, worked by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fitup.certify.plane import off_plane
from fitup.certify.recompute import (
    TableStates,
    bending_of,
    equilibrium,
    expansion_of,
    measure,
    pack_setting,
    setting_from_plates,
)
from fitup.checks.definitions import checks_of
from fitup.model import Check, Influence, Job
from fitup.model.cables import Lean

KN = 1e3
LOADS = dict.fromkeys(("B1", "B2", "B3", "B4", "A1", "A2", "A3", "A4"), 500 * KN)


@pytest.fixture(scope="module")
def job(small: Callable[..., Any]) -> Job:
    """Two 20 m segments end to end along the north, seats 4 m left and right, 8 m from the middle.

    Seats of 400 kN/mm; the joint lies in the origin; B back, A ahead, 10 mm apart.
    """
    return small().job


def still(**moves: float) -> dict[str, float]:
    return dict.fromkeys(LOADS, 0.0) | moves


# --- settings -------------------------------------------------------------------------------


def test_a_pack_gives_its_measured_height_less_the_old_and_the_bedding(job: Job) -> None:
    """P20 is 20.01, P5 5.00, P10 10.02 mm: 30.03 - 25.01 - 0.2 of bedding."""
    seat = job.seats["B1"]
    assert pack_setting(job, seat, ("P20", "P10")) == pytest.approx(0.00482, abs=1e-12)
    # the same plates, whatever their order, were not touched
    assert pack_setting(job, seat, ("P5", "P20")) == 0.0
    assert pack_setting(job, seat, ("P20", "P5", "P5")) == pytest.approx(0.0048, abs=1e-12)


def test_a_nut_is_taken_as_told_and_packs_as_added_up(job: Job) -> None:
    plan: Any = SimpleNamespace(seat="B1", build_up=("P20", "P10"))
    assert setting_from_plates(job, plan, 0.5) == pytest.approx(0.00482, abs=1e-12)
    nut = replace(job, seats={**job.seats, "B1": replace(job.seats["B1"], held_by="nut")})
    assert setting_from_plates(nut, plan, 0.5) == 0.5


# --- equilibrium of a rigid segment ---------------------------------------------------------


def test_even_moves_carry_the_segment_and_change_no_load(job: Job) -> None:
    state = equilibrium(job, job.segments["B"], still(B1=2e-3, B2=2e-3, B3=2e-3, B4=2e-3), LOADS)
    assert state.motion.shift == pytest.approx([0.0, 0.0, 2e-3], abs=1e-12)
    assert np.abs(state.turn).max() < 1e-12
    assert state.reactions == pytest.approx(dict.fromkeys(("B1", "B2", "B3", "B4"), 500 * KN))


def test_one_corner_raised_by_hand(job: Job) -> None:
    """4 mm at one of four equal springs: a quarter of it is warp. The others give 1 mm each way:
    its own seat and the opposite one gain 400 kN/mm x 1 mm, the two beside it lose as much."""
    state = equilibrium(job, job.segments["B"], still(B1=4e-3), LOADS)
    gains = {n: state.reactions[n] - 500 * KN for n in ("B1", "B2", "B3", "B4")}
    # B1 and B3 are opposite corners
    assert gains == pytest.approx(
        {"B1": 400 * KN, "B2": -400 * KN, "B3": 400 * KN, "B4": -400 * KN}, rel=1e-9
    )
    assert state.motion.shift[2] == pytest.approx(1e-3, abs=1e-9)


def test_a_seat_that_may_be_unloaded_is_let_go_where_it_would_pull(job: Job) -> None:
    """6 mm would take 600 kN from the two beside it, which carry 500; let go one after the other,
    three seats hold the segment and carry what they did, shared by statics alone."""
    free = {n: replace(s, may_unload=n == "B2", reaction_least=0.0) for n, s in job.seats.items()}
    loose = replace(job, seats=free)
    state = equilibrium(loose, job.segments["B"], still(B1=6e-3), LOADS)
    assert state.reactions["B2"] == 0.0
    assert sum(state.reactions[n] for n in ("B1", "B2", "B3", "B4")) == pytest.approx(2000 * KN)
    # B4 alone balances B2, so it carries nothing either: all rests on the diagonal
    assert state.reactions["B1"] == pytest.approx(1000 * KN, rel=1e-6)
    assert state.reactions["B3"] == pytest.approx(1000 * KN, rel=1e-6)
    assert state.springs["B2"] < 0.0
    # one that may not is held back: it pulls
    held = equilibrium(job, job.segments["B"], still(B1=6e-3), LOADS)
    assert held.reactions["B2"] == pytest.approx(-100 * KN, rel=1e-6)


def test_a_seat_without_load_is_reached_again_by_the_deck(job: Job) -> None:
    """Where the seat beside is lowered with it, nothing leaves."""
    free = {n: replace(s, may_unload=True, reaction_least=0.0) for n, s in job.seats.items()}
    loose = replace(job, seats=free)
    even = still(B1=6e-3, B2=6e-3, B3=6e-3, B4=6e-3)
    state = equilibrium(loose, job.segments["B"], even, LOADS)
    assert state.reactions == pytest.approx(dict.fromkeys(("B1", "B2", "B3", "B4"), 500 * KN))


@pytest.mark.parametrize("azimuth", [0.0, np.pi / 2, 0.7])
def test_what_is_held_does_not_move(job: Job, azimuth: float) -> None:
    """A seat that pushes obliquely against held motions moves none of them."""
    way = np.array([np.sin(azimuth), np.cos(azimuth), 0.0])
    side = np.array([-way[1], way[0], 0.0])
    seats = dict(job.seats)
    # enough push along the deck for the free motion to have a spring
    seats["B1"] = replace(seats["B1"], direction=way, may_unload=False)
    segment = replace(job.segments["B"], azimuth=azimuth, held=frozenset({"across", "turn"}))
    own = replace(job, seats=seats, segments={**job.segments, "B": segment})
    state = equilibrium(own, segment, still(B1=3e-3), LOADS | {"B1": 0.0})
    assert float(way @ state.motion.shift) == pytest.approx(3e-3, abs=1e-6)
    assert float(side @ state.motion.shift) == pytest.approx(0.0, abs=1e-9)
    assert state.turn[2] == pytest.approx(0.0, abs=1e-12)


# --- checks between moved points ------------------------------------------------------------


def check_of(job: Job, name: str) -> Check:
    return next(c for c in checks_of(job) if c.id == name)


def measured(
    job: Job,
    name: str,
    moves: dict[str, tuple[float, float, float]],
    turns: dict[str, tuple[float, float, float]] | None = None,
) -> float:
    return measure(
        job,
        check_of(job, name),
        lambda p: job.points[p].design + np.array(moves.get(p, (0.0, 0.0, 0.0))),
        lambda s: np.array((turns or {}).get(s, (0.0, 0.0, 0.0))),
    )


@pytest.mark.parametrize(
    ("name", "point", "move", "value"),
    [
        # the deck goes north: ahead is north, left is west
        ("K/P1/gap", "A-L", (0.001, 0.002, 0.004), 0.002),
        ("K/P1/gap", "B-L", (0.001, 0.002, 0.004), -0.002),
        ("K/P1/offset", "A-L", (0.001, 0.002, 0.004), -0.001),
        ("K/P1/step", "A-L", (0.001, 0.002, 0.004), 0.004),
        ("K/P1/step", "B-L", (0.001, 0.002, 0.004), -0.004),
        ("K/P2/step", "A-L", (0.001, 0.002, 0.004), 0.0),
        ("level/A-L", "A-L", (0.001, 0.002, 0.004), 0.004),
        ("line/A-L", "A-L", (0.001, 0.002, 0.004), -0.001),
        ("station/A-L", "A-L", (0.001, 0.002, 0.004), 0.002),
    ],
)
def test_checks_of_points(
    job: Job, name: str, point: str, move: tuple[float, float, float], value: float
) -> None:
    assert measured(job, name, {point: move}) == pytest.approx(value, abs=1e-12)


def test_line_and_station_of_a_segment_that_goes_north_east(job: Job) -> None:
    """Ahead is (0.6, 0.8), left (-0.8, 0.6)."""
    turned = replace(job.segments["A"], azimuth=float(np.arctan2(0.6, 0.8)))
    own = replace(job, segments={**job.segments, "A": turned})
    moves = {"A-L": (0.001, 0.002, 0.0)}
    assert measured(own, "station/A-L", moves) == pytest.approx(0.0022, abs=1e-12)
    assert measured(own, "line/A-L", moves) == pytest.approx(0.0004, abs=1e-12)


@pytest.mark.parametrize(
    ("name", "turn", "value"),
    [
        # about the axis to the left (west) the ahead end goes down: no kink up
        ("K/kink_grade", (1e-3, 0.0, 0.0), 1e-3),
        ("K/kink_plan", (0.0, 0.0, 1e-3), 1e-3),
        ("K/twist", (0.0, 1e-3, 0.0), 1e-3),
    ],
)
def test_checks_of_turns(
    job: Job, name: str, turn: tuple[float, float, float], value: float
) -> None:
    assert measured(job, name, {}, {"A": turn}) == pytest.approx(value, abs=1e-12)
    assert measured(job, name, {}, {"B": turn}) == pytest.approx(-value, abs=1e-12)


def with_lean(job: Job) -> Job:
    """A tower on A: its head 30 m over its foot, its azimuth that of the segment."""
    foot = replace(job.points["A-C"], id="foot", design=np.array([0.0, 10.0, 10.0]))
    head = replace(foot, id="head", design=np.array([0.0, 10.0, 40.0]))
    points = {**job.points, "foot": foot, "head": head}
    return replace(job, points=points, leans={"T": Lean("T", "head", "foot", 0.0, "")})


def test_a_lean_is_the_head_over_the_foot_along_the_deck(job: Job) -> None:
    tower = with_lean(job)
    moves = {"head": (0.5, 0.03, 0.1), "foot": (0.2, 0.01, 0.0)}
    assert measured(tower, "lean/T", moves) == pytest.approx(0.02, abs=1e-12)
    east = replace(tower.segments["A"], azimuth=float(np.arctan2(0.6, 0.8)))
    turned = replace(tower, segments={**tower.segments, "A": east})
    assert measured(turned, "lean/T", moves) == pytest.approx(0.6 * 0.3 + 0.8 * 0.02, abs=1e-12)


def test_a_tension_stays_as_measured(job: Job) -> None:
    check = replace(check_of(job, "level/A-L"), quantity="tension", point=None, subject="C")
    own: Any = replace(job, tensions={"C": SimpleNamespace(value=412 * KN)})
    nowhere: Any = None
    assert measure(own, check, nowhere, nowhere) == 412 * KN


# --- an imported table ----------------------------------------------------------------------


def table(seats: tuple[str, ...], A: Any, R: Any, r0: Any) -> Influence:
    return Influence(("level/A-L",), seats, np.array(A), np.array(R), np.array(r0), "table")


def test_a_table_is_summed_row_by_row(job: Job) -> None:
    states = TableStates(table(("B1", "B2"), [[0.5, 2.0]], [[7.0, 3.0], [3.0, 5.0]], [10.0, 20.0]))
    outcome = states.at({"B1": 2.0, "B2": -3.0}, (check_of(job, "level/A-L"),))
    assert outcome.change == pytest.approx([-5.0])
    assert outcome.reactions == {"B1": 15.0, "B2": 11.0}


def test_a_seat_of_a_table_that_would_pull_is_raised_to_carry_nothing(job: Job) -> None:
    """B2 carries 100 and loses 50 a unit: at 3 units it would pull 50, and is left behind where
    it carries nothing. A rise of B2 by 1 at R = 50 does that: in the check it counts as 1."""
    one = table(("B1", "B2"), [[1.0, 10.0]], [[50.0, -50.0], [-50.0, 50.0]], [100.0, 100.0])
    check = (check_of(job, "level/A-L"),)
    free = TableStates(one, ("B2",)).at({"B1": 3.0, "B2": 0.0}, check)
    assert free.reactions["B2"] == pytest.approx(0.0, abs=1e-9)
    assert free.reactions["B1"] == pytest.approx(200.0)
    assert free.change == pytest.approx([13.0])
    # up to 2 units it carries
    kept = TableStates(one, ("B2",)).at({"B1": 1.9, "B2": 0.0}, check)
    assert kept.reactions["B2"] == pytest.approx(5.0)
    assert kept.change == pytest.approx([1.9])
    # one that may not is held down
    held = TableStates(one).at({"B1": 3.0, "B2": 0.0}, check)
    assert held.reactions["B2"] == pytest.approx(-50.0)


def test_a_seat_let_go_too_soon_is_taken_up_again(job: Job) -> None:
    """B2 pulls 10 at first; but once B3 is let go, the deck comes down on B2 again."""
    R = [[10.0, 0.0, 0.0], [0.0, 10.0, -10.0], [0.0, -10.0, 20.0]]
    three = Influence(
        ("level/A-L",), ("B1", "B2", "B3"), np.array([[1.0, 1.0, 1.0]]), np.array(R),
        np.array([100.0, 10.0, 10.0]), "table",
    )  # fmt: skip
    states = TableStates(three, ("B2", "B3"))
    outcome = states.at({"B1": 0.0, "B2": -2.0, "B3": 0.0}, (check_of(job, "level/A-L"),))
    assert outcome.reactions["B2"] >= -1e-9
    assert outcome.reactions["B3"] >= -1e-9
    # only B2 leaves: 1 unit of its 2 brings it to nought, and B3 carries 10 + 10
    assert outcome.reactions["B3"] == pytest.approx(20.0)
    assert outcome.change == pytest.approx([-1.0])


# --- thermal on free segments ----------------------------------------------------------------


def warm_job(job: Job, azimuth: float = 0.0) -> Job:
    """Both segments of steel, 1.2e-5 a kelvin, fixed at their far ends, 2 m deep."""
    segments = {
        n: replace(
            s,
            expansion=1.2e-5,
            fixed_point=np.array([0.0, -20.0 if n == "B" else 20.01, 9.0]),
            depth=2.0,
            azimuth=azimuth,
        )
        for n, s in job.segments.items()
    }
    return replace(job, segments=segments)


WARMER = {"B": 10.0, "A": 20.0}


@pytest.mark.parametrize(
    ("name", "value"),
    [
        # 20 m of B grow by 2.4 mm towards the joint, 20 m of A by 4.8 mm
        ("K/P1/gap", -7.2e-3),
        ("station/B-L", 2.4e-3),
        ("station/A-L", -4.8e-3),
        # 5 m to the left and 1 m up from the fixed point
        ("line/B-L", 0.6e-3),
        ("line/A-R", -1.2e-3),
        ("level/B-L", 0.12e-3),
        ("level/A-L", 0.24e-3),
        ("K/P1/step", 0.12e-3),
        ("K/P1/offset", 0.6e-3),
        ("K/kink_grade", 0.0),
        ("K/twist", 0.0),
    ],
)
def test_free_expansion_by_hand(job: Job, name: str, value: float) -> None:
    warm = warm_job(job)
    assert expansion_of(warm, check_of(warm, name), WARMER) == pytest.approx(value, abs=1e-12)


def test_expansion_along_a_turned_segment(job: Job) -> None:
    """Ahead is (0.6, 0.8) now: the point moves (-0.6, 2.4, 0.12) mm for 10 K."""
    warm = warm_job(job, float(np.arctan2(0.6, 0.8)))
    along = expansion_of(warm, check_of(warm, "station/B-L"), WARMER)
    across = expansion_of(warm, check_of(warm, "line/B-L"), WARMER)
    assert along == pytest.approx(-0.6 * 0.6e-3 + 0.8 * 2.4e-3, abs=1e-12)
    assert across == pytest.approx(0.8 * 0.6e-3 + 0.6 * 2.4e-3, abs=1e-12)


def test_a_tower_grows_and_leans_with_its_segment(job: Job) -> None:
    """Head and foot one above the other: nothing leans. 10 m ahead of it: 2.4 mm for 20 K."""
    tower = warm_job(with_lean(job))
    assert expansion_of(tower, check_of(tower, "lean/T"), WARMER) == pytest.approx(0.0)
    ahead = replace(tower.points["head"], design=np.array([3.0, 20.0, 40.0]))
    tower = replace(tower, points={**tower.points, "head": ahead})
    check = check_of(tower, "lean/T")
    assert expansion_of(tower, check, WARMER) == pytest.approx(2.4e-3, abs=1e-12)
    east = replace(tower.segments["A"], azimuth=float(np.arctan2(0.6, 0.8)))
    tower = replace(tower, segments={**tower.segments, "A": east})
    # 3 m east by 0.72 mm, 10 m north by 2.4 mm
    value = 0.6 * 0.72e-3 + 0.8 * 2.4e-3
    assert expansion_of(tower, check, WARMER) == pytest.approx(value, abs=1e-12)


def test_what_has_no_fixed_point_or_rate_does_not_grow(job: Job) -> None:
    cold = {n: replace(s, fixed_point=None) for n, s in warm_job(job).segments.items()}
    own = replace(job, segments=cold)
    assert expansion_of(own, check_of(own, "K/P1/gap"), WARMER) == 0.0
    cold = {n: replace(s, expansion=None) for n, s in warm_job(job).segments.items()}
    own = replace(job, segments=cold)
    assert expansion_of(own, check_of(own, "K/P1/gap"), WARMER) == 0.0


def test_a_deck_warmer_on_top_bends_down_at_its_ends(job: Job) -> None:
    """Curvature k = 1.2e-5 x 10 / 2 = 6e-5 1/m. Seats at +-8 m settle on a level: a point 10 m
    from the middle lies k (10^2 - 8^2) / 2 = 1.08 mm below; the end turns by k x 10 = 0.6 mm/m,
    and the joint between two such ends has a kink of 1.2 mm/m, the ahead end going down."""
    warm = warm_job(job)
    bent = {"B": 10.0, "A": 10.0}

    def of(name: str) -> float:
        return bending_of(warm, check_of(warm, name), bent)

    assert of("level/B-L") == pytest.approx(-1.08e-3, abs=3e-6)
    assert of("level/A-C") == pytest.approx(-1.08e-3, abs=3e-6)
    assert of("K/P1/step") == pytest.approx(0.0, abs=1e-9)
    assert of("K/kink_grade") == pytest.approx(1.2e-3, abs=1e-6)
    assert of("K/kink_plan") == pytest.approx(0.0, abs=1e-12)
    assert of("K/twist") == pytest.approx(0.0, abs=1e-12)
    # a metre over the axis the ends come 0.6 mm nearer to each other each
    assert of("station/B-L") == pytest.approx(0.6e-3, abs=2e-6)
    assert of("station/A-L") == pytest.approx(-0.6e-3, abs=2e-6)
    assert of("K/P1/gap") == pytest.approx(-1.2e-3, abs=3e-6)
    assert of("line/B-L") == pytest.approx(0.0, abs=1e-9)
    # and one alone bends only its own side
    alone = bending_of(warm, check_of(warm, "K/P1/step"), {"B": 10.0, "A": 0.0})
    assert alone == pytest.approx(1.08e-3, abs=3e-6)
    tension = replace(check_of(warm, "level/B-L"), quantity="tension", point=None)
    assert bending_of(warm, tension, bent) == 0.0


def test_a_bent_deck_on_uneven_seats_settles_by_their_springs(job: Job) -> None:
    """The two seats near the joint moved to the middle of the span: 0 and 8 m from it. The chord
    through k 0 / 2 and -k 64 / 2 tilts by k 4: the free end 10 m out lies level with it."""
    warm = warm_job(job)
    seats = dict(warm.seats)
    for name in ("B1", "B2"):
        at = seats[name].position.copy()
        at[1] = -10.0
        seats[name] = replace(seats[name], position=at)
    own = replace(warm, seats=seats)
    bend = 6e-5
    # arc -k s^2 / 2, chord through s = 0 (0) and s = -8 (-32 k): 4 k s
    level = bending_of(own, check_of(own, "level/B-C"), {"B": 10.0, "A": 0.0})
    assert level == pytest.approx(bend * (-50.0 - 40.0), abs=1e-5)
    kink = bending_of(own, check_of(own, "K/kink_grade"), {"B": 10.0, "A": 0.0})
    assert kink == pytest.approx(bend * (10.0 + 4.0), abs=2e-6)


def test_a_bent_tower_leans(job: Job) -> None:
    """30 m over the axis where the section turns by k x 0 at the middle and k x 5 off it."""
    tower = warm_job(with_lean(job))
    spots = {"head": [0.0, 15.01, 39.0], "foot": [0.0, 15.01, 9.0]}
    points = {n: replace(tower.points[n], design=np.array(at)) for n, at in spots.items()}
    tower = replace(tower, points={**tower.points, **points})
    check = check_of(tower, "lean/T")
    lean = bending_of(tower, check, {"B": 0.0, "A": 10.0})
    # 5 m ahead of the middle the section turns ahead by k 5, 30 m high
    assert lean == pytest.approx(6e-5 * 5.0 * 30.0, abs=2e-5)


# --- warp -----------------------------------------------------------------------------------


def test_warp_of_four_seats_in_a_rectangle(job: Job) -> None:
    four = [job.seats[n] for n in ("B1", "B2", "B3", "B4")]
    assert off_plane(four, still(B1=2e-3)) == pytest.approx(2e-3)
    # opposite corners add, neighbours tilt
    assert off_plane(four, still(B1=2e-3, B3=2e-3)) == pytest.approx(4e-3)
    assert off_plane(four, still(B1=2e-3, B2=2e-3)) == pytest.approx(0.0, abs=1e-12)


def test_the_least_of_the_four_distances_is_the_warp(job: Job) -> None:
    """Seats in a trapezoid 2 and 4 m wide: a narrow corner off by 1 counts 1, a wide one 1/2."""
    spots = {"B1": (-1.0, 0.0), "B2": (1.0, 0.0), "B3": (2.0, 4.0), "B4": (-2.0, 4.0)}
    four = [replace(job.seats[n], position=np.array([*at, 8.0])) for n, at in spots.items()]
    assert off_plane(four, still(B1=1e-3)) == pytest.approx(1e-3)
    assert off_plane(four, still(B4=1e-3)) == pytest.approx(0.5e-3)
    # three in a line carry no plane: the others do
    spots = {"B1": (0.0, 0.0), "B2": (1.0, 0.0), "B3": (2.0, 0.0), "B4": (0.0, 3.0)}
    four = [replace(job.seats[n], position=np.array([*at, 8.0])) for n, at in spots.items()]
    assert off_plane(four, still(B4=5e-3)) == pytest.approx(0.0, abs=1e-12)
    assert off_plane(four, still(B2=1e-3)) == pytest.approx(1e-3)
