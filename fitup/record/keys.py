"""Keys: an Ed25519 pair for each person who signs. The private one stays in a file of its owner.

Signatures are those of RFC 8032 (January 2017), made by the library ``cryptography``. The private
key is a PKCS #8 PEM file that nobody else may read; the public key is 64 hexadecimal figures in
``people.toml``.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fitup.errors import InputError, Problem

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey


@dataclass(frozen=True)
class Key:
    """A private key that can sign, and its public half in hexadecimal figures."""

    public: str
    _private: Ed25519PrivateKey

    def sign(self, message: bytes) -> str:
        """Return the signature of a message in hexadecimal figures."""
        return self._private.sign(message).hex()


def make_key(path: Path) -> Key:
    """Make a key pair and write the private key into a new file that only its owner may read.

    Raises
    ------
    InputError
        If the file is there already or cannot be written.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    private = Ed25519PrivateKey.generate()
    pem = private.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        raise _refused(path, "a file already there", "a new file", "name another") from None
    except OSError as error:
        found = error.strerror or "an error"
        raise _refused(path, found, "a place that can be written", "name another") from None
    with os.fdopen(handle, "wb") as target:
        target.write(pem)
        target.flush()
        os.fsync(target.fileno())
    return _key(private)


def read_key(path: Path) -> Key:
    """Read a private key, from a file that only its owner may read.

    Raises
    ------
    InputError
        If there is no such key, or others may read or write its file.
    """
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    try:
        with path.open("rb") as source:
            mode = os.fstat(source.fileno()).st_mode & 0o777
            pem = source.read(10_000)
    except OSError as error:
        found = error.strerror or "an error"
        raise _refused(path, found, "your key", "make one with: fitup key NAME") from None
    if os.name == "posix" and mode & 0o077:
        raise _refused(
            path,
            f"a key that others may read or write (mode {mode:04o})",
            "mode 0600",
            f"if nobody had it, close it: chmod 600 {path}; else make a new key",
        )
    try:
        private = serialization.load_pem_private_key(pem, password=None)
    except (ValueError, TypeError, UnsupportedAlgorithm):
        private = None
    if not isinstance(private, Ed25519PrivateKey):
        raise _refused(path, "no Ed25519 key", "a key made by fitup key", "name your key file")
    return _key(private)


def signed_by(public: str, signature: str, message: bytes) -> bool:
    """Say whether a signature is that of a message by the owner of a public key."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
        key.verify(bytes.fromhex(signature), message)
    except (InvalidSignature, ValueError):
        return False
    return True


def _key(private: Ed25519PrivateKey) -> Key:
    return Key(private.public_key().public_bytes_raw().hex(), private)


def _refused(path: Path, found: str, allowed: str, do: str) -> InputError:
    return InputError([Problem(str(path), found, allowed, do)])
