"""Which entry may follow on which state of the work, as docs/record.md prints it."""

from __future__ import annotations

from typing import Final

from fitup.record.events import (
    APPROVED,
    CONTINGENCIES_MADE,
    LOCKED_OFF,
    PLAN_MADE,
    RECOVERY_APPROVED,
    RECOVERY_DONE,
    RECOVERY_MADE,
    REJECTED,
    RELEASED,
    STAGE_DONE,
    STOP,
    STOP_LIFTED,
    SURVEY_ACCEPTED,
)

#: entry, what must hold before it, what is so after it
TRANSITIONS: Final = (
    (SURVEY_ACCEPTED, "another survey than the one accepted last", "survey accepted"),
    (PLAN_MADE, "nothing: it is made from the files that lie there", "planned, to be approved"),
    (
        PLAN_MADE + ", from a measured lift-off",
        "nothing",
        "planned, to be approved; the codes before it are dead",
    ),
    (
        APPROVED,
        "survey accepted; no file changed since it was planned; sheets printed; every check inside",
        "approved, with the contingencies that were named; every other plan void",
    ),
    (
        CONTINGENCIES_MADE,
        "nothing: they are made from the plan",
        "to be approved with the plan; they decide nothing",
    ),
    (REJECTED, "a plan", "rejected, until approved again with a reason"),
    (
        STAGE_DONE + ", the lift-off",
        "the plan approved, no STOP standing",
        "lift-off reported; plan again and approve, or release with a reason",
    ),
    (
        STAGE_DONE,
        "the plan approved, its lift-off measured, the stage before released, no STOP standing; "
        "else it is written down and says STOP",
        "stage reported: go on, hold or stop, the worst of all its reports",
    ),
    (
        RELEASED,
        "the stage reported, no STOP standing; with a reason unless it says go on",
        "the next stage may begin",
    ),
    (STOP, "nothing: anybody of the job may", "STOPPED, beside whatever else is so"),
    (STOP_LIFTED, "that STOP standing, with a reason", "as before the STOP"),
    (
        LOCKED_OFF,
        "survey accepted, no STOP standing, no hold point open, every joint to be locked",
        "locked off",
    ),
    (
        RECOVERY_MADE,
        "nothing: it is made from the plan and from what the crew says",
        "recovery to be approved",
    ),
    (
        RECOVERY_APPROVED,
        "that recovery, made again from what was said; its plan approved, STOP or not; its stage "
        "not reported",
        "recovery may be carried out; earlier ones of the crew are dead; every STOP goes on "
        "standing",
    ),
    (
        RECOVERY_DONE,
        "that recovery approved, no later one, its stage not reported whole; else it is written "
        "down and a STOP stands",
        "what was not read is asked for; with everything read, the stage as the recovery leaves "
        "it: on steel, not begun, or to be reported; a reading outside its band is a STOP that "
        "stands",
    ),
)
