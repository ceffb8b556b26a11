"""The proven best line: one sweep along the deck that keeps only what the best line could use.

A setting is *dismissed* when every line through it has paid too much a little further on: when

    paid before + its own cost + what its next neighbours cost at least  >=  due after them.

``due[u]`` is what the best line pays in all before segment u: its score less the least that the
segments from u on can cost. What was paid before is known exactly, by the recursion over the
settings kept so far; what the next neighbours cost at least, all their settings being free, is a
quadratic form. Follow a line to its first dismissed setting: by the end of that setting's
neighbours, before segment u, it has paid ``due[u]``. The recursion makes a fresh start at
``due[u]`` at every segment, so the same holds of the next dismissed setting at u or beyond, and
so on. From the last such u on the line keeps to kept settings, which cost no less than the rest:
it is no better than the best line along the kept ones.

``due`` is guessed from a few settings of each segment, and put right by what a sweep keeps until
a sweep confirms it. Time and memory grow with the number of segments and no faster.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.solve.balance import Balanced, balance
from fitup.solve.effort import ENDLESS, SECOND, Effort
from fitup.solve.exact import Goal, Space, collect
from fitup.solve.forms import QuadraticForm, least_over_first, nothing, squares
from fitup.solve.line import Kept, ReducedLink, SegmentLine, best_line, least_after

#: how many of the next neighbours a setting is judged by
REACH: Final = 2
#: settings of a segment for the first guess, and how it widens
_FEWEST: Final = 30
_FIRST: Final = 1e-4
_WIDEN: Final = 1.7
#: squares so large that all settings are listed
_ENDLESS: Final = 1e6
#: most settings of a segment that are listed
_MOST: Final = 600_000
#: where a sweep did not confirm what is due, it is raised by a little more than it lacks: this
#: share of what whole plates cost a segment
_AMPLE: Final = 0.2
_CARE: Final = 1e-9
#: steps that finding a few settings of one segment may take: more, and its rows do not suit it
_LISTING: Final = 0.3 * SECOND
#: steps of a setting looked at: listed, stepped to, weighed
_SETTING: Final = 8.0


@dataclass(slots=True)
class LineResult:
    """What is known of a line.

    ``selections`` by segment cost ``score``; no line costs less than ``lower``. Where ``proven``,
    every line that costs less than was asked for goes along the ``kept`` settings, tied by
    ``ties``; there costs are less by ``moved``.
    """

    selections: list[Array]
    score: float
    lower: float
    proven: bool
    kept: list[Kept]
    ties: list[ReducedLink]
    moved: float
    sweeps: int


def solve_line(
    line: SegmentLine, *, below: float = -np.inf, effort: Effort = ENDLESS
) -> LineResult | None:
    """Find the line of least cost, or a good one and a lower bound.

    Parameters
    ----------
    line : SegmentLine
    below : float
        Keep all lines that cost less than this.
    effort : Effort
        Work after which no new sweep begins.

    Returns
    -------
    LineResult or None
        None when there is no line that keeps all limits, or none was found in time.
    """
    balanced = balance(line)
    line = balanced.line
    ties = [ReducedLink.of(link) for link in line.links]
    around = _Around(balanced)
    start = _first_guess(line, around, ties, effort)
    if start is None:
        return None
    moved = balanced.moved
    score, selections, after = start[0], start[1], start[3]
    bar = max(score, below - moved)
    before: Array | None = start[2]
    share = _AMPLE * max(0.0, score - around.least) / len(line.spaces)
    due = bar - after
    lower, sweeps, proven = around.least, 0, False
    kept: list[Kept] = []
    while not proven and not effort.over():
        swept = _sweep(line, around, ties, due, before, effort)
        if swept is None:
            break
        sweeps, kept = sweeps + 1, swept
        effort.spend(_SETTING * sum(len(k.x) for k in kept))
        found, better, _ = best_line(ties, kept)
        improved = found < score
        if improved:
            score, selections = found, better
            bar = max(score, below - moved)
        after = least_after(ties, kept)
        # a dismissed line pays what is due and then what kept settings cost; others the best
        least = float((due[1:] + after[1:]).min())
        lower = max(lower, min(score, least))
        proven = bool(least >= bar - _CARE * max(1.0, abs(score)))
        need = np.where(np.isfinite(after), bar - after, due)
        due = need + share if improved else np.where(need > due, need + share, due)
        due[-1], before = bar, None
    lower = min(lower, score) + moved
    return LineResult(selections, score + moved, lower, proven, kept, ties, moved, sweeps)


def near_selections(line: SegmentLine, fewest: int) -> list[Array] | None:
    """Return so many settings of each segment about the continuous optimum, selections (k, n) each.

    None where a segment has too many to list.

    Parameters
    ----------
    line : SegmentLine
    fewest : int
        A segment with fewer settings gives all it has.
    """
    balanced = balance(line)
    selections = []
    for s, (R, z) in enumerate(_Around(balanced).near):
        space = balanced.line.spaces[s]
        some, _ = _nearest(balanced.line, s, space, R, z, fewest, _FIRST, ENDLESS)
        if some is None:
            return None
        selections.append(some.selection)
    return selections


class _Around:
    """Least costs of the neighbours of every segment, all their settings being free.

    Everything twice: of the squares as they are, and with what binds along the whole line folded
    in. The second bounds better where neighbours are bound together, the first where they end.
    """

    def __init__(self, balanced: Balanced) -> None:
        count = len(balanced.line.spaces)
        self.own = balanced.plain[0]
        self.least = max(_least(*balanced.plain), _least(*balanced.tight))
        self.ahead: list[list[_Bound]] = [[] for _ in range(count)]
        """What the next 0, 1, ... segments cost at least."""
        self.from_here: list[list[_Bound]] = [[] for _ in range(count)]
        """The same with the segment's own cost."""
        self.from_before: list[list[_Bound]] = [[] for _ in range(count)]
        """The same with the least cost of the segment before."""
        for forms, joints in (balanced.plain, balanced.tight):
            turned = [_turned(f, len(forms[s].c)) for s, f in enumerate(joints)]
            before = _beside(forms, joints)
            after = _beside(forms[::-1], turned[::-1])[::-1]
            for s in range(count):
                for r, rest in enumerate(after[s]):
                    end = s + r + 1
                    self.ahead[s].append(_Bound(end, *rest.root()))
                    self.from_here[s].append(_Bound(end, *(forms[s] + rest).root()))
                    if s:
                        whole = before[s][1] + forms[s] + rest
                        self.from_before[s].append(_Bound(end, *whole.root()))
            if forms is balanced.plain[0]:
                wide = [(before[s][-1] + forms[s] + after[s][-1]).root() for s in range(count)]
        self.near = [(R, R @ x) for (R, _, _), x in zip(wide, balanced.x, strict=True)]
        """Where to look first: about the continuous optimum, in the metric of the squares."""


@dataclass(frozen=True, eq=False)
class _Bound:
    """A lower bound ``base + |R x - z|^2`` on costs of segments before ``end``."""

    end: int
    R: Array
    z: Array
    base: float

    def at(self, x: Array) -> Array:
        """Return the bound at settings x (k, n)."""
        return np.asarray(((x @ self.R.T - self.z) ** 2).sum(axis=1) + self.base)


def _turned(form: QuadraticForm, n: int) -> QuadraticForm:
    """Return a form in two segments' settings with the second segment's first."""
    order = np.r_[np.arange(n, len(form.c)), np.arange(n)]
    return QuadraticForm(form.H[np.ix_(order, order)], form.c[order], form.k)


def _beside(
    own: Sequence[QuadraticForm], links: Sequence[QuadraticForm]
) -> list[list[QuadraticForm]]:
    """Return, for every segment, the least cost of its 0, 1, ... nearest segments before."""
    result = [[nothing(len(own[0].c))]]
    for s, link in enumerate(links):
        n, m = len(own[s].c), len(own[s + 1].c)
        nearest = [nearer + own[s] for nearer in result[s][:REACH]]
        result.append([nothing(m), *(least_over_first(f.wider(m) + link, n) for f in nearest)])
    return result


def _least(own: Sequence[QuadraticForm], links: Sequence[QuadraticForm]) -> float:
    """Return the least cost of the whole line, settings of any size."""
    before = nothing(len(own[0].c))
    for s, link in enumerate(links):
        before = least_over_first((before + own[s]).wider(len(own[s + 1].c)) + link, len(own[s].c))
    return (before + own[-1]).root()[2]


def _sweep(
    line: SegmentLine,
    around: _Around,
    ties: Sequence[ReducedLink],
    due: Array,
    before: Array | None,
    effort: Effort,
) -> list[Kept] | None:
    """Return what is not dismissed, segment by segment; None when that is too much to list.

    The first guess of what is due comes with what it paid ``before`` each segment: what the sweep
    pays less than that is taken off ``due``, in place.
    """
    kept: list[Kept] = []
    paid, value, less = [0.0], np.zeros(0), 0.0
    room = 0.0 if before is None else float(np.median(due[1:] - before[1:]))
    for s in range(len(line.spaces)):
        if before is not None and before[s] - paid[s] - room > less:
            due[s + 1 :] -= before[s] - paid[s] - room - less
            less = float(before[s] - paid[s]) - room
        listed = _candidates(line, around, s, paid, due)
        if listed is None:
            return None
        if s == 0:
            value = listed.alone
        else:
            effort.spend(_SETTING * (len(listed.x) + len(value)))
            value = ties[s - 1].step(kept[-1], value, listed)[0]
            value = np.minimum(value, due[s] + listed.alone)
        stays = np.isfinite(value)
        for bound in around.ahead[s]:
            stays &= value + bound.at(listed.x) < due[bound.end]
        kept.append(listed.only(stays))
        value = value[stays]
        paid.append(min(float(value.min(initial=np.inf)), float(due[s + 1])))
    return kept


def _candidates(
    line: SegmentLine, around: _Around, s: int, paid: Sequence[float], due: Array
) -> Kept | None:
    """Return the settings of a segment that quadratic forms alone do not dismiss.

    A line reaches the segment having paid at least ``paid[s]``; or, before the segment behind,
    ``paid[s - 1]`` and what that segment costs; or what was due where it was dismissed.
    """
    sizes = [float(due[b.end]) - paid[s] - b.base for b in around.from_here[s]]
    volumes = [
        _volume(line.spaces[s], b.R, size)
        for b, size in zip(around.from_here[s], sizes, strict=True)
    ]
    at = int(np.argmin(volumes))
    tightest = around.from_here[s][at]
    kept = list_settings(line, s, tightest.R, tightest.z, sizes[at])
    if kept is None:
        return None
    stays = np.ones(len(kept.x), dtype=np.bool_)
    for k, bound in enumerate(around.from_here[s]):
        here = bound.at(kept.x)
        stays &= paid[s] + here < due[bound.end]
        if s:
            longer = paid[s - 1] + around.from_before[s][k].at(kept.x)
            stays &= np.minimum(longer, due[s] + here) < due[bound.end]
    return kept.only(stays)


def list_settings(
    line: SegmentLine,
    s: int,
    R: Array,
    z: Array,
    size: float,
    space: Space | None = None,
    effort: Effort = ENDLESS,
) -> Kept | None:
    """Return every setting of a segment with |R x - z|^2 <= size; None when they are too many.

    Parameters
    ----------
    line : SegmentLine
    s : int
        Number of the segment.
    R : Array (r, n)
    z : Array (r,)
    size : float
        From 1e6 on, all settings are listed.
    space : Space, optional
        May narrow what the segment's own limits allow.
    effort : Effort

    Returns
    -------
    Kept or None
        None, too, when the effort is over.
    """
    space = line.spaces[s] if space is None else space
    if size < 0.0:
        selection = np.zeros((0, len(space.values)), dtype=np.int32)
    else:
        radius = size if size < _ENDLESS else np.inf
        listed = collect(space, Goal("squares", R, z, R, z), radius, _MOST, effort)
        if listed is None:
            return None
        selection = listed[0]
    return costed(line, s, selection)


def costed(line: SegmentLine, s: int, selection: Array) -> Kept:
    """Return settings of a segment, selections (k, n), with what each costs alone.

    Parameters
    ----------
    line : SegmentLine
    s : int
        Number of the segment.
    selection : Array (k, n)
    """
    x = np.stack([v[selection[:, k]] for k, v in enumerate(line.spaces[s].values)], axis=1)
    M, h = line.own[s]
    alone = ((x @ M.T - h) ** 2).sum(axis=1)
    if line.prices is not None:
        for k, price in enumerate(line.prices[s]):
            alone = alone + price[selection[:, k]]
    return Kept(selection, x, alone)


def _volume(space: Space, R: Array, size: float) -> float:
    """Return about how much of the settings an ellipsoid leaves, to choose which one to list."""
    spans = np.array([v[-1] - v[0] if len(v) else 0.0 for v in space.values])
    width = float(np.linalg.norm(spans)) or 1.0
    axes = np.linalg.svd(R, compute_uv=False)
    lengths = np.minimum(2.0 * np.sqrt(max(size, 0.0)) / axes, width)
    return float(np.prod(lengths)) * width ** (len(spans) - len(axes))


def _first_guess(
    line: SegmentLine, around: _Around, ties: Sequence[ReducedLink], effort: Effort
) -> tuple[float, list[Array], Array, Array] | None:
    """Return a good line with the least costs before each segment and from each on.

    Some settings near the continuous optimum of each segment and its neighbours, the best line
    along them, then some more near what its neighbours on that line ask of each segment.
    """
    sizes = [_FIRST] * len(line.spaces)
    fewest = _FEWEST
    while True:
        kept = []
        for s, (R, z) in enumerate(around.near):
            some, sizes[s] = _nearest(line, s, line.spaces[s], R, z, fewest, sizes[s], effort)
            if some is None or not len(some.x):
                return None
            kept.append(some)
        effort.spend(_SETTING * sum(len(k.x) for k in kept))
        score, selections, before = best_line(ties, kept)
        if np.isfinite(score):
            break
        if min(sizes) >= _ENDLESS or effort.over():
            return None
        fewest *= 2
        sizes = [size * _WIDEN for size in sizes]
    while not effort.over():
        kept = [_between(line, around, s, selections, own, effort) for s, own in enumerate(kept)]
        effort.spend(_SETTING * sum(len(k.x) for k in kept))
        better, others, before = best_line(ties, kept)
        if better > score - _CARE * max(1.0, abs(score)):
            break
        score, selections = better, others
    return score, selections, before, least_after(ties, kept)


def _nearest(
    line: SegmentLine,
    s: int,
    space: Space,
    R: Array,
    z: Array,
    fewest: int,
    size: float,
    effort: Effort,
) -> tuple[Kept | None, float]:
    """Return at least so many settings about the centre of a form, and how far they reach.

    None where that takes more than a small share of a search: the segment's rows do not suit it.
    """
    own = effort.part(_LISTING)
    some = list_settings(line, s, R, z, size, space, own)
    while some is not None and len(some.x) < fewest and size < _ENDLESS:
        size *= _WIDEN
        some = list_settings(line, s, R, z, size, space, own)
    return some, size


def _between(
    line: SegmentLine,
    around: _Around,
    s: int,
    selections: Sequence[Array],
    kept: Kept,
    effort: Effort,
) -> Kept:
    """Add settings that suit a segment where its neighbours stand on a line."""
    space = line.spaces[s]
    rows, rights, form = [space.L], [space.b], around.own[s]
    if s > 0:
        link, x = line.links[s - 1], _settings(line.spaces[s - 1], selections[s - 1])
        form = form + squares(link.B, link.h - link.A @ x)
        rows.append(link.Q)
        rights.append(link.r - link.P @ x)
    if s + 1 < len(line.spaces):
        link, x = line.links[s], _settings(line.spaces[s + 1], selections[s + 1])
        form = form + squares(link.A, link.h - link.B @ x)
        rows.append(link.P)
        rights.append(link.r - link.Q @ x)
    R, z, _ = form.root()
    L, b = np.vstack(rows), np.concatenate(rights)
    inside = replace(space, L=L, b=b)
    more, _ = _nearest(line, s, inside, R, z, _FEWEST // 2, _FIRST, effort)
    if more is None:
        return kept
    selection, first = np.unique(
        np.vstack([kept.selection, more.selection]), axis=0, return_index=True
    )
    x, alone = np.vstack([kept.x, more.x])[first], np.r_[kept.alone, more.alone][first]
    return Kept(selection, x, alone)


def _settings(space: Space, selection: Array) -> Array:
    return np.array([v[k] for v, k in zip(space.values, selection, strict=True)])
