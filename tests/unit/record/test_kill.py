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


def test_key_survives_a_kill_at_any_moment_of_a_change_of_its_passphrase(tmp_path: Path) -> None:
    """The old passphrase opens it or the new one, never none; the next change clears up."""
    script = Path(__file__).with_name("key_kill_points.py")
    done = subprocess.run(
        [sys.executable, str(script), str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert len(told["opens"]) > 4
    assert {tuple(words) for words in told["opens"]} == {
        ("old words that open",),
        ("new words that open",),
    }
    assert told["litter"] == []
