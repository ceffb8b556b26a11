"""Who a plan is: a hash over what it says and everything it was made from."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict

from fitup.model.plans import Plan


def plan_hash(inputs: str, plan: Plan) -> str:
    """Return the id of a plan made from inputs of this hash.

    Parameters
    ----------
    inputs : str
        ``Job.digest``, or where a lift-off was read that of :func:`with_readings`.
    plan : Plan
        Its seats and stages count; what is said about how good it is does not.
    """
    content = {"seats": [asdict(s) for s in plan.seats], "stages": [asdict(s) for s in plan.stages]}
    body = json.dumps(content, sort_keys=True)
    return hashlib.sha256(f"{inputs}\0{body}".encode()).hexdigest()


def with_readings(inputs: str, readings: bytes) -> str:
    """Return the hash of inputs together with the table of a lift-off as read.

    Parameters
    ----------
    inputs : str
        ``Job.digest``, the hash without readings.
    readings : bytes
        The file as it was read.
    """
    return hashlib.sha256(f"{inputs}\0readings\0".encode() + readings).hexdigest()
