"""Entries are hashed and signed as canonical JSON.

A. Rundgren, B. Jordan, S. Erdtman: JSON Canonicalization Scheme (JCS), RFC 8785, June 2020:
sections 3.2.2 and 3.2.3 (the worked objects) and Appendix B (numbers, by their IEEE 754 bits).
Examples from memory. Exact: no tolerance.
"""

from __future__ import annotations

import struct

import pytest

from fitup.record.canonical import canonical, number_text

NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize(("bits", "text"), NUMBERS.items())
def test_number(bits: str, text: str) -> None:
    assert number_text(struct.unpack(">d", bytes.fromhex(bits))[0]) == text


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])
def test_what_is_not_a_number_is_refused(bits: str) -> None:
    with pytest.raises(ValueError):
        number_text(struct.unpack(">d", bytes.fromhex(bits))[0])


def test_object_of_section_3_2_2() -> None:
    value = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/",
        "literals": [None, True, False],
    }
    assert canonical(value).decode() == (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )


def test_order_of_keys_of_section_3_2_3() -> None:
    value = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    text = canonical(value).decode()
    order = [text.index(name) for name in (
        "Carriage", "One", "Control", "Latin", "Euro", "Emoji", "Hebrew"
    )]  # fmt: skip
    assert order == sorted(order)
