"""Follow-up plates: what stands on a pack while its seat is on the jack, never far behind the load.

At every reading the plates may not be further from the load than the follow-up distance when the
next step ends, and must leave room to slide in (on the way up) or not to be caught by the deck
coming down. So each reading has a band of heights, and the plates are whole ones from the store.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations_with_replacement, pairwise

#: most temporary plates in a stack
MOST = 3
_ROUND = 1e-9
#: dead ends after which a growing stack is given up
_TRIES = 4000


@dataclass(frozen=True, slots=True)
class Stack:
    """Temporary plates by mark, and their height [m]."""

    height: float
    marks: tuple[str, ...]


def stacks(thickness: Mapping[str, float], store: Mapping[str, int]) -> tuple[Stack, ...]:
    """Return every stack of up to three plates the store could give, the empty one first."""
    marks = sorted((m for m in thickness if store[m] > 0), key=lambda m: (-thickness[m], m))
    # a stack asks for no more than three of a mark
    return _stacks(tuple((m, thickness[m], min(store[m], MOST)) for m in marks))


@lru_cache(maxsize=256)
def _stacks(plates: tuple[tuple[str, float, int], ...]) -> tuple[Stack, ...]:
    marks = [m for m, _, _ in plates]
    thickness, store = {m: t for m, t, _ in plates}, {m: n for m, _, n in plates}
    found = [Stack(0.0, ())]
    for size in range(1, MOST + 1):
        for chosen in combinations_with_replacement(marks, size):
            if all(chosen.count(m) <= store[m] for m in set(chosen)):
                found.append(Stack(sum(thickness[m] for m in chosen), chosen))
    return tuple(found)


def rising(gaps: Sequence[float], follow: float, slide: float) -> list[tuple[float, float]]:
    """Return the band of heights for each reading on the way up; the last stays till the top.

    Parameters
    ----------
    gaps : sequence of float
        Room over the old pack after each increment [m].
    """
    bands = [(after - follow, now - slide) for now, after in pairwise(gaps)]
    return [*bands, (gaps[-1] - follow, gaps[-1] - slide)]


def falling(gaps: Sequence[float], follow: float, slide: float) -> list[tuple[float, float]]:
    """Return the band of heights before each increment down.

    Parameters
    ----------
    gaps : sequence of float
        Room over the new pack in the raised state and after each increment [m].
    """
    return [(now - follow, after - slide) for now, after in pairwise(gaps)]


def choose(
    bands: Sequence[tuple[float, float]], offered: Sequence[Stack]
) -> tuple[tuple[str, ...], ...] | None:
    """Return plates for every band, changing as few as can be from one to the next.

    Dynamic programming along the readings: plates handled, then plates used, decide.

    Returns
    -------
    tuple of tuple of marks, or None where no whole plates fit a band
    """
    costs: dict[int, tuple[tuple[int, int], tuple[int, ...]]] = {-1: ((0, 0), ())}
    for low, high in bands:
        grown: dict[int, tuple[tuple[int, int], tuple[int, ...]]] = {}
        fitting = _fitting(low, high, offered)
        for k in fitting:
            new = Counter(offered[k].marks)
            for before, ((handled, used), path) in costs.items():
                old = Counter(offered[before].marks) if before >= 0 else Counter()
                cost = (
                    handled + (new - old).total() + (old - new).total(),
                    used + new.total(),
                )
                if k not in grown or (cost, path) < (grown[k][0], grown[k][1][:-1]):
                    grown[k] = (cost, (*path, k))
        costs = grown
    if not costs:
        return None
    _, path = min(costs.values())
    return tuple(offered[k].marks for k in path)


def _fitting(low: float, high: float, offered: Sequence[Stack]) -> list[int]:
    """Return the stacks inside a band; where none is needed, only the empty one."""
    if low <= _ROUND:
        return [0]
    inside = [k for k, s in enumerate(offered) if low - _ROUND <= s.height <= high + _ROUND]
    # few plates first, tall ones first: the rest would only slow the choice down
    return sorted(inside, key=lambda k: (len(offered[k].marks), -offered[k].height))[:12]


def growing(
    bands: Sequence[tuple[float, float]],
    thickness: Mapping[str, float],
    store: Mapping[str, int],
) -> tuple[tuple[str, ...], ...] | None:
    """Return stacks for every band to which plates are only added from one to the next.

    Depth first, the fewest and thickest plates first; what failed is remembered. Read backwards it
    is a stack from which plates are only taken away.

    Returns
    -------
    tuple of tuple of marks, or None where no whole plates fit
    """
    order = sorted(thickness, key=lambda m: (-thickness[m], m))
    more = [
        added
        for size in range(3)
        for added in combinations_with_replacement([m for m in order if store[m] > 0], size)
    ]
    failed: set[tuple[int, tuple[str, ...]]] = set()

    def grown(i: int, marks: tuple[str, ...]) -> tuple[tuple[str, ...], ...] | None:
        if i == len(bands):
            return ()
        if (i, marks) in failed or len(failed) > _TRIES:
            return None
        low, high = bands[i]
        for added in more:
            stack = tuple(sorted((*marks, *added)))
            height = sum(thickness[m] for m in stack)
            # no plates at all are in nobody's way
            fits = low - _ROUND <= height <= (high + _ROUND if stack else height)
            if fits and all(stack.count(m) <= store[m] for m in added):
                rest = grown(i + 1, stack)
                if rest is not None:
                    return (stack, *rest)
        failed.add((i, marks))
        return None

    return grown(0, ())
