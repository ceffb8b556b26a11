"""Corrections learned from earlier rounds, on the certificate's own path, and said in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np

from fitup.certify.recompute import Outcome, States
from fitup.frames import Array
from fitup.model import Check, Job
from fitup.units import DISPLAY

_WHAT: Final = {
    "stiffness": "stiffness of {n}, {range} times that of seats.csv",
    "movement": "movement of the jacks of {n}, {range} times their scale",
    "expansion": "expansion of all steel, {range} times that of segments.csv",
}


class CorrectedStates:
    """States whose settings are first brought to what the seats really do.

    A jack's reading is multiplied by its learned factor. For a table, computed with the
    stiffnesses of seats.csv, the forces that the moves raise are found first, (I + R D) f = R x,
    and every seat then gives way by its added flexibility times its force.
    """

    def __init__(self, base: States, job: Job, *, table: bool) -> None:
        self.base = base
        self.scale = {one.at: one.value for one in job.learned if one.what == "movement"}
        self.gives: dict[str, float] = {}
        if table:
            for one in job.learned:
                if one.what == "stiffness":
                    # what is now, less what seats.csv had
                    now = job.seats[one.at].stiffness
                    self.gives[one.at] = 1.0 / now - one.value / now
        self.names = tuple(job.seats)
        self.forces: Array | None = None

    def at(self, settings: Mapping[str, float], checks: Sequence[Check]) -> Outcome:
        """Return the change of every check, and all reactions.

        Parameters
        ----------
        settings : mapping of str to float
            As ordered, by seat [m].
        checks : sequence of Check
        """
        return self.base.at(self.really(settings), checks)

    def really(self, settings: Mapping[str, float]) -> dict[str, float]:
        """Return what the seats really do by seat [m] for settings as ordered."""
        real = {name: value * self.scale.get(name, 1.0) for name, value in settings.items()}
        if self.gives:
            force = self._forces(real)
            for name, gives in self.gives.items():
                real[name] -= gives * force[name]
        return real

    def _forces(self, settings: Mapping[str, float]) -> dict[str, float]:
        if self.forces is None:
            still = dict.fromkeys(self.names, 0.0)
            rest = self.base.at(still, ()).reactions
            columns = [self.base.at({**still, name: 1.0}, ()).reactions for name in self.names]
            self.forces = np.array([[c[s] - rest[s] for c in columns] for s in self.names])
        gives = np.array([self.gives.get(name, 0.0) for name in self.names])
        moves = np.array([settings[name] for name in self.names])
        left = np.eye(len(gives)) + self.forces * gives
        force = np.linalg.solve(left, self.forces @ moves)
        return dict(zip(self.names, force.tolist(), strict=True))


def learned_words(job: Job) -> Iterator[str]:
    """Say which learned corrections a job is computed with, a line each."""
    for what, text in _WHAT.items():
        values = [one.value for one in job.learned if one.what == what]
        if values:
            least, most = f"{min(values):.2f}", f"{max(values):.2f}"
            span = least if least == most else f"{least} to {most}"
            seats = f"{len(values)} seat" + "s" * (len(values) > 1)
            yield f"learned.csv corrects the {text.format(n=seats, range=span)}"
    beds = [one.value for one in job.learned if one.what == "bedding"]
    if beds:
        shown = DISPLAY[job.units].plate
        yield (
            f"learned.csv corrects the bedding of {len(beds)} seats to between "
            f"{shown.text(min(beds))} and {shown.text(max(beds))}"
        )
