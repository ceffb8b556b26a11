"""The quarter car against published matrices and a closed form.

[1] M. W. Sayers, T. D. Gillespie, W. D. O. Paterson, Guidelines for Conducting and Calibrating Road
    Roughness Measurements, World Bank Technical Paper 46, 1986: state transition matrices of the
    golden car, 80 km/h, for steps of 0.25 m and 0.1 m; the computation that ASTM E1926 prescribes.
    The published numbers come from single precision: 3e-5 of the largest entry in the row for
    0.25 m, 1e-3 for 0.1 m, where PR[0] is off by 7e-4 of itself.
[2] Closed form: on a sine of slope amplitude s the index is (2 / pi) s |G|, G the response of the
    suspension at that wavelength. |G| below recomputed for [1]'s parameters; its peaks, at 2.3 m
    and 15.8 m, are those published by M. W. Sayers and S. M. Karamihas, The Little Book of
    Profiling, University of Michigan, 1998 (2.4 m and 15.4 m, from memory). Tolerance
    0.5 %, for the step.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from fitup.checks.quartercar import joint_roughness, roughness, transition

PUBLISHED = {
    0.25: (
        [
            [0.9966071, 0.01091514, -0.002083274, 0.0003190145],
            [-0.5563044, 0.9438768, -0.8324718, 0.05064701],
            [0.02153176, 0.002126763, 0.7508714, 0.008221888],
            [3.335013, 0.3376467, -39.12762, 0.4347564],
        ],
        [0.005476107, 1.388776, 0.2275968, 35.79262],
    ),
    0.1: (
        [
            [0.9994014, 0.004442351, 0.0002188854, 5.72179e-5],
            [-0.2570548, 0.975036, 0.007966216, 0.02458427],
            [0.003960378, 0.0003814527, 0.9548048, 0.004055587],
            [1.687312, 0.1638951, -19.34264, 0.7948701],
        ],
        [3.793992e-4, 0.2490886, 0.04123478, 17.65532],
    ),
}


@pytest.mark.parametrize(("step", "share"), [(0.25, 3e-5), (0.1, 1e-3)])
def test_published_matrices(step: float, share: float):
    """[1]."""
    state, drive = transition(step)
    for row, stated in zip(state, PUBLISHED[step][0], strict=True):
        assert row == pytest.approx(stated, abs=share * max(map(abs, stated)))
    assert drive == pytest.approx(PUBLISHED[step][1], rel=share)


def index_on_sine(size: float, wave: float) -> float:
    """Index on a sine of an amplitude and wavelength [m].

    Slopes are the mean of each step; the car runs in over many waves.
    """
    step, lead = 0.05, 20.0 * wave
    ends = np.arange(0.0, 2.0 * lead + 0.5 * step, step)
    slopes = np.diff(-size * np.cos(2.0 * math.pi * ends / wave)) / step
    whole = roughness(slopes, step)
    first = roughness(slopes[: len(slopes) // 2], step)
    return 2.0 * whole - first


@pytest.mark.parametrize(
    ("wave", "gain"),
    [
        (2.4, 1.6640035),
        (5.0, 1.1696659),
        (10.0, 1.2596847),
        (15.4, 1.5350892),
        (30.0, 0.4548116),
        (50.0, 0.1365941),
    ],
)
def test_sine(wave: float, gain: float):
    """[2]."""
    slope = wave / (2.0 * math.pi)
    assert index_on_sine(slope, wave) == pytest.approx(2.0 / math.pi * gain, rel=0.005)


def test_sine_as_it_is_quoted():
    """[2]: amplitude 10 mm at 10 m gives 5.039 mm/m, 2 mm at 2.4 m gives 5.547 mm/m."""
    for size, wave, index in ((0.010, 10.0, 5.03874e-3), (0.002, 2.4, 5.54668e-3)):
        assert index_on_sine(size, wave) == pytest.approx(index, rel=0.005)


def test_constant_grade_is_not_felt():
    assert roughness(np.full(500, 0.03), 0.1) < 1e-15
    x = np.array([-8.0, -1.0, 1.0, 8.0])
    assert joint_roughness(x, 0.02 * x) < 1e-12


def test_a_step_of_ten_millimetres():
    """Own value for a step bridged by a tyre of 250 mm in 100 m, for steps of 0.05 m; no source."""
    x = np.array([-10.0, -1e-6, 1e-6, 10.0])
    z = np.array([0.0, 0.0, 0.010, 0.010])
    assert joint_roughness(x, z) == pytest.approx(0.34368e-3, rel=0.01)
