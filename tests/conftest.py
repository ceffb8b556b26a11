"""A small invented job that reads, surveys and plans in a moment; other tests change it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.jobfolder import read_job
from fitup.model import Job
from fitup.survey import Survey, read_survey

Change = str | bytes | tuple[str, str] | list[tuple[str, str]] | None

#: two level segments in a row going east, A back and B ahead, one joint 10 mm open, three seats
#: that lift each; B was found 6 mm high and A where it belongs
FILES = {
    "job.toml": """\
name = "Small invented joint"
units = "metric"
grid = "invented site grid"
reference_temperature_C = 15.0

[tolerance.step]
value_mm = 2.0
source = "invented specification, clause 1"

[tolerance.kink_grade]
value_mm_per_m = 0.5
source = "invented specification, clause 2"

[tolerance.level]
value_mm = 10.0
source = "invented specification, clause 3"

[[survey]]
file = "survey.csv"
taken = 2031-04-02T04:10:00
steel_temperature_C = 15.0
deck_load_kN = 0.0
u_mm = 0.5
""",
    "segments.csv": """\
id,azimuth_deg,weight_kN,centre_E_m,centre_N_m,centre_H_m,held
A,90,1800,10,0,9,along across turn
B,90,1800,30,0,9,along across turn
""",
    "points.csv": """\
id,segment,E_m,N_m,H_m
A-L,A,20,4,10
A-R,A,20,-4,10
A-T1,A,1,4,10
A-T2,A,1,-4,10
B-L,B,20.01,4,10
B-R,B,20.01,-4,10
B-T1,B,39,4,10
B-T2,B,39,-4,10
""",
    "joints.csv": """\
id,back,ahead,azimuth_deg,grade_pct,crossfall_pct,falls_to
J1,A,B,90,0,0,level
""",
    "pairs.csv": """\
id,joint,back_point,ahead_point,opening_mm,place
P1,J1,A-L,B-L,10,LEFT
P2,J1,A-R,B-R,10,RIGHT
""",
    "seats.csv": """\
id,segment,E_m,N_m,H_m,pushes,stiffness_kN_per_mm,held_by,pack,pack_most_mm,most_plates,\
reaction_least_kN,reaction_most_kN,reaction_now_kN,raise_most_mm,lower_most_mm
A-S1,A,19,3,8,up,400,packs,P20+P10,60,3,100,1400,,8,8
A-S2,A,19,-3,8,up,400,packs,P20+P10,60,3,100,1400,,8,8
A-S3,A,2,0,8,up,400,packs,P20+P10,60,3,100,1400,,8,8
B-S1,B,21,3,8,up,400,packs,P20+P10,60,3,100,1400,,8,8
B-S2,B,21,-3,8,up,400,packs,P20+P10,60,3,100,1400,,8,8
B-S3,B,38,0,8,up,400,packs,P20+P10,60,3,100,1400,,8,8
""",
    "jacks.csv": """\
id,seat,capacity_kN,ram_area_cm2,stroke_mm,stroke_used_mm,resolution_mm,lock_nut
J-A1,A-S1,2000,285,150,50,0.5,yes
J-A2,A-S2,2000,285,150,50,0.5,yes
J-A3,A-S3,2000,285,150,50,0.5,yes
J-B1,B-S1,2000,285,150,50,0.5,yes
J-B2,B-S2,2000,285,150,50,0.5,yes
J-B3,B-S3,2000,285,150,50,0.5,yes
""",
    "plates.csv": """\
mark,nominal_mm,measured_mm,count,length_mm,width_mm
P20,20,20,2,300,300
P10,10,10,2,300,300
P5,5,5,3,300,300
P2,2,2,4,300,300
P1,1,1,4,300,300
""",
    "survey.csv": """\
id,E_m,N_m,H_m
A-L,20.0000,4.0000,10.0000
A-R,20.0000,-4.0000,10.0000
A-T1,1.0000,4.0000,10.0000
A-T2,1.0000,-4.0000,10.0000
B-L,20.0100,4.0000,10.0060
B-R,20.0100,-4.0000,10.0060
B-T1,39.0000,4.0000,10.0060
B-T2,39.0000,-4.0000,10.0060
""",
}


def write_small_job(folder: Path, **changes: Change) -> Path:
    """Write the small job, changed.

    Parameters
    ----------
    folder : Path
        Made where it is missing.
    **changes
        Stem of a file -> its whole content, or one or several (old, new) replacements, or None
        to leave it out. A stem the job has not is a new table.

    Returns
    -------
    Path
        The folder.
    """
    folder.mkdir(parents=True, exist_ok=True)
    names = {Path(name).stem: name for name in FILES}
    for stem in changes.keys() - names.keys():
        names[stem] = f"{stem}.csv"
    for stem, name in names.items():
        change: Change = changes.get(stem, [])
        if isinstance(change, bytes):
            (folder / name).write_bytes(change)
            continue
        if change is None:
            continue
        text = change if isinstance(change, str) else _replaced(FILES[name], change)
        (folder / name).write_bytes(text.encode())
    return folder


def _replaced(text: str, change: tuple[str, str] | list[tuple[str, str]]) -> str:
    for old, new in [change] if isinstance(change, tuple) else change:
        assert old in text, f"{old!r} is not in the file"
        text = text.replace(old, new, 1)
    return text


@pytest.fixture(scope="session")
def small_job_writer() -> Callable[..., Path]:
    """:func:`write_small_job`, for tests that cannot import this file."""
    return write_small_job


@pytest.fixture(scope="session")
def small_files() -> dict[str, str]:
    """The files of the small job by name."""
    return dict(FILES)


@pytest.fixture(scope="session")
def small_case(tmp_path_factory: pytest.TempPathFactory) -> tuple[Job, Survey]:
    """The small job as read, and its survey."""
    folder = write_small_job(tmp_path_factory.mktemp("small"))
    job = read_job(folder)
    return job, read_survey(folder, job)
