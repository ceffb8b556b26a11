"""Tolerances of standards: every row, at its boundaries.

[1] ISO 5817:2023, Welding - Quality levels for imperfections, Table 1: 507 (5071 plates, 5072
    tubes) and 617 (root gap of fillet welds).
[2] FHWA, bridge construction inspection list, deck: https://www.fhwa.dot.gov/construction/reviews/
    revdeck5.cfm. Deck within 4 mm (1/8 in), step at deck ends within 5 mm (3/16 in).
[3] FP-96, Standard Specifications for Construction of Roads and Bridges on Federal Highway
    Projects, 1996, section 552: 1/8 in under 10 ft, 1/4 in where overlaid.
[4] EN 10029:1991, hot rolled steel plates, thickness, class A. The rows of EN 10029:2010 are from
    memory.
[5] From memory: EN 1090-2 deck plates, AWS D1.5 3.3.3, EN 1337-11.
"""

from __future__ import annotations

import pytest

from fitup.model.rules import RULES, plate_limits, rule_named

MM = 1e-3
MEMORY = "from memory, to be confirmed against the standard"


def amount(name: str, size_mm: float = 0.0, edge: float = 3.0, units: str = "metric") -> float:
    rule = rule_named(name)
    assert rule is not None
    return rule.amount(size_mm * MM, edge, units) / MM


@pytest.mark.parametrize(
    ("level", "thickness", "most"),
    [
        *(("B", 12.0, 1.2), ("C", 12.0, 1.8), ("D", 12.0, 3.0)),
        *(("B", 40.0, 3.0), ("C", 40.0, 4.0), ("D", 40.0, 5.0)),
        *(("B", 30.0, 3.0), ("B", 29.9, 2.99), ("D", 20.0, 5.0), ("D", 19.9, 4.975)),
        # from 0.5 to 3 mm 0.2 mm more: a real jump at 3 mm
        *(("B", 3.0, 0.5), ("C", 3.0, 0.65), ("D", 3.0, 0.95), ("B", 3.01, 0.301)),
        *(("B", 0.5, 0.25), ("D", 0.5, 0.325)),
    ],
)
def test_plates_of_iso_5817(level: str, thickness: float, most: float):
    """[1]."""
    assert amount(f"ISO 5817 5071 {level}", thickness) == pytest.approx(most)


@pytest.mark.parametrize(
    ("level", "thickness", "most"),
    [("B", 3.9, 1.95), ("B", 4.0, 2.0), ("C", 10.0, 3.0), ("C", 5.0, 2.5), ("D", 8.1, 4.0)],
)
def test_tubes_of_iso_5817(level: str, thickness: float, most: float):
    """[1]."""
    assert amount(f"ISO 5817 5072 {level}", thickness) == pytest.approx(most)


@pytest.mark.parametrize(
    ("level", "throat", "most"),
    [
        *(("B", 5.0, 1.0), ("B", 15.0, 2.0), ("B", 20.0, 2.0)),
        *(("C", 5.0, 1.5), ("C", 12.5, 3.0), ("C", 13.0, 3.0)),
        *(("D", 5.0, 2.5), ("D", 10.0, 4.0), ("D", 11.0, 4.0)),
    ],
)
def test_root_gaps_of_iso_5817(level: str, throat: float, most: float):
    """[1]."""
    assert amount(f"ISO 5817 617 {level}", throat) == pytest.approx(most)


@pytest.mark.parametrize("name", ["ISO 5817 5071 B", "ISO 5817 5072 C"])
def test_too_thin_for_iso_5817(name: str):
    with pytest.raises(ValueError) as refused:
        amount(name, 0.49)
    assert str(refused.value) == "0.5 mm or more"


def test_fhwa():
    """[2]."""
    assert amount("FHWA deck step") == pytest.approx(5.0)
    assert amount("FHWA deck step", units="US") == pytest.approx(3 / 16 * 25.4)
    assert amount("FHWA deck straightedge") == pytest.approx(4.0)
    assert amount("FHWA deck straightedge", units="US") == pytest.approx(25.4 / 8)


def test_fp96():
    """[3]: only under a straightedge of ten feet."""
    assert amount("FP-96 552", edge=3.048) == pytest.approx(3.175)
    assert amount("FP-96 552 overlaid", edge=3.048) == pytest.approx(6.35)
    with pytest.raises(ValueError) as refused:
        amount("FP-96 552", edge=2.0)
    assert str(refused.value) == "a straightedge of 10 ft (3.05 m) in [ride]"


@pytest.mark.parametrize(
    ("nominal", "lower", "upper", "newer"),
    [
        (3.0, 0.4, 0.8, (0.3, 0.7)),
        (4.99, 0.4, 0.8, (0.3, 0.7)),
        (5.0, 0.4, 1.1, (0.4, 0.8)),
        (8.0, 0.5, 1.2, (0.5, 0.9)),
        (15.0, 0.6, 1.3, (0.6, 1.0)),
        (24.99, 0.6, 1.3, (0.6, 1.0)),
        (25.0, 0.8, 1.4, (0.7, 1.3)),
        (40.0, 1.0, 1.8, (0.9, 1.7)),
        (80.0, 1.0, 2.2, (1.1, 2.1)),
        (150.0, 1.2, 2.4, (1.2, 2.4)),
        (250.0, 1.2, 2.4, (1.2, 2.4)),
    ],
)
def test_plates_of_en_10029(nominal: float, lower: float, upper: float, newer: tuple[float, float]):
    """[4], by edition."""
    old, new = (plate_limits(f"EN 10029:{e} A", nominal * MM) for e in ("1991", "2010"))
    assert old is not None and new is not None
    assert (nominal - old.least / MM, old.most / MM - nominal) == pytest.approx((lower, upper))
    assert (nominal - new.least / MM, new.most / MM - nominal) == pytest.approx(newer)
    assert old.source == "EN 10029:1991, class A"
    assert new.source == f"EN 10029:2010, class A ({MEMORY})"


@pytest.mark.parametrize("edition", ["1991", "2010"])
@pytest.mark.parametrize("nominal", [3.0, 6.0, 12.0, 20.0, 30.0, 50.0, 100.0, 200.0])
def test_other_classes_are_as_wide(edition: str, nominal: float):
    """[4], Table 1, from memory: B is 0.3 below, C nothing, D half above and half below."""
    by = {k: plate_limits(f"EN 10029:{edition} {k}", nominal * MM) for k in "ABCD"}
    stated = {k: (x.least / MM - nominal, x.most / MM - nominal) for k, x in by.items() if x}
    width = stated["A"][1] - stated["A"][0]
    assert stated["B"] == pytest.approx((-0.3, width - 0.3))
    assert stated["C"] == pytest.approx((0.0, width))
    assert stated["D"] == pytest.approx((-width / 2, width / 2))


@pytest.mark.parametrize(
    ("nominal", "b", "c", "d"),
    [(5.0, 0.9, 1.2, 0.6), (15.0, 1.3, 1.6, 0.8), (40.0, 2.3, 2.6, 1.3), (80.0, 2.9, 3.2, 1.6)],
)
def test_upper_limits_of_the_edition_of_2010(nominal: float, b: float, c: float, d: float):
    """[4], rows of EN 10029:2010, Table 1, from memory."""
    by = {k: plate_limits(f"EN 10029:2010 {k}", nominal * MM) for k in "BCD"}
    stated = {k: x.most / MM - nominal for k, x in by.items() if x}
    assert stated == pytest.approx({"B": b, "C": c, "D": d})


def test_uncertainty_of_a_plate_that_was_not_measured():
    """GUM 4.3.7: evenly between limits 2.2 mm apart, u = 2.2 / sqrt(12) about their middle."""
    limits = plate_limits("EN 10029:1991 A", 30 * MM)
    assert limits is not None
    assert limits.spread_about(30.3 * MM) == pytest.approx(0.635 * MM, abs=5e-7)
    assert limits.spread_about(30.0 * MM) == pytest.approx(0.7024 * MM, abs=5e-7)


def test_no_plates_outside_en_10029():
    assert plate_limits("EN 10029:1991 A", 2.99e-3) is None
    assert plate_limits("EN 10029:1991 A", 0.2501) is None


@pytest.mark.parametrize(
    ("surfacing", "step"), [(0.0, 2.0), (10.0, 2.0), (10.1, 5.0), (70.0, 5.0), (70.1, 8.0)]
)
def test_deck_step_from_memory(surfacing: float, step: float):
    """[5]."""
    assert amount("EN 1090-2 deck step", surfacing) == pytest.approx(step)


def test_deck_straightedge_from_memory():
    """[5]."""
    name = "EN 1090-2 deck straightedge"
    assert [amount(name, 10.0, e) for e in (1.0, 3.0, 5.0)] == pytest.approx([3.0, 4.0, 5.0])
    assert amount(name, 71.0, 3.0) == pytest.approx(5.0)
    for size, edge, text in (
        (10.1, 3.0, "a surfacing up to 10 mm or above 70 mm"),
        (70.0, 3.0, "a surfacing up to 10 mm or above 70 mm"),
        (5.0, 2.0, "a straightedge in [ride] of 1 m or 3 m or 5 m"),
        (80.0, 5.0, "a straightedge in [ride] of 3 m"),
    ):
        with pytest.raises(ValueError) as refused:
            amount(name, size, edge)
        assert str(refused.value) == text


def test_others_from_memory():
    """[5]."""
    assert amount("AWS D1.5 offset", 25.0) == pytest.approx(2.5)
    assert amount("AWS D1.5 offset", 40.0) == pytest.approx(3.0)
    assert amount("AWS D1.5 offset", 40.0, units="US") == pytest.approx(3.175)
    assert amount("EN 1337-11 level") == pytest.approx(3.0)


def test_what_is_from_memory_says_so():
    said = {rule.name: rule.source(0.025) for rule in RULES}
    for rule in RULES:
        assert (MEMORY in said[rule.name]) == rule.memory
        # an edition, or a page and section where there is none
        assert any(c.isdigit() for c in rule.clause)
    assert said["ISO 5817 5071 B"] == (
        "ISO 5817:2023, Table 1, 507, linear misalignment of plates (5071), level B, "
        "thickness 25 mm"
    )
    assert len(said) == len(RULES)
