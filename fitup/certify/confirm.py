"""Hold every printed number against the certificate: a number nobody recomputed is not printed."""

from __future__ import annotations

from collections.abc import Iterable

from fitup.certify.certified import Known
from fitup.certify.facts import TAPE, Certificate, PrintedNumber, RecoveryFacts
from fitup.errors import CertificateRefused

#: a printed number may miss the exact one by half of its last digit, and this much more of it
_CARE = 1.001


def confirm(certificate: Certificate | RecoveryFacts, printed: Iterable[PrintedNumber]) -> int:
    """Compare printed numbers with the certificate and return how many there were.

    Parameters
    ----------
    certificate : Certificate or RecoveryFacts
    printed : iterable of PrintedNumber

    Raises
    ------
    CertificateRefused
        If a printed number is not the certificate's, or the certificate does not know it.
    """
    known = Known(certificate)
    wrong = []
    count = 0
    for number in printed:
        count += 1
        name = " ".join(str(part) for part in number.key)
        path = number.key[:-1] if number.key[-1:] == (TAPE,) else number.key
        value = known.value(path)
        if not path:
            wrong.append(f"'{number.name}' would be printed, but nothing recomputes it")
        elif not any(number.name in str(part) for part in number.key):
            wrong.append(f"'{name}' would be printed as {number.name}")
        elif value is None:
            wrong.append(f"'{name}' would be printed, but nothing recomputes it")
        elif not abs(number.value_si - value) <= number.half_step * _CARE + 1e-9 * abs(value):
            wrong.append(
                f"'{name}' would be printed as {number.value_si:.6g}, recomputed it is {value:.6g}"
            )
    if wrong:
        raise CertificateRefused(wrong)
    return count
