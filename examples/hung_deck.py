"""Write the second example: a hung deck that meets its approach viaduct, everything invented.

One cable in the middle of the deck runs from a rock anchorage over a jacked saddle on the tower to
an anchorage ahead. Six hangers carry the back part of the deck, trestles still stand under the
rest. A stay ties the tower back so that it leans toward the side span, until more load comes on.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from fitup.frames import Motion, heading, joint_axes, left_of, rotation
from fitup.structure.cable.catenary import Cable
from fitup.structure.cable.hang import hang

HERE = Path(__file__).parent
AZIMUTH = np.radians(317.0)
GRADE, CROSSFALL = 0.006, 0.02
AXES = joint_axes(AZIMUTH, GRADE, CROSSFALL)
AHEAD, LEFT, UP = heading(AZIMUTH), left_of(AZIMUTH), np.array([0.0, 0.0, 1.0])
ORIGIN = np.array([6120.0, 2480.0, 38.0])
OPENING = 0.012
DEPTH, CENTROID = 3.0, 1.3
REFERENCE_C, STEEL_C, EXPANSION = 10.0, 8.5, 12e-6
#: weight of the deck, of a metre of main cable and of a hanger [kN/m]
DECK, CABLE, HANGER = 82.0, 5.2, 0.6
CABLE_E, CABLE_AREA, HANGER_E, HANGER_AREA = 195.0, 0.058, 160.0, 0.0058
#: level pull of the main cable and of the back cable, and of the stay [kN]
MAIN_PULL, BACK_PULL, STAY_PULL = 14800.0, 15500.0, 990.0
HANGERS = (14.0, 26.0, 38.0, 50.0, 62.0, 74.0)
TRESTLES = (5.0, 88.0, 104.0, 118.0)
END, FAR, TOWER_TOP, TOWER_FOOT = 120.0, 150.0, 43.0, -24.0
#: how far back the tower is to lean at this stage, from 1 m above the joint to its head
LEAN = 0.060
SADDLE = np.array([-0.14, 0.0, TOWER_TOP + 1.2])
#: mark -> (nominal mm, measured mm, loose count, plan length mm, plan width mm)
PLATES = {
    "K40": (40, 40.05, 6, 350, 350),
    "K20": (20, 20.04, 8, 350, 350),
    "K10": (10, 10.06, 8, 350, 350),
    "K6": (6, 6.02, 10, 350, 350),
    "K4": (4, 4.03, 10, 350, 350),
    "K3": (3, 2.98, 10, 350, 350),
    "K2": (2, 2.01, 12, 350, 350),
    "K1": (1, 1.02, 12, 350, 350),
}


def level(x: float, y: float, z: float) -> np.ndarray:
    """Grid position by level distance ahead and left of the joint, and height over it."""
    return ORIGIN + x * AHEAD + y * LEFT + z * UP


def deck(x: float, left: float, down: float = 0.0) -> np.ndarray:
    """Grid position on the deck by distance ahead along its grade, left, and below its surface."""
    return ORIGIN + x * AXES[0] + left * AXES[1] - down * AXES[2]


def support_forces() -> dict[float, float]:
    """Forces of hangers and trestles under a straight deck: a beam on supports that do not give."""
    places = sorted([*HANGERS, *TRESTLES])
    nodes = sorted({0.0, END, *places})
    size = 2 * len(nodes)
    stiffness, load = np.zeros((size, size)), np.zeros(size)
    for k, (a, b) in enumerate(pairwise(nodes)):
        span = b - a
        own = slice(2 * k, 2 * k + 4)
        stiffness[own, own] += (
            np.array(
                [
                    [12.0, 6.0 * span, -12.0, 6.0 * span],
                    [6.0 * span, 4.0 * span**2, -6.0 * span, 2.0 * span**2],
                    [-12.0, -6.0 * span, 12.0, -6.0 * span],
                    [6.0 * span, 2.0 * span**2, -6.0 * span, 4.0 * span**2],
                ]
            )
            / span**3
        )
        load[own] += DECK * np.array([span / 2, span**2 / 12, span / 2, -(span**2) / 12])
    held = [2 * nodes.index(p) for p in places]
    free = [i for i in range(size) if i not in held]
    moved = np.linalg.solve(stiffness[np.ix_(free, free)], load[free])
    return dict(zip(places, load[held] - stiffness[np.ix_(held, free)] @ moved, strict=True))


def cable_shape(forces: dict[float, float]) -> dict[float, float]:
    """Height of the main cable over each hanger: the moments of its loads over its level pull."""
    start, end = SADDLE[0], FAR
    span, ends = end - start, (SADDLE[2], 30.0)
    loads = [(x - start, forces[x] + HANGER * 25.0) for x in HANGERS]
    even = CABLE * 1.03
    reaction = even * span / 2 + sum(p * (span - x) / span for x, p in loads)
    heights = {}
    for place in HANGERS:
        x = place - start
        moment = reaction * x - even * x**2 / 2 - sum(p * (x - a) for a, p in loads if a < x)
        heights[place] = ends[0] + (ends[1] - ends[0]) * x / span - moment / MAIN_PULL
    return heights


def unstressed(
    a: np.ndarray, b: np.ndarray, pull: float, area: float = CABLE_AREA, weight: float = CABLE
) -> float:
    """Length of cable between two places that pulls so much level."""
    span, rise = float(np.hypot(*(b - a)[:2])), float(b[2] - a[2])

    def excess(length: float) -> float:
        cable = Cable("C", length, CABLE_E * area * 1e9, weight * 1e3)
        return hang(cable, span, rise).level - pull * 1e3

    chord = float(np.hypot(span, rise))
    return float(brentq(excess, 0.99 * chord, 1.01 * chord, xtol=1e-10))


def table(name: str, header: str, rows: list[str]) -> tuple[str, str]:
    """Name and text of one CSV table."""
    return name, header + "\n" + "\n".join(rows) + "\n"


def xyz(p: np.ndarray) -> str:
    """Write a grid position in metres."""
    return f"{p[0]:.4f},{p[1]:.4f},{p[2]:.4f}"


def frame_tables() -> list[tuple[str, str]]:
    """Nodes, members, cables and saddle of the frame."""
    forces = support_forces()
    shape = cable_shape(forces)
    places = {
        "A": (level(-95.0, 0.0, -6.0), "all"),
        "B": (level(-78.0, 0.0, -4.0), "all"),
        "F": (level(0.0, 0.0, TOWER_FOOT), "all"),
        "T": (level(0.0, 0.0, TOWER_TOP), ""),
        "S": (level(*SADDLE), ""),
        "Z": (level(FAR, 0.0, 30.0), "all"),
    }
    decks: dict[str, list[tuple[str, float]]] = {
        "V": [(f"V{int(-x)}", x) for x in (-66.0, -58.0, -34.0, -10.0, -0.3)],
        "H": [(f"D{int(x)}", x) for x in sorted({0.3, *HANGERS, *TRESTLES, END})],
    }
    for own in decks.values():
        for name, x in own:
            places[name] = (deck(x, 0.0, CENTROID), "")
    for x in HANGERS:
        at = deck(x, 0.0, CENTROID)
        places[f"C{int(x)}"] = (np.array([at[0], at[1], ORIGIN[2] + shape[x]]), "")
    nodes = [f"{n},{xyz(p)},{held}" for n, (p, held) in places.items()]
    members = ["tower,F,T,tower,concrete,T,1,0,0"]
    for segment, own in decks.items():
        for (i, _), (j, _) in pairwise(own):
            members.append(f"{i}-{j},{i},{j},box,steel,{segment},,,")
    loads = [f"deck {m.split(',')[0]},line,{m.split(',')[0]},{DECK}".replace("deck ", "L-")
             for m in members if ",box," in m]  # fmt: skip
    chain = ["S", *(f"C{int(x)}" for x in HANGERS), "Z"]
    cables = []
    for k, (i, j) in enumerate([("A", "S"), *pairwise(chain)]):
        pull = BACK_PULL if k == 0 else MAIN_PULL
        # the tower has leaned back when the cable pulls like that
        ends = [places[n][0] - (LEAN * AHEAD if n == "S" else 0.0) for n in (i, j)]
        length = unstressed(*ends, pull)
        name = "back" if k == 0 else f"main{k}"
        cables.append(
            f"{name},{i},{j},catenary,{CABLE_E},{CABLE_AREA * 1e4:.0f},{CABLE},{length:.5f},,,,"
        )
    for x in HANGERS:
        n = int(x)
        seat = f"SH{n}" if x in HANGERS[:4] else ""
        cables.append(
            f"H{n},C{n},D{n},catenary,{HANGER_E},{HANGER_AREA * 1e4:.0f},{HANGER},,"
            f"{forces[x]:.1f},{seat},200,1900"
        )
    ends = (places["T"][0] - LEAN * AHEAD, places["B"][0])
    length = unstressed(*ends, STAY_PULL, 0.0092, 0.8)
    cables.append(f"stay,T,B,catenary,{CABLE_E},92,0.8,{length:.5f},,ST,300,2200")
    springs = []
    for n, axis, k in (("V58", AHEAD, 900), ("V58", LEFT, 400), ("V10", LEFT, 400),
                       ("D104", LEFT, 150)):  # fmt: skip
        which = "ahead" if axis is AHEAD else "left"
        springs.append(f"{n}-{which},{n},{axis[0]:.6f},{axis[1]:.6f},0,{k}")
    return [
        table("frame_nodes.csv", "id,E_m,N_m,H_m,fixed", nodes),
        table("frame_members.csv", "id,i,j,section,material,segment,up_E,up_N,up_H", members),
        table(
            "frame_sections.csv",
            "id,area_m2,bending_m4,sideways_m4,torsion_m4,depth_m,width_m",
            ["box,1.05,1.6,28,3.6,3,18", "tower,22,80,110,90,7,8"],
        ),
        table(
            "frame_materials.csv",
            "id,E_GPa,poisson,unit_weight_kN_per_m3,expansion_per_C",
            # the weight of the deck is among the loads, with all that is fixed to it
            ["steel,210,0.3,0,0.000012", "concrete,36,0.2,25,0.00001"],
        ),
        table("frame_loads.csv", "id,kind,on,line_kN_per_m", loads),
        table("frame_springs.csv", "id,node,axis_E,axis_N,axis_H,stiffness_kN_per_mm", springs),
        table(
            "frame_cables.csv",
            "id,i,j,form,E_GPa,area_cm2,weight_kN_per_m,length_m,tension_kN,seat,tension_least_kN,"
            "tension_most_kN",
            cables,
        ),
        table(
            "frame_saddles.csv",
            "id,node,back,ahead,friction,on,seat",
            ["saddle,S,back,main1,0.2,T,SP"],
        ),
    ]


def seats() -> tuple[list[str], list[str], list[str]]:
    """Rows of seats.csv, jacks.csv and frame_seats.csv."""
    rows, jacks, feet = [], [], []

    def lift(name: str, segment: str, x: float, y: float, pack: str, high: float, hold: bool,
             limits: tuple[int, int] = (0, 2600)) -> None:  # fmt: skip
        p = deck(x, y, DEPTH)
        least, most = limits
        rows.append(
            f"{name},{segment},{xyz(p)},up,,,,500,packs,{pack},30,130,5,0.3,{least},{most},,0,,,"
            f"{segment}-{'joint' if abs(x) < 20 else 'far'},{'yes' if hold else ''}"
        )
        feet.append(f"{name},yes,{high}")
        if not hold:
            jacks.append(f"J-{name},{name},3500,500,200,70,0.5,yes")

    for x, hold, high in ((5.0, False, 0), (88.0, False, 0), (104.0, True, 0), (118.0, True, -30)):
        for side, y in (("L", 5.0), ("R", -5.0)):
            pack = "K40+K20+K6" if y > 0 else "K40+K20+K4"
            limits = (0 if hold else 150, 2600)
            lift(f"H{x:.0f}{side}", "H", x, y, pack, high, hold, limits)
    for x, hold in ((-10.0, False), (-58.0, True)):
        for side, y in (("L", 5.0), ("R", -5.0)):
            lift(f"V{-x:.0f}{side}", "V", x, y, "K40+K10+K6", 0, hold, (400, 2600))
    p = deck(119.0, 0.0, 1.5)
    rows.append(f"HA,H,{xyz(p)},back,,,,180,packs,K40+K20,20,120,5,0.1,-300,900,,160,,,,")
    jacks.append("J-HA,HA,1800,227,150,40,0.5,yes")
    p = deck(5.0, -6.5, DEPTH)
    rows.append(f"HB,H,{xyz(p)},left,,,,150,nut,,,,,,-300,600,,90,25,0,,")
    jacks.append("J-HB,HB,1000,142,100,40,0.5,yes")
    for x in HANGERS[:4]:
        p = deck(x, 0.0, 0.0)
        rows.append(f"SH{x:.0f},H,{xyz(p)},shorten,,,,1000,nut,,,,,,200,1900,,0,30,30,,")
        jacks.append(f"J-SH{x:.0f},SH{x:.0f},3000,402,150,60,0.5,yes")
    p = level(-78.0, 0.0, -4.0)
    rows.append(f"ST,T,{xyz(p)},shorten,,,,1000,nut,,,,,,300,2200,,0,40,40,,")
    jacks.append("J-ST,ST,4000,530,150,60,0.5,yes")
    p, way = level(*SADDLE), AHEAD
    rows.append(
        f"SP,T,{xyz(p)},main_span,{way[0]:.6f},{way[1]:.6f},0,2500,packs,K40+K20+K10,20,160,6,0.2,"
        "100,3000,,350,,,,"
    )
    jacks += ["J-SP1,SP,3000,402,250,110,0.5,yes", "J-SP2,SP,3000,402,250,110,0.5,yes"]
    return rows, jacks, feet


def points() -> dict[str, tuple[str, np.ndarray]]:
    """Design of every point: the tower leaning back as this stage wants it."""
    result = {}
    for segment, near, sign in (("V", 0.0, -1.0), ("H", OPENING, 1.0)):
        for place, left in (("L", 8.5), ("C", 0.0), ("R", -8.5)):
            result[f"{segment}-{place}"] = (segment, deck(near, left))
        stations = (16.0, 40.0, 62.0) if segment == "V" else (20.0, 56.0, 110.0)
        for i, x in enumerate(stations, 1):
            for place, left in (("L", 8.0), ("R", -8.0)):
                result[f"{segment}-T{i}{place}"] = (segment, deck(near + sign * x, left))
    for name, left, height in (("FOOT", 0.0, 1.0), ("T-L", 3.2, 20.0), ("T-R", -3.2, 20.0),
                               ("HEAD", 0.0, 43.0)):  # fmt: skip
        lean = -LEAN * (height - 1.0) / 42.0
        result[name] = ("T", level(lean, left, height))
    return result


#: what is found: shift along the axes of the joint and turn about them
FOUND = {
    "V": (np.array([-0.0018, 0.0012, 0.0031]), np.array([0.00016, 0.00007, -0.00002])),
    "H": (np.array([0.0068, -0.0046, -0.0152]), np.array([0.00031, -0.00012, 0.00004])),
}
FIXED = {"V": deck(-58.0, 0.0), "H": deck(119.0, 0.0), "T": level(0.0, 0.0, TOWER_FOOT)}


def surveyed(designs: dict[str, tuple[str, np.ndarray]]) -> list[str]:
    """Move what stands there, cool it, add noise; write what the crew would send."""
    rng = np.random.default_rng(20330911)
    lines = []
    for name, (segment, design) in designs.items():
        if segment == "T":
            # 15 mm less lean than wanted over 42 m
            spin = 0.015 / 42.0 * np.cross(UP, AHEAD)
            there = Motion(rotation(spin), np.zeros(3), FIXED["T"]).apply(design)
        else:
            shift, turn = FOUND[segment]
            face = deck(0.0, 0.0)
            there = Motion(rotation(turn @ AXES), shift @ AXES, face).apply(design)
        rate = 10e-6 if segment == "T" else EXPANSION
        there = there + rate * (STEEL_C - REFERENCE_C) * (design - FIXED[segment])
        there = there + rng.normal(0.0, 0.0007, 3)
        lines.append(f"{name},{there[0]:.4f},{there[1]:.4f},{there[2]:.4f}")
    return lines


JOB = """\
# Quillgate Water, hung span against its approach viaduct. All names, sizes, loads are invented.
name = "Quillgate Water, joint V3, hung span to approach viaduct"
units = "metric"
grid = "site grid of the crossing: easting, northing, height in metres"
reference_temperature_C = 10.0

[influence]
model = "frame"                  # the deck bends, hangs and may lift off its trestles

[tolerance.step]                 # riding surface across the joint
value_mm = 2.0
source = "invented project specification, clause 5.2"

[tolerance.gap]                  # opening of the field splice
value_mm = 3.0
source = "invented project specification, clause 5.3"

[tolerance.offset]
value_mm = 4.0
source = "invented project specification, clause 5.2"

[tolerance.kink_grade]
value_mm_per_m = 0.8
source = "invented project specification, clause 5.4"

[tolerance.level]                # check points against the geometry of this stage
value_mm = 25.0
source = "invented erection manual, stage 6, table 2"
weight = 0.3

[tolerance.lean]                 # the tower is held back until the deck hangs free
value_mm = 6.0
source = "invented erection manual, stage 6, table 3"

[tolerance.tension]              # hangers and tie-back stay
value_kN = 60.0
source = "invented erection manual, stage 6, table 4"
weight = 0.5

[gates]
hours_apart_h = 2.0
temperature_apart_C = 2.0
temperature_off_C = 2.0
deck_load_apart_kN = 20.0
deviation_most_mm = 120.0

[working]
insertion_mm = 5.0
lift_step_mm = 5.0
follow_up_mm = 6.0
jack_reserve = 1.5
move_band_mm = 2.0
load_band = 0.25

[objectives]
search_effort = 4                # the search says how near it came if it has to stop

[[survey]]
file = "survey-dawn-6.csv"
taken = 2033-09-11T05:20:00
steel_temperature_C = 8.5
deck_load_kN = 0.0
u_mm = 0.7
"""


def write() -> None:
    """Write the job folder."""
    target = HERE / "quillgate-hung"
    target.mkdir(exist_ok=True)
    designs = points()
    seat_rows, jack_rows, foot_rows = seats()
    azimuth = np.degrees(AZIMUTH)
    weights = {"V": 66.0 - 0.3, "H": END - 0.3}
    centres = {"V": deck(-33.15, 0.0, CENTROID), "H": deck(60.15, 0.0, CENTROID)}
    segments = [
        f"{s},{azimuth:.0f},{DECK * weights[s]:.0f},{xyz(centres[s])},0.000012,{xyz(FIXED[s])}"
        for s in ("V", "H")
    ]
    tower = 22.0 * 25.0 * (TOWER_TOP - TOWER_FOOT)
    middle = level(0.0, 0.0, 0.5 * (TOWER_TOP + TOWER_FOOT))
    segments.append(f"T,{azimuth:.0f},{tower:.0f},{xyz(middle)},0.00001,{xyz(FIXED['T'])}")
    watched = {"H-T2L", "H-T2R"}
    point_rows = [
        f"{n},{s},{xyz(p)},{'yes' if n in watched else ''}" for n, (s, p) in designs.items()
    ]
    forces = support_forces()
    found = {14.0: -48.0, 26.0: 37.0, 38.0: -12.0, 50.0: 21.0}
    tensions = [
        f"H{x:.0f},{forces[x] + off:.0f},9,{round(forces[x], -1):.0f},frequency of the hanger"
        for x, off in found.items()
    ]
    tensions.append("stay,1180,15,,load cell")
    files = dict(
        [
            table(
                "segments.csv",
                "id,azimuth_deg,weight_kN,centre_E_m,centre_N_m,centre_H_m,expansion_per_C,"
                "fixed_E_m,fixed_N_m,fixed_H_m",
                segments,
            ),
            table("points.csv", "id,segment,E_m,N_m,H_m,watched", point_rows),
            table(
                "joints.csv",
                "id,back,ahead,azimuth_deg,grade_pct,crossfall_pct,falls_to,least_opening_mm",
                [f"V3,V,H,{azimuth:.0f},{100 * GRADE:g},{100 * CROSSFALL:g},right,3"],
            ),
            table(
                "pairs.csv",
                "id,joint,back_point,ahead_point,opening_mm,place",
                [
                    f"P{i},V3,V-{p},H-{p},{1000 * OPENING:g},{word}"
                    for i, (p, word) in enumerate(
                        [("L", "LEFT edge"), ("C", "CENTRE"), ("R", "RIGHT edge")], 1
                    )
                ],
            ),
            table(
                "seats.csv",
                "id,segment,E_m,N_m,H_m,pushes,axis_E,axis_N,axis_H,stiffness_kN_per_mm,held_by,"
                "pack,pack_least_mm,pack_most_mm,most_plates,bedding_mm,reaction_least_kN,"
                "reaction_most_kN,reaction_now_kN,breakaway_kN,raise_most_mm,lower_most_mm,group,"
                "hold",
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
                [f"{m},{a},{b},{c},{d},{e},0.04" for m, (a, b, c, d, e) in PLATES.items()],
            ),
            table(
                "limits.csv",
                "id,kind,seats,most_mm",
                ["H-joint,difference,H5L H5R,15", "V-joint,difference,V10L V10R,10",
                 "H-far,difference,H88L H88R,15"],
            ),
            table(
                "leans.csv",
                "id,head,foot,amount_mm,side,source",
                [f"tower,HEAD,FOOT,{1000 * LEAN:g},back,\"erection manual, stage 6, table 3\""],
            ),
            table("tensions.csv", "id,tension_kN,u_kN,target_kN,how", tensions),
            table("frame_seats.csv", "seat,one_way,set_high_mm", foot_rows),
            *frame_tables(),
        ]
    )  # fmt: skip
    files["job.toml"] = JOB
    files["survey-dawn-6.csv"] = "id,E_m,N_m,H_m\n" + "\n".join(surveyed(designs)) + "\n"
    for name, text in files.items():
        (target / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write()
