"""A saddle: whether the cable grips, what its jacks feel, and what is lost when they let go.

A cable that turns by theta over a saddle with friction mu does not slip while the greater tension
is at most exp(mu theta) times the smaller (L. Euler 1769, J. A. Eytelwein 1808). The jacks feel
the part along their direction of the two tensions' resultant.

Pack and tension: with k_c the resistance of cable and structure to a move of the saddle, k_p the
stiffness of the pack and what it stands on, and b its bedding, jacks that hold F at a clearance c
over the pack lose

    d = c + b + F'/k_p,   F' = F - k_c d,   so   d = (c + b + F/k_p) / (1 + k_c/k_p)

as the pack takes over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import acos, exp, pi

import numpy as np

from fitup.errors import StructureError
from fitup.frames import Array


@dataclass(frozen=True, slots=True)
class Grip:
    """Whether a cable grips a saddle.

    Parameters
    ----------
    saddle : str
    tensions : tuple of two float
        Of the cable on the back and on the ahead side [N].
    turn : float
        Angle by which the cable turns [rad].
    friction : float
        Coefficient of friction to rely on, its reserve taken off.
    """

    saddle: str
    tensions: tuple[float, float]
    turn: float
    friction: float

    @property
    def ratio(self) -> float:
        """Greater over smaller tension."""
        least = min(self.tensions)
        return max(self.tensions) / least if least > 0.0 else float("inf")

    @property
    def most(self) -> float:
        """Greatest ratio before it slips."""
        return exp(self.friction * self.turn)

    @property
    def slips(self) -> bool:
        """True where the ratio is more than friction can hold."""
        return self.ratio > self.most

    @property
    def towards(self) -> str:
        """Side to which it would slip: that of the greater tension."""
        return "back" if self.tensions[0] > self.tensions[1] else "ahead"


def turn_between(back: Array, ahead: Array) -> float:
    """Return the angle [rad] by which a cable turns over a saddle.

    Parameters
    ----------
    back, ahead : Array (3,)
        Pulls of the cable away from the saddle on either side, neither zero; only their directions
        count.
    """
    cosine = float(back @ ahead) / float(np.linalg.norm(back) * np.linalg.norm(ahead))
    return pi - acos(min(max(cosine, -1.0), 1.0))


def grip_of(saddle: str, back: Array, ahead: Array, friction: float) -> Grip:
    """Return how a cable grips a saddle, from its pulls on either side.

    Parameters
    ----------
    saddle : str
        Id of the saddle.
    back, ahead : Array (3,)
        Pulls of the cable away from the saddle [N].
    friction : float
        Coefficient of friction to rely on, its reserve taken off.
    """
    tensions = (float(np.linalg.norm(back)), float(np.linalg.norm(ahead)))
    return Grip(saddle, tensions, turn_between(back, ahead), friction)


def grip_rows(grip: Grip, rows: tuple[Array, Array]) -> Array:
    """Return by how much each side may still gain on the other, linear in the moves.

    Parameters
    ----------
    grip : Grip
    rows : tuple of two Array (n,)
        Change of the back and ahead tension for a unit move of every seat [N/m].

    Returns
    -------
    Array (2, n + 1)
        Rows and bounds: the cable grips while rows[:, :n] @ x <= rows[:, n] [N].
    """
    (back, ahead), c = grip.tensions, grip.most
    return np.array(
        [
            [*(rows[0] - c * rows[1]), c * ahead - back],
            [*(rows[1] - c * rows[0]), c * back - ahead],
        ]
    )


def resultant(pulls: Sequence[Array]) -> Array:
    """Return what cables pull a saddle with together (3,) [N]."""
    return np.sum(pulls, axis=0)


@dataclass(frozen=True, slots=True)
class SaddleRelease:
    """What happens when jacks let a saddle down onto its pack.

    Parameters
    ----------
    back : float
        How far the saddle goes back [m].
    force : float
        What the pack carries then [N].
    """

    back: float
    force: float


def released(
    force: float, resistance: float, pack: float, bedding: float, clearance: float = 0.0
) -> SaddleRelease:
    """Return what is lost when jacks that hold a force are released onto a pack.

    Parameters
    ----------
    force : float
        On the jacks together, before [N].
    resistance : float
        Of cable and structure to a move of the saddle [N/m].
    pack : float
        Stiffness of the pack and what it stands on [N/m].
    bedding, clearance : float
        Height the pack loses when first loaded, and gap over it before [m].

    Examples
    --------
    >>> released(2e6, 20e6, 2e9, 0.0005).back
    0.00148...
    """
    back = (clearance + bedding + force / pack) / (1.0 + resistance / pack)
    return SaddleRelease(back, force - resistance * back)


def hold_for(force: float, resistance: float, pack: float, bedding: float) -> tuple[float, float]:
    """Return the jack force and the advance that leave a wanted force on the pack.

    Parameters
    ----------
    force : float
        Wanted on the pack [N].
    resistance : float
        Of cable and structure to a move of the saddle [N/m].
    pack : float
        Stiffness of the pack and what it stands on [N/m].
    bedding : float
        Height the pack loses when first loaded [m].

    Returns
    -------
    tuple of two float
        Force on the jacks together [N], and how far beyond its final place the saddle must be
        pushed [m].
    """
    back = bedding + force / pack
    return force + resistance * back, back


def require_grip(grips: Sequence[Grip]) -> None:
    """Refuse saddles over which the cable slips already.

    Raises
    ------
    StructureError
        With one line for each.
    """
    lines = [
        f"saddle {g.saddle}: the cable slips {g.towards}: tensions of "
        f"{g.tensions[0] / 1e3:.0f} kN back and {g.tensions[1] / 1e3:.0f} kN ahead are 1 to "
        f"{g.ratio:.3f}, friction of {g.friction:g} over {np.degrees(g.turn):.1f} degrees holds "
        f"1 to {g.most:.3f}; check the tensions, the friction, or clamp the cable"
        for g in grips
        if g.slips
    ]
    if lines:
        raise StructureError("\n".join(lines))
