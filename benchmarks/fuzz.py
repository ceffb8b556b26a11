"""Thousands of spoiled job folders, survey lists, people and forms: refused in words, or read.

    python benchmarks/fuzz.py --cases 5000 --first 0

Never a traceback, never a hang: a case that takes longer than a minute is one. The test suite runs
some hundreds of the same cases (tests/journeys/test_mutations.py, tests/house/test_benchmarks.py).
"""

from __future__ import annotations

import argparse
import importlib.util
import random
import signal
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from types import FrameType, ModuleType

from fitup.errors import FitupError
from fitup.record.asdone import Asked
from fitup.record.differences import changes
from fitup.record.people import read_people
from fitup.record.readback import form_readings, read_form

ROOT = Path(__file__).parents[1]
LONGEST = 60
PEOPLE = '[ines]\nname = "Ines"\nmay = ["name people", "lock off"]\nkey = "{}"\n'.format("0f" * 32)
FORM = (
    "plan,stage,name,place,should_read,read_mm,side,read_kN,pack,stands_on\n"
    "AAAA-AAAA-AAAAA,1,J1/P1/step,J1 P1,on target,0.4,ahead high,,,\n"
    "AAAA-AAAA-AAAAA,1,load J-A1,LEFT,,,,612,,\n"
    "AAAA-AAAA-AAAAA,1,pack A-S1,LEFT,P20+P5,,,,P20+P5,\n"
    "AAAA-AAAA-AAAAA,1,dial A-S1,LEFT,4.7 mm up,4.7,up,,,\n"
    "AAAA-AAAA-AAAAA,1,stands A-S1,LEFT,lock nut,,,,,lock nut\n"
)
ASKED = (
    Asked("J1/P1/step", "check", least=-0.002, most=0.002, sides=("ahead high", "ahead low")),
    Asked("load J-A1", "load", "force", most=7e5),
    Asked("pack A-S1", "pack", pack=("P20", "P5")),
    Asked("dial A-S1", "ram", least=0.002, most=0.0074, sides=("up", "down")),
    Asked("stands A-S1", "support", stands="nut"),
)


def loaded(path: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(Path(path).stem, ROOT / path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def folder_case(spoiled: dict[str, object], whole: dict[str, bytes], folder: Path) -> bool:
    """Read a spoiled folder to its influence, and say what changed in it."""
    MUTATIONS.write(folder, spoiled)
    raw = {p.name: p.read_bytes() for p in folder.iterdir()}
    assert changes(whole, raw) or raw == whole
    return MUTATIONS.checked(folder) is not None


def refused(call: Callable[[], object]) -> bool:
    try:
        call()
    except FitupError as error:
        assert str(error).strip()
        return True
    return False


def small_case(rng: random.Random, folder: Path) -> bool:
    """Read a spoiled list of people and a spoiled form."""
    texts = {"people.toml": PEOPLE, "form.csv": FORM}
    name = rng.choice(sorted(texts))
    ways = MUTATIONS.ANY if name == "people.toml" else MUTATIONS.TABLE + MUTATIONS.ANY
    MUTATIONS.write(folder, {name: rng.choice(ways)(rng, texts[name])})
    path = folder / name
    if name == "people.toml":
        return not refused(lambda: read_people(path.read_bytes()))
    return not refused(lambda: form_readings(read_form(path), 1, ASKED))


def hang(number: int, frame: FrameType | None) -> None:
    raise TimeoutError(f"longer than {LONGEST} s")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=5000)
    parser.add_argument("--first", type=int, default=100_000)
    options = parser.parse_args()
    files = {
        **CONFTEST.FILES,
        "limits.csv": "id,kind,seats,most_mm\nnear,difference,A-S1 A-S2,20\n",
        "readings.csv": "id,pair,quantity,value_mm,side,u_mm,how\nD2,P2,gap,10.3,opening,1,tape\n",
    }
    whole = {name: text.encode() for name, text in files.items()}
    signal.signal(signal.SIGALRM, hang)
    seen: Counter[str] = Counter()
    for seed in range(options.first, options.first + options.cases):
        rng = random.Random(seed)
        signal.alarm(LONGEST)
        try:
            with tempfile.TemporaryDirectory() as place:
                folder = Path(place) / "job"
                spoiled = MUTATIONS.spoil(rng, files)
                seen["read" if folder_case(spoiled, whole, folder) else "refused"] += 1
                read = small_case(rng, Path(place) / "small")
                seen["small read" if read else "small refused"] += 1
        except Exception as error:
            print(f"seed {seed}: {type(error).__name__}: {error}")
            seen["FAILED"] += 1
        signal.alarm(0)
    print(" ".join(f"{name.replace(' ', '_')}={n}" for name, n in sorted(seen.items())))
    sys.exit(1 if seen["FAILED"] else 0)


MUTATIONS = loaded("tests/journeys/test_mutations.py")
CONFTEST = loaded("tests/conftest.py")

if __name__ == "__main__":
    main()
