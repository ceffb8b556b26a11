"""A short code that is read over the radio: thirteen letters in three groups, the last a check.

Sixteen letters are used, none that looks like a figure or is one of a pair that looks alike. The
letters stand for the elements of the field GF(16); the code is a word whose weighted sum is zero
there. All weights differ, so any one wrong letter and any two letters exchanged are noticed.
Twelve letters carry 48 bits: a plan made to show the code of another takes some 10^14 trials, and
whoever approves has the whole hash recomputed besides. The spelling words are those of the
international radiotelephony alphabet (ICAO Annex 10, Volume II, section 5.2.1.3; ITU Radio
Regulations, Appendix 14).
"""

from __future__ import annotations

from functools import reduce
from itertools import accumulate
from typing import Final

from fitup.errors import InputError, Problem

LETTERS: Final = "ACEFHJKLMNPRTWXY"
SPOKEN: Final[dict[str, str]] = {
    "A": "Alfa",
    "C": "Charlie",
    "E": "Echo",
    "F": "Foxtrot",
    "H": "Hotel",
    "J": "Juliett",
    "K": "Kilo",
    "L": "Lima",
    "M": "Mike",
    "N": "November",
    "P": "Papa",
    "R": "Romeo",
    "T": "Tango",
    "W": "Whiskey",
    "X": "X-ray",
    "Y": "Yankee",
}
_GROUPS: Final = (4, 4, 5)
_DATA: Final = 12
#: letters of the code that sheets of an earlier fitup bear
_OLD: Final = 8
#: the powers of the field's generator: the check letter has weight 1, no two are the same
_WEIGHTS: Final = (15, 14, 7, 10, 5, 11, 12, 6, 3, 8, 4, 2, 1)


def check_code(digest: str) -> str:
    """Return the code of a hash in hexadecimal figures.

    Examples
    --------
    >>> check_code("3f2a90bc77d1")
    'FYEP-NART-LLWCX'
    >>> check_code("")
    'AAAA-AAAA-AAAAA'
    """
    data = [int(c, 16) for c in digest[:_DATA].ljust(_DATA, "0")]
    code = "".join(LETTERS[v] for v in [*data, _sum(data)])
    return _grouped(code)


def read_code(text: str, where: str) -> str:
    """Return a code as it stands on the sheet, however it was typed.

    Parameters
    ----------
    text : str
        As typed: small letters, spaces and missing hyphens do no harm.
    where : str
        Option or column it was given in, for messages.

    Raises
    ------
    InputError
        If it is not a code, or a letter is wrong or two are exchanged.

    Examples
    --------
    >>> read_code("fyep nart llwcx", "--plan")
    'FYEP-NART-LLWCX'
    """
    letters = "".join(c for c in text.upper() if not c.isspace() and c != "-")
    known = set(letters) <= set(LETTERS)

    def refuse(more: str, allowed: str, do: str) -> InputError:
        return InputError([Problem(where, f"'{text}'{more}", allowed, do)])

    if known and len(letters) == _OLD:
        more = ", the short code of an older fitup, which could be forged"
        raise refuse(more, f"{_DATA + 1} letters", "print the sheets again, work by no old ones")
    if not known or len(letters) != _DATA + 1:
        allowed = f"{_DATA + 1} letters of {LETTERS}"
        raise refuse("", allowed, "read the check code at the head of the sheet")
    if _sum([LETTERS.index(c) for c in letters]):
        more = ", in which a letter is wrong or two are exchanged"
        raise refuse(more, "the check code of a sheet", "read it again, letter by letter")
    return _grouped(letters)


def spoken(code: str) -> str:
    """Return a code as it is said over the radio.

    Examples
    --------
    >>> spoken("FYEP-NART-LLWCX")
    'Foxtrot Yankee Echo Papa, November Alfa Romeo Tango, Lima Lima Whiskey Charlie X-ray'
    """
    return ", ".join(" ".join(SPOKEN[c] for c in group) for group in code.split("-"))


def _grouped(letters: str) -> str:
    ends = list(accumulate(_GROUPS))
    return "-".join(letters[end - size : end] for end, size in zip(ends, _GROUPS, strict=True))


def _sum(values: list[int]) -> int:
    return reduce(lambda total, pair: total ^ _times(*pair), zip(values, _WEIGHTS, strict=False), 0)


def _times(a: int, b: int) -> int:
    """Multiply in GF(16) with the polynomial x^4 + x + 1."""
    product = 0
    for bit in range(4):
        if b >> bit & 1:
            product ^= a << bit
    for bit in (6, 5, 4):
        if product >> bit & 1:
            product ^= 0b10011 << (bit - 4)
    return product
