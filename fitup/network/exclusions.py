"""Observations the engineer leaves out: names of job.toml [exclude] held against what was read.

``ST1/W7-T3/sd`` is one kind of observation in all its sets, ``ST1/W7-T3/sd/2`` one of them,
``ST1/W7-T3`` a whole sight; ``*`` stands for any name between slashes. Levelled differences are
``level/FROM/TO``, coordinates of control ``CP3/H``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fitup.errors import Problem


def matches(name: str, observation: str) -> bool:
    """Tell whether a name of [exclude] means an observation.

    Parameters
    ----------
    name : str
        As written in job.toml; ``*`` stands for any part between slashes.
    observation : str
        Id of the observation.

    Examples
    --------
    >>> matches("*/W7-T3/sd", "ST1/W7-T3/sd/2"), matches("ST1/W7-T3", "ST1/W7-T30/hz")
    (True, False)
    """
    wanted, parts = name.split("/"), observation.split("/")
    if len(wanted) > len(parts):
        return False
    return all(w in ("*", p) for w, p in zip(wanted, parts, strict=False))


def left_out(excluded: Mapping[str, str], observations: Sequence[str]) -> dict[str, str]:
    """Return the observations that are left out, each with its reason.

    Parameters
    ----------
    excluded : mapping of str to str
        Name in [exclude] to reason; names without a slash mean points and are passed over.
    observations : sequence of str
        Ids of one epoch.
    """
    named = {name: reason for name, reason in excluded.items() if "/" in name}
    return {
        observation: reason
        for observation in observations
        for name, reason in named.items()
        if matches(name, observation)
    }


def unmatched(
    excluded: Mapping[str, str], observations: Sequence[str], files: Sequence[str]
) -> list[Problem]:
    """Say which names of [exclude] mean no observation of any epoch.

    Parameters
    ----------
    excluded : mapping of str to str
        Name in [exclude] to reason.
    observations : sequence of str
        Ids of all epochs together.
    files : sequence of str
        Observation files to name in the text.
    """
    return [
        Problem(
            "job.toml",
            f"'{name}', which no observation of {' or '.join(files)} is called",
            "SETUP/TARGET, SETUP/TARGET/hz, .../v, .../sd, level/FROM/TO or POINT/H",
            "correct it; a name that is not there excludes nothing",
            column=f"exclude.{name}",
        )
        for name in excluded
        if "/" in name and not any(matches(name, o) for o in observations)
    ]
