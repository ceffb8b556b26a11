"""The benchmark runs: speed is measured there, side by side, and never asserted."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_closure_benchmark_runs() -> None:
    command = [sys.executable, "benchmarks/closure.py", "--limit", "1", "--spread", "1.5"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    header, _, line = done.stdout.splitlines()
    cells = dict(zip(header.split("|"), line.split("|"), strict=True))
    assert cells[" proven "] == " yes "
    # the general solver had its second: its bound is not above the optimum
    assert float(cells[" HiGHS bound "]) <= float(cells[" best "]) * (1.0 + 1e-4)


def test_spoiled_folders_are_refused_or_read() -> None:
    command = [sys.executable, "benchmarks/fuzz.py", "--cases", "30", "--first", "7"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    counts = dict(part.split("=") for part in done.stdout.split())
    assert int(counts["read"]) + int(counts["refused"]) == 30


def test_structure_benchmark_runs() -> None:
    command = [sys.executable, "benchmarks/structure.py", "--dofs", "60", "100", "--limit", "0"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    header, first, second = done.stdout.splitlines()
    assert header.split()[:4] == ["dofs", "seats", "ours_s", "ms/seat"]
    assert (first.split()[:2], second.split()[:2]) == (["60", "6"], ["100", "8"])
    # the two packages agree, whatever the time
    assert float(second.split()[9]) < 1e-5


def test_network_benchmark_runs() -> None:
    command = [sys.executable, "benchmarks/network.py", "--observations", "100"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    header, line = done.stdout.splitlines()
    assert header.startswith("observations")
    # millimetres between our answer and that of the dense solver
    assert float(line.split()[9]) < 1e-3


def test_rounds_benchmark_runs() -> None:
    command = [sys.executable, "benchmarks/rounds.py", "--jobs", "1", "--kinds", "deep bedding"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    header, without, learning = done.stdout.splitlines()
    assert header.split()[:2] == ["truth", "learning"]
    # one job, the same seed: learning is never the slower of the two here
    assert float(learning.split()[-2]) < float(without.split()[-2])


def test_record_benchmark_runs() -> None:
    options = ["--few", "5", "--many", "40", "--pairs", "3"]
    command = [sys.executable, "benchmarks/record.py", *options]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    header, line = done.stdout.splitlines()
    assert header.split()[:3] == ["few", "many", "pairs"]
    assert line.split()[:3] == ["5", "40", "3"]


def test_trust_benchmark_runs() -> None:
    command = [sys.executable, "benchmarks/trust.py", "--draws", "5000", "--checks", "4"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    header, line = done.stdout.splitlines()
    assert header.startswith("draws")
    cells = line.split()
    # both ways agree, whatever the time
    assert float(cells[4]) < 0.06
    assert abs(float(cells[9]) - float(cells[10])) < 2e-3


def test_calibration_runs(tmp_path: Path) -> None:
    figure = tmp_path / "calibration.png"
    command = [sys.executable, "benchmarks/calibration.py", "--jobs", "12", "--figure", str(figure)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "surveys refused: " in done.stdout
    assert figure.read_bytes().startswith(b"\x89PNG")


def test_stages_benchmark_runs() -> None:
    command = [sys.executable, "benchmarks/stages.py", "--piers", "2", "--layers", "2"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    header, line = done.stdout.splitlines()
    assert header.startswith("piers")
    seats, _, stages, fewest, _, closed, _, layers = line.split()[1:9]
    assert (seats, closed) == ("8", "yes")
    assert stages == fewest == layers


def test_decks_benchmark_runs(tmp_path: Path) -> None:
    figure = tmp_path / "decks.png"
    sizes = ["--segments", "3", "4", "--shared", "3", "--seats", "8", "--twins", "3", "--jobs", "2"]
    command = [sys.executable, "benchmarks/decks.py", "--limit", "1", *sizes, "--plot", str(figure)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    decks, by_hand = done.stdout.split("\ngrowth with segments: ")
    cases = [line.split("|") for line in decks.splitlines() if line.startswith("|")][2:]
    assert len(cases) == 5
    assert "| all | 2 |" in by_hand
    # proven, whatever the time
    assert all(case[4].strip() == "0.00%" for case in cases)
    assert figure.read_bytes().startswith(b"\x89PNG")


def test_battery_runs() -> None:
    command = [sys.executable, "benchmarks/battery.py", "--cases", "2", "--first", "3"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.endswith("2 jobs from seed 3: 0 faults\n")
    assert "| least squares | rings | 2 |" in done.stdout


def test_transfer_benchmark_runs() -> None:
    command = [
        sys.executable,
        "benchmarks/transfer.py",
        "starts",
        "--crossings",
        "1",
        "--most",
        "6",
    ]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[0] == "arrived=1 of=1 share=1.0000"
