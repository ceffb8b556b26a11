"""Write the example of a lock-off: the closure joint K1 two nights later, moved, not yet locked.

Run ``python examples/make_lock.py`` after ``make_examples.py`` to write ``skerrin-lock`` beside
this file again: packs as planned for ``skerrin-closure``, a new survey at dawn, gaps and steps
read at the joint, thermometers, hold points, and the steel temperatures of a spring day.
"""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import numpy as np

from fitup.frames import Array, Motion, rotation
from fitup.jobfolder import read_job
from fitup.model import Job
from fitup.survey.steel import Steel, thermal_shift

HERE = Path(__file__).parent
CLOSURE = HERE / "skerrin-closure"
DEPTH = 3.0
#: packs and loose plates after the moves that were planned for skerrin-closure
PACKS = {
    "W7-S1": "P40+P5+P5+P3+P20",
    "W7-S2": "P40+P10+P5+P3+P20",
    "W7-S3": "P40+P20+P20",
    "W7-S4": "P40+P10+P10+P1+P20",
    "W7-A1": "P20+P5+P5+P2+P10",
    "W7-A2": "P20+P5+P3+P1+P10",
    "E1-S1": "P40+P1+P20",
    "E1-S2": "P40+P5+P3+P5",
    "E1-S3": "P40+P3+P3+P10",
    "E1-S4": "P40+P1+P20",
    "E1-A1": "P20+P10+P3+P1+P10",
    "E1-A2": "P20+P5+P5+P2+P10",
}
#: what is left of each segment's misfit: along, left, up [m]; roll, pitch, turn [rad]
LEFT = {
    "W7": ((0.0001, -0.0004, 0.0002), (0.00002, -0.00001, 0.00001)),
    "E1": ((0.0018, -0.0009, 0.0005), (0.00001, 0.00001, -0.00002)),
}
#: steel at dawn: mean and top less bottom [K]
DAWN = {"W7": Steel(283.45, difference=-0.8), "E1": Steel(283.65, difference=-0.7)}
THERMOMETERS = """\
id,segment,place,temperature_C,u_C
TW1,W7,top,9.9,0.2
TW2,W7,middle,10.3,0.2
TW3,W7,bottom,10.7,0.2
TE1,E1,top,10.2,0.2
TE2,E1,middle,10.5,0.2
TE3,E1,bottom,10.9,0.2
"""
#: hour -> steel of W7 and E1 at top and bottom [C]
DAY = {
    "04:00": (9.9, 10.7, 10.2, 10.9),
    "06:00": (9.8, 10.3, 10.1, 10.5),
    "08:00": (12.6, 11.2, 12.7, 11.3),
    "10:00": (15.2, 13.2, 15.2, 13.3),
    "12:00": (17.6, 15.2, 17.6, 15.2),
    "14:00": (18.6, 16.6, 18.7, 16.7),
    "16:00": (17.8, 16.6, 17.9, 16.7),
    "18:00": (15.9, 15.8, 16.0, 15.9),
    "20:00": (14.0, 14.6, 14.1, 14.7),
    "22:00": (12.7, 13.5, 12.8, 13.6),
}
HOLDS = """\
id,what,signed
H1,"packs stamped, wedges in, jacks unloaded","B. Sorge, 05:10"
H2,"weld crew, preheat and cover ready","M. Tallis, 06:30"
"""
MORE = """\
[uncertainty]                    # standard uncertainties that no table carries
steel_C = 0.15                   # of the steel temperature when the joint is locked
expansion = 0.03                 # of the coefficient, as a share
reading_mm = 0.3                 # a direct reading that may be asked for

[lockoff]                        # when the joint may be locked
survey_age_h = 10.0              # oldest survey
survey_takes_h = 0.75
survey_change_mm = 1.0

"""
SURVEY = """\
[[survey]]
file = "survey-night-16.csv"
taken = 2031-04-04T04:20:00
steel_temperature_C = 10.4
deck_load_kN = 0.0
u_mm = 0.5
unit = "m"
order = ["id", "N", "E", "H", "skip"]
decimal = ","
"""


def there(job: Job) -> dict[str, Array]:
    """Where every point is at dawn: a little off its design, and cold."""
    axes = job.joints["K1"].axes_in_grid
    gap = next(a.amount for a in job.aims if a.quantity == "gap")
    places = {}
    for name, (shift, turn) in LEFT.items():
        own = [p for p in job.points.values() if p.segment == name]
        # the gap is preset wide: the ahead side stays that much off
        wide = gap if name == job.joints["K1"].ahead else 0.0
        motion = Motion(
            rotation(np.array(turn) @ axes),
            np.array([shift[0] + wide, shift[1], shift[2]]) @ axes,
            np.mean([p.design for p in own], axis=0),
        )
        for point in own:
            places[point.id] = motion.apply(point.design) + thermal_shift(job, DAWN, point.id)
    return {name: places[name] for name in job.points}


def survey(job: Job) -> str:
    """What the crew sends: as in the first night."""
    rng = np.random.default_rng(20310404)
    lines = ["\ufeff# night 16, set-up on pillar CP1, deck closed to plant"]
    for name, place in there(job).items():
        east, north, up = place + rng.normal(0.0, 0.0005, 3)
        lines.append(f"{name};{north:.4f};{east:.4f};{up:.4f};deck".replace(".", ","))
    return "\n".join(lines) + "\n"


def readings(job: Job) -> str:
    """Gaps by an internal micrometer and steps by straightedge, read at the joint at dawn."""
    rng = np.random.default_rng(20310405)
    ahead, _, up = job.joints["K1"].axes_in_grid
    places = there(job)
    rows = ["id,pair,quantity,value_mm,side,u_mm,how"]
    for i, pair in enumerate(job.pairs.values(), 1):
        apart = places[pair.ahead_point] - places[pair.back_point]
        gap = 1e3 * float(ahead @ apart) + rng.normal(0.0, 0.2)
        rows.append(f"G{i},{pair.id},gap,{gap:.1f},opening,0.3,internal micrometer")
        step = 1e3 * float(up @ apart) + rng.normal(0.0, 0.2)
        side = "ahead high" if step > 0.0 else "ahead low"
        rows.append(f"D{i},{pair.id},step,{abs(step):.1f},{side},0.3,straightedge and feeler")
    return "\n".join(rows) + "\n"


def seats(text: str) -> str:
    """Return the seats on their new packs."""
    rows = list(csv.reader(io.StringIO(text)))
    seat, pack = rows[0].index("id"), rows[0].index("pack")
    for row in rows[1:]:
        row[pack] = PACKS.get(row[seat], row[pack])
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def files() -> dict[str, str]:
    """Every file of the folder, by name."""
    text = {p.name: p.read_text("utf-8") for p in CLOSURE.iterdir() if p.is_file()}
    for name in ("survey-night-14.csv", "pumps.csv", "groups.csv"):
        del text[name]
    head, *rows = text["segments.csv"].splitlines()
    text["segments.csv"] = "\n".join([f"{head},depth_m", *(f"{r},{DEPTH:g}" for r in rows)]) + "\n"
    text["seats.csv"] = seats(text["seats.csv"])
    job = read_job(CLOSURE)
    segments = {n: replace(s, depth=DEPTH) for n, s in job.segments.items()}
    job = replace(job, segments=segments)
    settings, _ = text["job.toml"].split("[[survey]]")
    before, after = settings.split("[staging]")
    settings = before.rstrip() + "\n\n" + after[after.index("[objectives]") :]
    title = "Skerrin Narrows, closure joint K1"
    text["job.toml"] = settings.replace(title, f"{title}, before it is locked") + MORE + SURVEY
    text["survey-night-16.csv"] = survey(job)
    text["readings.csv"] = readings(job)
    text["temperatures.csv"] = THERMOMETERS
    text["holds.csv"] = HOLDS
    day = [f"2031-04-04T{hour},{','.join(map(str, steel))}" for hour, steel in DAY.items()]
    text["forecast.csv"] = (
        "time,W7_top_C,W7_bottom_C,E1_top_C,E1_bottom_C\n" + "\n".join(day) + "\n"
    )
    return text


if __name__ == "__main__":
    target = HERE / "skerrin-lock"
    target.mkdir(exist_ok=True)
    for name, content in files().items():
        (target / name).write_text(content, encoding="utf-8")
