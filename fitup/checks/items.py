"""What crosses a joint: its checks, and where each is, in words."""

from __future__ import annotations

from collections.abc import Iterator

from fitup.checks.bolts import BOLT_QUANTITY
from fitup.checks.bores import BORE_AXIS, SPOTS
from fitup.checks.ride import FACES
from fitup.model import PLANES, Check, Job, Quantity


def items_of(job: Job, joint: str) -> Iterator[tuple[Quantity, str, str]]:
    """Yield quantity, item and spot of every check of what crosses a joint.

    Parameters
    ----------
    job : Job
    joint : str
        Id of the joint.

    Yields
    ------
    quantity, item, spot : str
        Item is the id of a wheel path, bore or bolt group; spot is empty for the whole of it.
    """
    for path in job.ride_paths.values():
        if path.joint == joint:
            yield from (("straightedge", path.id, face) for face in FACES)
            yield "slope_change", path.id, ""
    for bore in job.bores.values():
        if bore.joint == joint:
            yield from ((quantity, bore.id, spot) for spot in SPOTS for quantity in BORE_AXIS)
    for group in job.bolts.values():
        if group.joint == joint:
            yield from ((BOLT_QUANTITY[axis], group.id, "") for axis in PLANES[group.plane])


def place_of(job: Job, check: Check) -> str:
    """Return where a check is, in words; empty for the whole joint.

    Parameters
    ----------
    job, check
    """
    if check.pair is not None:
        return f"{check.pair} {job.pairs[check.pair].place}"
    if check.item is not None:
        return _place_of_item(job, check)
    return check.point or check.subject


def _place_of_item(job: Job, check: Check) -> str:
    name = check.item or ""
    if check.quantity in BORE_AXIS:
        return f"{name} {job.bores[name].place}, {check.spot} end"
    if check.quantity in BOLT_QUANTITY:
        return f"{name} {job.bolts[name].place}"
    face = f", {check.spot} face" if check.spot else ""
    return f"{name} {job.ride_paths[name].place}{face}"
