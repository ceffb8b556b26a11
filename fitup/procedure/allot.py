"""Which temporary plates stand at which seat, where the store is short: all seats together.

A small choice in whole numbers: one stack up and one down for each seat, so that no moment has
more plates out than the store holds. It is solved to its end by a general solver.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitup.frames import Array
from fitup.procedure.follow import Plates

Column = tuple[Plates, ...]
#: a plate that the store lacks counts as so many that it has
_LENT = 1000.0


@dataclass(frozen=True, eq=False)
class Offer:
    """Stacks one seat may have on the way up and on the way down.

    Parameters
    ----------
    ups, downs : sequence of tuple of marks
        ``ups`` end, ``downs`` begin with the most plates.
    paired : bool
        The one down goes with the one up of the same number, and is made of its plates.
    """

    ups: Sequence[Column]
    downs: Sequence[Column]
    paired: bool = False


@dataclass(frozen=True, eq=False)
class StageMoment:
    """A moment of a stage: seats with their plates of the top, and with those of the way down.

    Parameters
    ----------
    tops, downs : frozenset of int
    use : Counter
        Plates of each mark in new packs beyond those of the old ones.
    """

    tops: frozenset[int]
    downs: frozenset[int]
    use: Counter[str]


@dataclass(frozen=True, eq=False)
class Allotted:
    """Columns up and down by seat, and the plates that the store lacks for them."""

    columns: tuple[tuple[Column, Column], ...]
    lent: Counter[str]


def allotted(
    offers: Sequence[Offer], moments: Sequence[StageMoment], store: Mapping[str, int], lend: int
) -> Allotted | None:
    """Return one stack up and down for each seat, the fewest plates, or None where none fit.

    Parameters
    ----------
    store : mapping of str to int
        Loose plates of each mark.
    lend : int
        So many more of each mark may be taken, if it cannot be done without.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    if not all(o.ups and o.downs for o in offers):
        return None
    marks = list(store)
    # one column for each offered stack, then one for each mark that may be lent
    seats, firsts = [], []
    count = 0
    for offer in offers:
        firsts.append((count, count + len(offer.ups)))
        seats.append([offer.ups, () if offer.paired else offer.downs])
        count += len(offer.ups) + (0 if offer.paired else len(offer.downs))
    rows, low, high = [], [], []
    for (up, down), (ups, downs) in zip(firsts, seats, strict=True):
        for at, own in ((up, ups), (down, downs)):
            if own:
                rows.append(_row(count + len(marks), {at + i: 1.0 for i in range(len(own))}))
                low.append(1.0)
                high.append(1.0)
    for moment in moments:
        for j, mark in enumerate(marks):
            taken = {count + j: -1.0}
            for k, ((up, down), (ups, downs)) in enumerate(zip(firsts, seats, strict=True)):
                if k in moment.tops:
                    taken |= {up + i: _held(c[-1:], mark) for i, c in enumerate(ups)}
                if k in moment.downs:
                    taken |= {down + i: _held(c[:1], mark) for i, c in enumerate(downs)}
            rows.append(_row(count + len(marks), taken))
            low.append(-np.inf)
            high.append(float(store[mark] - moment.use[mark]))
    plates = [
        float(len(c[at])) if c else 0.0
        for ups, downs in seats
        for at, own in ((-1, ups), (0, downs))
        for c in own
    ]
    most = np.concatenate([np.ones(count), np.full(len(marks), float(lend))])
    answer = milp(
        np.array([*plates, *[_LENT] * len(marks)]),
        constraints=LinearConstraint(np.array(rows), np.array(low), np.array(high)),
        integrality=np.ones(count + len(marks)),
        bounds=Bounds(np.zeros(count + len(marks)), most),
    )
    if answer.x is None:
        return None
    value = np.round(answer.x).astype(int)
    columns = []
    for (up, down), offer in zip(firsts, offers, strict=True):
        i = int(np.argmax(value[up : up + len(offer.ups)]))
        k = i if offer.paired else int(np.argmax(value[down : down + len(offer.downs)]))
        columns.append((offer.ups[i], offer.downs[k]))
    lent = {m: int(n) for m, n in zip(marks, value[count:], strict=True) if n > 0}
    return Allotted(tuple(columns), Counter(lent))


def _row(size: int, entries: Mapping[int, float]) -> Array:
    row = np.zeros(size)
    row[list(entries)] = list(entries.values())
    return row


def _held(last: Column, mark: str) -> float:
    return float(last[0].count(mark)) if last else 0.0
