"""One thing that is not known exactly, by the name it has on site, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Source:
    """A source of uncertainty: its kind, one of ``KINDS``, and its name.

    The id of a target, reading, seat, plate or segment, or the file a temperature was stated in.
    """

    kind: str
    name: str

    @property
    def text(self) -> str:
        """Return it in words."""
        return KINDS[self.kind][0].format(self.name)

    @property
    def remedy(self) -> str:
        """Return what to do about it, as an order."""
        return KINDS[self.kind][1]


#: kind -> in words, and what to do about it
KINDS: Final = {
    "target": ("target {}", "measure it again"),
    "shape": ("the shop shape of {}", "measure the face itself"),
    "reading": ("direct reading {}", "read it again"),
    "tension": ("measured tension of {}", "measure it again"),
    "plates": ("plates at {}", "measure the plates again"),
    "plate class": ("thickness of plates {}, not measured", "measure the plates"),
    "push": ("the push at {}, read in steps of its ram", "read the push at {} with a dial"),
    "spring back": (
        "what the deck springs back at {} when the ram is let off",
        "read a dial at {} with the ram off and push again (spring_back)",
    ),
    "nut": ("setting of nut {}", "set it by a finer dial"),
    "movement": ("movement scale of the jacks at {}", "set it by a dial on the deck"),
    "bedding": ("bedding at {}", "measure the bedding of a pack"),
    "stiffness": ("stiffness at {}", "measure reactions while it moves"),
    "influence": (
        "influence table, what a move of {} does",
        "hold the table against a measured move, or give a frame",
    ),
    "steel then": (
        "steel temperature at the survey, {}",
        "put thermometers on the steel, or measure again",
    ),
    "steel now": ("steel temperature at locking, {}", "put thermometers on the steel"),
    "cables then": (
        "temperature of cables against the deck at the survey",
        "put thermometers on cables and deck",
    ),
    "cables now": (
        "temperature of cables against the deck at locking",
        "put thermometers on cables and deck",
    ),
    "expansion": ("coefficient of expansion", "survey nearer the temperature of locking"),
}
