"""A sample of kills: nothing committed is lost, nothing half done seen, nothing left lying."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

SCRIPT = Path(__file__).with_name("kill_points.py")
#: docs/record.md tells of a thousand
KILLS = 60
#: a kill is the same in memory, where waiting for a disk does not make the test long
MEMORY = Path("/dev/shm")


def test_record_survives_a_kill_at_any_point() -> None:
    with tempfile.TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else None) as folder:
        done = subprocess.run(
            [sys.executable, str(SCRIPT), folder, "1", str(KILLS)],
            capture_output=True,
            text=True,
            timeout=240,
            check=False,
        )
    assert done.returncode == 0, done.stderr
    results = json.loads(done.stdout)
    assert len(results) == KILLS
    assert [r for r in results if r] == []
