"""The hash of contents and entries is SHA-256.

National Institute of Standards and Technology: FIPS PUB 180-4, Secure Hash Standard, August 2015,
with the worked examples that belong to it (messages of 24 and 448 bits). Digests from memory. They
are exact: no tolerance.
"""

from __future__ import annotations

import hashlib

import pytest

from fitup.record.events import hash_of

EXAMPLES = [
    (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    (
        b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    ),
]


@pytest.mark.parametrize(("message", "digest"), EXAMPLES)
def test_digest(message: bytes, digest: str) -> None:
    assert hashlib.sha256(message).hexdigest() == digest


def test_entry_is_hashed_over_its_body_and_its_signature() -> None:
    """The bytes that are hashed: body, a zero byte, the signature's figures."""
    assert hash_of(b"abc", "00ff") == hashlib.sha256(b"abc\x0000ff").hexdigest()
