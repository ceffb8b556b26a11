"""Bores and bolts: by hand, by the certificate's own way, and every message."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.certify import passage as second
from fitup.checks import checks_of, joint_state, parts_of
from fitup.checks.bolts import best_fit, bolt_reading, bolts_as_surveyed
from fitup.checks.bores import bore_reading, bores_as_surveyed, straightest
from fitup.checks.opening import openings_at
from fitup.errors import InputError
from fitup.jobfolder import read_job
from fitup.model import Aim, Job
from fitup.survey import read_survey

Write = Callable[..., Path]
RINGS = {"AF": ("A", 17.0), "AN": ("A", 19.9), "BN": ("B", 20.11), "BF": ("B", 23.0)}
HOLES = [(0.2, 0.1), (0.2, 0.5), (0.3, 0.1), (0.3, 0.5)]


def extra_points() -> str:
    """Six points round each ring, radius 0.5 m about N = 0, H = 8.5; four holes on each side."""
    rows = []
    for ring, (segment, east) in RINGS.items():
        for k in range(6):
            north, up = 0.5 * np.cos(k * np.pi / 3), 8.5 + 0.5 * np.sin(k * np.pi / 3)
            rows.append(f"{ring}{k},{segment},{east},{north:.6f},{up:.6f}")
    for k, (away, up) in enumerate(HOLES):
        rows.append(f"AH{k},A,{20.0 - away},2,{8.0 + up}")
        rows.append(f"BH{k},B,{20.01 + away},2,{8.0 + up}")
    return "\n".join(rows) + "\n"


NAMES = [" ".join(f"{ring}{k}" for k in range(6)) for ring in RINGS]
BORES = (
    "id,joint,back_far,back_near,ahead_near,ahead_far,bore_mm,member_mm,place\n"
    f"PB,J1,{','.join(NAMES)},1000,985,CENTRE\n"
)
BOLTS = (
    "id,joint,back,ahead,plane,clearance_mm,place\n"
    "SP,J1,AH0 AH1 AH2 AH3,BH0 BH1 BH2 BH3,web,2,LEFT web\n"
)


@pytest.fixture
def write(small_job_writer: Write, small_files: dict[str, str], tmp_path: Path) -> Write:
    def make(**changes: object) -> Path:
        points = small_files["points.csv"] + extra_points()
        given = {"points": points, "bores": BORES, "bolts": BOLTS, **changes}
        return small_job_writer(tmp_path, **given)

    return make


def values(job: Job, folder: Path) -> dict[str, float]:
    state = joint_state(job, read_survey(folder, job))
    return {c.id: float(v) for c, v in zip(state.checks, state.values, strict=True)}


def test_a_segment_6_mm_high(write: Write):
    """Segment B stands 6 mm high and level: both ends of the bore do, and every hole."""
    folder = write()
    job = read_job(folder)
    found = values(job, folder)
    for spot in ("near", "far"):
        assert found[f"J1/PB/{spot}/bore_step"] == pytest.approx(0.006, abs=1e-9)
        assert found[f"J1/PB/{spot}/bore_offset"] == pytest.approx(0.0, abs=1e-9)
    assert found["J1/SP/bolt_up"] == pytest.approx(0.006, abs=1e-9)
    assert found["J1/SP/bolt_along"] == pytest.approx(0.0, abs=1e-9)
    assert "J1/SP/bolt_across" not in found
    survey = read_survey(folder, job)
    (bore,) = bores_as_surveyed(job, survey)
    # centres 0, 0, 6, 6 mm high: lines through the middle of all four, tried one by one
    slopes = np.linspace(0.0, 0.006, 6001)
    east = np.array([17.0, 19.9, 20.11, 23.0]) - 20.005
    heights = np.array([0.0, 0.0, 6.0, 6.0]) * 1e-3 - 0.003
    brute = min(float(np.abs(heights - s * east).max()) for s in slopes)
    assert bore.room == pytest.approx(0.0075 - brute, abs=2e-6)
    assert bore.centre_u == (None,) * 4
    (bolts,) = bolts_as_surveyed(job, survey)
    assert (bolts.holes, bolts.passing) == (4, 0)
    assert bolts.worst == pytest.approx(0.006, abs=1e-9)
    assert bolts.fitted == pytest.approx(0.0, abs=1e-9)


def test_a_kink_uses_room_at_the_far_end(write: Write):
    """B turns 2 mm/m up about its near end: the far ring rises by 2 mm/m times its way."""
    tilted = [
        ("B-L,20.0100,4.0000,10.0060", "B-L,20.0100,4.0000,10.0000"),
        ("B-R,20.0100,-4.0000,10.0060", "B-R,20.0100,-4.0000,10.0000"),
        ("39.0000,4.0000,10.0060", "39.0000,4.0000,10.03798"),
        ("39.0000,-4.0000,10.0060", "39.0000,-4.0000,10.03798"),
    ]
    folder = write(survey=tilted)
    found = values(read_job(folder), folder)
    assert found["J1/PB/near/bore_step"] == pytest.approx(0.002 * 0.10, abs=1e-5)
    assert found["J1/PB/far/bore_step"] == pytest.approx(0.002 * 2.99, abs=2e-5)


@pytest.mark.parametrize("seed", range(3))
def test_checks_are_what_the_certificate_measures(write: Write, seed: int):
    job = read_job(write())
    rng = np.random.default_rng(seed)
    moved = {n: p.design + rng.normal(0.0, 0.001, 3) for n, p in job.points.items()}
    checks = [c for c in checks_of(job) if c.item is not None]
    assert len(checks) == 6
    for check in checks:
        part = parts_of(job, check)
        linear = part.constant + sum(float(r @ moved[n]) for n, r in part.points.items())
        how = second.measure_bore if check.item == "PB" else second.measure_bolts
        assert how(job, check, moved.__getitem__) == pytest.approx(linear, abs=2e-5), check.id
    (bore,) = job.bores.values()
    (group,) = job.bolts.values()
    rooms = bore_reading(job, bore, moved).room
    assert second._room(job, bore, moved.__getitem__) == pytest.approx(rooms, abs=2e-5)
    _, worst, fitted = second._match(job, group, moved.__getitem__)
    assert bolt_reading(job, group, moved).fitted == pytest.approx(fitted, abs=2e-6)
    survey_like = second.passage_facts(job, moved.__getitem__, moved.__getitem__)
    assert survey_like[1][0].worst_after == worst


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.floats(-0.01, 0.01), st.floats(-0.01, 0.01))
def test_no_line_is_straighter(seed: int, shift: float, slope: float):
    """Brute force near the answer finds nothing better, and a line added changes nothing."""
    rng = np.random.default_rng(seed)
    seen = np.column_stack([np.cumsum(rng.uniform(0.2, 3.0, 4)), rng.normal(0.0, 0.003, (4, 2))])
    least = straightest(seen)
    rows = np.column_stack([np.ones(4), seen[:, 0] - seen[:, 0].mean()])
    start = np.linalg.lstsq(rows, seen[:, 1:], rcond=None)[0]
    tries = start + rng.normal(0.0, 1.0, (2000, 2, 2)) * [[[2e-3], [1e-3]]]
    best = np.linalg.norm(seen[:, 1:] - rows @ tries, axis=2).max(axis=1).min()
    assert least <= best + 1e-9
    bent = seen.copy()
    bent[:, 1] += shift + slope * seen[:, 0]
    assert straightest(bent) == pytest.approx(least, abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 8))
def test_no_shift_and_turn_fits_better(seed: int, k: int):
    """Brute force near the answer finds nothing better; a shift and turn added change nothing."""
    rng = np.random.default_rng(seed)
    places = rng.uniform(-0.5, 0.5, (k, 2))
    own = rng.normal(0.0, 0.001, (k, 2))
    swing = np.column_stack([-places[:, 1], places[:, 0]])
    least = best_fit(places, own)
    assert best_fit(places, own + [0.01, -0.02] + 0.003 * swing) == pytest.approx(least, abs=1e-6)
    shifts, turns = rng.normal(0.0, 1e-3, (4000, 1, 2)), rng.normal(0.0, 2e-3, (4000, 1, 1))
    left = np.linalg.norm(own - shifts - turns * swing, axis=2).max(axis=1)
    assert least <= left.min() + 1e-6
    assert least <= np.linalg.norm(own, axis=1).max() + 1e-9


def test_the_best_fit_spares_the_worst_hole(write: Write):
    """One of three holes in a line 3 mm off along it: 1.5 mm all round, not 2 mm at one."""
    places = np.array([[-0.2, 0.0], [0.0, 0.0], [0.2, 0.0]])
    off = np.array([[0.0, 0.0], [0.0, 0.0], [0.003, 0.0]])
    assert best_fit(places, off) == pytest.approx(0.0015, abs=1e-6)
    job = read_job(write())
    (group,) = job.bolts.values()
    axes = job.joints["J1"].axes_in_grid
    where = {n: job.points[n].design for n in (*group.back, *group.ahead)}
    where[group.ahead[0]] = where[group.ahead[0]] + 0.003 * axes[0]
    _, worst, fitted = second._match(job, group, where.__getitem__)
    assert worst == pytest.approx(0.003, abs=1e-9)
    assert fitted == pytest.approx(bolt_reading(job, group, where).fitted, abs=1e-6)
    assert fitted < 0.00151


def test_what_two_ways_find_apart_is_named(write: Write):
    """A room or mismatch that is off, or was not found, before or after."""
    job = read_job(write())
    place = {n: p.design for n, p in job.points.items()}.__getitem__
    (bore,), (group,) = second.passage_facts(job, place, place)
    rooms, matches = {"PB": bore.room_before}, {"SP": (group.worst_before, group.fitted_before)}
    assert second.unlike([bore], rooms, [group], matches) == []
    room = ["bore PB: its room by two ways differs"]
    assert second.unlike([bore], {"PB": bore.room_before + 1e-4}, [], {}) == room
    for lost in ({"room_before": np.nan}, {"room_after": np.nan}):
        assert second.unlike([replace(bore, **lost)], rooms, [], {}) == room
    match = ["bolt group SP: its mismatch by two ways differs"]
    for stated in ((1e-4, 0.0), (0.0, 1e-4)):
        assert second.unlike([], {}, [group], {"SP": stated}) == match
    for lost in ({"fitted_before": np.nan}, {"fitted_after": np.nan}):
        assert second.unlike([], {}, [replace(group, **lost)], matches) == match


@pytest.mark.parametrize(
    ("table", "old", "new", "message"),
    [
        (
            "bores",
            "AF0 AF1",
            "AF0 XX",
            "bores.csv, row 2, back_far: found 'XX'; allowed: ids of points.csv; correct it or "
            "add it there",
        ),
        (
            "bores",
            "BN0 BN1",
            "BN0 AN1",
            "bores.csv, row 2, ahead_near: found 'AN1' of segment A; allowed: points of B; "
            "correct it",
        ),
        (
            "bores",
            "AN0 AN1 AN2 AN3 AN4 AN5",
            "AN0 AN1",
            "bores.csv, row 2, back_near: found 2 points; allowed: 3 or more, each once; add "
            "points",
        ),
        (
            "bores",
            "AN0 AN1 AN2 AN3 AN4 AN5",
            "AN0 AN1 AN2 AN3 AN4 AH0",
            "bores.csv, row 2, back_near: found points ",
        ),
        (
            "bores",
            f"{NAMES[0]},{NAMES[1]}",
            f"{NAMES[1]},{NAMES[0]}",
            "bores.csv, row 2, back_far: found rings that do not go ahead; allowed: 50 mm or more "
            "from ring to ring; order back_far, back_near, ahead_near, ahead_far",
        ),
        (
            "bores",
            "1000,985",
            "1000,1005",
            "bores.csv, row 2, member_mm: found 1.005 m in a bore of 1 m; allowed: a member "
            "thinner than its bore; correct one of them",
        ),
        (
            "bolts",
            "BH0 BH1 BH2 BH3",
            "BH0 BH1 BH2",
            "bolts.csv, row 2, ahead: found 3 holes for 4 on the back side; allowed: as many, in "
            "the same order; list them in pairs",
        ),
        (
            "bolts",
            "J1",
            "J7",
            "bolts.csv, row 2, joint: found 'J7'; allowed: an id of joints.csv; correct it or add "
            "it there",
        ),
    ],
)
def test_message(write: Write, table: str, old: str, new: str, message: str):
    text = {"bores": BORES, "bolts": BOLTS}[table]
    assert old in text
    with pytest.raises(InputError) as refused:
        read_job(write(**{table: text.replace(old, new)}))
    assert str(refused.value).startswith(message)


def test_bent_design(write: Write, small_files: dict[str, str]):
    points = small_files["points.csv"] + extra_points()
    for k in range(6):
        up = f"{8.5 + 0.5 * np.sin(k * np.pi / 3):.6f}"
        row = f"BF{k},B,23.0,{0.5 * np.cos(k * np.pi / 3):.6f},{up}"
        assert row in points
        points = points.replace(row, row.replace(up, f"{float(up) + 0.03:.6f}"))
    with pytest.raises(InputError) as refused:
        read_job(write(points=points))
    assert str(refused.value) == (
        "bores.csv, row 2, back_near: found design centres 15.6 mm out of line; allowed: in a "
        "line within 1 mm; check the points of the rings"
    )


EXPANDING = [
    ("centre_H_m,held", "centre_H_m,held,expansion_per_C,fixed_E_m,fixed_N_m,fixed_H_m"),
    ("10,0,9,along across turn", "10,0,9,along across turn,0.000012,-80,0,9"),
    ("30,0,9,along across turn", "30,0,9,along across turn,0.000012,120.01,0,9"),
]


def test_opening_of_the_day(small_job_writer: Write, tmp_path: Path):
    """100 m of steel on either side, 10 K warmer: 2 x 12 mm; 12e-6 /K as in EN 1991-1-5, C.1."""
    job = read_job(small_job_writer(tmp_path, segments=EXPANDING))
    found = openings_at(job, "J1", [job.reference_temperature, job.reference_temperature - 10.0])
    assert found == pytest.approx(np.array([[0.010, 0.010], [0.034, 0.034]]), abs=1e-9)
    preset = Aim("J1", "P2", "gap", "preset", -0.002, "weld shrinkage")
    (found,) = openings_at(replace(job, aims=(preset,)), "J1", [job.reference_temperature])
    assert found == pytest.approx([0.010, 0.008], abs=1e-9)


def test_opening_without_expansion(small_case):
    with pytest.raises(InputError) as refused:
        openings_at(small_case[0], "J1", [280.0])
    assert str(refused.value).splitlines()[0] == (
        "segments.csv, expansion: found segment A of joint J1 without expansion; allowed: "
        "expansion and its fixed point; fill in expansion, fixed_E, fixed_N, fixed_H"
    )
