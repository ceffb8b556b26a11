"""What may have gone wrong in the survey of a segment, each as changed coordinates to be tried."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain, combinations, permutations
from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from fitup.errors import SurveyRefused
from fitup.frames import Array
from fitup.survey.columns import UNIT_WORDS
from fitup.survey.pose import fit_pose, require_three
from fitup.units import FACTORS

AXES: Final = ("easting", "northing", "height")
#: standard uncertainty of a coordinate that is set free [m]: as good as not observed
FREE: Final = 1e3
#: three-cycles of labels are tried up to this many points
MOST_FOR_CYCLES: Final = 12
#: mistakes at one or two points are looked for among this many that are furthest off
MOST_SUSPECTS: Final = 20


@dataclass(frozen=True, eq=False)
class Observed:
    """A segment's points as surveyed: design, surveyed and uncertainty are (k, 3) [m].

    Where the points are not independent, ``covariance`` (3 k, 3 k) says how [m2]. Where the
    coordinates were brought to the reference temperature, ``reduced`` (k, 3) was taken off [m]:
    of a point under another's name it was that of the other.
    """

    segment: str
    ids: tuple[str, ...]
    design: Array
    surveyed: Array
    u: Array
    covariance: Array | None = None
    reduced: Array | None = None

    @property
    def off(self) -> Array:
        """What was taken off the coordinates (k, 3) [m]."""
        return np.zeros(self.surveyed.shape) if self.reduced is None else self.reduced

    @property
    def listed(self) -> Array:
        """The coordinates as they were listed (k, 3) [m]."""
        there: Array = self.surveyed + self.off
        return there

    def relabelled(self, order: Sequence[int]) -> Observed:
        """Return the surveyed points under other names: those of the places in ``order``."""
        rows = _coordinates(order)
        return replace(
            self,
            surveyed=self.listed[list(order)] - self.off,
            u=self.u[list(order)],
            covariance=self._block(rows),
        )

    def only(self, kept: Sequence[int]) -> Observed:
        """Return some of the points."""
        rows = list(kept)
        return replace(
            self,
            ids=tuple(self.ids[i] for i in kept),
            design=self.design[rows],
            surveyed=self.surveyed[rows],
            u=self.u[rows],
            covariance=self._block(_coordinates(kept)),
            reduced=None if self.reduced is None else self.reduced[rows],
        )

    def with_axes(self, order: Sequence[int], sign: Array) -> Observed:
        """Return the surveyed points with their axes in another order and of another sense.

        Parameters
        ----------
        order : sequence of int
            For each axis of the result, the surveyed axis it is taken from.
        sign : Array (3,)
            1 or -1 for each axis of the result.
        """
        rows = 3 * np.arange(len(self.ids))[:, None] + np.array(order)
        block = self._block(rows.ravel())
        if block is not None:
            signs = np.tile(sign, len(self.ids))
            block = block * signs * signs[:, None]
        surveyed = self.listed[:, list(order)] * sign - self.off
        return replace(self, surveyed=surveyed, u=self.u[:, list(order)], covariance=block)

    def released(self, point: int, axis: int, value: float) -> Observed:
        """Return the points with one coordinate given up: a value stands in, without weight.

        Parameters
        ----------
        point : int
            Place among the points.
        axis : int
            0, 1 or 2 for easting, northing or height.
        value : float
            What stands in, with the uncertainty ``FREE`` [m].
        """
        surveyed, u = self.surveyed.copy(), self.u.copy()
        surveyed[point, axis], u[point, axis] = value, FREE
        covariance = None if self.covariance is None else self.covariance.copy()
        if covariance is not None:
            own = 3 * point + axis
            covariance[own], covariance[:, own] = 0.0, 0.0
            covariance[own, own] = FREE**2
        return replace(self, surveyed=surveyed, u=u, covariance=covariance)

    def _block(self, rows: Array) -> Array | None:
        return None if self.covariance is None else self.covariance[np.ix_(rows, rows)]


def _coordinates(points: Sequence[int]) -> Array:
    """Return the places of all coordinates of some points."""
    return (3 * np.array(points, dtype=int)[:, None] + np.arange(3)).ravel()


@dataclass(frozen=True, eq=False)
class Hypothesis:
    """What might have happened: ``if {what} ...; {do}``."""

    what: str
    do: str
    observed: Observed
    released: int = 0
    """How many observations it gives up."""


def families(observed: Observed, others: Sequence[Observed]) -> Iterator[Iterator[Hypothesis]]:
    """Yield families of hypotheses, those that give up the fewest observations first.

    Parameters
    ----------
    observed : Observed
        Segment that the hypotheses are about.
    others : sequence of Observed
        Segments that its points may have been exchanged with, or taken for.
    """
    yield chain(
        _exchanged(observed),
        _exchanged_across(observed, others),
        _axes(observed),
        _units(observed),
        _other_segment(observed, others),
    )
    yield _cycled(observed)
    yield _unit_of_one(observed)
    yield _one_height(observed)
    yield _one_left_out(observed)


def _suspects(o: Observed) -> list[int]:
    """Indices of the points that differ most from the usual deviation, in the order of the file."""
    deviation = o.surveyed - o.design
    off = np.abs(deviation - np.median(deviation, axis=0)).max(axis=1)
    return sorted(np.argsort(-off, kind="stable")[:MOST_SUSPECTS].tolist())


def _exchanged(o: Observed) -> Iterator[Hypothesis]:
    for i, j in combinations(_suspects(o), 2):
        order = list(range(len(o.ids)))
        order[i], order[j] = j, i
        yield Hypothesis(
            f"targets {o.ids[i]} and {o.ids[j]} are exchanged",
            "correct the list, or exclude both points in job.toml [exclude]",
            o.relabelled(order),
        )


def _exchanged_across(o: Observed, others: Sequence[Observed]) -> Iterator[Hypothesis]:
    """Exchange a suspect with the point of another segment that was found where it should be."""
    usual = np.median(o.surveyed - o.design, axis=0)
    for i in _suspects(o):
        for other in others:
            there = other.listed - o.off[i]
            j = int(np.linalg.norm(there - o.design[i] - usual, axis=1).argmin())
            surveyed = o.surveyed.copy()
            surveyed[i] = there[j]
            names = " and ".join(sorted((o.ids[i], other.ids[j])))
            yield Hypothesis(
                f"targets {names}, of two segments, are exchanged",
                "correct the list, or exclude both points in job.toml [exclude]",
                replace(o, surveyed=surveyed),
            )


def _cycled(o: Observed) -> Iterator[Hypothesis]:
    if len(o.ids) > MOST_FOR_CYCLES:
        return
    for trio in combinations(range(len(o.ids)), 3):
        for first, second in permutations(trio[1:]):
            order = list(range(len(o.ids)))
            order[trio[0]], order[first], order[second] = first, second, trio[0]
            a, b, c = o.ids[trio[0]], o.ids[first], o.ids[second]
            yield Hypothesis(
                f"the targets listed as {b}, {c}, {a} are really {a}, {b}, {c}",
                "correct the list, or exclude the three points in job.toml [exclude]",
                o.relabelled(order),
            )


def _axes(o: Observed) -> Iterator[Hypothesis]:
    yield Hypothesis(
        "easting and northing are exchanged",
        "correct the header of the list, or its order in job.toml",
        o.with_axes([1, 0, 2], np.ones(3)),
    )
    for axis, word in enumerate(AXES):
        sign = np.ones(3)
        sign[axis] = -1.0
        yield Hypothesis(
            f"the {word}s run the wrong way (mirrored)",
            "correct their signs in the list",
            o.with_axes([0, 1, 2], sign),
        )


def _ratios() -> Iterator[tuple[str, str, float]]:
    lengths = FACTORS["length"]
    for read, meant in permutations(lengths, 2):
        yield read, meant, lengths[meant] / lengths[read]


def _units(o: Observed) -> Iterator[Hypothesis]:
    """Try another unit of all coordinates or of the heights; uncertainties may have had it too.

    Uncertainties of a network come from the same readings and have the unit of its coordinates.
    """
    for read, meant, ratio in _ratios():
        for what, scale in (
            ("coordinates", np.full(3, ratio)),
            ("heights", np.array([1.0, 1.0, ratio])),
        ):
            # two kinds of foot differ by millionths: heights alone cannot show which it was
            if what == "heights" and abs(ratio - 1.0) < 0.1:
                continue
            in_unit = replace(o, surveyed=o.listed * scale - o.off)
            both = np.tile(scale, len(o.ids))
            block = None if o.covariance is None else o.covariance * both * both[:, None]
            for other in (in_unit, replace(in_unit, u=o.u * scale, covariance=block)):
                if other is in_unit and block is not None:
                    continue
                yield Hypothesis(
                    f"the unit of the {what} is {UNIT_WORDS[meant]}, not {UNIT_WORDS[read]},",
                    "correct the unit in the header of the list or in job.toml",
                    other,
                )


def _other_segment(o: Observed, others: Sequence[Observed]) -> Iterator[Hypothesis]:
    """Each surveyed point taken for the nearest design point of one other segment."""
    for other in others:
        if len(other.ids) < len(o.ids):
            continue
        nearest = cKDTree(other.design).query(o.surveyed)[1]
        if len(set(nearest.tolist())) == len(o.ids):
            yield Hypothesis(
                f"these are the targets of segment {other.segment}",
                "correct the point names in the list",
                replace(
                    o,
                    design=other.design[nearest],
                    surveyed=o.listed - other.off[nearest],
                    reduced=other.off[nearest],
                ),
            )


def _set_free(o: Observed, point: int, axis: int) -> Observed:
    """Give up one coordinate: design plus the usual deviation stands in, without weight."""
    rest = np.arange(len(o.ids)) != point
    usual = float(np.median((o.surveyed - o.design)[rest, axis]))
    return o.released(point, axis, float(o.design[point, axis]) + usual)


def _predicted(o: Observed, point: int, axis: int) -> float | None:
    """Where the other coordinates put one coordinate [m]."""
    free = _set_free(o, point, axis)
    try:
        pose = fit_pose(free.segment, free.ids, free.design, free.surveyed, free.u, free.covariance)
    except SurveyRefused:
        return None
    return float(pose.design2site.apply(o.design)[point, axis])


def _unit_of_one(o: Observed) -> Iterator[Hypothesis]:
    for point in _suspects(o):
        name = o.ids[point]
        for axis, word in enumerate(AXES):
            there, found = _predicted(o, point, axis), float(o.surveyed[point, axis])
            if there is None or abs(there) < 1.0:
                continue
            for read, meant, ratio in _ratios():
                # a first sieve; the tests decide
                if abs(found * ratio - there) > 20.0 * o.u[point, axis]:
                    continue
                # two kinds of foot differ by millionths: nobody mixes them in one number
                if abs(found * ratio - found) < 0.1 * abs(found):
                    continue
                surveyed = o.surveyed.copy()
                surveyed[point, axis] = found * ratio
                yield Hypothesis(
                    f"the unit of the {word} of {name} is {UNIT_WORDS[meant]}, not "
                    f"{UNIT_WORDS[read]},",
                    "correct this one number in the list",
                    replace(o, surveyed=surveyed),
                )


def _one_height(o: Observed) -> Iterator[Hypothesis]:
    for point in _suspects(o):
        name = o.ids[point]
        yield Hypothesis(
            f"the height of {name} alone is wrong",
            "check its prism or target height and correct the list, or exclude the point in "
            "job.toml [exclude]",
            _set_free(o, point, 2),
            released=1,
        )


def _one_left_out(o: Observed) -> Iterator[Hypothesis]:
    for point in _suspects(o):
        name = o.ids[point]
        rest = [i for i in range(len(o.ids)) if i != point]
        ids = tuple(o.ids[i] for i in rest)
        try:
            require_three(o.segment, ids, o.design[rest])
        except SurveyRefused:
            continue
        yield Hypothesis(
            f"target {name} alone is wrong",
            "measure it again, or exclude it in job.toml [exclude]",
            o.only(rest),
            released=3,
        )
