"""Dynamic programming along the deck against brute force, and its bound against every line."""

from __future__ import annotations

import itertools
from unittest import mock

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fitup.solve import sweep as module
from fitup.solve.effort import Effort
from fitup.solve.exact import Space
from fitup.solve.line import Link, SegmentLine
from fitup.solve.sweep import solve_line

CASES = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


def random_line(seed: int, *, segments: int | None = None, choices: int = 4) -> SegmentLine:
    rng = np.random.default_rng(seed)
    count = segments or int(rng.integers(1, 6))
    spaces, own, links = [], [], []
    for _ in range(count):
        n = int(rng.integers(1, 3))
        values = [np.sort(rng.uniform(-2.0, 2.0, rng.integers(1, choices + 1))) for _ in range(n)]
        p = int(rng.integers(0, 2))
        spaces.append(
            Space(
                values,
                [np.zeros((len(v), 1), dtype=np.int64) for v in values],
                np.zeros(1, dtype=np.int64),
                rng.normal(size=(p, n)),
                rng.uniform(0.5, 2.0, p),
                np.zeros(n),
            )
        )
        m = int(rng.integers(0, 3))
        own.append((0.5 * rng.normal(size=(m, n)), rng.normal(size=m)))
    for s in range(count - 1):
        a, b = len(spaces[s].values), len(spaces[s + 1].values)
        m, p = int(rng.integers(0, 4)), int(rng.integers(0, 2))
        links.append(
            Link(
                rng.normal(size=(m, a)),
                rng.normal(size=(m, b)),
                rng.normal(size=m),
                rng.normal(size=(p, a)),
                rng.normal(size=(p, b)),
                rng.uniform(0.5, 3.0, p),
            )
        )
    return SegmentLine(spaces, own, links)


def cost(line: SegmentLine, x: list[np.ndarray]) -> float:
    total = 0.0
    for space, (M, h), own in zip(line.spaces, line.own, x, strict=True):
        if np.any(space.L @ own > space.b + 1e-10):
            return np.inf
        total += float(((M @ own - h) ** 2).sum())
    for link, before, after in zip(line.links, x[:-1], x[1:], strict=True):
        if np.any(link.P @ before + link.Q @ after > link.r + 1e-10):
            return np.inf
        total += float(((link.A @ before + link.B @ after - link.h) ** 2).sum())
    return total


def settings_of(line: SegmentLine, selections: list[np.ndarray]) -> list[np.ndarray]:
    return [
        np.array([v[k] for v, k in zip(space.values, selection, strict=True)])
        for space, selection in zip(line.spaces, selections, strict=True)
    ]


def brute(line: SegmentLine) -> float:
    """Least cost of every line there is, worked out side by side."""
    every = [np.array(list(itertools.product(*space.values))) for space in line.spaces]
    at = np.indices([len(x) for x in every]).reshape(len(every), -1)
    total, keeps = np.zeros(at.shape[1]), np.ones(at.shape[1], dtype=bool)
    for s, (space, (M, h)) in enumerate(zip(line.spaces, line.own, strict=True)):
        own = every[s]
        total += ((own @ M.T - h) ** 2).sum(axis=1)[at[s]]
        keeps &= (own @ space.L.T <= space.b + 1e-10).all(axis=1)[at[s]]
    for s, link in enumerate(line.links):
        before, after = every[s][:, None], every[s + 1][None]
        squares = ((before @ link.A.T + after @ link.B.T - link.h) ** 2).sum(axis=2)
        fits = (before @ link.P.T + after @ link.Q.T <= link.r + 1e-10).all(axis=2)
        total += squares[at[s], at[s + 1]]
        keeps &= fits[at[s], at[s + 1]]
    return float(total[keeps].min(initial=np.inf))


@CASES
@given(st.integers(0, 10**6), st.sampled_from([1, 2]), st.sampled_from([1, 3, 16]))
def test_line_finds_the_brute_force_optimum(seed: int, reach: int, fewest: int) -> None:
    line = random_line(seed)
    truth = brute(line)
    with mock.patch.multiple(module, REACH=reach, _FEWEST=fewest, _FIRST=1e-3):
        found = solve_line(line)
    if np.isinf(truth):
        assert found is None
        return
    assert found is not None
    assert found.proven
    assert found.score == pytest.approx(truth, rel=1e-9, abs=1e-9)
    assert cost(line, settings_of(line, found.selections)) == pytest.approx(
        truth, rel=1e-9, abs=1e-9
    )


@CASES
@given(st.integers(0, 10**6))
def test_the_bound_is_never_above_the_optimum(seed: int) -> None:
    line = random_line(seed)
    truth = brute(line)
    with mock.patch.multiple(module, _FEWEST=1, _FIRST=1e-4):
        found = solve_line(line, effort=Effort(0.0))
    if found is not None:
        assert found.lower <= truth * (1.0 + 1e-9) + 1e-9
        assert found.score >= truth * (1.0 - 1e-9) - 1e-9
