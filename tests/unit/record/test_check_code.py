"""The code a foreman reads over the radio."""

from __future__ import annotations

import hashlib
from itertools import combinations

import pytest

from fitup.errors import InputError
from fitup.record.check_code import LETTERS, SPOKEN, check_code, read_code, spoken

CODES = [check_code(hashlib.sha256(bytes([i])).hexdigest()) for i in range(12)]


def refused(code: str) -> bool:
    try:
        read_code(code, "--plan")
    except InputError:
        return True
    return False


def test_every_single_wrong_letter_is_noticed():
    for code in CODES:
        assert not refused(code)
        for at in (i for i, c in enumerate(code) if c != "-"):
            wrong = [code[:at] + c + code[at + 1 :] for c in LETTERS if c != code[at]]
            assert all(refused(w) for w in wrong)


def test_every_two_exchanged_letters_are_noticed():
    for code in CODES:
        letters = code.replace("-", "")
        for i, j in combinations(range(13), 2):
            if letters[i] != letters[j]:
                swapped = list(letters)
                swapped[i], swapped[j] = swapped[j], swapped[i]
                assert refused("".join(swapped)), (code, i, j)


def test_letters_are_those_that_are_not_taken_for_figures_or_for_each_other():
    assert len(LETTERS) == 16
    assert not set(LETTERS) & set("OIQSZBGDUV")
    assert all(SPOKEN[c][0] == c for c in LETTERS)


def test_code_is_read_however_it_is_typed():
    code = CODES[0]
    for typed in (code.lower(), code.replace("-", " "), f"  {code} ", code.replace("-", "")):
        assert read_code(typed, "--plan") == code
    assert spoken(code).count(" ") == 12


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        (
            "",
            "--plan: found ''; allowed: 13 letters of ACEFHJKLMNPRTWXY; read the check code at the "
            "head of the sheet",
        ),
        (
            "AAAA-AAAA-AAAAB",
            "--plan: found 'AAAA-AAAA-AAAAB'; allowed: 13 letters of ACEFHJKLMNPRTWXY; read the "
            "check code at the head of the sheet",
        ),
        (
            "AAAA-AAAA-AAAAC",
            "--plan: found 'AAAA-AAAA-AAAAC', in which a letter is wrong or two are exchanged; "
            "allowed: the check code of a sheet; read it again, letter by letter",
        ),
        (
            "FYEP-NARK",
            "--plan: found 'FYEP-NARK', the short code of an older fitup, which could be forged; "
            "allowed: 13 letters; print the sheets again, work by no old ones",
        ),
    ],
)
def test_what_is_no_code_is_named(typed, line):
    with pytest.raises(InputError) as error:
        read_code(typed, "--plan")
    assert str(error.value) == line
