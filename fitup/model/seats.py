"""What holds and moves segments: seats, jacks, plates, and the limits between seats."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Final, Literal

from fitup.frames import Array
from fitup.model.column import column, grid

#: seat direction word -> (word for a move with the direction, word for a move against it)
MOVE_WORDS: Final[dict[str, tuple[str, str]]] = {
    "up": ("RAISE", "LOWER"),
    "ahead": ("PUSH AHEAD", "LET BACK"),
    "back": ("PUSH BACK", "LET AHEAD"),
    "left": ("PUSH LEFT", "LET RIGHT"),
    "right": ("PUSH RIGHT", "LET LEFT"),
    "main_span": ("PUSH TO MAIN SPAN", "LET TO SIDE SPAN"),
    "shorten": ("SHORTEN", "SLACKEN"),
}

#: one thickness in two units may differ by this [m]
_SAME: Final = 1e-9


@dataclass(frozen=True, eq=False)
class Seat:
    """A place that holds a segment and whose setting can be changed in one direction.

    Parameters
    ----------
    id, segment : str
    position, direction : Array (3,)
        Where it is [m] and the unit direction in which it pushes the segment.
    pushes : str
        The direction in a word: up, ahead, back, left, right, main_span (a saddle), shorten (a
        cable), or axis.
    stiffness : float
        Stiffness in its direction [N/m].
    held_by : {'packs', 'nut'}
        Plates, or a lock nut on a jack that stays.
    pack : tuple of str
        Marks of the plates now in place, bottom to top.
    pack_least, pack_most : float
        Least and greatest pack height [m].
    most_plates : int
        Most plates in a pack.
    thinnest, thickest : float
        Nominal thickness of the plates that a new pack may hold [m].
    bedding : float
        Height lost when a new pack takes the load [m].
    reaction_least, reaction_most : float
        Least bearing and greatest reaction of the seat [N].
    reaction_now : float, optional
        Measured present reaction [N]; computed from weight when missing.
    breakaway : float
        Extra jack load to start a slide or free a bearing [N].
    raise_most, lower_most : float, optional
        Most the seat may go with and against its direction from now [m].
    group : str
        Seats with one group name move together.
    hold : bool
        The engineer wants this seat left as it is.
    may_unload : bool
        On the way the deck may leave this seat; it then carries nothing.
    temporary_seat : bool
        Beside the pack there is a place, made level with it, where temporary plates carry the load
        while the pack is changed.
    """

    id: Annotated[str, column("id", "the name painted at the seat")]
    segment: Annotated[str, column("id", "the segment it holds")]
    position: Annotated[Array, grid("", " of the seat")]
    direction: Array
    pushes: Annotated[
        str,
        column(
            "word",
            "the direction in which it pushes the segment",
            "; `main_span` for a saddle, `shorten` for a cable ([cables.md](cables.md))",
            words=(*MOVE_WORDS, "axis"),
        ),
        column(
            "number",
            "its direction, easting part, where pushes is axis or main_span",
            name="axis_E",
            default=None,
        ),
        column("number", "its direction, northing part", name="axis_N", default=None),
        column("number", "its direction, upward part", name="axis_H", default=None),
    ]
    stiffness: Annotated[
        float,
        column(
            "stiffness",
            "its stiffness in that direction",
            "; with more than three vertical seats it decides how they share",
            above=0.0,
            most=1e13,
        ),
    ]
    held_by: Annotated[
        Literal["packs", "nut"],
        column(
            "word",
            "what holds it after the move",
            "; `nut` is a lock nut on a jack that stays",
            words=("packs", "nut"),
        ),
    ]
    pack: Annotated[
        tuple[str, ...],
        column(
            "ids",
            "the marks of the plates in place, bottom to top, e.g. P20+P10+P3",
            "; empty for a nut",
            default=(),
        ),
    ]
    pack_least: Annotated[
        float, column("length", "the least pack height", default=0.0, least=0.0, most=5.0)
    ]
    pack_most: Annotated[
        float,
        column(
            "length",
            "the greatest pack height",
            "; needed for packs",
            default=None,
            least=0.0,
            most=5.0,
        ),
    ]
    most_plates: Annotated[
        int, column("count", "the most plates in a pack", default=5, least=1, most=12)
    ]
    bedding: Annotated[
        float,
        column(
            "length",
            "the height a new pack loses when loaded",
            default=0.0,
            least=0.0,
            most=0.01,
        ),
    ]
    reaction_least: Annotated[
        float, column("force", "the least bearing (below zero: may pull)", least=-1e9, most=1e9)
    ]
    reaction_most: Annotated[float, column("force", "the greatest reaction", least=-1e9, most=1e9)]
    reaction_now: Annotated[
        float | None,
        column(
            "force",
            "the measured present reaction",
            "; computed from the weight when empty. With an influence table needed at every seat",
            least=-1e9,
            most=1e9,
        ),
    ] = None
    breakaway: Annotated[
        float,
        column(
            "force",
            "the extra jack load that starts a slide",
            " or frees a bearing",
            least=0.0,
            most=1e8,
        ),
    ] = 0.0
    raise_most: Annotated[
        float | None,
        column(
            "length",
            "the most it may go its way from now",
            "; needed for a nut",
            least=0.0,
            most=5.0,
        ),
    ] = None
    lower_most: Annotated[
        float | None,
        column(
            "length",
            "the most it may go back from now",
            "; needed for a nut",
            least=0.0,
            most=5.0,
        ),
    ] = None
    group: Annotated[
        str,
        column(
            "id",
            "the name shared by seats that move together",
            "; empty: lifts, pushes along and pushes across of each segment",
        ),
    ] = ""
    hold: Annotated[
        bool, column("yesno", "yes to leave this seat as it is", "; it needs no jack")
    ] = False
    may_unload: Annotated[
        bool,
        column(
            "yesno",
            "yes where the deck may leave this seat on the way",
            "; contact is then solved again",
        ),
    ] = False
    thinnest: Annotated[
        float,
        column(
            "length",
            "the thinnest plate a new pack may hold",
            ", by nominal thickness",
            least=0.0,
            most=0.5,
        ),
    ] = 0.0
    thickest: Annotated[
        float,
        column(
            "length",
            "the thickest plate a new pack may hold",
            ", by nominal thickness",
            above=0.0,
            most=0.5,
        ),
    ] = math.inf
    temporary_seat: Annotated[
        bool,
        column(
            "yesno",
            "yes where temporary plates beside the pack can carry the load",
            ", on a place that is made level with the pack; needed to change a pack at jacks "
            "without lock nuts",
        ),
    ] = False

    def may_hold(self, plate: Plate) -> bool:
        """Say whether a new pack may hold a plate, by nominal thickness, rounding aside."""
        return self.thinnest - _SAME <= plate.nominal <= self.thickest + _SAME

    @property
    def lifts(self) -> bool:
        """True where the seat pushes up, so that gravity brings the load back."""
        return bool(self.direction[2] > 0.5)

    @property
    def comes_back(self) -> bool:
        """True where gravity or a cable's pull brings the seat back onto its pack or nut."""
        return self.lifts or self.pushes in {"main_span", "shorten"}

    @property
    def only_pushes(self) -> bool:
        """True where the structure may lift off it; of a cable it is the cable that goes slack."""
        return self.reaction_least >= 0.0 and self.pushes != "shorten"


@dataclass(frozen=True, slots=True)
class Jack:
    """What moves a seat; several may serve one seat.

    ``stroke_used`` is how far the ram is out at START, when it has taken the load: that much it
    can go back. ``base`` is the packing under it that can be taken out, ``base_most`` the most that
    may stand there [m]: room to set it anew when its stroke is used up. ``stiffness`` is that of
    jack, oil and base together [N/m]; None: by the defaults of :class:`Springs`. Jacks of one
    ``circuit`` hang on one valve at one pressure, at one seat or at several.
    """

    id: Annotated[str, column("id", "the number painted on the jack")]
    seat: Annotated[
        str,
        column(
            "id",
            "the seat it moves",
            "; several at one seat share its load by stiffness, or by ram area on one circuit",
        ),
    ]
    capacity: Annotated[float, column("force", "its rated capacity", above=0.0, most=5e7)]
    ram_area: Annotated[
        float,
        column(
            "area",
            "its effective ram area",
            "; load over area is the gauge pressure",
            above=0.0,
            most=5.0,
        ),
    ]
    stroke: Annotated[float, column("length", "its full stroke", above=0.0, most=5.0)]
    stroke_used: Annotated[
        float,
        column(
            "length",
            "the stroke already out at START, when it has taken the load",
            ": so much it can go back. A ram set by hand is short of that by the take-up "
            "([night.md](night.md))",
            default=0.0,
            least=0.0,
            most=5.0,
        ),
    ]
    resolution: Annotated[
        float,
        column(
            "length",
            "the least movement it can be set to",
            "; a nut seat moves in whole steps of it",
            above=0.0,
            most=0.1,
        ),
    ]
    lock_nut: Annotated[
        bool,
        column(
            "yesno",
            "whether it has a lock nut",
            "; without one, temporary plates from the store follow the load",
        ),
    ]
    base: Annotated[
        float,
        column("length", "the packing under it that can be taken out", least=0.0, most=5.0),
    ] = 0.0
    base_most: Annotated[
        float,
        column(
            "length",
            "the most packing that may stand there",
            "; empty: no more than now. With room for packing a jack whose stroke is used up is "
            "set anew between stages, in whole steps of `base_step`",
            default=None,
            least=0.0,
            most=5.0,
        ),
    ] = 0.0
    stiffness: Annotated[
        float | None,
        column(
            "stiffness",
            "the stiffness of jack, oil and base together",
            "; empty: from ram area and oil by default ([night.md](night.md))",
            above=0.0,
            most=1e13,
        ),
    ] = None
    circuit: Annotated[
        str,
        column(
            "id",
            "the name shared by jacks on one valve at one pressure",
            "; over several seats they are linked, and the first leads ([night.md](night.md))",
            default="",
        ),
    ] = ""


@dataclass(frozen=True, slots=True)
class Springs:
    """What gives under a load on a jack, where the job does not say otherwise.

    Bulk modulus of hydraulic oil: 1.4 GPa, the value of the medium "Oil" of the Hydraulic library
    of Wolfram System Modeler (documentation page Hydraulic.Media.Oil). All others: common
    practice, no source.
    """

    oil: float = 1.4e9
    """Bulk modulus of the oil [Pa]; air in it makes it less."""
    dead: float = 0.025
    """Oil under a ram that is all the way in [m]."""
    base: float = 1.0e9
    """Stiffness of steel, packing and ground under a jack [N/m]."""
    nut: float = 2.0e9
    """Stiffness of a lock nut with its thread [N/m]."""
    spread: float = 0.3
    """Share by which these may be wrong either way..."""
    spread_stated: float = 0.1
    """... and by which a stiffness in jacks.csv may be."""


SPRINGS: Final = Springs()


@dataclass(frozen=True, slots=True)
class Plate:
    """One kind of plate on hand: mark, nominal and measured thickness [m], how many may be used.

    ``count`` are loose and may be used; ``kept_back`` more are loose but kept back as spare.
    """

    mark: Annotated[str, column("id", "the mark stamped on the plate")]
    nominal: Annotated[
        float,
        column("length", "the nominal thickness", ", for the eye only", above=0.0, most=0.5),
    ]
    measured: Annotated[
        float,
        column(
            "length",
            "the measured thickness",
            ", which is what counts; within 0.5 mm and a tenth of the nominal",
            above=0.0,
            most=0.5,
        ),
    ]
    count: Annotated[
        int,
        column(
            "count",
            "how many are loose in the store",
            ", packs not included",
            least=0,
            most=10000,
        ),
    ]
    length: Annotated[float, column("length", "the plan length", above=0.0, most=10.0)]
    width: Annotated[float, column("length", "the plan width", above=0.0, most=10.0)]
    spread: Annotated[
        float,
        column(
            "length",
            "the standard uncertainty of one plate's thickness",
            least=0.0,
            most=0.01,
        ),
    ] = 0.0
    """[m]"""
    alike: Annotated[
        bool,
        column(
            "text",
            "the standard its thickness was ordered to",
            ": `EN 10029:1991` or `EN 10029:2010` and class `A`, `B`, `C` or `D`. A measured "
            "thickness outside it is refused",
            name="made_to",
            default=None,
        ),
        column(
            "word",
            "where its uncertainty comes from",
            "; `made_to` is not measured plate by plate, so its uncertainty is that of the class "
            "([trust.md](trust.md))",
            name="spread_by",
            default="measured",
            words=("measured", "made_to"),
        ),
    ] = False
    """Bought to limits and not measured: plates of one mark err alike."""
    kept_back: Annotated[
        int,
        column(
            "count",
            "how many of the loose ones are kept back as spare",
            ": no pack and no temporary packing uses them",
            least=0,
            most=10000,
        ),
    ] = 0


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit between seats: ``difference`` of two lifts or ``warp`` of four [m].

    ``most_moving`` holds while seats move, where it differs from ``most`` at rest on the packs.
    """

    id: Annotated[str, column("id", "a name for the limit")]
    kind: Annotated[
        Literal["difference", "warp"],
        column(
            "word",
            "what is limited",
            "; the difference of two lifts, or the warp of four: how far one leaves the plane "
            "through the other three",
            words=("difference", "warp"),
        ),
    ]
    seats: Annotated[
        tuple[str, ...],
        column("ids", "two seats (difference) or four (warp), separated by spaces"),
    ]
    most: Annotated[float, column("length", "the greatest value either way", above=0.0, most=5.0)]
    most_moving: Annotated[
        float | None,
        column(
            "length",
            "the greatest value while seats move",
            ", jacks out of step included; empty: as `most`",
            above=0.0,
            most=5.0,
        ),
    ] = None

    @property
    def moving(self) -> float:
        """Greatest value while seats move [m]."""
        return self.most if self.most_moving is None else self.most_moving
