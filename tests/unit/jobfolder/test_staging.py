"""What is wrong with crews, pumps and groups, each message whole."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.errors import InputError
from fitup.jobfolder import read_job

ALLOWED = "A-lift, B-lift"


def stated(folder: Path) -> list[str]:
    with pytest.raises(InputError) as refused:
        read_job(folder)
    return [str(p) for p in refused.value.problems]


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ("crews = 1.5", "crews: found 1.5; allowed: a whole number, at least 1; correct it"),
        ("friction = 1.0", "friction: found 1; allowed: a share from 0 to below 1; correct it"),
        ("stage_lift_mm = 0", "stage_lift_mm: found 0; allowed: above zero; correct it"),
        ("worst_reserve = 0.5", "worst_reserve: found 0.5; allowed: at least 1; correct it"),
        (
            'outwards_from = "X"',
            "outwards_from: found 'X'; allowed: an id of segments.csv, seats.csv or points.csv; "
            "correct it",
        ),
    ],
)
def test_staging(small_job_writer: Callable[..., Path], tmp_path: Path, keys: str, message: str):
    job = ("[[survey]]", f"[staging]\n{keys}\n[[survey]]")
    assert stated(small_job_writer(tmp_path, job=job)) == [f"job.toml, staging.{message}"]


def test_pumps(small_job_writer: Callable[..., Path], tmp_path: Path):
    pumps = "id,jacks\nP,J-A1 J-A2 J-A3 J-B1 J-B2 J-X\n"
    assert stated(small_job_writer(tmp_path, pumps=pumps)) == [
        "pumps.csv, row 2, jacks: found 'J-X'; allowed: ids of jacks.csv; correct it or add it",
        "pumps.csv, jacks: found jack J-B3 at no pump; allowed: every jack that works at some "
        "pump; add it to a pump, or leave pumps.csv out",
    ]


def test_groups(small_job_writer: Callable[..., Path], tmp_path: Path):
    groups = "id,after\nA-lift,B-lift\nB-lift,A-lift\nC,\n"
    assert stated(small_job_writer(tmp_path, groups=groups)) == [
        "groups.csv, row 2, after: found 'B-lift', which waits for A-lift itself; allowed: an "
        "order without a circle; take one of them out",
        "groups.csv, row 3, after: found 'A-lift', which waits for B-lift itself; allowed: an "
        "order without a circle; take one of them out",
        f"groups.csv, row 4, id: found 'C'; allowed: a group of seats.csv: {ALLOWED}; correct it",
    ]
