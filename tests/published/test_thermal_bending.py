"""Free thermal movement and bending against textbook closed forms.

Curvature of a beam heated evenly through its depth is alpha dT / h; a simple span L then rises by
kappa L^2 / 8 and turns by kappa L / 2 at its ends, a cantilever goes by kappa L^2 / 2 (any text
on strength of materials, e.g. S. Timoshenko, Strength of Materials, part I, article on beams
heated unevenly; section number from memory). The numbers are arithmetic: tolerance 1e-9 relative
where seats stand at the ends, and as stated where they stand apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from fitup.model import Job, Seat, Segment
from fitup.survey.steel import bend_per_kelvin
from fitup.survey.temperature import growth

ALPHA = 12e-6  # EN 1991-1-5, table C.1, structural steel; from memory
UP = np.array([0.0, 0.0, 1.0])


def deck(
    stations: Sequence[float], length: float = 60.0, depth: float = 3.0
) -> tuple[Job, Segment]:
    """A segment going north from the origin, centred, with seats at stations."""
    segment = Segment(
        "A", 0.0, 1e6, np.array([0.0, length / 2, 0.0]), frozenset(), ALPHA, np.zeros(3), depth
    )
    seats = {
        f"S{i}{side}": Seat(
            f"S{i}{side}", "A", np.array([side * 3.0, s, -1.5]), UP, "up", 4e8, "nut", (), 0.0,
            0.0, 1, 0.0, 0.0, 1e7,
        )
        for i, s in enumerate(stations)
        for side in (-1, 1)
    }  # fmt: skip
    job = Job("t", "metric", "g", 288.15, {"A": segment}, {}, {}, {}, seats, {}, {}, {}, {})
    return job, segment


def at(job: Job, segment: Segment, station: float, height: float = 0.0) -> tuple:
    moved, turned = bend_per_kelvin(job, segment, np.array([[0.0, station, height]]))
    return 18.0 * moved[0], 18.0 * turned[0]


def test_simple_span_warmer_at_the_top_rises():
    job, segment = deck([0.0, 60.0])
    assert pytest.approx(7.2e-5) == 18.0 * ALPHA / 3.0
    assert at(job, segment, 30.0)[0][2] == pytest.approx(0.0324, rel=1e-9)
    assert at(job, segment, 0.0)[0][2] == pytest.approx(0.0, abs=1e-12)
    _, turn = at(job, segment, 60.0)
    # about the left: the ahead end goes down
    assert turn @ [-1.0, 0.0, 0.0] == pytest.approx(2.16e-3, rel=1e-9)
    assert at(job, segment, 0.0)[1] @ [-1.0, 0.0, 0.0] == pytest.approx(-2.16e-3, rel=1e-9)


def test_top_edge_goes_out_at_both_ends():
    job, segment = deck([0.0, 60.0])
    # 1.5 m above mid-depth, 2.16 mrad: 3.24 mm; the section stays square to the bent axis
    assert at(job, segment, 60.0, 1.5)[0][1] == pytest.approx(3.24e-3, rel=1e-9)
    assert at(job, segment, 0.0, 1.5)[0][1] == pytest.approx(-3.24e-3, rel=1e-9)


def test_cantilever_from_two_close_seats_goes_down():
    job, segment = deck([0.0, 1e-3])
    assert at(job, segment, 60.0)[0][2] == pytest.approx(-0.1296, rel=2e-5)


def test_overhang_by_hand():
    """Seats at 0 and 40 m, tip at 60 m: -kappa/2 s (s - 40) at s = 60."""
    job, segment = deck([0.0, 40.0])
    assert at(job, segment, 60.0)[0][2] == pytest.approx(-0.5 * 7.2e-5 * 60.0 * 20.0, rel=1e-9)


def test_middle_seat_shares_by_least_squares():
    """Three equal supports under a parabola: residuals 1, -2, 1 thirds of the middle's rise."""
    job, segment = deck([0.0, 30.0, 60.0])
    rise = 0.0324
    assert at(job, segment, 0.0)[0][2] == pytest.approx(-rise / 3.0, rel=1e-9)
    assert at(job, segment, 30.0)[0][2] == pytest.approx(2.0 * rise / 3.0, rel=1e-9)


@pytest.mark.parametrize(
    ("length", "warmer", "alpha", "grown"),
    [
        # AASHTO LRFD 6.4.1 and 5.4.2.2, coefficients from memory: 6.5e-6 and 6.0e-6 per F
        (400 * 0.3048, 150 / 1.8, 6.5e-6 * 1.8, 4.680 * 0.0254),
        (400 * 0.3048, 80 / 1.8, 6.0e-6 * 1.8, 2.304 * 0.0254),
        (100.0, 40.0, ALPHA, 0.048),
    ],
)
def test_free_movement(length: float, warmer: float, alpha: float, grown: float):
    _, segment = deck([0.0, 60.0])
    segment = replace(segment, expansion=alpha)
    end = np.array([0.0, length, 0.0])
    assert growth(end, segment, warmer)[1] == pytest.approx(grown, rel=1e-9)
