"""Kill writers of a record at hundreds of points; run by test_kill.py in a process of its own.

    python tests/unit/record/kill_points.py FOLDER SEED [KILLS]

Prints one JSON list: for each kill what was wrong, empty where nothing was. A child that is forked
writes entries and says each number once it is committed; the parent then looks at what is left, in
the folder and in the home with its witness and checkpoint, and writes one entry more.
"""

from __future__ import annotations

import json
import os
import random
import resource
import shutil
import signal
import sys
import time
from pathlib import Path

from fitup.record.keys import Key, make_key
from fitup.record.people import RIGHTS
from fitup.record.store import Record

WHEN = "2031-04-02T04:10:09Z"
#: what Python tells before it changes a file
CALLS = frozenset({"open", "os.rename", "os.remove", "os.mkdir", "os.chmod"})
FRESH = 30  # kills after which a new record is begun


def people(key: Key, fresh: int) -> bytes:
    # another name makes another record, which witnesses tell from those before
    return f'[ines]\nname = "I{fresh}"\nmay = {list(RIGHTS)!r}\nkey = "{key.public}"\n'.encode()


def begin(folder: Path, key: Key, fresh: int) -> Path:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    with Record(folder, create=True) as record, record.writing() as pen:
        pen.append("people named", WHEN, key=key, inputs={"people.toml": people(key, fresh)})
    return folder


def content(number: int) -> bytes:
    return random.Random(number).randbytes(9000)


def write(folder: Path, key: Key, stated: int, opcode: int, call: int) -> None:
    """Write entries until killed; with ``opcode`` or ``call`` by itself.

    It dies inside a statement of the database, or before a file is opened, renamed or removed.
    """
    left, calls = [opcode], [call]

    def boundary(event: str, _: object) -> None:
        if event in CALLS:
            calls[0] -= 1
            if not calls[0]:
                os.kill(os.getpid(), signal.SIGKILL)

    if call:
        sys.addaudithook(boundary)

    def step() -> int:
        left[0] -= 1
        if not left[0]:
            os.kill(os.getpid(), signal.SIGKILL)
        return 0

    with Record(folder) as record:
        if opcode:
            record._connection.set_progress_handler(step, 1)
        while True:
            with record.writing() as pen:
                number = len(pen.events) + 1
                pen.append("stop", WHEN, key=key, says={"why": "x"}, inputs={"a": content(number)})
            os.write(stated, bytes([number]))


def kill(
    folder: Path, key: Key, *, opcode: int = 0, call: int = 0, size: int = 0, after: float = 0.0
) -> str:
    """Start a writer, kill it at a point, and say what is wrong with what it left."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        os.close(reading)
        if size:
            # a file that grows past its limit kills the writer, half of its last write done
            signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
        try:
            write(folder, key, writing, opcode, call)
        finally:
            os._exit(99)
    os.close(writing)
    if after:
        time.sleep(after)
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    stated = os.read(reading, 10_000)
    os.close(reading)
    if not os.WIFSIGNALED(status):
        return f"was not killed: {status}"
    return wrong(folder, max(stated, default=0)) or lasting(folder, key)


def wrong(folder: Path, stated: int) -> str:
    with Record(folder) as record:
        checked = record.check()
        count = len(checked.events)
        if checked.broken:
            return str(checked.broken)
        if stated and not stated <= count <= stated + 1:
            return f"{count} entries, {stated} were committed"
        for event in checked.events[1:]:
            if record.content(event.inputs["a"]) != content(event.number):
                return f"entry {event.number} is not whole"
    return ""


def lasting(folder: Path, key: Key) -> str:
    """Write an entry after a kill: it goes on, from the same state, and leaves no litter."""
    with Record(folder) as record:
        if record.now().work != record.whole().work:
            return "the state of the checkpoint is not that of the entries"
        with record.writing() as pen:
            number = len(pen.events) + 1
            pen.append("stop", WHEN, key=key, says={"why": "x"}, inputs={"a": content(number)})
    litter = {p.name for p in folder.iterdir()} - {"record.sqlite", "record.seal"}
    home = {p.name for p in (Path.home() / ".fitup").rglob("*") if p.suffix not in ("", ".json")}
    return f"left behind: {sorted(litter | home)}" if litter | home else ""


def main(folder: Path, seed: int, kills: int) -> None:
    rng = random.Random(seed)
    os.environ["HOME"] = str(folder)
    os.environ.pop("FITUP_WITNESS", None)
    key = make_key(folder / "ines.key")
    points: list[dict[str, float]] = [{"opcode": k} for k in range(1, 1200, 3)]
    points += [{"call": k} for k in range(1, 201)]
    points += [{"size": s} for s in range(4200, 90_000, 430)]
    points += [{"after": rng.uniform(0.001, 0.02)} for _ in range(200)]
    results = []
    for i, point in enumerate(rng.sample(points, min(kills, len(points)))):
        if i % FRESH == 0 or "size" in point:
            job = begin(folder / "job", key, i)
        said = kill(job, key, **point)
        results.append(f"{point}: {said}" if said else "")
    print(json.dumps(results))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else 1000)
