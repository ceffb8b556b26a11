"""A record with three people: Ines approves, Bram accepts surveys, Ola reports stages."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from fitup.record.keys import Key, make_key
from fitup.record.store import Record

WHEN = "2031-04-02T04:10:09Z"
MAY = {
    "ines": ("name people", "approve packs", "release hold points", "lock off"),
    "bram": ("accept surveys",),
    "ola": ("report stages",),
}
NAMES = {"ines": "Ines Calder", "bram": "Bram Teel", "ola": "Ola Finch"}


def people_toml(keys: Mapping[str, Key], may: Mapping[str, tuple[str, ...]] = MAY) -> bytes:
    return "".join(
        f'[{who}]\nname = "{NAMES[who]}"\nmay = {list(rights)!r}\nkey = "{keys[who].public}"\n'
        for who, rights in may.items()
    ).encode()


@pytest.fixture(scope="session")
def keys(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Key]:
    folder = tmp_path_factory.mktemp("keys")
    return {who: make_key(folder / f"{who}.key") for who in MAY}


@pytest.fixture
def opened(tmp_path: Path, keys: dict[str, Key]) -> Path:
    """A folder with a record of one entry."""
    with Record(tmp_path, create=True) as record, record.writing() as pen:
        pen.append(
            "people named", WHEN, key=keys["ines"], inputs={"people.toml": people_toml(keys)}
        )
    return tmp_path


@pytest.fixture
def filled(opened: Path, keys: dict[str, Key]) -> Path:
    """A record of eight entries, some with contents that overflow a page."""
    with Record(opened) as record:
        for i in range(1, 8):
            with record.writing() as pen:
                pen.append(
                    "stop",
                    f"2031-04-02T04:1{i}:09Z",
                    key=keys["ola"],
                    inputs={"a.csv": b"a" * 700 * i, "b.csv": b"always the same"},
                    says={"why": f"reason {i}"},
                )
    return opened


@pytest.fixture(scope="session")
def toml() -> Callable[..., bytes]:
    """:func:`people_toml`."""
    return people_toml
