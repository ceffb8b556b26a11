"""Packs of plates and pressures of jacks by arithmetic.

Sources
-------
- Packs: our own brute force over all multisets of plates, no outside source.
- Pressure: p = F / A, the definition (ISO 80000-4). 1 psi = 6894.757 Pa: NIST SP 811 (2008),
  Appendix B.8.
"""

from __future__ import annotations

import itertools
from collections import Counter

import numpy as np
import pytest

from fitup.model import Plate, Seat
from fitup.problem.packs import nut_choices, pack_choices
from fitup.units import METRIC, US, from_si, to_si

SIZES = (2, 3, 5, 10, 20)
PLATES = {f"P{t}": Plate(f"P{t}", t / 1e3, t / 1e3, 9, 0.3, 0.3) for t in SIZES}
#: heights in mm that at most three plates reach, by hand
REACHED = [
    *range(2, 19), 20, *range(22, 29), 30, 32, 33, 35, 40, 42, 43, 45, 50, 60,
]  # fmt: skip


def seat(pack: tuple[str, ...] = (), bedding: float = 0.0, most: int = 3) -> Seat:
    return Seat(
        "S", "D", np.zeros(3), np.array([0.0, 0.0, 1.0]), "up", 4e8, "packs", pack, 0.0, 0.2, most,
        bedding, 0.0, 1e6,
    )  # fmt: skip


def heights(available: dict[str, int], most: int = 3) -> list[int]:
    choices = pack_choices(seat(most=most), PLATES, available, (-0.2, 0.2))
    return sorted({round(c.setting * 1e3) for c in choices if c.disturbed})


def test_heights_of_at_most_three_plates() -> None:
    assert heights(dict.fromkeys(PLATES, 3)) == REACHED


def test_heights_by_brute_force_with_little_stock() -> None:
    stock = {"P2": 2, "P3": 1, "P5": 0, "P10": 1, "P20": 2}
    bag = [m for m, n in stock.items() for _ in range(n)]
    for most in (1, 2, 3, 4):
        truth = {
            sum(int(m[1:]) for m in pack)
            for k in range(1, most + 1)
            for pack in itertools.combinations(bag, k)
        }
        assert heights(stock, most) == sorted(truth)


@pytest.mark.parametrize(
    ("wanted", "nearest", "pack"),
    [
        (17.2, 17, ["P10", "P5", "P2"]),
        (28.6, 28, ["P20", "P5", "P3"]),
        (33.7, 33, ["P20", "P10", "P3"]),
        (4.0, 4, ["P2", "P2"]),
    ],
)
def test_nearest_pack(wanted: float, nearest: int, pack: list[str]) -> None:
    choices = pack_choices(seat(), PLATES, dict.fromkeys(PLATES, 3), (-0.2, 0.2))
    best = min(choices, key=lambda c: abs(c.setting * 1e3 - wanted))
    assert best.setting * 1e3 == pytest.approx(nearest, abs=1e-9)
    assert Counter(best.marks) == Counter(pack)


def test_setting_is_new_less_old_less_bedding() -> None:
    # 20 + 5 out, 20 + 3 + 2 + ... in: 30 - 25 - 0.3 mm
    choices = pack_choices(
        seat(("P20", "P5"), bedding=0.0003), PLATES, dict.fromkeys(PLATES, 3), (-0.2, 0.2)
    )
    found = {c.marks: c for c in choices}
    assert found["P20", "P10"].setting == pytest.approx(0.0047, abs=1e-12)
    assert found["P20", "P10"].plates_changed == 2
    # the pack in place is offered as it stands: nothing beds anew
    assert found["P20", "P5"].setting == 0.0
    assert not found["P20", "P5"].disturbed


def test_steps_of_a_nut() -> None:
    settings = [c.setting for c in nut_choices(seat(), 0.0005, (-0.0012, 0.0016))]
    assert settings == pytest.approx([-0.001, -0.0005, 0.0, 0.0005, 0.001, 0.0015], abs=1e-15)


def test_pressure_is_force_over_area() -> None:
    area = to_si(142.0, "area", "cm2")
    pressure = to_si(1000.0, "force", "kN") / area
    # 1000/14.2; exact arithmetic, printed with six digits
    assert from_si(pressure, "pressure", "MPa") == pytest.approx(1000.0 / 14.2, rel=1e-12)
    assert from_si(pressure, "pressure", "MPa") == pytest.approx(70.4225, abs=5e-5)
    assert from_si(to_si(70.0, "pressure", "MPa") * area, "force", "kN") == pytest.approx(
        994.0, rel=1e-12
    )
    assert METRIC.pressure.text(pressure) == "704 bar"


def test_pressure_of_ten_thousand_psi() -> None:
    pressure = to_si(10000.0, "pressure", "psi")
    # published with six digits
    assert from_si(pressure, "pressure", "MPa") == pytest.approx(68.9476, abs=5e-5)
    assert US.pressure.text(pressure) == "10000 psi"
