"""The small job with raw observations instead of coordinates, and spoiled sites."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fitup.errors import FitupError
from fitup.jobfolder import read_job
from fitup.network.solve import Solved, solve, solve_epochs

JOB = [('file = "survey.csv"', 'observations = "shots.csv"'), ("u_mm = 0.5\n", "")]
CONTROL = """\
id,use,E_m,N_m,H_m,u_E_mm,u_N_mm,u_H_mm
CP1,weighted,0,40,12,1,1,1
CP2,weighted,40,40,12,1,1,1
X1,tie,,,,,,
"""
INSTRUMENTS = """\
id,u_hz_mgon,u_v_mgon,u_sd_mm
TS1,0.3,0.3,1
"""
SHOTS = """\
setup,target,face,hz_gon,v_gon,sd_m,time
S1,CP1,1,0,100,40,04:10:00
S1,CP2,1,50,100,56.57,04:10:30
S1,A-L,1,150,100,20,04:11:00
"""


@pytest.fixture
def observed_job(tmp_path: Path, small_job_writer: Callable[..., Path]) -> Callable[..., Path]:
    """Write the small job with observations; files may be changed as in ``write_small_job``."""

    def write(name: str = "job", **changes: Any) -> Path:
        job = changes.pop("job", [])
        files: dict[str, Any] = {
            "job": [*JOB, *([job] if isinstance(job, tuple) else job)],
            "survey": None,
            "control": CONTROL,
            "instruments": INSTRUMENTS,
            "shots": SHOTS,
        }
        for stem, change in changes.items():
            if isinstance(change, tuple):
                assert change[0] in files[stem]
                files[stem] = files[stem].replace(*change, 1)
            else:
                files[stem] = change
        return small_job_writer(tmp_path / name, **files)

    return write


@pytest.fixture
def messages_of(observed_job: Callable[..., Path]) -> Callable[..., list[str]]:
    """Every message that reading and adjusting a changed job gives, none where it is fine."""

    def tell(**changes: Any) -> list[str]:
        folder = observed_job(**changes)
        try:
            solve_epochs(folder, read_job(folder))
        except FitupError as error:
            return str(error).split("\n")
        return []

    return tell


@pytest.fixture
def spoiled(network_site: Any) -> Callable[..., Solved]:
    """Adjust a site with errors added to observations."""

    def adjust(seed: int = 5, errors: dict[str, float] | None = None, **settings: Any) -> Solved:
        site = network_site(seed, **{k: settings.pop(k) for k in ("setups",) if k in settings})
        for name, value in settings.items():
            setattr(site, name, value)
        site.spoil.update(errors or {})
        return solve(site.job, site.epoch, site.read())

    return adjust
