"""Planted mistakes in random networks: is the right cause told first, and sound control left alone?

Every network is another one: pillars, set-ups (one over a pillar), targets on two segments, both
faces, noise of the stated size. One mistake of a kind is planted in the readings or in the control,
and the survey is solved as ``fitup survey`` does. The first line told must name the cause.

    python benchmarks/causes.py --networks 25          # right cause first, by kind
    python benchmarks/causes.py --clean 300            # clean nights refused
    python benchmarks/causes.py --moved 60             # control moved 4, 8, 12 mm
"""

from __future__ import annotations

import argparse
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.special import chdtri, chndtr

from fitup.errors import SurveyRefused
from fitup.model import CheckPoint, ControlPoint, Epoch, Instrument, Job, Segment
from fitup.network.adjust import covariance_of
from fitup.network.observations import LevelledDifference, ObservationSet, Setup, Shot
from fitup.network.reliability import ALPHA
from fitup.network.solve import Solved, solve
from fitup.survey.grounds import network_grounds
from fitup.survey.hypotheses import Observed
from fitup.survey.observed import adjusted_list
from fitup.survey.shape import judge_shape
from fitup.units import DISPLAY

EPOCH = Epoch("shots.csv", "2031-04-02T04:10", 284.65, 0.0, None, None, None, None, True)
U_CONTROL = 0.001
AIR = (282.15, 97800.0, 0.7)


@dataclass
class Night:
    """One random site, what its control.csv says, and what was read there."""

    rng: np.random.Generator
    job: Job
    read: ObservationSet
    true: dict[str, np.ndarray]
    stated: dict = field(default_factory=dict)
    """What was planted where, for the judge."""

    def shots(self, change: Callable[[Shot], Shot]) -> None:
        """Change every shot."""
        self.read = replace(self.read, shots=tuple(change(s) for s in self.read.shots))

    def pick(self, names: list[str]) -> str:
        """Return one of some names at random."""
        return names[int(self.rng.integers(len(names)))]

    @property
    def deck(self) -> list[str]:
        """Targets on the deck."""
        return list(self.job.points)

    @property
    def pillars(self) -> list[str]:
        """Control points."""
        return list(self.job.control)


def night(seed: int) -> Night:
    """Four or five pillars, three or four set-ups, six targets on each of two segments."""
    rng = np.random.default_rng(seed)
    spread = np.array([25.0, 12.0, 2.0])
    count = int(rng.integers(4, 6))
    angles = 2.0 * math.pi * (np.arange(count) + rng.uniform(-0.25, 0.25, count)) / count
    true = {
        f"CP{i + 1}": np.array([70.0 * math.sin(a), 60.0 * math.cos(a), rng.normal(0.0, 4.0)])
        for i, a in enumerate(angles)
    }
    pillars = list(true)
    for k in range(6):
        for segment, side in (("A", -1.0), ("B", 1.0)):
            along = side * (2.0 + 6.0 * (k // 2)) + rng.uniform(-0.5, 0.5)
            true[f"{segment}-{k + 1}"] = np.array([along, 5.0 * (-1.0) ** k, rng.normal(0.0, 0.3)])
    deck = [n for n in true if n not in pillars]
    stands = {f"ST{i + 1}": rng.normal(0.0, spread) for i in range(int(rng.integers(2, 4)))}
    over = pillars[int(rng.integers(count))]
    high = float(rng.uniform(1.4, 1.7))
    stands["ST9"] = true[over] + [0.0, 0.0, high]
    instrument = Instrument(
        "TS1", 4.7e-6, 4.7e-6, 0.0008, 1.5e-6, u_height=0.0003, centring=0.0003,
        wavelength=0.658, reference=(285.15, 101325.0, 0.6),
    )  # fmt: skip
    setups = {
        n: Setup(n, instrument, over if n == "ST9" else None, high if n == "ST9" else 0.0, 2)
        for n in stands
    }
    prism = {n: 0.0169 if n in deck else 0.0 for n in true}
    shots: list[Shot] = []
    for name, stand in stands.items():
        order = [n for n in true if not (name == "ST9" and n == over)]
        shots += read_set(rng, name, stand, order, true, prism, instrument, len(shots) + 2)
    control = {
        n: ControlPoint(
            n, "weighted", true[n] + rng.normal(0.0, U_CONTROL, 3), np.eye(3) * U_CONTROL**2
        )
        for n in pillars
    }
    points = {n: CheckPoint(n, n[0], true[n]) for n in deck}
    tables = ("joints", "pairs", "seats", "jacks", "plates", "limits", "tolerances")
    job = Job(
        name="site", units="metric", grid="invented", reference_temperature=288.15,
        segments={s: Segment(s, math.pi / 2, 1e6, np.zeros(3)) for s in "AB"},
        points=points, control=control, instruments={"TS1": instrument}, epochs=(EPOCH,),
        **{key: {} for key in tables},
    )  # fmt: skip
    read = ObservationSet("shots.csv", "", setups, tuple(shots), (), ())
    return Night(rng, job, read, true)


def read_set(rng, name, stand, order, true, prism, instrument, row) -> list[Shot]:
    """Return one round in face 1 and back in face 2, as the instrument displays it."""
    from fitup.network.atmosphere import velocity_correction

    zero = float(rng.uniform(0.0, 6.0))
    collimation, index = rng.normal(0.0, 3e-5, 2)
    share = velocity_correction(instrument.wavelength, instrument.reference, AIR)
    shots = []
    for face, names in ((1, order), (2, order[::-1])):
        for target in names:
            step = true[target] - stand
            flat = float(np.hypot(*step[:2]))
            up = step[2] - flat**2 / (2 * 6371e3)
            v = math.atan2(flat, step[2] - 0.87 * flat**2 / (2 * 6371e3))
            root = math.sqrt(2.0)
            hz = math.atan2(step[0], step[1]) - zero + rng.normal(0.0, root * instrument.u_hz)
            v += rng.normal(0.0, root * instrument.u_v)
            length = math.hypot(flat, up)
            sd = (length - prism[target]) / (1.0 + share)
            sd += rng.normal(0.0, root * (instrument.u_sd + instrument.u_sd_share * length))
            steep = math.sin(v)
            if face == 1:
                read = hz + collimation / steep, v + index
            else:
                read = hz + math.pi - collimation / steep, 2 * math.pi - v + index
            shots.append(
                Shot(
                    name, target, face, 1, read[0] % (2 * math.pi), read[1], sd, 0.0,
                    prism[target], AIR, None, row + len(shots),
                )
            )  # fmt: skip
    return shots


Plant = Callable[[Night], str]


def prism_of_target(n: Night) -> str:
    who = n.pick(n.deck)
    n.shots(lambda s: replace(s, prism=0.0) if s.target == who else s)
    return rf"every distance to {who} is"


def prism_of_deck(n: Night) -> str:
    n.shots(lambda s: replace(s, prism=0.0) if s.target in n.job.points else s)
    return r"every distance to a target on the deck|16\.9 mm written"


def prism_of_all(n: Night) -> str:
    n.shots(lambda s: replace(s, prism=s.prism + 0.0344))
    return "every distance of the survey|every distance by instrument"


def prism_of_setup(n: Night) -> str:
    who = n.pick(list(n.read.setups))
    n.shots(lambda s: replace(s, prism=s.prism + 0.0344) if s.setup == who else s)
    return rf"every distance from set-up {who} is"


def scale_of_setup(n: Night) -> str:
    who = n.pick(list(n.read.setups))
    n.shots(lambda s: replace(s, sd=s.sd * (1 + 150e-6)) if s.setup == who else s)
    return rf"all distances from set-up {who} are"


def instrument_height(n: Night) -> str:
    ups = dict(n.read.setups)
    ups["ST9"] = replace(ups["ST9"], height=ups["ST9"].height + 0.1)
    n.read = replace(n.read, setups=ups)
    return "instrument_height of set-up ST9"


def knock(early: float, late: float) -> Plant:
    def plant(n: Night) -> str:
        who = n.pick([s for s in n.read.setups if s != "ST9"])
        rows = [s.row for s in n.read.shots if s.setup == who]
        at = rows[int(len(rows) * n.rng.uniform(early, late))]
        turn = 2e-4
        n.shots(
            lambda s: (
                replace(s, hz=(s.hz + turn) % (2 * math.pi))
                if s.setup == who and s.row >= at
                else s
            )
        )
        return rf"set-up {who}: from row \d+ on, every direction"

    return plant


def row_exchanged(n: Night) -> str:
    who = n.pick(n.pillars)
    move(n, who, position=n.job.control[who].position[[1, 0, 2]])
    return rf"easting and northing of {who} are exchanged"


def move(n: Night, who: str, **changes) -> None:
    control = {**n.job.control, who: replace(n.job.control[who], **changes)}
    n.job = replace(n.job, control=control)


def axes_exchanged(n: Night) -> str:
    for who in n.pillars:
        move(n, who, position=n.job.control[who].position[[1, 0, 2]])
    return "easting and northing of control.csv are exchanged"


def names_exchanged(n: Night) -> str:
    one, two = n.pillars[0], n.pillars[2]
    places = [n.job.control[w].position for w in (one, two)]
    move(n, one, position=places[1])
    move(n, two, position=places[0])
    return f"control points {one} and {two} are exchanged"


def other_way(n: Night) -> str:
    n.shots(lambda s: replace(s, hz=(2 * math.pi - s.hz) % (2 * math.pi)))
    return "whole file: its horizontal circle counts the other way"


def other_way_at_one(n: Night) -> str:
    who = n.pick(list(n.read.setups))
    n.shots(lambda s: replace(s, hz=(2 * math.pi - s.hz) % (2 * math.pi)) if s.setup == who else s)
    return f"set-up {who}: its horizontal circle counts the other way"


def horizontal(n: Night) -> str:
    n.shots(lambda s: replace(s, sd=s.sd * abs(math.sin(s.v))))
    return "horizontal ones, written as slope distances"


def pack(angle: float) -> float:
    seconds = round(math.degrees(angle) * 36000) / 10
    d, rest = divmod(seconds, 3600)
    m, s = divmod(rest, 60)
    return math.radians(d + m / 100 + s / 10000)


def packed(n: Night) -> str:
    n.shots(lambda s: replace(s, hz=pack(s.hz), v=pack(s.v)))
    return r"packed as ddd\.mmss"


def horizon(n: Night) -> str:
    n.shots(
        lambda s: replace(
            s, v=((math.pi / 2 - s.v) if s.face == 1 else 2.5 * math.pi - s.v) % (2 * math.pi)
        )
    )
    return "from the horizon, not from the zenith"


def air_once(n: Night) -> str:
    row = n.read.shots[7].row
    n.shots(lambda s: replace(s, air=(321.15, AIR[1], AIR[2])) if s.row == row else s)
    return r"temperature of the air is 48\.0"


def steel_fahrenheit(n: Night) -> str:
    n.stated["temperature"] = 273.15 + 52.7
    return "if the steel was written in °F"


def blind(n: Night) -> str:
    wide = {
        k: replace(i, u_hz=1e3 * i.u_hz, u_v=1e3 * i.u_v, u_sd=1e3 * i.u_sd)
        for k, i in n.job.instruments.items()
    }
    control = {k: replace(c, covariance=1e6 * c.covariance) for k, c in n.job.control.items()}
    n.job = replace(n.job, instruments=wide, control=control)
    ups = {k: replace(s, instrument=wide["TS1"]) for k, s in n.read.setups.items()}
    n.read = replace(n.read, setups=ups)
    return "no test sees an ordinary mistake"


def one(kind: str, size: float) -> Plant:
    def plant(n: Night) -> str:
        setup, target = n.pick([s for s in n.read.setups if s != "ST9"]), n.pick(n.deck)

        def change(s: Shot) -> Shot:
            if (s.setup, s.target) != (setup, target):
                return s
            if kind == "v":
                return replace(s, v=s.v + (size if s.face == 1 else -size))
            return replace(s, **{kind: getattr(s, kind) + size})

        n.shots(change)
        return rf"set-up {setup}, target {target} |{setup}/{target}/"

    return plant


def wrong_target(n: Night) -> str:
    setup = n.pick([s for s in n.read.setups if s != "ST9"])
    one_, two = n.deck[0], n.deck[5]
    names = {one_: two, two: one_}
    n.shots(lambda s: replace(s, target=names.get(s.target, s.target)) if s.setup == setup else s)
    return rf"set-up {setup}: targets {one_} .*and {two} .*are exchanged"


def face_slip(n: Night) -> str:
    setup, target = n.pick(list(n.read.setups)), n.pick(n.deck)
    n.shots(
        lambda s: (
            replace(s, hz=s.hz + 2e-3) if (s.setup, s.target, s.face) == (setup, target, 2) else s
        )
    )
    return rf"set-up {setup}, target {target}"


def moved_by(size: float) -> Plant:
    def plant(n: Night) -> str:
        who = n.pick(n.pillars)
        way = n.rng.normal(0.0, 1.0, 3)
        way /= np.linalg.norm(way)
        move(n, who, position=n.job.control[who].position + size * way)
        n.stated |= {"who": who, "way": way * size}
        return rf"control point {who}\b"

    return plant


def level_slip(n: Night) -> str:
    a, b = n.deck[0], n.deck[3]
    true = float(n.true[b][2] - n.true[a][2])
    n.read = replace(n.read, levels=(LevelledDifference(a, b, true + 0.02, 0.0004, 1, 2),))
    return f"levelling {a} to {b}"


def control_height(n: Night) -> str:
    who = n.pick(n.pillars)
    move(n, who, position=n.job.control[who].position + np.array([0.0, 0.0, 0.1]))
    return rf"control point {who}\b"


def target_height(n: Night) -> str:
    who = n.pick(n.deck)
    n.shots(lambda s: replace(s, target_height=s.target_height + 0.1) if s.target == who else s)
    return rf"{who}.*(too high|too low|high|low|height)"


def compensator(n: Night) -> str:
    who = n.pick([s for s in n.read.setups if s != "ST9"])
    n.shots(lambda s: replace(s, v=s.v + (2e-4 if s.face == 1 else -2e-4)) if s.setup == who else s)
    return rf"every sight from set-up {who} points"


def feet_at_one(n: Night) -> str:
    who = n.pick(list(n.read.setups))
    n.shots(lambda s: replace(s, sd=s.sd / 0.3048) if s.setup == who else s)
    return rf"set-up {who}.*(feet|foot)"


def feet(n: Night) -> str:
    n.shots(lambda s: replace(s, sd=s.sd / 0.3048))
    return "feet|foot"


def scale_of_all(n: Night) -> str:
    n.shots(lambda s: replace(s, sd=s.sd * (1 + 300e-6)))
    return "every distance .* ppm"


def over_another(n: Night) -> str:
    ups = dict(n.read.setups)
    others = [p for p in n.pillars if p != ups["ST9"].over]
    ups["ST9"] = replace(ups["ST9"], over=n.pick(others))
    # a sight to the point that the instrument stands over is refused as it is read
    kept = (s for s in n.read.shots if (s.setup, s.target) != ("ST9", ups["ST9"].over))
    n.read = replace(n.read, setups=ups, shots=tuple(kept))
    return "set-up ST9|ST9 "


def prism_sign(n: Night) -> str:
    n.shots(lambda s: replace(s, prism=-s.prism))
    return r"every distance to a target on the deck|16\.9 mm written"


def level_sign(n: Night) -> str:
    high = sorted(n.deck, key=lambda name: float(n.true[name][2]))
    a, b = high[0], high[-1]
    true = float(n.true[a][2] - n.true[b][2])
    n.read = replace(n.read, levels=(LevelledDifference(a, b, true, 0.0004, 1, 2),))
    return f"levelling {a} to {b}"


def another_prism(n: Night) -> str:
    setup = n.pick([s for s in n.read.setups if s != "ST9"])
    who, other = n.deck[1], n.deck[4]
    seen = {(s.setup, s.target, s.face): s for s in n.read.shots}
    n.shots(
        lambda s: (
            replace(seen[setup, other, s.face], target=who, row=s.row)
            if (s.setup, s.target) == (setup, who)
            else s
        )
    )
    return rf"set-up {setup}, target {who} .*are the readings of {other}"


KINDS: dict[str, Plant] = {
    "prism constant of one target": prism_of_target,
    "prism constant of all deck targets": prism_of_deck,
    "prism constant in all set-ups": prism_of_all,
    "prism constant in one set-up": prism_of_setup,
    "150 ppm in one set-up": scale_of_setup,
    "instrument height": instrument_height,
    "knock in mid-set": knock(0.15, 0.35),
    "E and N of one control row exchanged": row_exchanged,
    "E and N of all control exchanged": axes_exchanged,
    "two names of control exchanged": names_exchanged,
    "circle counts the other way": other_way,
    "circle counts the other way at one set-up": other_way_at_one,
    "horizontal for slope distances": horizontal,
    "packed ddd.mmss": packed,
    "angles from the horizon": horizon,
    "air 48 °C in one row": air_once,
    "steel in °F": steel_fahrenheit,
    "standard deviations a thousand times too large": blind,
    "one direction, 0.5 mrad": one("hz", 5e-4),
    "one zenith angle, 0.5 mrad": one("v", 5e-4),
    "one distance, 20 mm": one("sd", 0.02),
    "one distance, 1 m": one("sd", 1.0),
    "two targets exchanged at one set-up": wrong_target,
    "one face of a direction": face_slip,
    "levelling 20 mm": level_slip,
    "control moved 20 mm": moved_by(0.02),
    "control mistyped by 1 m": moved_by(1.0),
    "control height 100 mm": control_height,
    "target height of one target": target_height,
    "zenith angles of a set-up, 0.2 mrad": compensator,
    "distances of one set-up in feet": feet_at_one,
    "all distances in feet": feet,
    "300 ppm in all distances": scale_of_all,
    "knock in the second face": knock(0.65, 0.85),
    "instrument over another pillar than written": over_another,
    "prism constant with the wrong sign": prism_sign,
    "levelled difference with the wrong sign": level_sign,
    "one sight to another prism": another_prism,
    "one direction, 100 gon": one("hz", math.pi / 2),
    "one distance, 0.3 m, the front of something": one("sd", -0.3),
}


def stated(n: Night) -> list[str]:
    """Return what is stated against the survey, in its order."""
    epoch = replace(EPOCH, temperature=n.stated.get("temperature", EPOCH.temperature))
    try:
        solved = solve(n.job, epoch, n.read)
    except SurveyRefused as refused:
        return list(refused.findings)
    lines = [g.text for g in network_grounds(n.job, solved) if g.weight == "refuses"]
    return lines or shapes(n.job, solved)


def shapes(job: Job, solved: Solved) -> list[str]:
    """Return what the shapes of the segments say against a survey whose network fits."""
    at = adjusted_list(job, solved, 0)
    place = {p.id: i for i, p in enumerate(at.points)}
    found = []
    for segment in job.segments:
        own = [p for p in at.points if job.points[p.id].segment == segment]
        rows = np.concatenate([3 * place[p.id] + np.arange(3) for p in own])
        found.append(
            Observed(
                segment,
                tuple(p.id for p in own),
                np.array([job.points[p.id].design for p in own]),
                np.array([p.position for p in own]),
                np.array([p.uncertainty for p in own]),
                at.covariance[np.ix_(rows, rows)],
            )
        )
    lines = []
    for one in found:
        others = [other for other in found if other is not one]
        lines += judge_shape(one, others, 0.25, DISPLAY["metric"], None).findings
    return list(dict.fromkeys(lines))


def by_kind(networks: int, only: str) -> None:
    right_of_all = count_of_all = 0
    print("| planted | told of | right cause first | lines, median | sound control first |")
    print("|---|---|---|---|---|")
    for kind, plant in KINDS.items():
        if only not in kind:
            continue
        lines, right, seen, blamed = [], 0, 0, 0
        for k in range(networks):
            n = night(1000 + k)
            wanted = plant(n)
            found = stated(n)
            seen += bool(found)
            lines.append(len(found))
            first = found[0] if found else ""
            ok = bool(re.search(wanted, first))
            right += ok
            blamed += not ok and bool(re.search(r"control point CP|control\.csv", first))
            if only and not ok:
                print("   ", 1000 + k, len(found), found[:2], wanted)
        right_of_all, count_of_all = right_of_all + right, count_of_all + networks
        middle = int(np.median(lines))
        print(f"| {kind} | {seen} | {right} | {middle} | {blamed} |", flush=True)
    print(f"right first in {right_of_all} of {count_of_all}")


def clean(nights: int) -> None:
    refused = [k for k in range(nights) if stated(night(50_000 + k))]
    share = len(refused) / nights
    # Wilson, Journal of the American Statistical Association 22, 1927
    z = 1.96
    middle = (share + z * z / (2 * nights)) / (1 + z * z / nights)
    half = (
        z / (1 + z * z / nights) * math.sqrt(share * (1 - share) / nights + z * z / (4 * nights**2))
    )
    print(
        f"{len(refused)} of {nights} clean nights refused: {100 * share:.2f} % "
        f"({100 * (middle - half):.2f} to {100 * (middle + half):.2f} %); stated at most 0.4 %"
    )


def moved(nights: int) -> None:
    print("| moved | used unknowingly | by theory | with a reservation |")
    print("|---|---|---|---|")
    for size in (0.004, 0.008, 0.012):
        used, theory, reserved = 0, [], 0
        for k in range(nights):
            n = night(80_000 + k)
            moved_by(size)(n)
            theory.append(missed(n))
            try:
                solved = solve(n.job, EPOCH, n.read)
            except SurveyRefused:
                continue
            grounds = network_grounds(n.job, solved)
            if not any(g.weight == "refuses" for g in grounds):
                used += 1
                reserved += any(g.about == "control" and g.weight == "reserves" for g in grounds)
        print(
            f"| {1e3 * size:.0f} mm | {used} of {nights} | at most {sum(theory):.1f} | {reserved} |"
        )


def missed(n: Night) -> float:
    """Chance that the test of the moved point against the other control misses its movement."""
    job = replace(n.job, network=replace(n.job.network, datum="free"))
    others = [p for p in n.pillars if p != n.stated["who"]]
    loose = {
        k: replace(c, use="tie", position=np.full(3, np.nan)) if k == n.stated["who"] else c
        for k, c in n.job.control.items()
    }
    try:
        solved = solve(replace(n.job, control=loose), EPOCH, n.read)
    except SurveyRefused:
        return 0.0
    del job, others
    spread = covariance_of(solved.outcome.adjusted, [n.stated["who"]]) + np.eye(3) * U_CONTROL**2
    size = float(n.stated["way"] @ np.linalg.solve(spread, n.stated["way"]))
    limit = float(chdtri(3, ALPHA / len(n.pillars)))
    return float(chndtr(limit, 3, size))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--networks", type=int, default=0)
    parser.add_argument("--kind", default="", help="part of the name of a kind")
    parser.add_argument("--clean", type=int, default=0)
    parser.add_argument("--moved", type=int, default=0)
    options = parser.parse_args()
    if options.networks:
        by_kind(options.networks, options.kind)
    if options.clean:
        clean(options.clean)
    if options.moved:
        moved(options.moved)


if __name__ == "__main__":
    main()
