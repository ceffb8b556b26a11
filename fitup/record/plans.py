"""A plan as it is kept in the record, and back; and whether content is that of the plan it says.

Every figure comes back as it was.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from typing import Any, Final, get_args, get_origin, get_type_hints

import numpy as np

from fitup.jobfolder.inputs import digest_of
from fitup.model import Plan
from fitup.model.identity import plan_hash, with_readings
from fitup.record.canonical import canonical, read_json

FILE: Final = "plan.json"


def plan_bytes(plan: Plan) -> bytes:
    """Return a plan as canonical JSON."""
    return canonical(plain(plan))


def read_plan(content: bytes) -> Plan:
    """Return the plan of its bytes.

    Raises
    ------
    ValueError
        If a field is there that this version does not know, or one is missing that it needs.
    """
    plan: Plan = read_as(Plan, read_json(content))
    return plan


def content_id(files: Mapping[str, bytes], readings: str = "") -> str:
    """Return the id that content gives: who a plan is follows from what it says, never from a word.

    Parameters
    ----------
    files : mapping of str to bytes
        Every file the plan was made from, and the plan itself as :data:`FILE`.
    readings : str
        Which of them is the lift-off as read, empty where none is.

    Returns
    -------
    str
        Empty where the content is no plan.
    """
    inputs = {name: content for name, content in files.items() if name not in (FILE, readings)}
    digest = digest_of(inputs)
    try:
        if readings:
            digest = with_readings(digest, files[readings])
        return plan_hash(digest, read_plan(files[FILE]))
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return ""


def plain(value: Any) -> Any:
    """Return a value as what canonical JSON can say."""
    if is_dataclass(value):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, tuple | list | np.ndarray):
        return [plain(v) for v in value]
    if isinstance(value, Mapping):
        return {key: plain(v) for key, v in value.items()}
    if isinstance(value, float | np.floating):
        # JSON has no figure for what is not finite
        return float(value) if math.isfinite(value) else repr(float(value))
    if isinstance(value, np.integer):
        return int(value)
    return value


def read_as(kind: Any, value: Any) -> Any:
    """Make a value of a declared type from JSON.

    Parameters
    ----------
    kind : type
        A data class, or the annotation of one of its fields.
    value
        As read from JSON; a list of a kind that is no tuple becomes an array.
    """
    if is_dataclass(kind) and isinstance(kind, type):
        return _record(kind, value)
    if kind is float:
        return float(value)
    inner = get_args(kind)
    if get_origin(kind) is tuple:
        if len(inner) == 2 and inner[1] is Ellipsis:
            return tuple(read_as(inner[0], v) for v in value)
        return tuple(read_as(k, v) for k, v in zip(inner, value, strict=True))
    if inner and type(None) in inner:
        other = next(k for k in inner if k is not type(None))
        return None if value is None else read_as(other, value)
    if isinstance(value, list):
        return np.array(value)
    return value


def _record(kind: type, value: Mapping[str, Any]) -> Any:
    hints = get_type_hints(kind)
    known = {f.name: f for f in fields(kind)}
    extra = value.keys() - known.keys()
    needed = {n for n, f in known.items() if f.default is f.default_factory is MISSING}
    missing = needed - value.keys()
    if extra or missing:
        raise ValueError(f"{kind.__name__}: unknown {sorted(extra)}, missing {sorted(missing)}")
    return kind(**{name: read_as(hints[name], v) for name, v in value.items()})
