"""Survey mistakes by name: exchanged targets, turned axes, wrong heights and units, other datum.

A segment is suspicious when the global chi-square test fails, when a standardised residual is
too large, or when a point lies farther from its design than is believed. Every hypothesis of
:mod:`fitup.survey.hypotheses` is then tried on a copy of the coordinates; those that clear all
three are named: of those that give up the fewest observations, all that fit about as well as
the best. Nothing is repaired.

Levels. Both tests run at 0.1 % (Baarda, *A testing procedure for use in geodetic networks*,
1968: 3.29 for one residual). A segment has many residuals, so their critical value is widened
after Bonferroni to the 1 - 0.001/(2 m) quantile for m coordinates that can be checked: 4.0 for
six points. A clean survey is thus refused in at most 0.2 % of segments.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import chdtri, ndtri

from fitup.errors import SurveyRefused
from fitup.frames import Array
from fitup.model import Gates
from fitup.survey.hypotheses import AXES, FREE, Hypothesis, Observed, families
from fitup.survey.points import Pose
from fitup.survey.pose import error_of, fit_pose, standardised_residuals
from fitup.units import METRIC, DisplayUnits

ALPHA: Final = 1e-3
#: a remedy must bring the largest residual down to this share of what it was
SHARPER: Final = 0.8
#: how much worse than the best a rival may fit and still be named: 0.1 % of chi-square, one
#: degree of freedom
RIVAL: Final = 10.8276
_WAYS: Final = (("east", "west"), ("north", "south"), ("high", "low"))


@dataclass(frozen=True, eq=False)
class _Fit:
    """A fit with what the tests look at; coordinates set free do not count."""

    pose: Pose
    chi2: float
    redundancy: int
    standardised: Array
    worst: float
    """Largest residual [m]."""
    together: bool
    """Points are not independent: a residual alone does not say what is wrong."""
    distance: float
    """Largest distance of a point from its design [m]."""
    turn_only: float
    """The same without the shift [m]."""

    @property
    def misfit(self) -> float:
        """What a remedy must bring down: the largest residual, over its uncertainty if shared."""
        return float(np.abs(self.standardised).max()) if self.together else self.worst

    @property
    def shape_holds(self) -> bool:
        checked = max(1, int((self.standardised != 0.0).sum()))
        return bool(
            self.chi2 <= chdtri(self.redundancy, ALPHA)
            and np.abs(self.standardised).max() <= critical_value(checked)
        )


def critical_value(checked: int) -> float:
    """Critical standardised residual when the largest of ``checked`` is looked at.

    Examples
    --------
    >>> round(critical_value(1), 4), round(critical_value(18), 2)
    (3.2905, 4.03)
    """
    return float(-ndtri(ALPHA / (2.0 * checked)))


@dataclass(frozen=True, slots=True)
class Explained:
    """What is wrong with the survey of a segment, and how well that explains it."""

    lines: tuple[str, ...]
    """Empty when nothing is suspicious."""
    squares: float = 0.0
    """Weighted squares that remain with the best explanation."""
    given_up: int | None = 0
    """How many coordinates it gives up; None where nothing explains the misfit."""


def explain(
    observed: Observed,
    others: Sequence[Observed] = (),
    believed: float = Gates().deviation_most,
    units: DisplayUnits = METRIC,
) -> tuple[str, ...]:
    """Name the likely mistake in the survey of one segment, as lines; see :func:`explained`.

    Parameters
    ----------
    observed, others, believed, units
        As for :func:`explained`.

    Raises
    ------
    SurveyRefused
        If the points cannot be fitted at all.
    """
    return explained(observed, others, believed, units).lines


def explained(
    observed: Observed,
    others: Sequence[Observed] = (),
    believed: float = Gates().deviation_most,
    units: DisplayUnits = METRIC,
) -> Explained:
    """Name the likely mistake in the survey of one segment, and say how well it explains.

    Parameters
    ----------
    observed : Observed
        The segment, at least three points not in a line.
    others : sequence of Observed
        The other segments of the job, for exchanged segments and datum shifts.
    believed : float
        Greatest distance from the design that is believed [m].
    units : DisplayUnits
        How figures are printed.

    Returns
    -------
    Explained
        Without lines when nothing is suspicious.

    Raises
    ------
    SurveyRefused
        If the points cannot be fitted at all.
    """
    base = _fit(observed)
    if base.shape_holds and base.distance <= believed:
        return Explained((), base.chi2)
    named = _try_all(observed, others, base, lambda fit: fit.distance <= believed)
    if not named and base.shape_holds and base.turn_only <= believed:
        return Explained((_shifted(base, [_fit(o) for o in others], believed, units),), base.chi2)
    named = named or _try_all(observed, others, base, lambda fit: fit.turn_only <= believed)
    if not named:
        return Explained((_unexplained(observed, base, believed, units),), base.chi2, None)
    best, fit = named[0]
    return Explained(_say(observed, base, named, believed, units), fit.chi2, best.released)


def _fit(observed: Observed) -> _Fit:
    o = observed
    pose = fit_pose(o.segment, o.ids, o.design, o.surveyed, o.u, o.covariance)
    kept = o.u < FREE
    moved = pose.design2site.apply(o.design) - o.design
    return _Fit(
        pose=pose,
        chi2=pose.variance_factor * pose.redundancy,
        redundancy=pose.redundancy - int((~kept).sum()),
        standardised=np.where(kept, standardised_residuals(pose, o.design, o.u, o.covariance), 0.0),
        worst=float(np.abs(pose.residuals[kept]).max()),
        together=o.covariance is not None,
        distance=float(np.linalg.norm(moved, axis=1).max()),
        turn_only=float(np.linalg.norm(moved - pose.design2site.shift, axis=1).max()),
    )


def _try_all(
    observed: Observed,
    others: Sequence[Observed],
    base: _Fit,
    near_enough: Callable[[_Fit], bool],
) -> list[tuple[Hypothesis, _Fit]]:
    """Return the hypotheses that clear the segment with the fewest observations given up."""
    for family in families(observed, others):
        found: list[tuple[Hypothesis, _Fit]] = []
        for hypothesis in family:
            try:
                fit = _fit(hypothesis.observed)
            except SurveyRefused:
                continue
            if fit.shape_holds and near_enough(fit) and _worth(hypothesis, base, fit):
                found.append((hypothesis, fit))
        if found:
            found.sort(key=lambda pair: pair[1].chi2)
            near = [p for p in found if p[1].chi2 <= found[0][1].chi2 + RIVAL]
            # the same mistake, with uncertainties in the one unit and in the other
            first = {p[0].what: p for p in reversed(near)}
            return [p for p in near if first[p[0].what] is p]
    return []


def _worth(hypothesis: Hypothesis, base: _Fit, fit: _Fit) -> bool:
    """Tell whether what is given up was wrong beyond noise, and something is left to check.

    A remedy that leaves the largest residual nearly as it was explains nothing.
    """
    if not base.shape_holds and fit.misfit > SHARPER * base.misfit:
        return False
    released = hypothesis.released
    gain = base.chi2 - fit.chi2
    return fit.redundancy > 0 and (released == 0 or bool(gain >= chdtri(released, ALPHA)))


def _length(si: float, units: DisplayUnits) -> str:
    """Millimetres or inches; what no one reads in them, in the unit of coordinates."""
    return (units.move if abs(si) < 1.0 else units.coordinate).text(si)


def _from_to(before: float, after: float, units: DisplayUnits) -> str:
    first, second = _length(before, units), _length(after, units)
    unit = f" {units.move.word}"
    if first.endswith(unit) and second.endswith(unit):
        first = first.removesuffix(unit)
    return f"falls from {first} to {second}"


def _say(
    o: Observed,
    base: _Fit,
    named: Sequence[tuple[Hypothesis, _Fit]],
    believed: float,
    units: DisplayUnits,
) -> tuple[str, ...]:
    lines = []
    for rank, (hypothesis, fit) in enumerate(named):
        if not base.shape_holds and base.together:
            figures = (
                f"the largest misfit falls from {base.misfit:.1f} to {fit.misfit:.1f} times its "
                "standard uncertainty"
            )
        elif not base.shape_holds:
            figures = f"the largest residual {_from_to(base.worst, fit.worst, units)}"
        else:
            figures = f"its distance from the design {_from_to(base.distance, fit.distance, units)}"
        odd = _how_wrong(o, base, hypothesis, fit, units)
        start = "or, if" if rank else "if"
        if fit.distance > believed:
            figures += f", and the segment then lies {_where(fit.pose.design2site.shift, units)}"
            figures += " of its design"
        lines.append(
            f"segment {o.segment}: {start} {hypothesis.what}{odd} {figures}; {hypothesis.do}"
        )
    return tuple(lines)


def _how_wrong(
    o: Observed, base: _Fit, hypothesis: Hypothesis, fit: _Fit, units: DisplayUnits
) -> str:
    """Say by how much a released point or height is off what the others say."""
    if hypothesis.released == 0:
        return ""
    there = fit.pose.design2site.apply(o.design)
    if hypothesis.released == 1:
        point = int((hypothesis.observed.u >= FREE).any(axis=1).argmax())
        off = float(o.surveyed[point, 2] - there[point, 2])
        if base.together:
            off = float(error_of(base.pose, o.design, o.u, o.covariance, [3 * point + 2])[0])
        return f" ({_length(abs(off), units)} too {'high' if off > 0.0 else 'low'})"
    point = next(i for i, name in enumerate(o.ids) if name not in hypothesis.observed.ids)
    way = o.surveyed[point] - there[point]
    if base.together:
        own = [3 * point + k for k in range(3)]
        way = error_of(base.pose, o.design, o.u, o.covariance, own)
    return f" ({_length(float(np.linalg.norm(way)), units)} off)"


def _shifted(base: _Fit, others: Sequence[_Fit], believed: float, units: DisplayUnits) -> str:
    """Tell of a shape that fits at a place that does not: another datum, or another stage."""
    shift = base.pose.design2site.shift
    common = bool(others) and all(
        np.linalg.norm(other.pose.design2site.shift - shift) <= believed for other in others
    )
    if common:
        # the same figure at every segment, so that it is stated once
        everyone = sorted([base, *others], key=lambda fit: fit.pose.segment)
        shift = np.mean([fit.pose.design2site.shift for fit in everyone], axis=0)
    only_height = float(np.linalg.norm(shift[:2])) <= believed < abs(float(shift[2]))
    where = _where(shift * [0.0, 0.0, 1.0] if only_height else shift, units)
    if common:
        names = sorted([base.pose.segment, *(other.pose.segment for other in others)])
        what = "height datum or benchmark" if only_height else "datum, origin or grid"
        return (
            f"segments {', '.join(names)}: all lie {where} of their design by the same amount, "
            f"while their shapes fit; another {what}? check the control of the survey"
        )
    what = (
        "check its benchmark and target heights"
        if only_height
        else "check set-up, datum and whether the design is of this stage"
    )
    return (
        f"segment {base.pose.segment}: lies {where} of its design, a point of it "
        f"{_length(base.distance, units)} off, more than the {_length(believed, units)} believed "
        f"(deviation_most), while its shape fits; {what}"
    )


def _where(shift: Array, units: DisplayUnits) -> str:
    parts = [
        f"{_length(abs(value), units)} {ways[0] if value > 0.0 else ways[1]}"
        for value, ways in zip(shift.tolist(), _WAYS, strict=True)
        if units.move.number(value) != 0.0
    ]
    return ", ".join(parts)


def _unexplained(o: Observed, base: _Fit, believed: float, units: DisplayUnits) -> str:
    point, axis = np.unravel_index(np.abs(base.standardised).argmax(), base.standardised.shape)
    if base.shape_holds:
        return (
            f"segment {o.segment}: its shape fits only when it is turned, with a point "
            f"{_length(base.distance, units)} from its design, more than the "
            f"{_length(believed, units)} believed (deviation_most); check the names of the "
            "targets and the axes of the list"
        )
    times = abs(float(base.standardised[point, axis]))
    off = f"with a residual of {_length(abs(base.pose.residuals[point, axis]), units)}"
    if base.together:
        alone = float(
            error_of(base.pose, o.design, o.u, o.covariance, [3 * int(point) + int(axis)])[0]
        )
        off = f"{_length(abs(alone), units)} off where the others put it"
    return (
        f"segment {o.segment}: the points do not fit its shape, worst the {AXES[axis]} of "
        f"{o.ids[point]} {off}, {times:.1f} times its standard uncertainty, "
        "and no single mistake explains it; a distorted segment, several mistakes, or a stated "
        "uncertainty that is too small: measure it again"
    )
