"""An approved job on a disk that may only be read, and a home that cannot be written."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import textwrap
from pathlib import Path

import pytest

from fitup.record.people import RIGHTS


@pytest.fixture
def approved(fitup, small_job_writer):
    """A small job with an approved plan, in a folder that nobody may write; and its code."""
    place = Path(tempfile.mkdtemp())
    job = small_job_writer(place / "job")
    key = place / "ines.key"
    public = fitup("key", "ines", "--to", key).out.rsplit('key = "', 1)[1].split('"')[0]
    rights = ", ".join(f'"{right}"' for right in RIGHTS)
    (job / "people.toml").write_text(f'[ines]\nname = "Ines"\nmay = [{rights}]\nkey = "{public}"\n')
    for command in ("people", "accept"):
        assert fitup(command, job, "--key", key).code == 0
    listed = fitup("sheets", job, "--json").out
    code = listed.split('"check_code": "')[1].split('"')[0]
    assert fitup("approve", job, "--plan", code, "--key", key).code == 0
    shutil.rmtree(job / "out")
    for path in job.iterdir():
        path.chmod(0o444)
    job.chmod(0o555)
    place.chmod(0o755)
    yield job, code
    job.chmod(0o755)
    shutil.rmtree(place)


AS_NOBODY = """
import os, sys
from pathlib import Path
from fitup.cli import main
job, first, then = sys.argv[1:]
sys.argv = ["fitup", "sheets", job, "--to", first]
try:
    main()
except SystemExit:
    pass  # whatever Python loads late is loaded while it may be read
os.setuid(65534)
sys.argv = ["fitup", "sheets", job, "--to", then]
main()
"""


@pytest.mark.parametrize("home", ["/nonexistent", "/dev/null"])
def test_sheets_of_an_approved_job_are_printed_elsewhere(approved, tmp_path, home):
    job, code = approved
    place = Path(tempfile.mkdtemp())
    place.chmod(0o777)
    drawn = tmp_path / "mpl"
    record = (job / "record.sqlite").read_bytes()
    # root may write everywhere: the first run, as root, is of a copy
    copy = tmp_path / "copy"
    shutil.copytree(job, copy)
    code_of = textwrap.dedent(AS_NOBODY).replace(
        '"sheets", job, "--to", first', f'"sheets", {str(copy)!r}, "--to", first'
    )
    done = subprocess.run(
        [sys.executable, "-c", code_of, str(job), str(tmp_path / "first"), str(place / "out")],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env={**os.environ, "HOME": home, "FITUP_WITNESS": "", "MPLCONFIGDIR": str(drawn)},
    )
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    assert "the record may only be read: that these were printed is not in it" in done.stderr
    listed = (place / "out" / "sheets.json").read_text()
    assert '"status": "APPROVED"' in listed
    assert code in listed
    assert (job / "record.sqlite").read_bytes() == record
    assert sorted(p.name for p in place.iterdir()) == ["out"]
    shutil.rmtree(place)
