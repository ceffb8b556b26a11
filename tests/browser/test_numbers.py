"""The page rounds and words every number as the program does, ties included."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fitup.model import QUANTITIES
from fitup.pages.review_facts import Unit
from fitup.pages.wording import wording_of
from fitup.sheets.numbers import rounded
from fitup.sheets.words import reaction_words, shown_for, value_words
from fitup.units import METRIC, US, DisplayUnits, Shown


@pytest.fixture
def page(opened: Callable[..., Any], small_review: Path) -> Any:
    return opened(small_review)


def shown_of(units: DisplayUnits) -> list[Shown]:
    names = ("move", "plate", "force", "slope", "pressure", "temperature", "moment", "stress")
    return [getattr(units, name) for name in names]


def values_of(shown: Shown) -> list[float]:
    """Random sizes, halves of the last digit as nearly as a double can say them, and noughts."""
    rng = np.random.default_rng(5)
    sizes = rng.normal(0.0, 1.0, 60) * 10.0 ** rng.integers(-3, 4, 60)
    halves = [(k + 0.5) * 10.0**-shown.decimals for k in range(-30, 30)]
    return [shown.back(float(v)) for v in (*sizes, *halves, 0.0)]


@pytest.mark.parametrize("units", [METRIC, US], ids=["metric", "US"])
def test_every_unit_is_rounded_as_by_the_program(page: Any, units: DisplayUnits):
    for shown in shown_of(units):
        values = values_of(shown)
        said = page.evaluate(
            "([unit, values]) => values.map((v) => shownNumber(unit, v))",
            [asdict(Unit.of(shown)), values],
        )
        assert said == [shown.number(v) for v in values], shown


def test_halves_go_to_the_even_digit_as_python_has_it(page: Any):
    exact = [(k + 0.5) / 4.0 for k in range(-40, 40)]
    for places in (0, 1, 2):
        said = page.evaluate(f"(v) => v.map((x) => roundHalf(x, {places}))", exact)
        assert said == [round(v, places) + 0.0 for v in exact]


@pytest.mark.parametrize("units", [METRIC, US], ids=["metric", "US"])
def test_values_are_said_as_on_paper(page: Any, units: DisplayUnits):
    for quantity in QUANTITIES:
        shown = shown_for(quantity, units)
        for target in (0.0, shown.back(1.5)):
            values = values_of(shown)
            said = page.evaluate(
                "([w, unit, values]) => values.map((v) => wordedValue(w, unit, v))",
                [asdict(wording_of(quantity, units, target)), asdict(Unit.of(shown)), values],
            )
            assert said == [value_words(quantity, v, units, target).words for v in values]


def test_reactions_are_said_as_on_paper(page: Any):
    values = values_of(METRIC.force)
    said = page.evaluate(
        "([unit, values]) => values.map((v) => reactionText(unit, v))",
        [asdict(Unit.of(METRIC.force)), values],
    )
    assert said == [reaction_words(rounded(v, METRIC.force)) for v in values]
