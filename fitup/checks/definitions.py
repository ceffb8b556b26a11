"""Which checks a job has, and how each depends on points and turns.

Signs (docs/signs.md), with pB and pA the back and ahead points of a pair and a, l, u the joint
axes: gap = a.(pA - pB) - opening; offset = l.(pA - pB); step = u.(pA - pB). With w the turn of
the ahead segment less that of the back segment, both from the design: kink in grade = -l.w,
kink in plan = u.w, twist = a.w.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from fitup.checks.bolts import BOLT_QUANTITY, bolt_part
from fitup.checks.bores import BORE_AXIS, bore_part
from fitup.checks.items import items_of
from fitup.checks.part import Part
from fitup.checks.ride import ride_part
from fitup.checks.tilt import TILTS, tilt_part
from fitup.frames import heading, left_of
from fitup.model import Aim, Check, Job, Joint, Pair, Quantity

#: quantity of a pair -> row of the joint axes
PAIR_AXIS: Final[dict[Quantity, int]] = {"gap": 0, "step": 2, "offset": 1}
#: quantities of a single point: height, across and along the segment
POINT_QUANTITIES: Final[tuple[Quantity, ...]] = ("level", "line", "station")
#: quantity of a joint -> (row of the joint axes, sign)
TURN_AXIS: Final[dict[Quantity, tuple[int, float]]] = {
    "kink_grade": (1, -1.0),
    "kink_plan": (2, 1.0),
    "twist": (0, 1.0),
}
#: checks with a module of their own: quantity -> how they depend on points
_PARTS: Final[dict[Quantity, Callable[[Job, Check], Part]]] = {
    "straightedge": ride_part,
    "slope_change": ride_part,
    "tilt_along": tilt_part,
    "tilt_across": tilt_part,
    **dict.fromkeys(BORE_AXIS, bore_part),
    **dict.fromkeys(BOLT_QUANTITY, bolt_part),
}


def checks_of(job: Job) -> tuple[Check, ...]:
    """Return all checks of a job, joint by joint, in the order of its files."""
    result: list[Check] = []
    for joint in job.joints.values():
        for pair in job.pairs_of(joint.id):
            result += [_check(job, joint.id, pair, q) for q in PAIR_AXIS]
        result += [_check(job, joint.id, None, q) for q in TURN_AXIS]
        items = items_of(job, joint.id)
        result += [_check(job, joint.id, None, q, item, spot) for q, item, spot in items]
    for joint in job.joints.values():
        for pair in job.pairs_of(joint.id):
            for point in (pair.back_point, pair.ahead_point):
                result += [_point_check(job, joint.id, point, q) for q in POINT_QUANTITIES]
    paired = {name for p in job.pairs.values() for name in (p.back_point, p.ahead_point)}
    for watched in job.points.values():
        if watched.watched and watched.id not in paired:
            result += [_point_check(job, "", watched.id, q) for q in POINT_QUANTITIES]
    result += [
        _own_check(job, "lean", lean.id, lean.target, lean.source) for lean in job.leans.values()
    ]
    result += [
        _own_check(job, "tension", tension.id, tension.target, "")
        for tension in job.tensions.values()
    ]
    # only where the level of bearings is asked for
    tilts = [q for q in TILTS if q in job.tolerances]
    result += [_own_check(job, q, name, 0.0, "") for name in job.segments for q in tilts]
    return tuple({check.id: check for check in result}.values())


def _point_check(job: Job, joint: str, point: str, quantity: Quantity) -> Check:
    tolerance = job.tolerances.get(quantity)
    return Check(
        id=f"{quantity}/{point}",
        quantity=quantity,
        joint=joint,
        pair=None,
        point=point,
        target=0.0,
        tolerance=None if tolerance is None else tolerance.value,
        weight=1.0 if tolerance is None else tolerance.weight,
        source="" if tolerance is None else tolerance.source,
    )


def _own_check(
    job: Job, quantity: Quantity, subject: str, target: float | None, reason: str
) -> Check:
    """Return the check of a tower's lean or a cable's tension; without a target only shown."""
    tolerance = None if target is None else job.tolerances.get(quantity)
    return Check(
        id=f"{quantity}/{subject}",
        quantity=quantity,
        joint="",
        pair=None,
        point=None,
        target=target or 0.0,
        tolerance=None if tolerance is None else tolerance.value,
        weight=1.0 if tolerance is None else tolerance.weight,
        source="" if tolerance is None else tolerance.source,
        reason=reason,
        subject=subject,
    )


def _check(
    job: Job,
    joint: str,
    pair: Pair | None,
    quantity: Quantity,
    item: str | None = None,
    spot: str = "",
) -> Check:
    tolerance = job.tolerances.get(quantity)
    value = None if tolerance is None else tolerance.value
    weight = 1.0 if tolerance is None else tolerance.weight
    source = "" if tolerance is None else tolerance.source
    target, leave, reasons = _staged(job, joint, pair, quantity), None, []
    for aim in job.aims:
        if not _meant(aim, joint, pair, quantity):
            continue
        reasons.append(aim.reason)
        if aim.treat == "preset":
            target = aim.amount
        elif aim.treat == "leave":
            leave = aim.amount
        else:
            value, source = aim.amount, aim.reason
    of = item if pair is None else pair.id
    return Check(
        id="/".join(part for part in (joint, of, spot, quantity) if part),
        quantity=quantity,
        joint=joint,
        pair=None if pair is None else pair.id,
        point=None,
        target=target,
        tolerance=None if leave is not None else value,
        weight=weight,
        source=source,
        leave_within=leave,
        reason="; ".join(reasons),
        item=item,
        spot=spot,
    )


def _staged(job: Job, joint: str, pair: Pair | None, quantity: Quantity) -> float:
    """Return what a check of a pair is in the geometry of a stage; zero in the final one."""
    if not job.stage or pair is None or quantity not in PAIR_AXIS:
        return 0.0
    apart = job.points[pair.ahead_point].design - job.points[pair.back_point].design
    along = float(job.joints[joint].axes_in_grid[PAIR_AXIS[quantity]] @ apart)
    return along - (pair.opening if quantity == "gap" else 0.0)


def _meant(aim: Aim, joint: str, pair: Pair | None, quantity: Quantity) -> bool:
    if aim.joint != joint or aim.quantity != quantity:
        return False
    return aim.pair is None or (pair is not None and aim.pair == pair.id)


def parts_of(job: Job, check: Check) -> Part:
    """Return how a check depends on points and turns.

    Parameters
    ----------
    job, check

    Returns
    -------
    Part
        Rows in the grid; a tension is a constant alone.
    """
    if check.point is not None:
        point = job.points[check.point]
        azimuth = job.segments[point.segment].azimuth
        row = {
            "level": np.array([0.0, 0.0, 1.0]),
            "line": left_of(azimuth),
            "station": heading(azimuth),
        }[check.quantity]
        return Part({check.point: row}, {}, -float(row @ point.design))
    if check.quantity == "tension":
        return Part({}, {}, job.tensions[check.subject].value)
    if check.quantity == "lean":
        lean = job.leans[check.subject]
        row = heading(job.segments[job.points[lean.head].segment].azimuth)
        return Part({lean.head: row, lean.foot: -row}, {}, 0.0)
    if check.quantity in _PARTS:
        return _PARTS[check.quantity](job, check)
    joint: Joint = job.joints[check.joint]
    axes = joint.axes_in_grid
    if check.pair is not None:
        pair = job.pairs[check.pair]
        row = axes[PAIR_AXIS[check.quantity]]
        constant = -pair.opening if check.quantity == "gap" else 0.0
        return Part({pair.ahead_point: row, pair.back_point: -row}, {}, constant)
    axis, sign = TURN_AXIS[check.quantity]
    row = sign * axes[axis]
    return Part({}, {joint.ahead: row, joint.back: -row}, 0.0)
