"""Kill writers of a record at hundreds of points; run by test_kill.py in a process of its own.

Prints one JSON list: for each kill what was wrong, empty where nothing was. A child that is forked
writes entries and says each number once it is committed; the parent then looks at what is left.
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
FRESH = 30  # kills after which a new record is begun


def people(key: Key) -> bytes:
    return f'[ines]\nname = "Ines"\nmay = {list(RIGHTS)!r}\nkey = "{key.public}"\n'.encode()


def begin(folder: Path, key: Key) -> Path:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    with Record(folder, create=True) as record, record.writing() as pen:
        pen.append("people named", WHEN, key=key, inputs={"people.toml": people(key)})
    return folder


def content(number: int) -> bytes:
    return random.Random(number).randbytes(9000)


def write(folder: Path, key: Key, told: int, opcode: int) -> None:
    """Write entries until killed; with ``opcode`` by itself, inside a statement."""
    left = [opcode]

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
            os.write(told, bytes([number]))


def kill(folder: Path, key: Key, *, opcode: int = 0, size: int = 0, after: float = 0.0) -> str:
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
            write(folder, key, writing, opcode)
        finally:
            os._exit(99)
    os.close(writing)
    if after:
        time.sleep(after)
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    told = os.read(reading, 10_000)
    os.close(reading)
    if not os.WIFSIGNALED(status):
        return f"was not killed: {status}"
    return wrong(folder, max(told, default=0))


def wrong(folder: Path, told: int) -> str:
    with Record(folder) as record:
        checked = record.check()
        count = len(checked.events)
        if checked.broken:
            return str(checked.broken)
        if told and not told <= count <= told + 1:
            return f"{count} entries, {told} were committed"
        for event in checked.events[1:]:
            if record.content(event.inputs["a"]) != content(event.number):
                return f"entry {event.number} is not whole"
    return ""


def main(folder: Path, seed: int) -> None:
    rng = random.Random(seed)
    key = make_key(folder / "ines.key")
    points: list[dict[str, float]] = [{"opcode": k} for k in range(1, 400, 4)]
    points += [{"size": s} for s in range(4200, 90_000, 860)]
    points += [{"after": rng.uniform(0.001, 0.015)} for _ in range(100)]
    results = []
    for i, point in enumerate(points):
        if i % FRESH == 0 or "size" in point:
            job = begin(folder / "job", key)
        said = kill(job, key, **point)
        results.append(f"{point}: {said}" if said else "")
    print(json.dumps(results))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
