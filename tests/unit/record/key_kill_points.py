"""Kill a change of a passphrase before every change of a file; run by test_kill.py.

    python tests/unit/record/key_kill_points.py FOLDER

Prints one JSON list: for each kill, which of the two passphrases opens the key then.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import sys
from pathlib import Path

from fitup.errors import InputError
from fitup.record.keys import Key, change_passphrase, make_key, read_key

OLD, NEW = "old words that open", "new words that open"
#: what Python tells before it changes a file
CALLS = frozenset({"open", "os.rename", "os.remove"})


def killed(path: Path, key: Key, call: int) -> int:
    """Change the passphrase in a child that dies before so many changes; how it ended."""
    child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    left = [call]

    def boundary(event: str, _: object) -> None:
        left[0] -= event in CALLS
        if not left[0]:
            os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(boundary)
    change_passphrase(path, key, NEW)
    os._exit(0)


def opening(path: Path, key: Key) -> list[str]:
    """Return which passphrases open the same key."""
    found = []
    for words in (OLD, NEW):
        with contextlib.suppress(InputError):
            if read_key(path, lambda _, words=words: words).public == key.public:
                found.append(words)
    return found


def main(folder: Path) -> None:
    path = folder / "own.key"
    key = make_key(path, OLD)
    told = []
    for call in range(1, 1000):
        ended = killed(path, key, call)
        told.append(opening(path, key))
        if ended == 0:
            break
        if told[-1] == [NEW]:
            change_passphrase(path, key, OLD)
    litter = sorted(p.name for p in folder.iterdir() if p != path)
    print(json.dumps({"opens": told, "litter": litter}))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
