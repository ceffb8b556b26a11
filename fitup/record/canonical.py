"""Canonical JSON: the same bytes for the same value on every machine, so that it can be hashed.

As RFC 8785, "JSON Canonicalization Scheme (JCS)", June 2020, says: no spaces, keys sorted by
their UTF-16 units, numbers as ECMAScript writes them.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

#: whole numbers beyond this are not exact in every reader of JSON (RFC 8785, section 3.2.2.3)
_EXACT: Final = 2**53


def canonical(value: Any) -> bytes:
    """Return a value as canonical JSON in UTF-8.

    Raises
    ------
    ValueError
        If a number is not finite or not exact, or text holds half of a surrogate pair.
    TypeError
        If the value is not made of text, numbers, lists and mappings with text as keys.

    Examples
    --------
    >>> canonical({"b": 1.0, "a": [True, None, "\u00e9"]}).decode()
    '{"a":[true,null,"é"],"b":1}'
    """
    return _text(value).encode("utf-8")


def read_json(content: bytes) -> Any:
    """Return the value of canonical JSON.

    A whole number beyond 2^53 was a float: its last digits are only those that bring it back.
    """

    def whole(text: str) -> float:
        value = int(text)
        return value if abs(value) <= _EXACT else float(text)

    return json.loads(content, parse_int=whole)


def _text(value: Any) -> str:
    if value is None or isinstance(value, bool | str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int | float):
        return number_text(value)
    if isinstance(value, list | tuple):
        return "[" + ",".join(_text(v) for v in value) + "]"
    if isinstance(value, Mapping):
        if not all(isinstance(key, str) for key in value):
            raise TypeError("keys of canonical JSON are text")
        keys = sorted(value, key=lambda k: k.encode("utf-16-be", "surrogatepass"))
        return "{" + ",".join(f"{_text(k)}:{_text(value[k])}" for k in keys) + "}"
    raise TypeError(f"{type(value).__name__} has no place in canonical JSON")


def number_text(value: float) -> str:
    """Return a number as ECMAScript writes it: the shortest digits that come back the same.

    Examples
    --------
    >>> [number_text(v) for v in (1e21, 1e20, 0.000001, 1e-7, -0.0)]
    ['1e+21', '100000000000000000000', '0.000001', '1e-7', '0']
    """
    if isinstance(value, int):
        if abs(value) > _EXACT:
            raise ValueError(f"{value} is not exact in JSON")
        return str(value)
    if not math.isfinite(value):
        raise ValueError(f"{value} has no place in JSON")
    if value == 0.0:
        return "0"
    sign, figures, exponent = Decimal(repr(value)).normalize().as_tuple()
    digits = "".join(str(d) for d in figures)
    # the decimal point stands after so many of the digits
    point = len(digits) + int(exponent)
    return ("-" if sign else "") + _placed(digits, point)


def _placed(digits: str, point: int) -> str:
    if len(digits) <= point <= 21:
        return digits + "0" * (point - len(digits))
    if 0 < point <= 21:
        return f"{digits[:point]}.{digits[point:]}"
    if -6 < point <= 0:
        return "0." + "0" * -point + digits
    power = point - 1
    mantissa = digits if len(digits) == 1 else f"{digits[0]}.{digits[1:]}"
    return f"{mantissa}e{'+' if power > 0 else '-'}{abs(power)}"
