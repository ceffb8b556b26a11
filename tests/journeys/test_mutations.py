"""Hundreds of spoiled job folders: a plain refusal or a finite result, never anything else."""

from __future__ import annotations

import csv
import io
import random
import re

import numpy as np
import pytest

from fitup.checks import joint_state
from fitup.errors import FitupError, InputError
from fitup.jobfolder import read_job
from fitup.structure import influence_of
from fitup.survey import read_survey

SEEDS = 40
NASTY = (
    "", " ", "0", "-0", "-1", "1", "2", "nan", "inf", "-inf", "1e308", "1e-308", "1e400", "1_0",
    "0x1", "1,5", "1.5.2", "12.345.678,9", "1e5", "1e-9", "-5.25", "100000", "9" * 400, "A", "B",
    "A-L", "B-L", "A-S1", "P20", "P20+P20", "+", "#", "#x", '"', "'", "\\", "\x00", "\x1a",
    "\x1b[2J", "\ufeff", "é", "桥", "٣", "½", "yes", "no", "up", "axis", "nut", "packs", "left",
    "level", "along", "along along", "=1+1", "true", "[]", "2031-04-02", "x" * 2000, "\t", ";",
    "\n", "\r", "\u2028",
)  # fmt: skip


def cells(text):
    return [row for row in csv.reader(text.replace("\r", "\n").split("\n")) if row] or [[""]]


def joined(rows):
    target = io.StringIO()
    csv.writer(target, lineterminator="\n").writerows(rows)
    return target.getvalue()


def edit_cell(rng, text):
    rows = cells(text)
    row = rng.choice(rows)
    row[rng.randrange(len(row))] = rng.choice(NASTY)
    return joined(rows)


def scale_cell(rng, text):
    rows = cells(text)
    numbers = [
        (i, j)
        for i, row in enumerate(rows)
        for j, c in enumerate(row)
        if re.fullmatch(r"-?[\d.]+", c)
    ]
    if not numbers:
        return text
    i, j = rng.choice(numbers)
    rows[i][j] = repr(float(rows[i][j]) * rng.choice((-1.0, 0.0, 0.3048, 10.0, 1e3, 1e-3, 1e12)))
    return joined(rows)


def delete_column(rng, text):
    rows = cells(text)
    at = rng.randrange(len(rows[0]))
    return joined([row[:at] + row[at + 1 :] for row in rows])


def delete_row(rng, text):
    rows = cells(text)
    del rows[rng.randrange(len(rows))]
    return joined(rows)


def double_row(rng, text):
    rows = cells(text)
    return joined([*rows, rng.choice(rows)])


def swap_cells(rng, text):
    rows = cells(text)
    one, other = rng.choice(rows), rng.choice(rows)
    at = rng.randrange(min(len(one), len(other)))
    one[at], other[at] = other[at], one[at]
    return joined(rows)


def cut_off(rng, text):
    return text[: rng.randrange(len(text))]


def random_characters(rng, text):
    at = rng.randrange(len(text))
    return text[:at] + rng.choice(NASTY) + text[at + rng.randrange(4) :]


def random_bytes(rng, text):
    raw = bytearray(text.encode())
    for _ in range(rng.randrange(1, 6)):
        raw[rng.randrange(len(raw))] = rng.randrange(256)
    return bytes(raw)


TABLE = (edit_cell, scale_cell, delete_column, delete_row, double_row, swap_cells)
ANY = (cut_off, random_characters, random_bytes)


def spoil(rng, files):
    """One to three mutations of a job, most of them in its tables."""
    spoiled = dict(files)
    for _ in range(rng.randrange(1, 4)):
        name = rng.choice(sorted(n for n in spoiled if isinstance(spoiled[n], str)))
        ways = ANY if name == "job.toml" else TABLE + ANY
        if spoiled[name].strip():
            spoiled[name] = rng.choice(ways)(rng, spoiled[name])
    return spoiled


def write(folder, files):
    folder.mkdir(exist_ok=True)
    for name, content in files.items():
        raw = content if isinstance(content, bytes) else content.encode("utf-8", "surrogatepass")
        (folder / name).write_bytes(raw)
    return folder


def absurd(job):
    """Name every number of a job that nobody can mean; bounds of their own, from no column."""
    found = [f"jack {j.id}" for j in job.jacks.values() if j.capacity > 6e7 or j.stroke > 6.0]
    for plate in job.plates.values():
        if abs(plate.measured - plate.nominal) > 1e-3 + 0.2 * plate.nominal:
            found.append(f"plate {plate.mark}")
    for seat in job.seats.values():
        own = [p.design for p in job.points.values() if p.segment == seat.segment]
        if own and min(np.linalg.norm(seat.position - p) for p in own) > 250.0:
            found.append(f"seat {seat.id}")
    warm = [job.reference_temperature, *(e.temperature for e in job.epochs)]
    found += [f"{t} K" for t in warm if not 200.0 < t < 370.0]
    found += [f"tolerance of {q}" for q, t in job.tolerances.items() if not 0.0 < t.value <= 1e3]
    return found


def checked(folder):
    """Read, survey, joints and influence; finite values, or None where the job is refused."""
    try:
        job = read_job(folder)
        survey = read_survey(folder, job)
        state = joint_state(job, survey)
        effect = influence_of(job, survey, folder)
    except FitupError as error:
        assert str(error).strip()
        if isinstance(error, InputError):
            assert all(p.file and p.found and p.allowed and p.do for p in error.problems)
            assert len(error.problems) < 400
            assert all(len(str(p)) < 4000 for p in error.problems)
        return None
    assert absurd(job) == []
    for values in (state.values, state.covariance, effect.A, effect.R, effect.r0):
        assert np.isfinite(values).all()
    return dict(zip((c.id for c in state.checks), state.values.tolist(), strict=True))


@pytest.fixture
def full(small_files):
    """The small job with every optional table."""
    return {
        **small_files,
        "limits.csv": "id,kind,seats,most_mm\nnear,difference,A-S1 A-S2,20\n",
        "aims.csv": (
            "joint,pair,quantity,treat,amount_mm,angle_mm_per_m,side,reason\n"
            "J1,,gap,preset,1.5,,wide,note 12\nJ1,,twist,leave,,1.5,,note 15\n"
        ),
        "readings.csv": (
            "id,pair,quantity,value_mm,side,u_mm,how\n"
            "D1,P1,step,6.2,ahead high,0.5,straightedge\nD2,P2,gap,10.3,opening,1.0,tape\n"
        ),
    }


@pytest.mark.parametrize("block", range(10))
def test_spoiled_folder_is_refused_or_read(tmp_path, full, block):
    for seed in range(block * SEEDS, (block + 1) * SEEDS):
        spoiled = spoil(random.Random(seed), full)
        folder = write(tmp_path / "job", spoiled)
        try:
            checked(folder)
        except Exception as error:
            error.add_note(f"seed {seed}")
            raise


def test_unspoiled_folder_is_read(tmp_path, full):
    values = checked(write(tmp_path / "job", full))
    assert values is not None
    assert values["J1/P2/step"] == pytest.approx(0.006, abs=1e-4)


@pytest.mark.parametrize("seed", range(5))
def test_order_of_rows_and_columns_changes_nothing(tmp_path, full, seed):
    rng = random.Random(seed)
    before = checked(write(tmp_path / "job", full))
    shuffled = dict(full)
    for name, text in full.items():
        if name == "job.toml":
            continue
        head, *rows = cells(text)
        rng.shuffle(rows)
        order = rng.sample(range(len(head)), len(head))
        shuffled[name] = joined([[row[i] for i in order] for row in [head, *rows]])
    after = checked(write(tmp_path / "job", shuffled))
    assert before is not None
    assert after == pytest.approx(before, abs=1e-12)


@pytest.mark.parametrize("seed", [3, 11, 27])
def test_spoiled_folder_through_the_command_line(tmp_path, full, fitup, seed):
    folder = write(tmp_path / "job", spoil(random.Random(seed), full))
    said = fitup("plan", folder)
    assert said.code in (0, 2, 3, 4)
    if said.code in (2, 4):
        assert said.out == ""
        assert said.lines
        assert all(line.startswith("fitup: ") for line in said.lines)


def test_what_cannot_be_printed_is_escaped_and_stays_in_its_line(tmp_path, full, fitup):
    full["plates.csv"] = full["plates.csv"].replace("P1,1,", '"P1",")\n1",')
    said = fitup("check", write(tmp_path / "job", full))
    assert said.code == 2
    assert said.lines == [
        r"fitup: plates.csv, row 7, nominal_mm: found ')\n1'; allowed: a number above "
        "0 mm and at most 500 mm; give the nominal thickness"
    ]
