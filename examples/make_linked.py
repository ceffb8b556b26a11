"""Write the example of linked jacks: a stiff box on four jacks and three circuits, by seed.

Run ``python examples/make_linked.py`` to write ``skerrin-linked`` beside this file again: joint K3
of the same invented crossing, whose segment E3 is lifted on three points while E2 stays.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from make_examples import AXES, HERE, OPENING, on_deck, table

from fitup.frames import Motion, rotation

TITLE = "Skerrin Narrows, joint K3, lifted on three points"
#: from the joint: E2 behind it, E3 ahead
AT, LENGTH, DEPTH = 60.0, 24.0, 3.2
WEIGHT_KN = 3240.0
#: how E3 stands off: along, left, up [m]; roll, pitch, turn [rad]
OFF = ((0.0002, -0.0003, -0.0094), (0.00052, 0.00034, 0.00002))
PLATES = {
    "P20": (20, 20.07, 2),
    "P10": (10, 10.05, 6),
    "P5": (5, 5.02, 6),
    "P3": (3, 3.04, 6),
    "P2": (2, 2.03, 6),
    "P1": (1, 0.98, 6),
}
#: station and left of every seat of E3 [m], its pack and the valve of its jack
SEATS = {
    "E3-S1": (3.0, 6.5, "P40+P10+P5", ""),
    "E3-S2": (3.0, -6.5, "P40+P10+P3", ""),
    "E3-S3": (21.0, -6.5, "P40+P10+P2", "V1"),
    "E3-S4": (21.0, 6.5, "P40+P10+P5", "V1"),
}
PAIRS = {"L": (11.5, "LEFT edge"), "C": (0.0, "CENTRE"), "R": (-11.5, "RIGHT edge")}
JOB = f"""\
# {TITLE}
# All names, sizes and loads are invented.
name = "{TITLE}"
units = "metric"                 # what is printed: metric or US
grid = "site grid of the crossing: easting, northing, height in metres"
reference_temperature_C = 15.0

[tolerance.step]                 # riding surface across the joint
value_mm = 2.0
source = "invented project specification, clause 7.3"

[tolerance.kink_grade]
value_mm_per_m = 0.8
source = "invented project specification, clause 7.5"

[tolerance.level]                # each check point against the stage geometry
value_mm = 10.0
source = "invented erection manual, table 4"
weight = 0.5

[working]
insertion_mm = 5.0               # clear height over a pack to slide plates
lift_step_mm = 5.0               # travel between two readings
follow_up_mm = 6.0               # nuts follow the load within this
jack_reserve = 1.5               # capacity over calculated load, at least

[staging]
out_of_step_mm = 0.5             # a ram that leads may be off its reading by this
friction = 0.03                  # share more on the way up, less on the way down
pressure_error = 0.01            # share of the jack's capacity
worst_reserve = 1.25             # capacity over the worst-case load, at least

[[survey]]
file = "survey-night-21.csv"
taken = 2031-04-21T03:40:00
steel_temperature_C = 15.0
deck_load_kN = 0.0
u_mm = 0.5
unit = "m"
order = ["id", "N", "E", "H", "skip"]
"""


def points() -> dict[str, tuple[str, np.ndarray]]:
    """The design of every point."""
    found = {}
    for name, near, sign in (("E2", AT, -1.0), ("E3", AT + OPENING, 1.0)):
        for place, (left, _) in PAIRS.items():
            found[f"{name}-{place}"] = (name, on_deck(near, left))
        for i, (station, left) in enumerate(
            [(12.0, 10.5), (12.0, -10.5), (23.0, 10.5), (23.0, -10.5)], 1
        ):
            found[f"{name}-T{i}"] = (name, on_deck(near + sign * station, left))
    return found


def survey() -> str:
    """Where every point was found, as the crew sends it."""
    rng = np.random.default_rng(20310421)
    own = {n: p for n, (s, p) in points().items() if s == "E3"}
    shift, turn = (np.array(v) for v in OFF)
    motion = Motion(rotation(turn @ AXES), shift @ AXES, np.mean([*own.values()], axis=0))
    lines = ["# night 21, deck closed to plant"]
    for name, (segment, design) in points().items():
        there = motion.apply(design) if segment == "E3" else design
        east, north, up = there + rng.normal(0.0, 0.0005, 3)
        lines.append(f"{name},{north:.4f},{east:.4f},{up:.4f},deck")
    return "\n".join(lines) + "\n"


def files() -> dict[str, str]:
    """Every file of the folder, by name."""
    segments, seats, jacks = [], [], []
    for name, near, sign in (("E2", AT, -1.0), ("E3", AT + OPENING, 1.0)):
        # trays for services on the left make it heavier there
        centre = on_deck(near + sign * 12.4, 0.4, 1.4)
        place = ",".join(f"{v:.4f}" for v in centre)
        segments.append(f"{name},62,{WEIGHT_KN:.0f},{place},along across turn")
        for seat, (station, left, pack, valve) in SEATS.items():
            own = seat.replace("E3", name)
            p = on_deck(near + sign * station, left, DEPTH)
            stays = "yes" if name == "E2" else ""
            seats.append(
                f"{own},{name},{p[0]:.4f},{p[1]:.4f},{p[2]:.4f},up,400,packs,{pack},40,110,5,0.3,"
                f"150,1900,{name}-lift,{stays}"
            )
            if not stays:
                jacks.append(f"J-{own},{own},2000,285,150,50,0.5,yes,{valve}")
    rows = [f"{n},{s},{p[0]:.4f},{p[1]:.4f},{p[2]:.4f}" for n, (s, p) in points().items()]
    pairs = [f"P{i},K3,E2-{p},E3-{p},10,{w}" for i, (p, (_, w)) in enumerate(PAIRS.items(), 1)]
    plates = [f"{m},{a},{b},{n},400,300,0.05" for m, (a, b, n) in PLATES.items()]
    plates.insert(0, "P40,40,40.12,0,400,300,0.05")
    four = " ".join(SEATS)
    return {
        "job.toml": JOB,
        "survey-night-21.csv": survey(),
        **dict(
            [
                table(
                    "segments.csv",
                    "id,azimuth_deg,weight_kN,centre_E_m,centre_N_m,centre_H_m,held",
                    segments,
                ),
                table("points.csv", "id,segment,E_m,N_m,H_m", rows),
                table(
                    "joints.csv",
                    "id,back,ahead,azimuth_deg,grade_pct,crossfall_pct,falls_to,least_opening_mm",
                    ["K3,E2,E3,62,0.8,2,right,2"],
                ),
                table("pairs.csv", "id,joint,back_point,ahead_point,opening_mm,place", pairs),
                table(
                    "seats.csv",
                    "id,segment,E_m,N_m,H_m,pushes,stiffness_kN_per_mm,held_by,pack,pack_least_mm,"
                    "pack_most_mm,most_plates,bedding_mm,reaction_least_kN,reaction_most_kN,group,"
                    "hold",
                    seats,
                ),
                table(
                    "jacks.csv",
                    "id,seat,capacity_kN,ram_area_cm2,stroke_mm,stroke_used_mm,resolution_mm,"
                    "lock_nut,circuit",
                    jacks,
                ),
                table(
                    "plates.csv",
                    "mark,nominal_mm,measured_mm,count,length_mm,width_mm,spread_mm",
                    plates,
                ),
                table("limits.csv", "id,kind,seats,most_mm", [f"E3-warp,warp,{four},2.5"]),
                table("pumps.csv", "id,jacks", [f"PU-1,{' '.join(f'J-{s}' for s in SEATS)}"]),
            ]
        ),
    }


def write(target: Path) -> None:
    """Write the folder."""
    target.mkdir(exist_ok=True)
    for name, text in files().items():
        (target / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write(HERE / "skerrin-linked")
