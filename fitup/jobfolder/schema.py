"""The tables of a job folder, column by column.

The manual (docs/job-folder.md) is checked against this file.
"""

from __future__ import annotations

from typing import Final

from fitup.jobfolder.staging import GROUPS, PUMPS
from fitup.jobfolder.table import Column
from fitup.model import QUANTITIES

#: air that anyone surveys in [K, Pa], up to 5500 m; beyond, the unit of the column is wrong
#: (common practice, no source)
COLDEST: Final = 273.15 - 60.0
HOTTEST: Final = 273.15 + 60.0
THINNEST: Final = 50_000.0
DENSEST: Final = 110_000.0

SEGMENTS: Final = (
    Column("id", "id", "the name painted on the segment"),
    Column(
        "azimuth",
        "angle",
        "the direction of increasing station, clockwise from north",
        required=False,
    ),
    Column("weight", "force", "the weight of the segment with all that is fixed to it", above=0.0),
    Column("centre_E", "length", "the easting of the centre of gravity"),
    Column("centre_N", "length", "the northing of the centre of gravity"),
    Column("centre_H", "length", "the height of the centre of gravity"),
    Column(
        "held",
        "ids",
        "motions in plan held by friction or guides: along, across, turn",
        required=False,
        default=(),
    ),
    Column(
        "expansion", "expansion", "the thermal expansion coefficient", required=False, least=0.0
    ),
    Column("fixed_E", "length", "the easting of the thermal fixed point", required=False),
    Column("fixed_N", "length", "the northing of the thermal fixed point", required=False),
    Column("fixed_H", "length", "the height of the thermal fixed point", required=False),
    Column(
        "depth", "length", "from top to bottom thermometers", required=False, above=0.0, most=30.0
    ),
)
POINTS: Final = (
    Column("id", "id", "the name of the point, as the survey uses it"),
    Column("segment", "id", "the segment it is on"),
    Column("E", "length", "the design easting at this stage", required=False),
    Column("N", "length", "the design northing at this stage", required=False),
    Column("station", "text", "its station, where E and N are empty", required=False),
    Column("offset", "length", "its distance from the axis", required=False, least=0.0),
    Column(
        "side",
        "word",
        "the side it lies on, looking ahead",
        required=False,
        words=("left", "right", "axis"),
    ),
    Column("H", "length", "the design height at this stage"),
    Column(
        "watched",
        "yesno",
        "yes to check its level and line too (points of pairs always are)",
        required=False,
        default=False,
    ),
)
JOINTS: Final = (
    Column("id", "id", "the name of the joint"),
    Column("back", "id", "the segment with the lower station"),
    Column("ahead", "id", "the segment with the higher station"),
    Column(
        "azimuth",
        "angle",
        "the direction of increasing station, clockwise from north",
        required=False,
    ),
    Column(
        "grade",
        "slope",
        "the rise going ahead, falling ahead is negative",
        required=False,
        least=-0.5,
        most=0.5,
    ),
    Column(
        "crossfall",
        "slope",
        "the slope across, without a sign",
        required=False,
        least=0.0,
        most=0.5,
    ),
    Column(
        "falls_to",
        "word",
        "the side the crossfall falls to",
        required=False,
        words=("left", "right", "level"),
    ),
    Column(
        "least_opening",
        "length",
        "the clear opening that must remain in every state",
        required=False,
    ),
    Column(
        "locked_within",
        "length",
        "locked already: the most its gaps, steps and offsets may change",
        required=False,
        above=0.0,
    ),
)
PAIRS: Final = (
    Column("id", "id", "the name of the pair"),
    Column("joint", "id", "the joint it belongs to"),
    Column("back_point", "id", "the check point on the back face"),
    Column("ahead_point", "id", "the check point on the ahead face"),
    Column("opening", "length", "the nominal opening at the reference temperature"),
    Column("place", "text", "where it is across the deck, e.g. LEFT"),
)
SEATS: Final = (
    Column("id", "id", "the name painted at the seat"),
    Column("segment", "id", "the segment it holds"),
    Column("E", "length", "its easting"),
    Column("N", "length", "its northing"),
    Column("H", "length", "its height"),
    Column(
        "pushes",
        "word",
        "the direction in which it pushes the segment",
        words=("up", "ahead", "back", "left", "right", "main_span", "shorten", "axis"),
    ),
    Column("axis_E", "number", "its direction, easting part, where pushes is axis", required=False),
    Column(
        "axis_N", "number", "its direction, northing part, where pushes is axis", required=False
    ),
    Column("axis_H", "number", "its direction, upward part, where pushes is axis", required=False),
    Column("stiffness", "stiffness", "its stiffness in that direction", above=0.0),
    Column("held_by", "word", "what holds it after the move", words=("packs", "nut")),
    Column(
        "pack",
        "ids",
        "the marks of the plates in place, bottom to top, e.g. P20+P10+P3",
        required=False,
        default=(),
    ),
    Column("pack_least", "length", "the least pack height", required=False, default=0.0, least=0.0),
    Column("pack_most", "length", "the greatest pack height", required=False, least=0.0),
    Column(
        "most_plates",
        "count",
        "the most plates in a pack",
        required=False,
        default=5,
        least=1,
        most=12,
    ),
    Column(
        "thinnest",
        "length",
        "the thinnest plate a new pack may hold",
        required=False,
        default=0.0,
        least=0.0,
    ),
    Column(
        "thickest", "length", "the thickest plate a new pack may hold", required=False, above=0.0
    ),
    Column(
        "bedding",
        "length",
        "the height a new pack loses when loaded",
        required=False,
        default=0.0,
        least=0.0,
        most=0.01,
    ),
    Column("reaction_least", "force", "the least bearing (below zero: may pull)"),
    Column("reaction_most", "force", "the greatest reaction"),
    Column("reaction_now", "force", "the measured present reaction", required=False),
    Column(
        "breakaway",
        "force",
        "the extra jack load that starts a slide",
        required=False,
        default=0.0,
        least=0.0,
    ),
    Column(
        "raise_most", "length", "the most it may go its way from now", required=False, least=0.0
    ),
    Column("lower_most", "length", "the most it may go back from now", required=False, least=0.0),
    Column(
        "group", "id", "the name shared by seats that move together", required=False, default=""
    ),
    Column("hold", "yesno", "yes to leave this seat as it is", required=False, default=False),
    Column(
        "may_unload",
        "yesno",
        "yes where the deck may leave this seat on the way",
        required=False,
        default=False,
    ),
)
JACKS: Final = (
    Column("id", "id", "the number painted on the jack"),
    Column("seat", "id", "the seat it moves"),
    Column("capacity", "force", "its rated capacity", above=0.0),
    Column("ram_area", "area", "its effective ram area", above=0.0),
    Column("stroke", "length", "its full stroke", above=0.0),
    Column(
        "stroke_used",
        "length",
        "the stroke already out when it touches",
        required=False,
        default=0.0,
        least=0.0,
    ),
    Column("resolution", "length", "the least movement it can be set to", above=0.0),
    Column("lock_nut", "yesno", "whether it has a lock nut"),
    Column(
        "base",
        "length",
        "the packing under it that can be taken out",
        required=False,
        default=0.0,
        least=0.0,
    ),
    Column(
        "base_most", "length", "the most packing that may stand there", required=False, least=0.0
    ),
)
PLATES: Final = (
    Column("mark", "id", "the mark stamped on the plate"),
    Column("nominal", "length", "the nominal thickness", above=0.0, most=0.5),
    Column("measured", "length", "the measured thickness", above=0.0, most=0.5),
    Column("count", "count", "how many are loose in the store", least=0, most=10000),
    Column("length", "length", "the plan length", above=0.0),
    Column("width", "length", "the plan width", above=0.0),
    Column(
        "spread",
        "length",
        "the standard uncertainty of one plate's thickness",
        required=False,
        default=0.0,
        least=0.0,
    ),
    Column("made_to", "text", "the standard its thickness was ordered to", required=False),
    Column(
        "spread_by",
        "word",
        "where its uncertainty comes from",
        required=False,
        default="measured",
        words=("measured", "made_to"),
    ),
    Column(
        "kept_back",
        "count",
        "how many of the loose ones are kept back as spare",
        required=False,
        default=0,
        least=0,
        most=10000,
    ),
)
LIMITS: Final = (
    Column("id", "id", "a name for the limit"),
    Column("kind", "word", "what is limited", words=("difference", "warp")),
    Column("seats", "ids", "two seats (difference) or four (warp), separated by spaces"),
    Column("most", "length", "the greatest value either way", above=0.0),
    Column(
        "most_moving", "length", "the greatest value while seats move", required=False, above=0.0
    ),
)
AIMS: Final = (
    Column("joint", "id", "the joint"),
    Column("pair", "id", "the pair; empty for all pairs of the joint", required=False),
    Column("quantity", "word", "which check", words=QUANTITIES[:6]),
    Column(
        "treat",
        "word",
        "preset (aim at it), leave (do not work on it, keep within), tolerance (its own)",
        words=("preset", "leave", "tolerance"),
    ),
    Column("amount", "length", "the amount of a length, without a sign", required=False, least=0.0),
    Column(
        "angle", "slope", "the amount of a kink or twist, without a sign", required=False, least=0.0
    ),
    Column(
        "side", "text", "for a preset: which way, in the words of the joint table", required=False
    ),
    Column("reason", "text", "why, and who says so"),
)
READINGS: Final = (
    Column("id", "id", "a name for the reading"),
    Column("pair", "id", "the pair it was taken at"),
    Column("quantity", "word", "what was read", words=("gap", "step", "offset")),
    Column("value", "length", "the amount, without a sign", least=0.0),
    Column("side", "text", "for step and offset: which way; for gap: 'opening'"),
    Column("u", "length", "the standard uncertainty of the reading", above=0.0),
    Column("how", "text", "the tool, e.g. straightedge and feeler"),
)
CROSSFALL: Final = (
    Column("station", "text", "a station in the notation of the alignment"),
    Column("side", "word", "the side of the axis", words=("left", "right", "both")),
    Column("slope", "slope", "the slope across, without a sign", least=0.0, most=0.5),
    Column("falls_to", "word", "the side it falls to", words=("left", "right", "level")),
)
TEMPERATURES: Final = (
    Column("id", "id", "the thermometer"),
    Column("segment", "id", "the segment it is on"),
    Column("place", "word", "where in its depth", words=("top", "middle", "bottom")),
    Column("temperature", "temperature", "the steel temperature during the survey"),
    Column("u", "temperature_step", "its standard uncertainty", above=0.0),
)
HOLDS: Final = (
    Column("id", "id", "the hold point"),
    Column("what", "text", "what must be done before the joint is locked"),
    Column("signed", "text", "who released it and when; empty while it is open", required=False),
)
CONTROL: Final = (
    Column("id", "id", "the name of the point, as the observations use it"),
    Column(
        "use",
        "word",
        "weighted (by its uncertainty), held (exact), or tie (only joins set-ups)",
        words=("weighted", "held", "tie"),
    ),
    Column("E", "length", "its easting", required=False),
    Column("N", "length", "its northing", required=False),
    Column("H", "length", "its height", required=False),
    Column("u_E", "length", "the standard uncertainty of its easting", required=False, above=0.0),
    Column("u_N", "length", "the standard uncertainty of its northing", required=False, above=0.0),
    Column("u_H", "length", "the standard uncertainty of its height", required=False, above=0.0),
    Column(
        "r_EN",
        "number",
        "the correlation of easting and northing",
        required=False,
        default=0.0,
        least=-0.999,
        most=0.999,
    ),
    Column(
        "r_EH",
        "number",
        "the correlation of easting and height",
        required=False,
        default=0.0,
        least=-0.999,
        most=0.999,
    ),
    Column(
        "r_NH",
        "number",
        "the correlation of northing and height",
        required=False,
        default=0.0,
        least=-0.999,
        most=0.999,
    ),
)
INSTRUMENTS: Final = (
    Column("id", "id", "the name of the instrument"),
    Column(
        "u_hz",
        "small_angle",
        "the standard uncertainty of a direction in both faces (ISO 17123-3)",
        above=0.0,
    ),
    Column(
        "u_v",
        "small_angle",
        "the standard uncertainty of a zenith angle in both faces (ISO 17123-3)",
        above=0.0,
    ),
    Column("u_sd", "length", "the constant part of the distance's (ISO 17123-4)", above=0.0),
    Column(
        "u_sd_ppm",
        "number",
        "the part of it that grows with the distance, in millionths",
        required=False,
        default=0.0,
        least=0.0,
        most=1000.0,
    ),
    Column(
        "centring",
        "length",
        "the standard uncertainty of the instrument over a mark",
        required=False,
        default=0.0,
        least=0.0,
    ),
    Column(
        "target_centring",
        "length",
        "the standard uncertainty of a prism over its mark",
        required=False,
        default=0.0,
        least=0.0,
    ),
    Column(
        "u_height",
        "length",
        "the standard uncertainty of a measured height of instrument or target",
        required=False,
        default=0.0,
        least=0.0,
    ),
    Column(
        "wavelength_nm",
        "number",
        "the carrier wavelength in nanometres, where distances come uncorrected for the air",
        required=False,
        least=400.0,
        most=1600.0,
    ),
    Column(
        "reference",
        "temperature",
        "the air temperature at which it shows true distances",
        required=False,
        least=COLDEST,
        most=HOTTEST,
    ),
    Column(
        "reference_pressure",
        "air_pressure",
        "the air pressure at which it shows true distances",
        required=False,
        least=THINNEST,
        most=DENSEST,
    ),
    Column(
        "reference_humidity_pct",
        "number",
        "the relative humidity at which it shows true distances, in percent",
        required=False,
        default=60.0,
        least=0.0,
        most=100.0,
    ),
)
RIDE: Final = (
    Column("id", "id", "a name for the wheel path"),
    Column("joint", "id", "the joint it crosses"),
    Column("points", "ids", "its points from back to ahead, two or more on each segment"),
    Column("place", "text", "where it is across the deck, e.g. LEFT lane"),
)
BORES: Final = (
    Column("id", "id", "a name for the bore"),
    Column("joint", "id", "the joint it crosses"),
    Column("back_far", "ids", "points round it at its back end"),
    Column("back_near", "ids", "points round it on the back segment next to the joint"),
    Column("ahead_near", "ids", "points round it on the ahead segment next to the joint"),
    Column("ahead_far", "ids", "points round it at its ahead end"),
    Column("bore", "length", "its clear diameter", above=0.0),
    Column("member", "length", "the diameter of what slides through", above=0.0),
    Column("place", "text", "where it is across the deck"),
)
BOLTS: Final = (
    Column("id", "id", "a name for the group of holes"),
    Column("joint", "id", "the joint it crosses"),
    Column("back", "ids", "the holes' points on the back segment"),
    Column("ahead", "ids", "the holes' points on the ahead segment, in the same order"),
    Column("plane", "word", "the plane of the plate", words=("web", "deck", "end")),
    Column("clearance", "length", "the shift of two holes that still lets a bolt pass", least=0.0),
    Column("place", "text", "where it is across the deck"),
)
TARGETS: Final = (
    Column("stage", "id", "the stage of the work"),
    Column("point", "id", "the check point"),
    Column("E", "length", "its easting wanted then; empty: as in points.csv", required=False),
    Column("N", "length", "its northing wanted then; empty: as in points.csv", required=False),
    Column("H", "length", "its height wanted then"),
)
#: file -> (columns, required)
TABLES: Final[dict[str, tuple[tuple[Column, ...], bool]]] = {
    "segments.csv": (SEGMENTS, True),
    "points.csv": (POINTS, True),
    "joints.csv": (JOINTS, True),
    "pairs.csv": (PAIRS, True),
    "seats.csv": (SEATS, True),
    "jacks.csv": (JACKS, True),
    "plates.csv": (PLATES, True),
    "limits.csv": (LIMITS, False),
    "targets.csv": (TARGETS, False),
    "pumps.csv": (PUMPS, False),
    "groups.csv": (GROUPS, False),
    "aims.csv": (AIMS, False),
    "readings.csv": (READINGS, False),
    "crossfall.csv": (CROSSFALL, False),
    "temperatures.csv": (TEMPERATURES, False),
    "holds.csv": (HOLDS, False),
    "control.csv": (CONTROL, False),
    "instruments.csv": (INSTRUMENTS, False),
    "ride.csv": (RIDE, False),
    "bores.csv": (BORES, False),
    "bolts.csv": (BOLTS, False),
}
