"""A small invented job that reads, surveys and plans in a moment; other tests change it."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fitup.jobfolder import read_job
from fitup.model import CheckPoint, ControlPoint, Epoch, Instrument, Job, NetworkRules, Segment
from fitup.network.observations import ObservationSet, Setup, Shot
from fitup.survey import Survey, read_survey

# records of tests are no business of a witness in the home folder; tests of witnesses name theirs
os.environ["FITUP_WITNESS"] = ""

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


class Site:
    """An invented deck, pillars and set-ups, and what an instrument reads there.

    Written on its own, from the geometry, so that the equations of the program are not checked
    by themselves. Angles in radians, metres.
    """

    def __init__(self, seed: int = 1, setups: int = 3, targets: int = 8, turn: float = 0.0) -> None:
        self.rng = np.random.default_rng(seed)
        # the network itself never changes with the seed of its noise
        place = np.random.default_rng(77)
        c, s = np.cos(turn), np.sin(turn)
        spin = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
        self.spin = spin
        self.origin = np.array([52000.0, 31000.0, 40.0])

        def around(count: int, reach: float, high: float) -> np.ndarray:
            angle = 2 * np.pi * (np.arange(count) + 0.3) / count + place.uniform(-0.2, 0.2, count)
            radius = reach * place.uniform(0.8, 1.2, count)
            up = place.uniform(-high, high, count)
            flat = np.column_stack([radius * np.sin(angle), radius * np.cos(angle), up])
            return flat @ spin.T + self.origin

        self.control = {f"CP{i + 1}": p for i, p in enumerate(around(4, 80.0, 6.0))}
        self.targets = {f"T{i + 1}": p for i, p in enumerate(around(targets, 30.0, 3.0))}
        self.stations = {f"ST{i + 1}": p for i, p in enumerate(around(setups, 15.0, 2.0))}
        self.zero = {name: float(place.uniform(0, 6)) for name in self.stations}
        self.instrument = Instrument("I1", 1.5e-6, 1.5e-6, 0.001, 1.5e-6)
        self.u_control = 0.001
        self.rules = NetworkRules()
        self.spoil: dict[str, float] = {}
        """Name of an observation as [exclude] writes it -> what is added to it."""
        self.noise = 1.0
        self.sets = 1
        self.hidden: set[tuple[str, str]] = set()

    @property
    def job(self) -> Job:
        points = {n: CheckPoint(n, "A", p) for n, p in self.targets.items()}
        spread = np.eye(3) * self.u_control**2
        given = {n: p + self.noise * self._control_noise(n) for n, p in self.control.items()}
        control = {n: ControlPoint(n, "weighted", p, spread) for n, p in given.items()}
        tables = ("joints", "pairs", "seats", "jacks", "plates", "limits", "tolerances")
        empty: dict[str, Any] = {key: {} for key in tables}
        return Job(
            name="site",
            units="metric",
            grid="invented",
            reference_temperature=288.15,
            segments={"A": Segment("A", 0.0, 1e6, self.origin)},
            points=points,
            control=control,
            instruments={"I1": self.instrument},
            network=self.rules,
            **empty,
        )

    def _control_noise(self, name: str) -> np.ndarray:
        seed = int(self.rng.bit_generator.seed_seq.entropy)
        noise = np.random.default_rng([seed, *name.encode()]).normal(0.0, self.u_control, 3)
        return self.spin @ noise

    @property
    def epoch(self) -> Epoch:
        return Epoch("shots.csv", "2031-04-02T04:10", 288.15, 0.0, None, None, None, None, True)

    def read(self) -> ObservationSet:
        """Shots in both faces from every set-up to every target and pillar, with noise."""
        shots, row = [], 1
        for name in self.stations:
            for number in range(1, self.sets + 1):
                for target in (*self.targets, *self.control):
                    if (name, target) in self.hidden:
                        continue
                    shots += self._shot(name, target, number, row)
                    row += 2
        setups = {n: Setup(n, self.instrument, None, 0.0, 2) for n in self.stations}
        return ObservationSet("shots.csv", "", setups, tuple(shots), (), ())

    def _shot(self, name: str, target: str, number: int, row: int) -> list[Shot]:
        step = {**self.targets, **self.control}[target] - self.stations[name]
        flat = float(np.hypot(step[0], step[1]))
        u = self.instrument
        tail = f"/{number}" if number > 1 else ""

        def off(kind: str, spread: float) -> float:
            wrong = self.spoil.get(f"{name}/{target}/{kind}{tail}", 0.0)
            return wrong + self.noise * float(self.rng.normal(0.0, spread))

        hz = float(np.arctan2(step[0], step[1])) - self.zero[name] + off("hz", u.u_hz)
        bend = (1 - self.rules.refraction) / (2 * 6371e3) * flat**2
        v = float(np.arctan2(flat, step[2] - bend)) + off("v", u.u_v)
        length = float(np.hypot(flat, step[2] - flat**2 / (2 * 6371e3)))
        sd = length + off("sd", u.u_sd + u.u_sd_share * length)
        turn, nothing = 2 * np.pi, (0.0, 0.0, None, None)
        return [
            Shot(name, target, 1, number, hz % turn, v, sd, *nothing, row + 1),
            Shot(name, target, 2, number, (hz + np.pi) % turn, turn - v, sd, *nothing, row + 2),
        ]


@pytest.fixture(scope="session")
def network_site() -> type[Site]:
    """:class:`Site`, for tests that cannot import this file."""
    return Site
