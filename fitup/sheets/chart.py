"""The overview of the whole sequence: seats against stages, on one page."""

from __future__ import annotations

from fitup.certify.facts import Certificate
from fitup.model import Job, Plan
from fitup.sheets.places import place_words, sheet_of
from fitup.sheets.words import joined, move_words
from fitup.sheets.work import Chart, ChartCell, ChartRow
from fitup.units import DISPLAY


def build_chart(job: Job, plan: Plan, certificate: Certificate) -> Chart:
    """Return seats against stages; seats that never move are left out.

    Parameters
    ----------
    job, plan, certificate
    """
    numbers = tuple(dict.fromkeys(s.number for s in certificate.stages))
    hours: dict[int, list[str]] = {n: [] for n in numbers}
    sheets: dict[int, list[str]] = {n: [] for n in numbers}
    cells: dict[str, dict[int, ChartCell]] = {}
    group_of: dict[str, str] = {}
    units = DISPLAY[job.units]
    for stage in certificate.stages:
        hours[stage.number] += [w for w in (stage.window,) if w]
        sheets[stage.number].append(sheet_of(job, stage.segment))
        for pack in stage.packs:
            words = move_words(job.seats[pack.seat].pushes, pack.move, units).words
            said = "up and down again" if words == "stays" else words
            cells.setdefault(pack.seat, {})[stage.number] = ChartCell(said, stage.crew, False)
            group_of[pack.seat] = stage.group
    whole = {f.seat: move_words(f.pushes, f.setting, units).words for f in certificate.seats}
    rows = tuple(_row(job, s, group_of[s], own, numbers, whole[s]) for s, own in cells.items())
    objective = next((w for w in plan.objectives if w.name == "stages"), None)
    return Chart(
        stages=numbers,
        hours=tuple(joined(tuple(dict.fromkeys(hours[n]))) if hours[n] else "" for n in numbers),
        sheets=tuple(joined(tuple(dict.fromkeys(sheets[n]))) for n in numbers),
        rows=rows,
        proof=""
        if objective is None
        else _proof(certificate.summary.stages, objective.lower, objective.text),
    )


def _row(
    job: Job,
    seat: str,
    group: str,
    own: dict[int, ChartCell],
    numbers: tuple[int, ...],
    whole: str,
) -> ChartRow:
    last = max(own)
    return ChartRow(
        seat=seat,
        group=group,
        segment=job.seats[seat].segment,
        place=place_words(job, job.seats[seat]),
        whole=whole,
        cells=tuple(
            ChartCell(own[n].words, own[n].crew, n == last) if n in own else None for n in numbers
        ),
    )


def _proof(upper: float, lower: float, text: str) -> str:
    if upper <= lower:
        return f"{upper:.0f} stages, proven the least there is: {text}."
    return f"{upper:.0f} stages, no order has fewer than {lower:.0f}: {text}."
