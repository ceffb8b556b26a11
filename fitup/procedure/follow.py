"""Follow-up plates: what stands on a pack while its seat is on the jack, never far behind the load.

At every reading the plates may not be further from the load than the follow-up distance when the
next step ends, and must leave room to slide in (on the way up) or not to be caught by the deck
coming down. So each reading has a band of heights, and the plates are whole ones from the store.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations_with_replacement, pairwise

#: plates by mark that stand on or beside a pack
Plates = tuple[str, ...]
_ROUND = 1e-9
#: dead ends after which a growing stack is given up
_TRIES = 4000
#: stacks of one reading from which others are grown, the fewest plates first
_KEPT = 80


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


def growing(
    bands: Sequence[tuple[float, float]],
    thickness: Mapping[str, float],
    store: Mapping[str, int],
) -> tuple[Plates, ...] | None:
    """Return stacks for every band to which plates are only added from one to the next.

    Depth first, the fewest and thickest plates first; what failed is remembered. Read backwards it
    is a stack from which plates are only taken away.

    Parameters
    ----------
    bands : sequence of (float, float)
        Least and greatest height of the stack at each reading [m].
    thickness : mapping of str to float
        Of a plate of each mark [m].
    store : mapping of str to int
        Plates of each mark that may be used.

    Returns
    -------
    tuple of tuple of marks, or None where no whole plates fit
    """
    more = _additions(thickness, store)
    failed: set[tuple[int, Plates]] = set()

    def grown(i: int, marks: Plates) -> tuple[Plates, ...] | None:
        if i == len(bands):
            return ()
        if (i, marks) in failed or len(failed) > _TRIES:
            return None
        for stack in _larger(marks, more, bands[i], thickness, store):
            rest = grown(i + 1, stack)
            if rest is not None:
                return (stack, *rest)
        failed.add((i, marks))
        return None

    return grown(0, ())


def ways(
    bands: Sequence[tuple[float, float]],
    thickness: Mapping[str, float],
    store: Mapping[str, int],
) -> list[tuple[Plates, ...]]:
    """Return one growing stack for every last stack that can be reached, the fewest plates first.

    A last stack that holds all plates of another is left out. Of each reading the stacks of fewest
    plates are followed further, so that where many thin plates would do some may be missed.

    Parameters
    ----------
    bands : sequence of (float, float)
        Least and greatest height of the stack at each reading [m].
    thickness : mapping of str to float
        Of a plate of each mark [m].
    store : mapping of str to int
        Plates of each mark that may be used.

    Returns
    -------
    list of tuple of marks
        In each, a stack for every band; empty where no whole plates fit.
    """
    more = _additions(thickness, store)
    front: dict[Plates, tuple[Plates, ...]] = {(): ()}
    for band in bands:
        grown: dict[Plates, tuple[Plates, ...]] = {}
        for marks, way in front.items():
            for stack in _larger(marks, more, band, thickness, store):
                grown.setdefault(stack, (*way, stack))
        front = {m: grown[m] for m in sorted(grown, key=lambda m: (len(m), m))[:_KEPT]}
    found: list[tuple[Plates, ...]] = []
    for marks, way in front.items():
        if not any(_holds(marks, other[-1]) for other in found if other):
            found.append(way)
    return found


def _additions(thickness: Mapping[str, float], store: Mapping[str, int]) -> list[Plates]:
    """Return what may be added to a stack at one reading: up to two plates, thick ones first."""
    order = sorted(thickness, key=lambda m: (-thickness[m], m))
    marks = [m for m in order if store[m] > 0]
    return [added for size in range(3) for added in combinations_with_replacement(marks, size)]


def _larger(
    marks: Plates,
    more: Sequence[Plates],
    band: tuple[float, float],
    thickness: Mapping[str, float],
    store: Mapping[str, int],
) -> Iterator[Plates]:
    """Yield stacks with more plates whose height is in a band."""
    low, high = band
    for added in more:
        stack = tuple(sorted((*marks, *added)))
        height = sum(thickness[m] for m in stack)
        # no plates at all are in nobody's way
        fits = low - _ROUND <= height <= (high + _ROUND if stack else height)
        if fits and all(stack.count(m) <= store[m] for m in added):
            yield stack


def _holds(marks: Plates, others: Plates) -> bool:
    return all(marks.count(m) >= others.count(m) for m in set(others))
