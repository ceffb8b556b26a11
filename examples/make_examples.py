"""Write the example jobs: an invented crossing, its misfit and its survey noise by seed.

Run ``python examples/make_examples.py`` to write the folders beside this file again. Every name,
size and load is invented.
"""

from __future__ import annotations

from pathlib import Path

import hung_deck
import numpy as np
from observe import observation_files

from fitup.frames import Motion, heading, joint_axes, left_of, rotation

HERE = Path(__file__).parent
AZIMUTH = np.radians(62.0)
GRADE, CROSSFALL = 0.008, 0.02
AXES = joint_axes(AZIMUTH, GRADE, CROSSFALL)
AHEAD, LEFT = heading(AZIMUTH), left_of(AZIMUTH)
ORIGIN = np.array([4210.0, 8875.0, 61.5])
OPENING = 0.010
LENGTH, HALF, DEPTH = 30.0, 12.0, 3.2
WEIGHT_KN = 4180.0
EXPANSION = 12e-6
REFERENCE_C, STEEL_C = 15.0, 11.5
#: mark -> (nominal mm, measured mm, loose count, plan length mm, plan width mm)
PLATES = {
    "P40": (40, 40.12, 3, 400, 300),
    "P20": (20, 20.07, 6, 400, 300),
    "P10": (10, 10.05, 8, 400, 300),
    "P5": (5, 5.02, 8, 400, 300),
    "P3": (3, 3.04, 8, 400, 300),
    "P2": (2, 2.03, 8, 400, 300),
    "P1": (1, 0.98, 8, 400, 300),
}


def on_deck(station: float, left: float, down: float = 0.0) -> np.ndarray:
    """Grid position of a point by station from the joint, metres to the left and below deck."""
    return ORIGIN + station * AXES[0] + left * AXES[1] - down * AXES[2]


def table(name: str, header: str, rows: list[str]) -> tuple[str, str]:
    """Name and text of one CSV table."""
    return name, header + "\n" + "\n".join(rows) + "\n"


def segments_and_points() -> tuple[list[str], dict[str, tuple[str, np.ndarray]]]:
    """Rows of segments.csv, and the design of every point."""
    rows, points = [], {}
    for name, sign, near in (("W7", -1.0, 0.0), ("E1", 1.0, OPENING)):
        centre = on_deck(near + sign * LENGTH / 2.0, 0.3, 1.4)
        fixed = on_deck(near + sign * 180.0, 0.0)
        rows.append(
            f"{name},62,{WEIGHT_KN:.0f},{centre[0]:.4f},{centre[1]:.4f},{centre[2]:.4f},,0.000012,"
            f"{fixed[0]:.4f},{fixed[1]:.4f},{fixed[2]:.4f}"
        )
        for place, left in (("L", 11.5), ("C", 0.0), ("R", -11.5)):
            points[f"{name}-{place}"] = (name, on_deck(near, left))
        for place, left in (("SL", 6.0), ("SR", -6.0)):
            points[f"{name}-{place}"] = (name, on_deck(near, left, DEPTH))
        for i, (station, left) in enumerate(
            [(2.0, 10.5), (2.0, -10.5), (15.0, 10.5), (15.0, -10.5), (28.0, 10.5), (28.0, -10.5)], 1
        ):
            points[f"{name}-T{i}"] = (name, on_deck(near + sign * station, left))
    return rows, points


def seats(stiff: bool) -> tuple[list[str], list[str]]:
    """Rows of seats.csv and jacks.csv; ``stiff`` leaves one jack little stroke."""
    rows, jacks = [], []
    packs = {
        "W7": ["P40+P5+P20", "P40+P3+P20", "P40+P2+P20", "P40+P10+P20"],
        "E1": ["P40+P10+P20", "P40+P5+P20", "P40+P3+P20", "P40+P5+P20"],
    }
    for name, sign, near in (("W7", -1.0, 0.0), ("E1", 1.0, OPENING)):
        spots = [(3.0, 7.0), (3.0, -7.0), (27.0, -7.0), (27.0, 7.0)]
        for i, (station, left) in enumerate(spots, 1):
            p = on_deck(near + sign * station, left, DEPTH)
            seat = f"{name}-S{i}"
            rows.append(
                f"{seat},{name},{p[0]:.4f},{p[1]:.4f},{p[2]:.4f},up,400,packs,{packs[name][i - 1]},"
                f"{57 if stiff and name == 'E1' else 40},110,5,0.3,150,1900,,0,,,,"
            )
            stroke, used = (150, 50) if not (stiff and seat == "W7-S3") else (150, 143)
            jacks.append(f"J-{seat},{seat},2000,285,{stroke},{used},0.5,yes")
        outward = "ahead" if sign < 0 else "back"
        for i, left in ((5, 6.0), (6, -6.0)):
            p = on_deck(near + sign * 29.0, left, DEPTH / 2.0)
            seat = f"{name}-A{i - 4}"
            rows.append(
                f"{seat},{name},{p[0]:.4f},{p[1]:.4f},{p[2]:.4f},{outward},250,packs,P20+P5+P10,"
                "15,80,5,0.1,-250,700,,210,,,,"
            )
            jacks.append(f"J-{seat},{seat},1000,142,150,50,0.5,no")
        # the jack stands on the side from which the deck must be pushed
        side, pushes = (7.5, "right") if name == "W7" else (-7.5, "left")
        p = on_deck(near + sign * 3.0, side, DEPTH)
        seat = f"{name}-B1"
        rows.append(
            f"{seat},{name},{p[0]:.4f},{p[1]:.4f},{p[2]:.4f},{pushes},250,nut,,,,,,-250,500,,120,30,0,,"
        )
        jacks.append(f"J-{seat},{seat},500,71,100,40,0.5,yes")
    return rows, jacks


def found(points: dict[str, tuple[str, np.ndarray]]) -> dict[str, np.ndarray]:
    """Where every point really is that night: segments moved and cooled."""
    moved = {
        "W7": (np.array([-0.0062, 0.0071, -0.0124]), np.array([0.00042, -0.00018, 0.00021])),
        "E1": (np.array([0.0088, -0.0054, 0.0097]), np.array([-0.00031, 0.00026, -0.00016])),
    }
    there = {}
    for name, (segment, design) in points.items():
        own = np.array([p for s, p in points.values() if s == segment])
        shift, turn = moved[segment]
        in_grid = shift[0] * AXES[0] + shift[1] * AXES[1] + shift[2] * AXES[2]
        spin = turn[0] * AXES[0] + turn[1] * AXES[1] + turn[2] * AXES[2]
        sign, near = (-1.0, 0.0) if segment == "W7" else (1.0, OPENING)
        fixed = on_deck(near + sign * 180.0, 0.0)
        warm = EXPANSION * (STEEL_C - REFERENCE_C) * (design - fixed)
        there[name] = Motion(rotation(spin), in_grid, own.mean(axis=0)).apply(design) + warm
    return there


def surveyed(points: dict[str, tuple[str, np.ndarray]]) -> list[str]:
    """Add noise to where the points are; write what the crew would send."""
    rng = np.random.default_rng(20310402)
    lines = []
    for name, place in found(points).items():
        there = place + rng.normal(0.0, 0.0008, 3)
        lines.append(f"{name};{there[1]:.4f};{there[0]:.4f};{there[2]:.4f};deck".replace(".", ","))
    for i, spot in enumerate((on_deck(-70.0, 40.0), on_deck(70.0, -40.0)), 1):
        lines.append(f"CP{i};{spot[1]:.4f};{spot[0]:.4f};{spot[2]:.4f};pillar".replace(".", ","))
    return lines


LISTED = """\
[[survey]]
file = "survey-night-14.csv"
taken = 2031-04-02T04:10:00
steel_temperature_C = 11.5
deck_load_kN = 0.0
u_mm = 0.8
unit = "m"
order = ["id", "N", "E", "H", "skip"]
decimal = ","
"""
OBSERVED = """\
[network]
refraction = 0.13

[[survey]]
observations = "night-14-shots.csv"   # what the instrument read, not coordinates
taken = 2031-04-02T04:10:00
steel_temperature_C = 11.5
deck_load_kN = 0.0
"""
JOB = """\
# {title}
# All names, sizes and loads are invented.
name = "{title}"
units = "metric"                 # what is printed: metric or US
grid = "site grid of the crossing: easting, northing, height in metres"
reference_temperature_C = 15.0

[tolerance.step]                 # riding surface across the joint
value_mm = 2.0
source = "invented project specification, clause 7.3"
weight = 1.0

[tolerance.gap]                  # root opening of the closure weld
value_mm = 3.0
source = "invented project specification, clause 7.4"

[tolerance.offset]
value_mm = 4.0
source = "invented project specification, clause 7.3"

[tolerance.kink_grade]
value_mm_per_m = 0.8
source = "invented project specification, clause 7.5"

[tolerance.kink_plan]
value_mm_per_m = 0.5
source = "invented project specification, clause 7.5"

[tolerance.level]                # each check point against the stage geometry
value_mm = 10.0
source = "invented erection manual, table 4"
weight = 0.5

[tolerance.line]
value_mm = 12.0
source = "invented erection manual, table 4"
weight = 0.5

[tolerance.station]
value_mm = 15.0
source = "invented erection manual, table 4"
weight = 0.5

[gates]                          # beyond these a survey is refused
hours_apart_h = 2.0
temperature_apart_C = 2.0
temperature_off_C = 2.0
deck_load_apart_kN = 20.0
deviation_most_mm = 120.0

[working]
insertion_mm = 5.0               # clear height over a pack to slide plates
lift_step_mm = 5.0               # travel between two readings
follow_up_mm = 6.0               # packs follow the load within this
jack_reserve = 1.5               # capacity over calculated load, at least
move_band_mm = 2.0
load_band = 0.25                 # share of the calculated load
{staging}
[objectives]
squares_slack = 0.05

{survey}"""


#: what the crews have in the first example; the second leaves the defaults
STAGING = """
[staging]                        # crews; pumps in pumps.csv, order in groups.csv
crews = 2                        # groups that may move at once
stage_lift_mm = 25.0             # travel of any jack in one go
out_of_step_mm = 0.5             # a jack may be off its reading by this
friction = 0.03                  # share more on the way up, less on the way down
pressure_error = 0.01            # share of the jack's capacity
worst_reserve = 1.25             # capacity over the worst-case load, at least
"""
PUMPS = [
    "PU-1,J-W7-S1 J-W7-S2 J-W7-S3 J-W7-S4,yes,",
    "PU-2,J-E1-S1 J-E1-S2 J-E1-S3 J-E1-S4,yes,",
    "PU-3,J-W7-A1 J-W7-A2 J-W7-B1,yes,",
    "PU-4,J-E1-A1 J-E1-A2 J-E1-B1,yes,",
]
CLOSED = "deck closed to traffic, 01:00 to 05:30"
GROUPS = [
    f'W7-lift,,1,"{CLOSED}",',
    f'E1-lift,,1,"{CLOSED}",',
    "W7-across,W7-lift E1-lift,2,,",
    "E1-across,W7-lift E1-lift,2,,",
    'W7-along,W7-across E1-across,3,"slack water, one hour",',
    'E1-along,W7-across E1-across,3,"slack water, one hour",',
]


def write(folder: str, title: str, short: bool = False, observed: bool = False) -> None:
    """Write one job folder.

    ``short`` takes stroke and plates away; ``observed`` gives raw observations for coordinates.
    """
    target = HERE / folder
    target.mkdir(exist_ok=True)
    segments, points = segments_and_points()
    seat_rows, jack_rows = seats(short)
    point_rows = [
        f"{n},{s},{p[0]:.4f},{p[1]:.4f},{p[2]:.4f},{'yes' if n[-2:] in ('T5', 'T6') else ''}"
        for n, (s, p) in points.items()
    ]
    pair_rows = [
        f"P{i},K1,W7-{p},E1-{p},10,{word}"
        for i, (p, word) in enumerate(
            [
                ("L", "LEFT edge"),
                ("C", "CENTRE"),
                ("R", "RIGHT edge"),
                ("SL", "LEFT soffit"),
                ("SR", "RIGHT soffit"),
            ],
            1,
        )
    ]
    loose = dict(PLATES)
    if short:
        loose = {
            m: (*v[:2], {"P1": 6, "P2": 6, "P3": 6, "P5": 6, "P10": 4}.get(m, 3), *v[3:])
            for m, v in PLATES.items()
        }
    plate_rows = [f"{m},{a},{b},{c},{d},{e},0.05" for m, (a, b, c, d, e) in loose.items()]
    limit_rows = []
    for s in ("W7", "E1"):
        limit_rows += [
            f"{s}-warp,warp,{s}-S1 {s}-S2 {s}-S3 {s}-S4,2.5,{'' if short or observed else '4.5'}",
            f"{s}-near,difference,{s}-S1 {s}-S2,25,",
            f"{s}-far,difference,{s}-S4 {s}-S3,25,",
            f"{s}-left,difference,{s}-S1 {s}-S4,40,",
            f"{s}-right,difference,{s}-S2 {s}-S3,40,",
        ]
    files = dict(
        [
            table(
                "segments.csv",
                "id,azimuth_deg,weight_kN,centre_E_m,centre_N_m,centre_H_m,held,expansion_per_C,"
                "fixed_E_m,fixed_N_m,fixed_H_m",
                segments,
            ),
            table("points.csv", "id,segment,E_m,N_m,H_m,watched", point_rows),
            table(
                "joints.csv",
                "id,back,ahead,azimuth_deg,grade_pct,crossfall_pct,falls_to,least_opening_mm",
                ["K1,W7,E1,62,0.8,2,right,2"],
            ),
            table("pairs.csv", "id,joint,back_point,ahead_point,opening_mm,place", pair_rows),
            table(
                "seats.csv",
                "id,segment,E_m,N_m,H_m,pushes,stiffness_kN_per_mm,held_by,pack,pack_least_mm,"
                "pack_most_mm,most_plates,bedding_mm,reaction_least_kN,reaction_most_kN,"
                "reaction_now_kN,breakaway_kN,raise_most_mm,lower_most_mm,group,hold",
                seat_rows,
            ),
            table(
                "jacks.csv",
                "id,seat,capacity_kN,ram_area_cm2,stroke_mm,stroke_used_mm,resolution_mm,lock_nut",
                jack_rows,
            ),
            table(
                "plates.csv",
                "mark,nominal_mm,measured_mm,count,length_mm,width_mm,spread_mm",
                plate_rows,
            ),
            table("limits.csv", "id,kind,seats,most_mm,most_moving_mm", limit_rows),
            table(
                "aims.csv",
                "joint,pair,quantity,treat,amount_mm,angle_mm_per_m,side,reason",
                [
                    'K1,,gap,preset,1.5,,wide,"weld shrinkage, welding engineer\'s note 12"',
                    'K1,,twist,leave,,1.5,,"roll under 1.5 mm/m goes into the overlay, note 15"',
                ],
            ),
            table(
                "ride.csv",
                "id,joint,points,place",
                [
                    "LW,K1,W7-T5 W7-T3 W7-T1 W7-L E1-L E1-T1 E1-T3 E1-T5,LEFT lane",
                    "RW,K1,W7-T6 W7-T4 W7-T2 W7-R E1-R E1-T2 E1-T4 E1-T6,RIGHT lane",
                ],
            ),
            table(
                "readings.csv",
                "id,pair,quantity,value_mm,side,u_mm,how",
                [
                    "D1,P1,step,14.5,ahead high,0.5,straightedge and feeler",
                    "D2,P2,step,22.5,ahead high,0.5,straightedge and feeler",
                    "D3,P3,step,30.5,ahead high,0.5,straightedge and feeler",
                    "D4,P1,gap,43.1,opening,1.0,steel tape",
                    "D5,P3,gap,34.6,opening,1.0,steel tape",
                ],
            ),
        ]
    )
    crews = not short and not observed
    files["job.toml"] = JOB.format(
        title=title,
        staging=STAGING if crews else "",
        survey=OBSERVED if observed else LISTED,
    )
    if crews:
        files["pumps.csv"] = "id,jacks,synchronised,out_of_step_mm\n" + "\n".join(PUMPS) + "\n"
        files["groups.csv"] = "id,after,rank,window,stage_lift_mm\n" + "\n".join(GROUPS) + "\n"
    if observed:
        files |= observation_files(found(points), on_deck)
    else:
        files["survey-night-14.csv"] = (
            "\ufeff# night 14, set-up on pillar CP1, deck closed to plant\n"
            + "\n".join(surveyed(points))
            + "\n"
        )
    for name, text in files.items():
        (target / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    hung_deck.write()
    write("skerrin-closure", "Skerrin Narrows, closure joint K1")
    write("skerrin-short", "Skerrin Narrows, closure joint K1, a jack short of stroke", short=True)
    write("skerrin-observed", "Skerrin Narrows, closure joint K1, from observations", observed=True)
