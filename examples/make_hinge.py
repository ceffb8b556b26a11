"""Write the example of what crosses a joint: the closure joint K1 with pipes, splices and lanes.

Run ``python examples/make_hinge.py`` after ``make_examples.py`` and ``make_axis.py`` to write
``skerrin-hinge`` beside this file again. Design points are given by station and offset.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np

from fitup.alignment import read_landxml
from fitup.frames import joint_axes

HERE = Path(__file__).parent
ORIGIN, OPENING = np.array([4210.0, 8875.0, 61.5]), 0.010
AXES = joint_axes(np.radians(62.0), 0.008, 0.02)
#: rings of each pipe: name, segment, station from the joint [m]
RINGS = (("BF", "W7", -3.0), ("BN", "W7", -0.4), ("AN", "E1", 0.41), ("AF", "E1", 3.01))
PIPES = {"PL": (5.0, "LEFT cell"), "PR": (-5.0, "RIGHT cell")}
TOLERANCES = """\
[tolerance.step]                 # riding surface across the joint
rule = "ISO 5817 5071 C"
thickness_mm = 18

[tolerance.straightedge]         # in the wheel paths of ride.csv
rule = "FHWA deck straightedge"

[tolerance.bore_step]            # pipes must slide through both cells
value_mm = 5.0
source = "invented project specification, clause 9.2"

[tolerance.bore_offset]
value_mm = 5.0
source = "invented project specification, clause 9.2"

[tolerance.bolt_up]              # web splice
value_mm = 2.0
source = "invented project specification, clause 8.1"

[tolerance.bolt_along]
value_mm = 3.0
source = "invented project specification, clause 8.1"
"""


def on_deck(station: float, left: float, down: float) -> np.ndarray:
    """Grid position of a point by station from the joint, metres to the left and below deck."""
    return ORIGIN + station * AXES[0] + left * AXES[1] - down * AXES[2]


def pipe_points() -> dict[str, tuple[str, np.ndarray]]:
    """Six points round every ring of the two pipes, 1.22 m across, 1.6 m below the deck."""
    points = {}
    for pipe, (left, _) in PIPES.items():
        for ring, segment, station in RINGS:
            for k in range(6):
                side, up = 0.61 * np.cos(k * np.pi / 3), 0.61 * np.sin(k * np.pi / 3)
                place = on_deck(station, left + side, 1.6 - up)
                points[f"{pipe}-{ring}{k + 1}"] = (segment, place)
    return points


def hole_points() -> dict[str, tuple[str, np.ndarray]]:
    """Six holes of the LEFT web on each side."""
    points = {}
    for k in range(6):
        away, down = 0.08 + 0.09 * (k % 2), 1.0 + 0.4 * (k // 2)
        points[f"HB{k + 1}"] = ("W7", on_deck(-away, 8.0, down))
        points[f"HA{k + 1}"] = ("E1", on_deck(OPENING + away, 8.0, down))
    return points


def points_by_station(closure: Path, axis_file: Path) -> str:
    """Every design point of the closure job and the new ones, by station, offset and height."""
    axis = read_landxml(axis_file).alignment
    assert axis is not None
    rows = list(csv.DictReader(io.StringIO((closure / "points.csv").read_text("utf-8"))))
    listed = [
        (r["id"], r["segment"], np.array([float(r[f"{c}_m"]) for c in "ENH"]), r["watched"])
        for r in rows
    ]
    new = {**pipe_points(), **hole_points()}
    listed += [(name, segment, place, "") for name, (segment, place) in new.items()]
    lines = ["id,segment,station,offset_m,side,H_m,watched"]
    for name, segment, place, watched in listed:
        at = axis.from_grid(float(place[0]), float(place[1]))
        assert at is not None
        offset = round(abs(at.left), 4)
        side = "axis" if offset == 0.0 else ("left" if at.left > 0.0 else "right")
        station = axis.stations.text(at.station, 4)
        lines.append(f"{name},{segment},{station},{offset:.4f},{side},{place[2]:.4f},{watched}")
    return "\n".join(lines) + "\n"


def files() -> dict[str, str]:
    """Every file of the job by name."""
    closure, axis = HERE / "skerrin-closure", HERE / "skerrin-axis" / "axis.xml"
    out = {p.name: p.read_text("utf-8") for p in sorted(closure.iterdir()) if p.is_file()}
    out["axis.xml"] = axis.read_text("utf-8")
    out["points.csv"] = points_by_station(closure, axis)
    # directions and the grade are those of the axis
    out["segments.csv"] = out["segments.csv"].replace(",62,", ",,")
    out["joints.csv"] = out["joints.csv"].replace(",62,0.8,", ",,,")
    rings = {
        pipe: ",".join(" ".join(f"{pipe}-{ring}{k}" for k in range(1, 7)) for ring, _, _ in RINGS)
        for pipe in PIPES
    }
    out["bores.csv"] = (
        "id,joint,back_far,back_near,ahead_near,ahead_far,bore_mm,member_mm,place\n"
        + "".join(f"{p},K1,{rings[p]},1220,1190,{place}\n" for p, (_, place) in PIPES.items())
    )
    out["bolts.csv"] = (
        "id,joint,back,ahead,plane,clearance_mm,place\n"
        "WL,K1,HB1 HB2 HB3 HB4 HB5 HB6,HA1 HA2 HA3 HA4 HA5 HA6,web,3,LEFT web\n"
    )
    job = out["job.toml"].replace("closure joint K1", "hinge joint K1")
    begin = job.index("[tolerance.step]")
    job = job[:begin] + TOLERANCES + "\n" + job[job.index("[tolerance.gap]") :]
    out["job.toml"] = job.replace("[[survey]]", '[alignment]\nfile = "axis.xml"\n\n[[survey]]')
    return out


if __name__ == "__main__":
    folder = HERE / "skerrin-hinge"
    folder.mkdir(exist_ok=True)
    for name, text in files().items():
        (folder / name).write_text(text, encoding="utf-8")
