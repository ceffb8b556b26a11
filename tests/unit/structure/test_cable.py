"""Cables and saddles by hand, and every message they have."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitup.errors import StructureError
from fitup.structure.cable.catenary import Cable, Catenary
from fitup.structure.cable.element import CableElement, cut_for, hanging
from fitup.structure.cable.hang import hang
from fitup.structure.cable.saddle import Grip, grip_of, grip_rows, released, require_grip

LEVEL = np.array([[0.0, 0.0, 0.0], [100.0, 0.0, 0.0]])
STILL = np.zeros(6)


def test_plumb_cable_carries_its_weight_at_the_top():
    # 50 m of 200 N/m hung from its top, nothing at the bottom but 5 kN
    taut = Cable("P", 50.0, 1e9, 200.0)
    longer = 50.0 * (5e3 + 0.5 * 10e3) / 1e9
    line = hang(taut, 0.0, 50.0 + longer)
    assert line.tensions == pytest.approx((5e3, 15e3), rel=1e-6)
    assert line.stretched == pytest.approx(50.0 + longer, rel=1e-12)


def test_doubled_rope_hangs_in_two_legs():
    # 40 m between two pegs in one place: 20 m a leg, each peg carries half
    line = hang(Cable("D", 40.0, 1e12, 100.0), 0.0, 0.0)
    assert line.tensions == pytest.approx((2000.0, 2000.0), rel=1e-6)
    assert line.place(20.0)[1] == pytest.approx(-20.0, rel=1e-6)


def test_slack_hanger_bears_only_itself_and_resists_hardly():
    plumb = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 20.0]])
    slack = CableElement(Cable("H", 20.02, 4e8, 300.0), "catenary", ("d", "c"), plumb)
    pull = slack.pull(STILL)
    assert pull.at_j[2] == pytest.approx(300.0 * 20.01, rel=1e-3)
    assert pull.at_i[2] == pytest.approx(-300.0 * 0.01, rel=0.02)
    assert pull.stiffness[2, 2] < 1e-2 * 4e8 / 20.0


def test_straight_hanger_goes_slack_without_pushing():
    plumb = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 20.0]])
    hanger = CableElement(Cable("H", 20.02, 4e8, 300.0), "straight", ("d", "c"), plumb)
    pull = hanger.pull(STILL)
    assert pull.slack
    assert pull.tensions == (0.0, 0.0)
    # half its weight at either end all the same
    assert hanger.forces_and_tangent(STILL)[0] == pytest.approx([0, 0, 3003, 0, 0, 3003])
    assert hanger.pull(np.array([0, 0, 0, 0, 0, 0.03])).tensions[1] == pytest.approx(
        4e8 * (20.03 / 20.02 - 1.0)
    )


def test_each_end_of_a_cable_has_its_own_tension():
    """A cable of 300 N/m over 18 m of height pulls 5.4 kN more at its top, and so it changes."""
    ends = np.array([[0.0, 0.0, 2.0], [24.0, 0.0, 20.0]])
    stay = cut_for(CableElement(Cable("S", 1.0, 2e8, 300.0), "catenary", ("d", "t"), ends), 90e3)
    top, bottom = stay.end_tension(STILL, "t")[0], stay.end_tension(STILL, "d")[0]
    assert top == pytest.approx(90e3, rel=1e-9)
    # along a catenary tension grows by weight times height; stretched, a little less
    assert top - bottom == pytest.approx(300.0 * 18.0, rel=2e-3)
    for node in stay.nodes:
        _, row, _ = stay.end_tension(STILL, node)
        for k in range(6):
            step = 1e-5 * np.eye(6)[k]
            up, down = (stay.end_tension(s * step, node)[0] for s in (1.0, -1.0))
            assert row[k] == pytest.approx((up - down) / 2e-5, rel=1e-4, abs=10.0)


def test_heat_lengthens_and_slackens():
    cold = cut_for(CableElement(Cable("S", 1.0, 2e8, 80.0), "catenary", ("i", "j"), LEVEL), 400e3)
    warm = Cable("S", cold.cable.length, 2e8, 80.0, 12e-6 * 20.0)
    line = hang(warm, 100.0, 0.0)
    before = hanging(cold, STILL)
    assert line.sag > before.sag
    # nearly straight: EA times the strain is lost, less the little that the sag gives back
    lost = before.level - line.level
    assert 0.97 * 2e8 * 12e-6 * 20.0 < lost < 2e8 * 12e-6 * 20.0
    assert (line.end - line.start) == pytest.approx(80.0 * cold.cable.length)


def test_a_cable_drawn_out_hangs_as_it_pulls():
    """The sag of a report is of the line whose tension stands beside it."""
    still = cut_for(CableElement(Cable("S", 1.0, 2e8, 80.0), "catenary", ("i", "j"), LEVEL), 400e3)
    drawn = replace(still, drawn=0.05, axis=np.array([1.0, 0.0, 0.0]))
    line = hanging(drawn, STILL)
    assert line.tensions == pytest.approx(drawn.pull(STILL).tensions, rel=1e-9)
    assert line.sag < hanging(still, STILL).sag


def test_tension_along_it_is_greatest_at_the_upper_end():
    line = hang(Cable("A", 101.0, 1e9, 500.0), 80.0, 60.0)
    along = [line.tension(s) for s in np.linspace(0.0, 101.0, 20)]
    assert max(along) == along[-1] == pytest.approx(line.tensions[1])
    assert line.mean_tension == pytest.approx(np.mean([line.tension(s) for s in
                                              (np.arange(2000) + 0.5) * 101.0 / 2000]))  # fmt: skip


MESSAGES = [
    (
        lambda: hang(Cable("C1", 0.0, 1e9, 10.0), 10.0, 0.0),
        "cable C1: unstressed length 0 m, EA 1e+06 kN, weight 10 N/m; length and EA must be above "
        "zero, the weight not below it",
    ),
    (
        lambda: hang(Cable("C1", 10.0, 1e9, float("nan")), 10.0, 0.0),
        "cable C1: its ends, length, EA or weight are not numbers",
    ),
    (
        lambda: hang(Cable("C1", 10.5, 1e9, 0.0), 10.0, 0.0),
        "cable C1: has no weight and is 0.5000 m longer than its ends are apart, so nothing says "
        "how it hangs; give its weight or shorten it",
    ),
    (
        lambda: cut_for(CableElement(Cable("C1", 1, 1e9, 500), "catenary", ("i", "j"), LEVEL), 2e4),
        "cable C1: a tension of 20.0 kN is less than its own weight asks for (about 37.7 kN); "
        "check tension and weight",
    ),
    (
        lambda: cut_for(CableElement(Cable("C1", 1, 1e9, 500), "catenary", ("i", "j"), LEVEL), -20),
        "cable C1: in compression at the start (0.0 kN); a cable only pulls: check its tension, or "
        "its unstressed length against where its ends are",
    ),
    (
        lambda: cut_for(CableElement(Cable("C1", 1, 1e9, 5), "straight", ("i", "j"), LEVEL), -3e4),
        "cable C1: in compression at the start (30.0 kN); a cable only pulls: check its tension, "
        "or its unstressed length against where its ends are",
    ),
    (
        lambda: CableElement(
            Cable("C1", 1.0, 1e9, 5.0), "straight", ("i", "j"), LEVEL[[0, 0]]
        ).pull(STILL),
        "cable C1: zero length between its ends; give it two nodes that lie apart, and an "
        "unstressed length above zero",
    ),
    (
        lambda: require_grip([Grip("T1", (9.0e6, 7.5e6), np.radians(40.0), 0.15)]),
        "saddle T1: the cable slips back: tensions of 9000 kN back and 7500 kN ahead are 1 to "
        "1.200, friction of 0.15 over 40.0 degrees holds 1 to 1.110; check the tensions, the "
        "friction, or clamp the cable",
    ),
]


@pytest.mark.parametrize(("make", "text"), MESSAGES)
def test_message(make, text):
    with pytest.raises(StructureError) as caught:
        make()
    assert str(caught.value) == text


def test_grip_rows_are_where_slipping_begins():
    back = 1e6 * np.array([-0.94, 0.0, -0.34])
    ahead = 1.05e6 * np.array([0.94, 0.0, -0.34])
    grip = grip_of("S", back, ahead, 0.2)
    assert grip.towards == "ahead"
    rows = grip_rows(grip, (np.array([2e6, 0.0]), np.array([0.0, 3e6])))
    for row in rows:
        # the move along the row that just reaches its bound brings the ratio to the most
        x = row[:2] * row[2] / (row[:2] @ row[:2])
        after = (grip.tensions[0] + 2e6 * x[0], grip.tensions[1] + 3e6 * x[1])
        assert max(after) / min(after) == pytest.approx(grip.most)
    require_grip([grip])


def test_no_tension_on_one_side_always_slips():
    assert Grip("S", (1e6, 0.0), 1.0, 0.3).slips


def test_release_onto_a_pack_by_hand():
    # 3 MN on jacks, cable 10 kN/mm, pack 990 kN/mm, bedding 0.5 mm:
    # (0.5 + 3000/990) / (1 + 10/990) = 3.495 mm, and 3000 - 34.95 kN stay
    after = released(3e6, 10e6, 990e6, 0.0005)
    assert after.back == pytest.approx(3.495e-3)
    assert after.force == pytest.approx(2.96505e6)


def test_sag_of_a_cable_that_is_weightless_or_plumb_is_nil():
    assert Catenary(Cable("C", 10.0, 1e9, 0.0), 10.0, 0.0, 1e3, 0.0).sag == 0.0
    assert hang(Cable("P", 10.0, 1e9, 50.0), 0.0, 10.01).sag == 0.0
