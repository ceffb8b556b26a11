"""Steel temperatures of the segments of a frame: what its supports make of expansion and bending.

Handbook cases of a beam with a difference of temperature through its depth, curvature
kappa = alpha dT / h: simple span, camber kappa L^2 / 8 and end turns kappa L / 2; propped
cantilever, moment 1.5 E I kappa at the fixed end; two equal spans, 1.5 E I kappa over the middle
support (W. C. Young, R. G. Budynas, Roark's Formulas for Stress and Strain, table of beams, uniform
temperature variation from top to bottom; three spans by the three moments equation, 1.2 E I kappa,
S. Timoshenko, Strength of Materials; table and section from memory, the figures are arithmetic).
A bar pushed back by a spring: alpha T L / (1 + k L / E A), any text. Seats are stiff springs, a
million times the beam's own stiffness: tolerance 1e-4.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest

from fitup.certify.temperature import as_designed, second_thermal_path
from fitup.model import CheckPoint, Job, Seat, Segment
from fitup.model.actions import NodeLoad
from fitup.model.cables import FrameCable
from fitup.model.checks import Check
from fitup.model.frame import (
    FrameModel,
    FrameSeat,
    Member,
    Node,
    Spring,
)
from fitup.structure import with_thermal_response

ALPHA, DEPTH, WARMER = 12e-6, 3.0, 18.0
CURVATURE = ALPHA * WARMER / DEPTH
E, Iy, A = 210e9, 0.2, 0.3
UP = np.array([0.0, 0.0, 1.0])
CLOSE = 1e-4
#: motions that a beam in one vertical plane does not have
PLANE = frozenset({1, 3, 5})


def beam(
    xs: Sequence[float],
    seats: Sequence[float],
    points: Mapping[str, tuple[float, float]],
    held: frozenset[int] = frozenset(),
    springs: Mapping[str, Spring] | None = None,
) -> Job:
    """A segment that runs east through nodes at ``xs``, held along at the first of them."""
    nodes = {
        f"N{i}": Node(
            f"N{i}",
            np.array([x, 0.0, 0.0]),
            PLANE | (frozenset({0}) | held if i == 0 else frozenset()),
        )
        for i, x in enumerate(xs)
    }
    members = {
        f"M{i}": Member(
            f"M{i}", f"N{i}", f"N{i + 1}", E, 8e10, A, Iy, 1.0, 0.3, np.inf, np.inf, UP,
            segment="D",
        )
        for i in range(len(xs) - 1)
    }  # fmt: skip
    stands = {
        f"S{x:g}": Seat(
            f"S{x:g}", "D", np.array([x, 0.0, 0.0]), UP, "up", 1e13, "packs", (), 0, 1, 5, 0, -1e7,
            1e7,
        )
        for x in seats
    }  # fmt: skip
    model = FrameModel(
        nodes, members, springs or {}, seats={n: FrameSeat(n, one_way=False) for n in stands}
    )
    middle = np.array([xs[-1] / 2.0, 0.0, 0.0])
    where = {
        n: CheckPoint(n, "D", np.array([x, 0.0, z]), watched=True) for n, (x, z) in points.items()
    }
    job = Job(
        "beam", "metric", "own", 288.15,
        {"D": Segment("D", np.pi / 2, 0.0, middle, expansion=ALPHA, depth=DEPTH)},
        where, {}, {}, stands, {}, {}, {}, {}, frame=model, influence_by="frame",
    )  # fmt: skip
    return with_thermal_response(job)


def gone(
    job: Job, point: str, even: float = 0.0, difference: float = 0.0, near: float = 5e-6
) -> np.ndarray:
    """Where a point goes (3,) [m], and the same by the second path.

    Within what is of second order: a turn squared, 1.5 m up.
    """
    assert job.thermal is not None
    shift = job.thermal.points[point] @ [even, difference]
    quantities = ("station", "line", "level")
    checks = [Check(f"{q}/{point}", q, "", None, point, 0.0, None, 1.0, "") for q in quantities]
    again = second_thermal_path(job, as_designed(job)).change(
        checks, {"D": even}, {"D": difference}
    )
    assert again == pytest.approx([shift[0], shift[1], shift[2]], abs=near)
    return np.asarray(shift)


def loads(job: Job, difference: float) -> dict[str, float]:
    assert job.thermal is not None
    change = job.thermal.reactions @ [0.0, difference]
    return dict(zip(job.seats, change.tolist(), strict=True))


def test_simple_span() -> None:
    span = beam([0, 60], [0, 60], {"middle": (30, 0), "top": (60, 1.5)})
    assert pytest.approx(7.2e-5) == CURVATURE
    assert gone(span, "middle", difference=WARMER)[2] == pytest.approx(0.0324, rel=CLOSE)
    # the end turns by kappa L / 2 = 2.16 mrad, 1.5 m above the axis that is 3.24 mm
    assert gone(span, "top", difference=WARMER)[0] == pytest.approx(3.24e-3, rel=CLOSE)
    assert max(map(abs, loads(span, WARMER).values())) < 1.0


def test_cantilever() -> None:
    arm = beam([0, 60], [0], {"tip": (60, 0)}, held=frozenset({2, 4}))
    assert gone(arm, "tip", difference=WARMER)[2] == pytest.approx(-0.1296, rel=CLOSE)


def test_propped_cantilever() -> None:
    propped = beam([0, 60], [60], {"tip": (60, 0)}, held=frozenset({2, 4}))
    # the warm top presses the tip down: the prop takes 1.5 E I kappa / L
    assert loads(propped, WARMER)["S60"] == pytest.approx(
        1.5 * E * Iy * CURVATURE / 60.0, rel=CLOSE
    )


@pytest.mark.parametrize(("spans", "moment"), [(2, 1.5), (3, 1.2)])
def test_continuous_over_equal_spans(spans: int, moment: float) -> None:
    L = 30.0
    xs = [L * k for k in range(spans + 1)]
    deck = beam(xs, xs, {"quarter": (L / 2, 0)})
    change = loads(deck, WARMER)
    end = moment * E * Iy * CURVATURE / L
    # restraint sags the deck against its hog: ends press, inner supports are relieved
    assert change["S0"] == pytest.approx(end, rel=CLOSE)
    inner = -2.0 * end / (spans - 1)
    assert change[f"S{L:g}"] == pytest.approx(inner, rel=CLOSE)
    # free camber less what the restraint moment M takes from it: M L^2 / 16 E I in mid-span
    camber = CURVATURE * L**2 * (1.0 / 8.0 - moment / 16.0)
    assert gone(deck, "quarter", difference=WARMER)[2] == pytest.approx(camber, rel=CLOSE)


def test_bar_grows_from_where_it_is_held() -> None:
    bar = beam([0, 100], [0, 100], {"end": (100, 0), "high": (100, 2.0)})
    assert gone(bar, "end", even=40.0)[0] == pytest.approx(0.048, rel=1e-9)
    # what stands on it grows as well
    assert gone(bar, "high", even=40.0)[2] == pytest.approx(ALPHA * 40.0 * 2.0, rel=1e-9)


def test_bar_against_a_spring() -> None:
    k = E * A / 100.0
    push = {"push": Spring("push", "N1", None, np.array([1.0, 0.0, 0.0]), k)}
    bar = beam([0, 100], [0, 100], {"end": (100, 0)}, springs=push)
    # as stiff as the bar itself: half of the free movement
    assert gone(bar, "end", even=40.0)[0] == pytest.approx(0.024, rel=1e-9)


def test_end_on_a_hanger_goes_down_as_the_hanger_grows() -> None:
    """20 m of steel, 40 K: 9.6 mm; a hanger that carries 1 MN at the end of a beam."""
    bar = beam([0, 60], [0, 60], {"end": (60, 0), "middle": (30, 0)})
    assert bar.frame is not None
    nodes = {**bar.frame.nodes, "T": Node("T", np.array([60.0, 0.0, 20.0]), frozenset(range(6)))}
    hanger = FrameCable("H", "T", "N1", "straight", 4e9, 0.0, None, 1e6, expansion=ALPHA)
    # 10 kN at its other end, or the beam without weight would leave its seat as the hanger tilts
    loads = tuple(
        NodeLoad(n, n, np.array([0.0, 0.0, -load, 0.0, 0.0, 0.0]))
        for n, load in (("N1", 1e6), ("N0", 1e4))
    )
    only = {"S0": bar.frame.seats["S0"]}
    frame = replace(bar.frame, nodes=nodes, cables={"H": hanger}, node_loads=loads, seats=only)
    seats = {"S0": bar.seats["S0"]}
    heavy = {"D": replace(bar.segments["D"], weight=1.01e6)}
    bare = replace(bar, segments=heavy, frame=frame, seats=seats, thermal=None)
    hung = with_thermal_response(bare)
    assert hung.thermal is not None and hung.thermal.apart is not None
    # it swings 28.8 mm along, which lifts it by 0.0288^2 / 40 m: 0.021 mm
    assert gone(hung, "end", even=40.0, near=2.5e-5)[2] == pytest.approx(-0.0096, rel=5e-3)
    assert gone(hung, "middle", even=40.0, near=2.5e-5)[2] == pytest.approx(-0.0048, rel=5e-3)
    # the hanger alone does it: its beam only grows along
    assert hung.thermal.apart.points["end"][2, 0] * 40.0 == pytest.approx(-0.0096, rel=5e-3)
