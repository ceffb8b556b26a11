"""What is written down: one frozen value an event, chained to the one before, signed by whom.

``hash`` is the SHA-256 of the event's canonical JSON and its signature, and the next event carries
it as ``before``: nothing can be changed, taken out or put in between without breaking the chain.
A signature covers the whole event and with ``before`` everything that came before it, so it cannot
be lent to another event or another job.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from fitup.record.canonical import canonical, read_json
from fitup.record.people import ACCEPT, APPROVE, LOCK, NAME_PEOPLE, RELEASE, REPORT

FORMAT: Final = 1
#: before the first event
NOTHING: Final = "0" * 64
_DOMAIN: Final = b"fitup record event 1\n"

PEOPLE_NAMED: Final = "people named"
SURVEY_ACCEPTED: Final = "survey accepted"
PLAN_MADE: Final = "plan made"
APPROVED: Final = "plan approved"
REJECTED: Final = "plan rejected"
SHEETS_PRINTED: Final = "sheets printed"
STAGE_DONE: Final = "stage done"
RELEASED: Final = "hold point released"
STOP: Final = "stop"
STOP_LIFTED: Final = "stop lifted"
LEARNED: Final = "learned"
LOCKED_OFF: Final = "locked off"
RESUMED: Final = "record taken up again"
RECOVERY_MADE: Final = "recovery made"
RECOVERY_APPROVED: Final = "recovery approved"
RECOVERY_DONE: Final = "recovery done"
CONTINGENCIES_MADE: Final = "contingencies made"

#: kind -> the right a signer needs; "" any person of the job; None: written without a signature
KINDS: Final[Mapping[str, str | None]] = {
    PEOPLE_NAMED: NAME_PEOPLE,
    SURVEY_ACCEPTED: ACCEPT,
    PLAN_MADE: None,
    APPROVED: APPROVE,
    REJECTED: APPROVE,
    SHEETS_PRINTED: None,
    STAGE_DONE: REPORT,
    RELEASED: RELEASE,
    STOP: "",
    STOP_LIFTED: RELEASE,
    LEARNED: None,
    LOCKED_OFF: LOCK,
    RESUMED: NAME_PEOPLE,
    RECOVERY_MADE: None,
    RECOVERY_APPROVED: APPROVE,
    RECOVERY_DONE: REPORT,
    CONTINGENCIES_MADE: None,
}


@dataclass(frozen=True, slots=True)
class Event:
    """One event.

    Parameters
    ----------
    number : int
        1, 2, 3 ...
    kind : str
        One of ``KINDS``.
    when : str
        By the clock of the machine it was written on, UTC, ``2031-04-02T04:10:09Z``.
    who : str
        Id of the person who signed, or who called the program where nobody signs.
    about : str
        What it is about: the id of a plan, or empty.
    inputs, outputs : mapping of str to str
        Path -> SHA-256 of everything it was made from and everything that came out.
    says : mapping
        What else it says, as JSON values, the same keys for every event of a kind.
    before : str
        Hash of the event before.
    signature : str
        Ed25519 in hexadecimal figures, or empty.
    """

    number: int
    kind: str
    when: str
    who: str
    about: str = ""
    inputs: Mapping[str, str] = field(default_factory=dict)
    outputs: Mapping[str, str] = field(default_factory=dict)
    says: Mapping[str, Any] = field(default_factory=dict)
    before: str = NOTHING
    signature: str = ""

    def body(self) -> bytes:
        """Return everything but the signature as canonical JSON."""
        return canonical(
            {
                "format": FORMAT,
                "number": self.number,
                "kind": self.kind,
                "when": self.when,
                "who": self.who,
                "about": self.about,
                "inputs": self.inputs,
                "outputs": self.outputs,
                "says": self.says,
                "before": self.before,
            }
        )

    def to_sign(self) -> bytes:
        """Return the bytes that are signed; no other program signs bytes that begin so."""
        return _DOMAIN + self.body()

    @property
    def hash(self) -> str:
        """Return the hash that the next event carries."""
        return hash_of(self.body(), self.signature)


def hash_of(body: bytes, signature: str) -> str:
    """Return the hash of an event's body and signature.

    Parameters
    ----------
    body : bytes
        As from :meth:`Event.body`.
    signature : str
        In hexadecimal figures, or empty.

    Returns
    -------
    str
        SHA-256 in hexadecimal figures.
    """
    return hashlib.sha256(body + b"\0" + signature.encode("ascii")).hexdigest()


def read_body(body: bytes, signature: str) -> Event:
    """Return the event of a body as it was written.

    Parameters
    ----------
    body : bytes
        As from :meth:`Event.body`.
    signature : str
        Kept with the event; it is not checked here.

    Raises
    ------
    ValueError
        If the bytes are not the canonical JSON of an event.
    """
    content = read_json(body)
    if not isinstance(content, dict) or content.pop("format", None) != FORMAT:
        raise ValueError("not an event of this format")
    try:
        event = Event(**content, signature=signature)
    except TypeError as error:
        raise ValueError(str(error)) from None
    if event.body() != body:
        raise ValueError("not canonical")
    return event
