"""The fewest stages, held against every order there is on small random courses."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, product

import numpy as np
import pytest

from fitup.procedure import Bounds, Course, Move, OrderFound, State, find_order

SEEDS = range(24)


def course(seed: int, groups: int = 3, levels: int = 3, crews: int = 2) -> Course:
    """Groups whose levels rise along random rows, with bounds that bite now and then."""
    rng = np.random.default_rng(seed)
    p = 5
    rows, plates, moves = [], [], []
    for g in range(groups):
        slope = rng.integers(-3, 4, p).astype(float)
        at = np.linspace(0.0, 1.0, levels + 1)[:, None]
        rows.append(at * slope)
        plates.append(np.r_[0, rng.integers(-1, 2, levels)][:, None] * np.ones((1, 1), dtype=int))
        own = []
        for a, b in combinations(range(levels + 1), 2):
            over = rng.integers(0, 2, p) * 0.5
            way = np.maximum(0.0, rows[g][b] - rows[g][a]) + over
            own.append(Move(g, a, b, way, np.array([max(0, plates[g][b, 0] - plates[g][a, 0])])))
        moves.append(tuple(own))
    bound = rng.integers(1, 5, p).astype(float)
    after: list[tuple[int, ...]] = [() for _ in range(groups)]
    if rng.random() < 0.4:
        after[-1] = (0,)
    return Course(
        groups=tuple("abcd"[:groups]),
        rows=tuple(rows),
        plates=tuple(plates),
        moves=tuple(moves),
        # the end must be a rest: bounds of rows never below the value of the goal
        at_rest=np.maximum(bound, np.sum([r[-1] for r in rows], axis=0)),
        on_way=np.maximum(bound, np.sum([r[-1] for r in rows], axis=0)) + 0.5,
        owner=np.array([-1, -1, -1, -1, 0]),
        loose=np.array([int(rng.integers(1, 3))]),
        crews=crews,
        pumps=tuple(((1,), (2,), (1, 2), (3,))[int(k)] for k in rng.integers(0, 4, groups)),
        windows=tuple(("", "", "night")[int(k)] for k in rng.integers(0, 3, groups)),
        apart=frozenset({(0, 1)}) if rng.random() < 0.3 else frozenset(),
        after=tuple(after),
        ranks=tuple(float(g) for g in range(groups)),
    )


def every_stage(c: Course, state: State) -> Iterator[tuple[Move, ...]]:
    """Every stage from a state, weighed by its definition alone."""
    goal = tuple(len(r) - 1 for r in c.rows)
    free = [
        [None, *(m for m in c.moves[g] if m.start == state[g])]
        if all(state[h] == goal[h] for h in c.after[g])
        else [None]
        for g in range(len(c.groups))
    ]
    now = sum(r[k] for r, k in zip(c.rows, state, strict=True))
    store = c.loose - sum(p[k] for p, k in zip(c.plates, state, strict=True))
    for selection in product(*free):
        chosen = tuple(m for m in selection if m is not None)
        if not 0 < len(chosen) <= c.crews or not side_by_side(c, chosen):
            continue
        way = now + sum(m.way for m in chosen)
        asked = [o == -1 or o in {m.group for m in chosen} for o in c.owner]
        if np.any((way > c.on_way)[asked]) or np.any(sum(m.peak for m in chosen) > store):
            continue
        new = c.after_move(state, chosen)
        rest = sum(r[k] for r, k in zip(c.rows, new, strict=True))
        if not np.any((rest > c.at_rest)[c.owner == -1]):
            yield chosen


def side_by_side(c: Course, chosen: tuple[Move, ...]) -> bool:
    for a, b in combinations(sorted(m.group for m in chosen), 2):
        hours = {c.windows[a], c.windows[b]} - {""}
        if len(hours) > 1 or (a, b) in c.apart:
            return False
    options = product(*(c.pumps[m.group] for m in chosen))
    return any(sum(o) == np.bitwise_or.reduce(o) for o in options)


def fewest(c: Course) -> int | None:
    """Layer by layer through all states."""
    front, seen, count = {c.start}, {c.start}, 0
    while front:
        if c.goal in front:
            return count
        front = {c.after_move(s, m) for s in front for m in every_stage(c, s)} - seen
        seen |= front
        count += 1
    return None


def followed(c: Course, outcome: OrderFound) -> bool:
    """Walk an order stage by stage: each must be one of those the definition allows."""
    state = c.start
    assert outcome.stages is not None
    for stage in outcome.stages:
        allowed = {frozenset((m.group, m.end) for m in own) for own in every_stage(c, state)}
        assert frozenset((m.group, m.end) for m in stage) in allowed
        state = c.after_move(state, stage)
    return state == c.goal


@pytest.mark.parametrize("seed", SEEDS)
def test_as_few_as_the_fewest_of_all_orders(seed: int):
    c = course(seed)
    outcome, known = find_order(c), fewest(c)
    assert outcome.closed
    if known is None:
        assert outcome.stages is None
        return
    assert outcome.stages is not None
    assert len(outcome.stages) == outcome.lower == known
    assert followed(c, outcome)


def test_the_random_courses_are_of_all_kinds():
    known = [fewest(course(seed)) for seed in SEEDS]
    assert None in known
    assert len({k for k in known if k is not None}) >= 3


@pytest.mark.parametrize("seed", SEEDS)
def test_no_bound_is_above_the_truth(seed: int):
    c = course(seed)
    known = fewest(c)
    if known is not None:
        assert Bounds(c).stages(c.start) <= known


@pytest.mark.parametrize("seed", range(12))
def test_another_order_of_groups_changes_nothing(seed: int):
    c = course(seed)
    order = np.random.default_rng(seed).permutation(len(c.groups)).tolist()
    new = {g: i for i, g in enumerate(order)}
    turned = replace(
        c,
        groups=tuple(c.groups[g] for g in order),
        rows=tuple(c.rows[g] for g in order),
        plates=tuple(c.plates[g] for g in order),
        moves=tuple(tuple(replace(m, group=new[g]) for m in c.moves[g]) for g in order),
        owner=np.array([-1 if o < 0 else new[int(o)] for o in c.owner]),
        pumps=tuple(c.pumps[g] for g in order),
        windows=tuple(c.windows[g] for g in order),
        apart=frozenset(tuple(sorted((new[a], new[b]))) for a, b in c.apart),
        after=tuple(tuple(new[h] for h in c.after[g]) for g in order),
        ranks=tuple(c.ranks[g] for g in order),
    )
    one, other = find_order(c).stages, find_order(turned).stages
    assert (one is None) == (other is None)
    assert one is None or other is None or len(one) == len(other)


@pytest.mark.parametrize("seed", range(12))
def test_a_looser_limit_never_needs_more_stages(seed: int):
    c = course(seed)
    base = find_order(c).stages
    row = seed % len(c.on_way)
    wide = np.where(np.arange(len(c.on_way)) == row, 1.0, 0.0)
    looser = [
        replace(c, on_way=c.on_way + wide, at_rest=c.at_rest + wide),
        replace(c, loose=c.loose + 1),
        replace(c, crews=c.crews + 1),
        replace(c, after=((),) * len(c.groups)),
        replace(c, windows=("",) * len(c.groups)),
    ]
    for other in looser:
        found = find_order(other).stages
        if base is not None:
            assert found is not None
            assert len(found) <= len(base)


def test_a_search_cut_short_states_its_gap():
    c = course(3, groups=4, levels=4)
    whole, cut = find_order(c), find_order(c, nodes=0)
    assert whole.stages is not None and cut.stages is not None
    assert cut.lower <= len(whole.stages) <= len(cut.stages)
    assert cut.closed == (cut.lower == len(cut.stages))
