"""Least-squares adjustment of survey networks against published examples.

Sources
-------
- C. D. Ghilani and P. R. Wolf, Adjustment Computations, levelling network with benchmarks X and
  Y (data and answers from memory; every digit recomputed).
- C. D. Ghilani, Adjustment Computations, examples 12.6 (levelling) and 14.5 (trilateration);
  G. Strang and K. Borre, Linear Algebra, Geodesy, and GPS, example 10.1 (distances); P. R. Wolf,
  Elements of Photogrammetry / surveying adjustment example of 1979, p. 87 (distances and zenith
  angles in space); W. Caspary, Fehlertolerante Auswertung von Messdaten, 2013, p. 9 (distances,
  a zenith angle and a vector): as collected by F. Krumm, Geodetic Network Adjustment Examples,
  University of Stuttgart, rev. 3.5, in the test data of the repository cepek/sandbox-gama,
  commit 3af74df8.
- Double-run levelling loop: http://www.vrmapper.com/gama/1doutput.html.

Tolerances are half of the last digit that was published or recomputed.
"""

from __future__ import annotations

import numpy as np
import pytest

from fitup.model import ControlPoint
from fitup.network.adjust import Adjusted, adjust, covariance_of, point_covariance
from fitup.network.equations import State, build_network
from fitup.network.observations import Observation
from fitup.network.reliability import reliability

GON = np.pi / 200.0


def held(name: str, *place: float | None) -> ControlPoint:
    position = np.array([np.nan if p is None else p for p in place], dtype=float)
    return ControlPoint(name, "held", position, np.zeros((3, 3)))


def level(start: str, end: str, difference: float, u: float) -> Observation:
    return Observation(f"level/{start}/{end}", "dh", start, end, difference, u)


def solved(
    observations: list[Observation],
    control: list[ControlPoint],
    start: dict[str, tuple[float, ...]],
) -> Adjusted:
    network = build_network(observations, {c.id: c for c in control})
    places = {c.id: c.position for c in control}
    positions = np.array(
        [
            np.where(np.isnan(places.get(n, np.full(3, np.nan))), start.get(n, (0, 0, 0)), p)
            if (p := places.get(n)) is not None
            else start[n]
            for n in network.nodes
        ],
        dtype=float,
    )
    return adjust(network, State(positions, np.zeros(len(network.setups))))


def place(adjusted: Adjusted, name: str) -> np.ndarray:
    return adjusted.state.positions[adjusted.network.index(name)]


def sigma0(adjusted: Adjusted) -> float:
    return float(np.sqrt(adjusted.squares / adjusted.redundancy))


WOLF = [
    ("X", "A", 5.10, 4),
    ("A", "Y", 2.34, 3),
    ("Y", "C", -1.25, 2),
    ("C", "X", -6.13, 3),
    ("A", "B", -0.68, 2),
    ("Y", "B", -3.00, 2),
    ("B", "C", 1.70, 2),
]
BENCHMARKS = [held("X", None, None, 100.00), held("Y", None, None, 107.50)]
ZERO = dict.fromkeys("ABC", (0.0, 0.0, 100.0))


def test_wolf_and_ghilani_levelling_unweighted():
    found = solved([level(a, b, d, 1.0) for a, b, d, _ in WOLF], BENCHMARKS, ZERO)
    heights = [place(found, n)[2] for n in "ABC"]
    assert heights == pytest.approx([105.140952, 104.482857, 106.187619], abs=5e-7)
    assert sigma0(found) == pytest.approx(0.05011891, abs=5e-9)
    spread = sigma0(found) * np.sqrt([point_covariance(found, n)[2, 2] for n in "ABC"])
    assert spread == pytest.approx([0.030934, 0.032811, 0.030934], abs=5e-7)


@pytest.mark.parametrize(("unit", "expected"), [(12.0, 0.1072194), (1.0, 0.0309516)])
def test_wolf_and_ghilani_levelling_weighted(unit: float, expected: float):
    runs = [level(a, b, d, np.sqrt(length / unit)) for a, b, d, length in WOLF]
    found = solved(runs, BENCHMARKS, ZERO)
    heights = [place(found, n)[2] for n in "ABC"]
    assert heights == pytest.approx([105.1504, 104.4892, 106.1972], abs=5e-5)
    assert sigma0(found) == pytest.approx(expected, abs=5e-8)
    spread = sigma0(found) * np.sqrt(np.diag(covariance_of(found, "ABC"))[2::3])
    assert spread == pytest.approx([0.032756, 0.029759, 0.029035], abs=5e-7)


def test_ghilani_12_6():
    runs = [
        ("A", "B", 10.509, 6),
        ("B", "C", 5.360, 4),
        ("C", "D", -8.523, 5),
        ("D", "A", -7.348, 3),
        ("B", "D", -3.167, 4),
        ("A", "C", 15.881, 12),
    ]
    found = solved(
        [level(a, b, d, mm / 1e3) for a, b, d, mm in runs],
        [held("A", None, None, 437.596)],
        dict.fromkeys("BCD", (0.0, 0.0, 440.0)),
    )
    heights = [place(found, n)[2] for n in "BCD"]
    assert heights == pytest.approx([448.108712, 453.468468, 444.943605], abs=5e-7)
    assert sigma0(found) == pytest.approx(0.6511843, abs=5e-8)
    spread = sigma0(found) * np.sqrt([point_covariance(found, n)[2, 2] for n in "BCD"])
    assert spread * 1e3 == pytest.approx([2.2953, 2.6363, 1.7607], abs=5e-5)
    tested = reliability(found)
    published = [0.65487, 0.32945, 0.50918, 0.18771, 0.43262, 0.88618]
    assert tested.redundancy == pytest.approx(published, abs=6e-6)
    assert tested.redundancy.sum() == pytest.approx(tested.freedom)


def distance(at: str, to: str, value: float, u: float = 1.0) -> Observation:
    return Observation(f"{at}/{to}/sd", "sd", at, to, value, u)


def test_ghilani_14_5_trilateration():
    sides = [
        ("Badger", "Wis", 5870.302),
        ("Badger", "Campus", 7297.588),
        ("Wis", "Campus", 3616.434),
        ("Wis", "Bucky", 5742.878),
        ("Campus", "Bucky", 5123.760),
    ]
    found = solved(
        [distance(*side) for side in sides],
        [
            held("Badger", 2410000.0, 390000.0, 0.0),
            held("Bucky", 2411820.0, 386881.222, 0.0),
            held("Campus", None, None, 0.0),
            held("Wis", None, None, 0.0),
        ],
        {"Campus": (2416892.67, 387603.45, 0.0), "Wis": (2415776.819, 391043.461, 0.0)},
    )
    assert place(found, "Campus")[:2] == pytest.approx([2416892.695516, 387603.255128], abs=1e-6)
    assert place(found, "Wis")[:2] == pytest.approx([2415776.904378, 391043.294493], abs=1e-6)
    assert sigma0(found) == pytest.approx(0.1359054, abs=5e-8)


def test_strang_and_borre_10_1():
    stations = [held("1", 170.71, 270.71, 0.0), held("2", 100.0, 100.0, 0.0)]
    stations += [held("3", 241.42, 100.0, 0.0), held("P", None, None, 0.0)]
    sides = [distance("1", "P", 100.01), distance("2", "P", 100.02), distance("3", "P", 100.03)]
    found = solved(sides, stations, {"P": (170.71, 170.71, 0.0)})
    assert place(found, "P")[:2] == pytest.approx([170.702925, 170.723357], abs=5e-7)
    assert sigma0(found) == pytest.approx(0.0330293, abs=5e-8)


STATIONS = [
    held("1", 1200.0, 900.0, 900.0),
    held("2", 900.0, 600.0, 900.0),
    held("3", 600.0, 900.0, 900.0),
    held("4", 900.0, 1200.0, 900.0),
]


def test_wolf_distances_in_space():
    sides = [
        distance(str(i + 1), "P", d, 0.010) for i, d in enumerate([499.99, 500, 500.01, 500.02])
    ]
    found = solved(sides, STATIONS, {"P": (900.0, 900.0, 1300.0)})
    assert place(found, "P") == pytest.approx([900.016667, 899.983333, 1300.006249], abs=5e-6)
    assert sigma0(found) == pytest.approx(1.0, abs=5e-4)
    angles = [40.966728, 40.966698, 40.966667, 40.966636]
    zeniths = [
        Observation(f"{i + 1}/P/v", "v", str(i + 1), "P", z * GON, 127.323954e-4 * GON)
        for i, z in enumerate(angles)
    ]
    both = solved(sides + zeniths, STATIONS, {"P": (900.0, 900.0, 1300.0)})
    assert place(both, "P") == pytest.approx([900.016371, 899.983630, 1300.006205], abs=5e-6)
    assert sigma0(both) == pytest.approx(0.465072, abs=5e-6)


def test_caspary_mixed_in_space():
    stations = [
        held("1", 4000.0, -10000.0, 1600.0),
        held("2", 3000.0, 11000.0, 1500.0),
        held("3", 700.0, -700.0, 800.0),
        held("4", 0.0, 0.0, 700.0),
        # the observed vector from 4, as coordinates with their covariance
        ControlPoint(
            "N",
            "weighted",
            np.array([5000.02, 1999.98, 1799.94]),
            np.diag([0.016, 0.016, 0.062]) ** 2,
        ),
    ]
    found = solved(
        [
            distance("1", "N", 12043.305, 0.0375),
            distance("2", "N", 9224.404, 0.0294),
            distance("3", "N", 5174.910, 0.0185),
            distance("4", "N", 5496.402, 0.0198),
            Observation("4/N/v", "v", "4", "N", 87.1726 * GON, 3e-4 * GON),
        ],
        stations,
        {},
    )
    assert place(found, "N") == pytest.approx([5000.014823, 1999.992335, 1799.986813], abs=1e-5)
    assert sigma0(found) == pytest.approx(1.481077, abs=5e-6)
    spread = sigma0(found) * np.sqrt(np.diag(point_covariance(found, "N")))
    assert spread * 1e3 == pytest.approx([17.195, 18.555, 34.500], abs=1e-3)


def test_double_run_loop():
    runs = [
        ("1a", "4", -1.225),
        ("4", "3", -0.848),
        ("3", "2", 1.342),
        ("2", "1a", 0.720),
        ("1a", "2", -0.724),
        ("2", "3", -1.335),
        ("3", "4", 0.842),
        ("4", "1a", 1.231),
    ]
    found = solved(
        [level(a, b, d, 0.005) for a, b, d in runs],
        [held("1a", None, None, 1000.0)],
        dict.fromkeys("234", (0.0, 0.0, 1000.0)),
    )
    heights = [place(found, n)[2] for n in "432"]
    assert heights == pytest.approx([998.775125, 997.933250, 999.274875], abs=5e-7)
    assert found.squares * 25.0 == pytest.approx(146.625, abs=5e-4)
    assert sigma0(found) * 5.0 == pytest.approx(5.41526, abs=5e-6)
    spread = 1e3 * np.sqrt([point_covariance(found, n)[2, 2] for n in "432"])
    assert spread == pytest.approx([3.06, 3.54, 3.06], abs=5e-3)
