"""Where things are, in words and on a sketch: looking ahead, ahead at the top, LEFT on the left."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Final, Literal

import numpy as np

from fitup.frames import Array, heading, left_of
from fitup.model import Job, Seat, Segment
from fitup.sheets.model import PlanSeat, PlanSegment
from fitup.sheets.words import joined
from fitup.sheets.work import Mark, SegmentMap, Sketch

#: sketch: whole width, width of the deck, room above and below it, least height, height of a
#: label of a seat that works and of one that does not, distance of symbols, their inset [mm]
_WIDTH: Final = 180.0
_DECK: Final = 60.0
_EDGE: Final = 9.0
_HEIGHT: Final = 66.0
_LABEL: Final = 13.0
_LABEL_IDLE: Final = 6.0
_MARK_PITCH: Final = 7.0
_INSET: Final = 6.0
#: a seat this near the middle is of the centre line [m]
_CENTRE: Final = 0.1
_SHAPES: Final[dict[str, Literal["up", "ahead", "back", "left", "right", "cable"]]] = {
    "ahead": "ahead",
    "back": "back",
    "left": "left",
    "right": "right",
    "cable": "cable",
}


_AGAINST: Final = {"ahead": "back", "back": "ahead", "left": "right", "right": "left"}


def _points(job: Job, seat: Seat, words: str) -> str:
    """Return the way a seat's deck moves; the way it pushes where it makes no move."""
    pushes = seat.pushes
    if pushes == "shorten":
        return "cable"
    if pushes == "main_span":
        along = float(seat.direction @ heading(job.segments[seat.segment].azimuth))
        pushes = "ahead" if along > 0.0 else "back"
    return _AGAINST.get(pushes, pushes) if words.startswith("LET ") else pushes


def local(segment: Segment, points: Array) -> Array:
    """Return points as distance ahead and left of the segment's centre [m].

    Parameters
    ----------
    segment : Segment
    points : Array (k, 3) or (3,)
        In the grid [m]; heights do not matter.

    Returns
    -------
    Array (k, 2)
        One row for a single point.
    """
    axes = np.vstack([heading(segment.azimuth), left_of(segment.azimuth)])
    return np.asarray((np.atleast_2d(points) - segment.centre) @ axes.T)


def extent(job: Job, segment: str) -> tuple[float, float, float, float]:
    """Return least and greatest distance ahead and left over seats and check points [m].

    Parameters
    ----------
    job : Job
    segment : str

    Returns
    -------
    back, ahead, right, left : float
        From the centre of the segment; a metre each way where it has neither seat nor point.
    """
    points = [s.position for s in job.seats_of(segment)]
    points += [p.design for p in job.points.values() if p.segment == segment]
    if not points:
        return (-1.0, 1.0, -1.0, 1.0)
    flat = local(job.segments[segment], np.array(points))
    low, high = flat.min(axis=0), flat.max(axis=0)
    return (float(low[0]), float(high[0]), float(low[1]), float(high[1]))


def place_words(job: Job, seat: Seat) -> str:
    """Say where a seat is: ``LEFT, AHEAD end``.

    Parameters
    ----------
    job, seat

    Returns
    -------
    str
        By thirds of the :func:`extent` of its segment.
    """
    back, ahead, right, left = extent(job, seat.segment)
    along, across = local(job.segments[seat.segment], seat.position)[0]
    end = _third((along - back) / max(ahead - back, 1e-9), ("BACK end", "middle", "AHEAD end"))
    side = _third((across - right) / max(left - right, 1e-9), ("RIGHT", "CENTRE", "LEFT"))
    return f"{side}, {end}"


def _third(share: float, words: tuple[str, str, str]) -> str:
    if share < 0.4:
        return words[0]
    return words[2] if share > 0.6 else words[1]


def sheet_of(job: Job, segment: str) -> str:
    """Return the one joint whose move sheet carries a segment's stages, else the segment.

    Parameters
    ----------
    job : Job
    segment : str

    Returns
    -------
    str
        Of several joints, the first of the job.
    """
    for joint in job.joints.values():
        if segment in (joint.back, joint.ahead):
            return joint.id
    return segment


def spread(
    wanted: Sequence[float], pitch: float | Sequence[float], low: float, high: float
) -> list[float]:
    """Move sorted positions apart to at least a pitch, inside low..high where that is possible.

    Parameters
    ----------
    pitch : float or sequence
        One for all, or the distance from each position to the next.

    Examples
    --------
    >>> spread([1.0, 1.0, 9.0], 2.0, 0.0, 10.0)
    [1.0, 3.0, 9.0]
    >>> spread([1.0, 1.0, 1.0], [2.0, 5.0], 0.0, 10.0)
    [1.0, 3.0, 8.0]
    """
    apart = [pitch] * len(wanted) if isinstance(pitch, int | float) else list(pitch)
    out: list[float] = []
    for i, value in enumerate(wanted):
        out.append(max(value, low if not out else out[-1] + apart[i - 1]))
    limit = high
    for i in reversed(range(len(out))):
        out[i] = min(out[i], limit)
        limit = out[i] - (apart[i - 1] if i else 0.0)
    return out


def segment_maps(
    job: Job, segments: Iterable[str], words: Mapping[str, str]
) -> tuple[SegmentMap, ...]:
    """Return every segment that moves, once, with the whole move of each of its seats.

    Parameters
    ----------
    job : Job
    segments : iterable of str
        Those that move, in the order of work; named twice, they are mapped once.
    words : mapping of str to str
        Seat to its whole move; seats not named stay as they are.
    """
    return tuple(
        SegmentMap(segment, sheet_of(job, segment), sketch(job, segment, words))
        for segment in dict.fromkeys(segments)
    )


def sketch(job: Job, segment: str, words: Mapping[str, str]) -> Sketch:
    """Draw the plan of a segment with its seats and jacks by id.

    Parameters
    ----------
    words : mapping
        Seat id to its whole move; seats not named stay as they are.
    """
    seats = job.seats_of(segment)
    flat = local(job.segments[segment], np.array([s.position for s in seats]))
    back, ahead, right, left = extent(job, segment)
    middle = (left + right) / 2.0
    # all of the centre line on one side, so that their symbols keep apart too
    sides = ["left" if across > middle + _CENTRE else "right" for _, across in flat]
    sizes = [_LABEL if s.id in words else _LABEL_IDLE for s in seats]
    busiest = max(
        sum(size for size, own in zip(sizes, sides, strict=True) if own == side) for side in sides
    )
    height = max(_HEIGHT, busiest + 2.0 * _EDGE)
    deck = ((_WIDTH - _DECK) / 2.0, _EDGE, _DECK, height - 2.0 * _EDGE)
    x = _scaled(flat[:, 1], left, right, deck[0] + _INSET, deck[0] + deck[2] - _INSET)
    y = _scaled(flat[:, 0], ahead, back, deck[1] + _INSET, deck[1] + deck[3] - _INSET)
    marks: list[Mark] = []
    for side in ("left", "right"):
        order = sorted((i for i, s in enumerate(sides) if s == side), key=lambda i: y[i])
        marks += _marks(job, [seats[i] for i in order], x[order], y[order], side, deck, words)
    return Sketch(_WIDTH, height, deck, tuple(marks), *_neighbours(job, segment))


def _scaled(values: Array, low: float, high: float, start: float, end: float) -> Array:
    span = high - low if abs(high - low) > 1e-9 else 1.0
    return np.asarray(start + (values - low) / span * (end - start))


def _marks(
    job: Job,
    seats: Sequence[Seat],
    x: Array,
    y: Array,
    side: str,
    deck: tuple[float, float, float, float],
    words: Mapping[str, str],
) -> list[Mark]:
    top, bottom = deck[1] + _INSET, deck[1] + deck[3] - _INSET
    pitch = min(_MARK_PITCH, (bottom - top) / max(len(seats) - 1, 1))
    spots = spread([float(v) for v in y], pitch, top, bottom)
    sizes = [_LABEL if seat.id in words else _LABEL_IDLE for seat in seats]
    apart = [(a + b) / 2.0 for a, b in pairwise(sizes)]
    edge = _LABEL / 2.0
    labels = spread(spots, apart, edge, deck[1] + deck[3] + _EDGE - edge)
    out = []
    for seat, mark_x, mark_y, label_y in zip(seats, x, spots, labels, strict=True):
        jacks = joined(tuple(j.id for j in job.jacks_at(seat.id)))
        out.append(
            Mark(
                x=round(float(mark_x), 2),
                y=round(mark_y, 2),
                shape=_SHAPES.get(_points(job, seat, words.get(seat.id, "")), "up"),
                works=seat.id in words,
                label_y=round(label_y, 2),
                side="left" if side == "left" else "right",
                title=seat.id,
                move=words.get(seat.id, ""),
                jacks=f"jack {jacks}",
            )
        )
    return out


def _neighbours(job: Job, segment: str) -> tuple[str, str]:
    back = [f"joint {j.id} to {j.back}" for j in job.joints.values() if j.ahead == segment]
    ahead = [f"joint {j.id} to {j.ahead}" for j in job.joints.values() if j.back == segment]
    return (joined(tuple(back)) if back else "", joined(tuple(ahead)) if ahead else "")


def plan_segments(job: Job, moves: Mapping[str, str]) -> tuple[PlanSegment, ...]:
    """Return all segments for the plan figure, turned so that the mean direction is ahead.

    Parameters
    ----------
    job : Job
    moves : mapping of str to str
        Seat to its whole move; seats not named are drawn as staying.
    """
    if not job.segments:
        return ()
    azimuths = np.array([s.azimuth for s in job.segments.values()])
    mean = float(np.arctan2(np.sin(azimuths).mean(), np.cos(azimuths).mean()))
    axes = np.vstack([heading(mean), left_of(mean)])
    origin = np.mean([s.centre for s in job.segments.values()], axis=0)
    out = []
    for segment in job.segments.values():
        back, ahead, right, left = extent(job, segment.id)
        own = np.vstack([heading(segment.azimuth), left_of(segment.azimuth)])
        square = np.array([(back, right), (ahead, right), (ahead, left), (back, left)])
        corners = (segment.centre + square @ own - origin) @ axes.T
        seats = tuple(
            _plan_seat(job, seat, (seat.position - origin) @ axes.T, moves)
            for seat in job.seats_of(segment.id)
        )
        shape = tuple((float(a), float(b)) for a, b in corners)
        out.append(PlanSegment(segment.id, shape, seats))
    return tuple(out)


def _plan_seat(job: Job, seat: Seat, where: Array, moves: Mapping[str, str]) -> PlanSeat:
    words = moves.get(seat.id, "")
    ahead, left = float(where[0]), float(where[1])
    points = _points(job, seat, words)
    return PlanSeat(seat.id, ahead, left, seat.pushes, points, bool(words), words)
