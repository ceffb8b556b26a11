"""Contingencies in the record: made from a plan, approved with it by a code of their own.

What can fail in each stage and the answers to it are known by a hash over the plan and all they
say. Nobody signs that they were made; an approval of the plan signs that hash, after all answers
were made again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace

from fitup.record.approval import Standing
from fitup.record.canonical import canonical, read_json
from fitup.record.check_code import check_code
from fitup.record.contents import Files
from fitup.record.events import CONTINGENCIES_MADE, Event
from fitup.record.plans import plain, read_as
from fitup.record.store import NotAllowed, Pen, Record
from fitup.record.work_state import PlanWork
from fitup.recovery.contingencies import Contingency

#: what contingencies say, kept beside their pages
FILE = "contingencies.json"


def contingencies_bytes(plan: str, found: Sequence[Contingency]) -> bytes:
    """Return all that the contingencies of a plan say, as canonical JSON.

    Parameters
    ----------
    plan : str
        Id of the plan.
    found : sequence of Contingency
        Of all its stages and crews, in their order.
    """
    return canonical({"plan": plan, "contingencies": [plain(one) for one in found]})


def contingencies_id(plan: str, found: Sequence[Contingency]) -> str:
    """Return the id of contingencies: a hash over their plan and all they say.

    Parameters
    ----------
    plan, found
        As for :func:`contingencies_bytes`.

    Returns
    -------
    str
        SHA-256 in hexadecimal figures.
    """
    return hashlib.sha256(contingencies_bytes(plan, found)).hexdigest()


def note_contingencies(
    pen: Pen, when: str, who: str, plan: str, found: Sequence[Contingency], pages: Files
) -> Event:
    """Write down contingencies with their pages.

    Parameters
    ----------
    pen
    when : str
        UTC, ``2031-04-02T04:10:09Z``.
    who : str
        Who called the program: nobody signs.
    plan : str
        Id of the plan.
    found : sequence of Contingency
    pages : mapping of str to bytes
        By file name.
    """
    name = contingencies_id(plan, found)
    return pen.append(
        CONTINGENCIES_MADE,
        when,
        who=who,
        about=plan,
        outputs={**pages, FILE: contingencies_bytes(plan, found)},
        says={"contingencies": name, "code": check_code(name)},
    )


def approved_contingencies(record: Record, plan: PlanWork) -> tuple[Contingency, ...] | None:
    """Return the contingencies that were approved with a plan; None where none were.

    Raises
    ------
    NotAllowed
        If the record does not hold what they say.
    """
    if not plan.contingencies:
        return None
    raw = record.content(plan.contingencies)
    try:
        said = read_json(raw or b"")["contingencies"]
        found: tuple[Contingency, ...] = read_as(tuple[Contingency, ...], said)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        code = check_code(plan.contingencies)
        raise NotAllowed(f"what contingencies {code} say is not in the record") from None
    return found


def contingencies_standing(stands: Standing, plan: PlanWork, name: str) -> Standing:
    """Return where contingencies stand: with their plan, if it was approved with them.

    Parameters
    ----------
    stands : Standing
        Where the plan stands.
    plan : PlanWork
    name : str
        Id of the contingencies.
    """
    if plan.contingencies == name or not plan.approved:
        return stands
    other = "without any"
    if plan.contingencies:
        other = f"with others, {check_code(plan.contingencies)}"
    why = f"plan {plan.code} was approved {other}: approve it with these"
    return replace(stands, state="open", why=(*stands.why, why), by="", entry=0)
