"""Write the night that ``fitup start --observations`` gives to be overwritten, by seed.

Each segment lies where the coordinate list of the plain template has it, as a rigid body; two free
set-ups beside the deck see its targets and four pillars, in two faces and one set.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np
from observe import CENTRING, GON, U_ANGLE, U_SD, shot_text

from fitup.jobfolder.manual import noted
from fitup.network.observations import LEVELS, SHOTS
from fitup.network.planned import SETUPS as PLAN
from fitup.survey.pose import closed_fit

TEMPLATE = Path(__file__).parents[1] / "fitup" / "jobfolder"
CONTROL = {
    "CP1": (70.0, 228.0, 32.0),
    "CP2": (131.0, 230.0, 31.0),
    "CP3": (68.0, 171.0, 33.0),
    "CP4": (128.0, 168.0, 30.5),
}
#: place, and the circle's zero [gon]
SETUPS = {"ST1": ((97.0, 214.0, 31.5), 63.0), "ST2": ((104.0, 187.0, 31.6), 211.0)}
U_CONTROL, U_LEVEL = 0.001, 0.0003

NIGHT = """\
# What the instrument read, a row for each pointing in one face. What was not read stays empty:
# a wall bolt that was only levelled to needs v alone, a direction needs hz alone.
"""
PLANNED = """\
# Before going out: fitup preanalysis FOLDER FOLDER/setups.csv says what these set-ups would show.
"""
HEADER = (
    "setup,target,face,set,hz_gon,v_gon,sd_m,prism_mm,time,temperature_C,pressure_hPa,"
    "humidity_pct\n"
)
RUNS = """\
# Levelled differences of height; this file may be left out, with its line in job.toml.
"""


def night() -> dict[str, str]:
    """Name and text of the rows that are written below the notes."""
    rng = np.random.default_rng(20310514)
    there = targets()
    pillars = {n: np.array(p) + rng.normal(0.0, U_CONTROL, 3) for n, p in CONTROL.items()}
    rows, minute = [], 256.0
    for setup, (place, zero) in SETUPS.items():
        seen = {
            n: p + rng.normal(0.0, CENTRING, 3) * [1.0, 1.0, 0.0]
            for n, p in {**there, **pillars}.items()
        }
        for face in (1, 2):
            for name in list(seen)[:: 1 if face == 1 else -1]:
                minute += 0.45
                clock = f"{int(minute) // 60:02d}:{int(minute) % 60:02d}"
                read = shot_text(np.array(place), seen[name], zero, face, 0.0, rng)
                rows.append(f"{setup},{name},{face},1,{read},{clock},9,1008,78")
    runs = [("CP1", "A1-L"), ("A1-C", "B1-C"), ("B1-L", "CP2"), ("CP2", "CP1")]
    all_ = {**there, **pillars}
    levels = [
        f"{a},{b},{all_[b][2] - all_[a][2] + rng.normal(0.0, U_LEVEL):.4f},{U_LEVEL * 1e3:g}"
        for a, b in runs
    ]
    control = [f"{n},weighted,{e:.4f},{n_:.4f},{h:.4f},1,1,1" for n, (e, n_, h) in CONTROL.items()]
    instrument = f"TS1,{U_ANGLE / GON * 1e3:g},{U_ANGLE / GON * 1e3:g},{U_SD * 1e3:g},1.5,0.4"
    planned = [f"{n},{e:g},{n_:g},{h:g},,,,1,2" for n, ((e, n_, h), _) in SETUPS.items()]
    head = "id,E_m,N_m,H_m,over,instrument_height_m,targets,sets,faces\n"
    return {
        "setups.csv": noted(PLANNED + head + "\n".join(planned) + "\n", PLAN),
        "control.csv": above("control.csv") + "\n".join(control) + "\n",
        "instruments.csv": above(
            "instruments.csv", ",wavelength_nm,reference_C,reference_pressure_hPa"
        )
        + f"{instrument},658,12,1013.25\n",
        "night-1.csv": noted(NIGHT + HEADER + "\n".join(rows) + "\n", SHOTS),
        "night-1-levels.csv": noted(
            RUNS + "from,to,difference_m,u_mm\n" + "\n".join(levels) + "\n", LEVELS
        ),
    }


def targets() -> dict[str, np.ndarray]:
    """Each design point, carried by the motion that lays its segment onto the coordinate list."""
    design, listed = _rows("points.csv"), _rows("survey.csv")
    there = {}
    for segment in dict.fromkeys(row["segment"] for row in design.values()):
        names = [n for n, row in design.items() if row["segment"] == segment]
        arms, found = (np.array([_place(t[n]) for n in names]) for t in (design, listed))
        turn, shift = closed_fit(arms, found, np.ones(len(names)))
        there |= dict(zip(names, arms @ turn.T + shift, strict=True))
    return there


def _rows(file: str) -> dict[str, dict[str, str]]:
    lines = (TEMPLATE / "template" / file).read_text("utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return {row["id"]: row for row in rows}


def _place(row: dict[str, str]) -> np.ndarray:
    return np.array([float(row[f"{axis}_m"]) for axis in "ENH"])


def above(file: str, more: str = "") -> str:
    """Notes and header of a table of the plain template, with further columns."""
    text = (TEMPLATE / "template" / file).read_text("utf-8")
    needed = text.replace("# This file may be left out.\n", "")
    return needed.replace(" This file may be left out.", "").strip() + more + "\n"


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else TEMPLATE / "template_observed"
    target.mkdir(exist_ok=True)
    for name, text in night().items():
        (target / name).write_text(text, "utf-8")
