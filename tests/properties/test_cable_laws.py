"""Laws a cable must keep, for random cables from far too short to far too long."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.frames import rotation
from fitup.structure.cable.catenary import Cable
from fitup.structure.cable.element import CableElement, cut_for, hanging
from fitup.structure.cable.hang import hang
from fitup.structure.cable.saddle import hold_for, released

CASES = settings(max_examples=60, deadline=None, derandomize=True)
seeds = st.integers(0, 10**6)
STILL = np.zeros(6)


def some_cable(seed: int) -> CableElement:
    rng = np.random.default_rng(seed)
    form = "catenary" if rng.random() < 0.6 else "straight"
    ends = rng.normal(size=(2, 3)) * 10.0 ** rng.uniform(0.0, 2.5)
    apart = float(np.linalg.norm(ends[1] - ends[0]))
    share = rng.uniform(0.99, 1.4) if form == "catenary" else rng.uniform(0.99, 0.9999)
    strain = rng.uniform(-1e-3, 1e-3)
    cable = Cable("C", share * apart, 10.0 ** rng.uniform(6, 10), rng.uniform(10.0, 5e3), strain)
    return CableElement(cable, form, ("i", "j"), ends)


@CASES
@given(seeds)
def test_its_ends_carry_its_weight_and_turn_nothing(seed):
    element = some_cable(seed)
    forces, _ = element.forces_and_tangent(STILL)
    weight = element.cable.weight * element.cable.length
    scale = max(np.abs(forces).max(), weight)
    assert forces[:3] + forces[3:] == pytest.approx([0.0, 0.0, weight], abs=1e-9 * scale)
    if element.form == "straight":
        return
    # moments about end i: the weight acts at the centre of the hanging cable
    line, cable = hanging(element, STILL), element.cable
    parts = (np.arange(4000) + 0.5) / 4000 * cable.warm_length
    apart = element.ends[1] - element.ends[0]
    level = np.array([apart[0], apart[1], 0.0]) / line.span
    centre = level * np.mean([line.place(s)[0] for s in parts])
    moment = np.cross(apart, forces[3:]) - np.cross(centre, [0.0, 0.0, weight])
    assert np.abs(moment).max() <= 1e-5 * scale * line.span


@CASES
@given(seeds)
def test_tangent_is_symmetric_and_the_slope_of_the_forces(seed):
    element = some_cable(seed)
    _, K = element.forces_and_tangent(STILL)
    assert np.abs(K - K.T).max() <= 1e-12 * np.abs(K).max()
    assert np.linalg.eigvalsh(K).min() >= -1e-9 * np.abs(K).max()
    h = 1e-5 * element.cable.length
    slope = np.array(
        [
            (element.forces_and_tangent(h * d)[0] - element.forces_and_tangent(-h * d)[0]) / (2 * h)
            for d in np.eye(6)
        ]
    )
    assert np.abs(slope.T - K).max() <= 2e-3 * np.abs(K).max()


@CASES
@given(seeds)
def test_drawing_is_the_slope_of_forces_and_tension_and_is_reciprocal(seed):
    element = some_cable(seed).aligned(STILL)
    h = 1e-6 * element.cable.length
    more, less = element.moved(h), element.moved(-h)
    slope = (more.forces_and_tangent(STILL)[0] - less.forces_and_tangent(STILL)[0]) / (2 * h)
    expected = element.by_moving(STILL)
    most = 1e-4 * np.abs(expected).max()
    assert slope == pytest.approx(expected, rel=1e-3, abs=most)
    tension = (more.reaction(STILL) - less.reaction(STILL)) / (2 * h)
    assert tension == pytest.approx(element.firmness(STILL), rel=1e-3, abs=most)
    # what bears on the nut answers to motions of the ends as the ends' forces do to drawing
    by_motion = [(element.reaction(h * d) - element.reaction(-h * d)) / (2 * h) for d in np.eye(6)]
    assert by_motion == pytest.approx(expected, rel=1e-3, abs=most)
    # aligned, the tension along the anchorage is the whole tension
    assert element.reaction(STILL) == pytest.approx(element.pull(STILL).tensions[1], rel=1e-12)


@CASES
@given(seeds)
def test_work_round_a_closed_way_is_nil(seed):
    """Work done along a loop of end j by the midpoint rule, which is exact to the third order."""
    element = some_cable(seed)
    if element.form == "straight":
        element = CableElement(element.cable, "straight", ("i", "j"), element.ends, pushes=True)
    rng = np.random.default_rng(seed)
    reach = 2e-3 * element.cable.length
    corners = rng.normal(size=(3, 3)) * reach
    loop = np.array([*corners, corners[0]])
    work = size = 0.0
    for start, end in pairwise(loop):
        for share in (np.arange(100) + 0.5) / 100:
            u = np.concatenate([np.zeros(3), start + share * (end - start)])
            part = float(element.forces_and_tangent(u)[0][3:] @ (end - start)) / 100
            work, size = work + part, size + abs(part)
    assert abs(work) <= 1e-3 * size


@CASES
@given(seeds)
def test_nothing_hangs_on_where_it_stands_or_which_way_it_looks(seed):
    element = some_cable(seed)
    rng = np.random.default_rng(seed)
    turn = rotation(np.array([0.0, 0.0, rng.uniform(-3.0, 3.0)]))
    moved = CableElement(element.cable, element.form, ("i", "j"),
                         element.ends @ turn.T + rng.normal(size=3) * 1e3)  # fmt: skip
    before, after = element.forces_and_tangent(STILL), moved.forces_and_tangent(STILL)
    both = np.kron(np.eye(2), turn)
    assert after[0] == pytest.approx(both @ before[0], abs=1e-6 * np.abs(before[0]).max())
    assert after[1] == pytest.approx(both @ before[1] @ both.T, abs=1e-6 * np.abs(before[1]).max())


@CASES
@given(seeds)
def test_two_halves_are_one_cable(seed):
    element = some_cable(seed)
    line = hanging(CableElement(element.cable, "catenary", ("i", "j"), element.ends), STILL)
    cable, half = line.cable, 0.5 * line.cable.warm_length
    x, y = line.place(half)
    short = Cable("H", 0.5 * cable.length, cable.EA, cable.weight, cable.strain)
    first, second = hang(short, x, y), hang(short, line.span - x, line.rise - y)
    assert first.level == pytest.approx(line.level, rel=1e-6)
    assert first.end == pytest.approx(second.start, rel=1e-6, abs=1e-6 * line.level)
    assert first.stretched + second.stretched == pytest.approx(line.stretched, rel=1e-9)


@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.floats(0.0, 3.0), st.floats(-1.0, 1.0), st.floats(4.0, 11.0), st.floats(-4.0, 4.0),
       st.floats(-8.0, 0.5), st.booleans())  # fmt: skip
def test_any_cable_is_hung(size, upward, firm, heavy, off, longer):
    """From hair to bridge cable, from a millionth off taut to three times too long or short."""
    length, EA, weight = 10.0**size, 10.0**firm, 10.0**heavy
    chord = length * (1.0 - 10.0**off if longer else 1.0 + 10.0**off)
    chord = max(chord, 0.0)
    angle = upward * np.pi / 2.0
    line = hang(Cable("C", length, EA, weight), chord * abs(np.cos(angle)), chord * np.sin(angle))
    x, y = line.place(length)
    assert (x, y) == pytest.approx((line.span, line.rise), abs=1e-11 * max(length, chord))
    assert line.level > 0.0


@CASES
@given(seeds)
def test_a_cable_cut_for_a_tension_has_it(seed):
    element = some_cable(seed)
    own = element.cable.weight * float(np.linalg.norm(element.ends[1] - element.ends[0]))
    tension = own * np.random.default_rng(seed).uniform(1.5, 500.0)
    assert cut_for(element, tension).pull(STILL).tensions[1] == pytest.approx(tension, rel=1e-8)


@CASES
@given(st.floats(1e4, 1e7), st.floats(1e5, 1e8), st.floats(1e8, 1e10), st.floats(0.0, 2e-3))
def test_what_is_held_for_release_is_left_after_it(wanted, resistance, pack, bedding):
    force, advance = hold_for(wanted, resistance, pack, bedding)
    after = released(force, resistance, pack, bedding)
    assert after.force == pytest.approx(wanted, rel=1e-9)
    assert after.back == pytest.approx(advance, rel=1e-9)
    # a clearance over the pack is lost as well
    assert released(force, resistance, pack, bedding, 1e-3).force < wanted
