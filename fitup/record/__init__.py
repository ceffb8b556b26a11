"""The durable record of a job: who accepted, approved and did what, and from which files.

:class:`Record` keeps it, :mod:`fitup.record.acts` holds the rules of who may do what and when.
Another part of the program adds an entry of its own kind with :func:`append`.
"""

from fitup.record.check_code import check_code, read_code, spoken
from fitup.record.connect import FILE, RecordBroken
from fitup.record.events import Event
from fitup.record.store import NotAllowed, Record, append, has_record

__all__ = [
    "FILE",
    "Event",
    "NotAllowed",
    "Record",
    "RecordBroken",
    "append",
    "check_code",
    "has_record",
    "read_code",
    "spoken",
]
