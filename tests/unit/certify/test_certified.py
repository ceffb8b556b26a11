"""Numbers that know their field: paths, what follows from them, and finding them again."""

from __future__ import annotations

import copy
import json
import pickle
from dataclasses import asdict, dataclass
from typing import Any

import pytest

from fitup.certify import PrintedNumber, confirm
from fitup.certify.certified import CertifiedNumber, Known, beside, with_paths
from fitup.errors import CertificateRefused


@dataclass(frozen=True, slots=True)
class Jack:
    jack: str
    load: float
    area: float
    up: tuple[float, ...] = ()
    steps: tuple[tuple[float, float], ...] = ()

    @property
    def pressure(self) -> float:
        return beside(self.load, self.load / self.area, "pressure", "load")

    @property
    def twice(self) -> tuple[float, ...]:
        return tuple(beside(v, 2.0 * v, "twice", "up") for v in self.up)

    @property
    def ends(self) -> tuple[float, ...]:
        return tuple(beside(self.load, v, "ends", "load", i) for i, (_, v) in enumerate(self.steps))

    def method(self) -> float:
        return self.load


@dataclass(frozen=True, slots=True)
class Stage:
    number: int
    jacks: tuple[Jack, ...]
    width: float = 3.0


@dataclass(frozen=True, slots=True)
class Whole:
    name: str
    stages: tuple[Stage, ...]
    best: Jack
    count: int = 7
    inside: bool = True


MADE = with_paths(
    Whole(
        "w",
        (
            Stage(1, (Jack("J1", 10.0, 2.0, (0.5, 0.6), ((0.1, 1.0), (1.0, 9.0))),)),
            # another crew of the same stage
            Stage(1, (Jack("J2", 20.0, 2.0),)),
            Stage(2, (Jack("J1", 30.0, 2.0),), 4.0),
        ),
        Jack("best", 1.0, 1.0),
    )
)
J1 = MADE.stages[0].jacks[0]
AT = ("stages", 1, "jacks", "J1")


@pytest.mark.parametrize(
    ("number", "value", "path"),
    [
        (J1.load, 10.0, (*AT, "load")),
        (J1.up[1], 0.6, (*AT, "up", 1)),
        (J1.steps[1][1], 9.0, (*AT, "steps", 1, 1)),
        (J1.pressure, 5.0, (*AT, "pressure")),
        (J1.twice[1], 1.2, (*AT, "twice", 1)),
        (J1.ends[1], 9.0, (*AT, "ends", 1)),
        (MADE.stages[2].jacks[0].load, 30.0, ("stages", 2, "jacks", "J1", "load")),
        (MADE.best.load, 1.0, ("best", "load")),
    ],
)
def test_every_number_knows_its_field_and_is_found_there(
    number: float, value: float, path: tuple[str | int, ...]
) -> None:
    assert isinstance(number, CertifiedNumber)
    assert number == pytest.approx(value)
    assert number.path == path
    assert Known(MADE).value(path) == number


@pytest.mark.parametrize(
    "path",
    [
        (*AT, "weight"),
        (*AT, "method"),
        (*AT, "up", 2),
        (*AT, "up", -1),
        (*AT, "up"),
        (*AT, "__class__"),
        ("stages", 3, "width"),
        ("stages", 1, "jacks", "J3", "load"),
        ("name",),
        ("",),
        (),
    ],
)
def test_there_is_nothing_elsewhere(path: tuple[str | int, ...]) -> None:
    assert Known(MADE).value(path) is None


def test_what_two_records_of_one_name_both_have_must_be_the_same() -> None:
    assert Known(MADE).value(("stages", 1, "width")) == 3.0
    other = Whole("w", (Stage(1, ()), Stage(1, (), 3.5)), Jack("b", 1.0, 1.0))
    assert Known(other).value(("stages", 1, "width")) is None


def test_arithmetic_forgets_the_field() -> None:
    for reckoned in (J1.load + 0.0, J1.load / J1.area, -J1.load, float(J1.load), abs(J1.load)):
        assert not isinstance(reckoned, CertifiedNumber)
    assert not isinstance(beside(10.0, 5.0, "pressure", "load"), CertifiedNumber)
    assert beside(10.0, 5.0, "pressure", "load") == 5.0


def test_another_process_gets_the_same_paths() -> None:
    there = pickle.loads(pickle.dumps(MADE))
    assert there == MADE
    assert there.stages[0].jacks[0].load.path == (*AT, "load")


def test_a_copy_is_plain_numbers() -> None:
    assert type(asdict(MADE)["stages"][0]["jacks"][0]["load"]) is float
    assert type(copy.deepcopy(J1.load)) is float
    assert json.dumps(asdict(MADE)["best"]) == json.dumps(
        {"jack": "best", "load": 1.0, "area": 1.0, "up": [], "steps": []}
    )
    # counts and yes or no stay what they are
    assert (MADE.count, MADE.inside) == (7, True)
    assert type(MADE.inside) is bool


def printed(path: tuple[str | int, ...], value: float, name: str = "load") -> PrintedNumber:
    return PrintedNumber(path, value, 0.5, name)


@pytest.mark.parametrize(("value", "kept"), [(10.5, True), (9.5, True), (10.51, False)])
def test_a_printed_number_may_be_off_by_half_of_its_last_digit(value: float, kept: bool) -> None:
    whole: Any = MADE
    numbers = [printed((*AT, "load"), value), printed(("best", "load"), 1.0)]
    if kept:
        assert confirm(whole, numbers) == 2
        return
    with pytest.raises(CertificateRefused) as refused:
        confirm(whole, numbers)
    assert str(refused.value) == (
        "'stages 1 jacks J1 load' would be printed as 10.51, recomputed it is 10"
    )


def test_a_fraction_on_a_tape_is_the_number_beside_it() -> None:
    whole: Any = MADE
    assert confirm(whole, [printed((*AT, "load", "fraction"), 10.4)]) == 1
    with pytest.raises(CertificateRefused):
        confirm(whole, [printed((*AT, "load", "fraction"), 10.6)])


def test_what_is_not_a_number_or_stands_elsewhere_is_refused() -> None:
    whole: Any = MADE
    wrong = [
        printed((*AT, "load"), float("nan")),
        printed((*AT, "load"), 10.0, "area"),
        printed((), 10.0),
        printed((*AT, "length"), 10.0, "length"),
    ]
    with pytest.raises(CertificateRefused) as refused:
        confirm(whole, wrong)
    assert str(refused.value).splitlines() == [
        "'stages 1 jacks J1 load' would be printed as nan, recomputed it is 10",
        "'stages 1 jacks J1 load' would be printed as area",
        "'load' would be printed, but nothing recomputes it",
        "'stages 1 jacks J1 length' would be printed, but nothing recomputes it",
    ]
