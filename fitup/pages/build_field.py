"""From the sheets of a plan to the field page of one crew: the same lines, one at a time."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence

from fitup.model import Job, Procedure
from fitup.pages.field_events import event_steps
from fitup.pages.field_facts import FieldFacts, FieldStage, FieldStep, FormRow, field_units
from fitup.pages.field_increments import increment_steps, joint_step
from fitup.pages.review_facts import UnitName
from fitup.record.asdone import Asked, asked_of
from fitup.sheets.as_done import as_done
from fitup.sheets.cautions import BAND_PASSED, HOLD
from fitup.sheets.model import SheetSet
from fitup.sheets.table_files import json_bytes
from fitup.sheets.work import StageSheet


def crews_of(sheets: SheetSet) -> tuple[int, ...]:
    """Return the crews of a plan by their number."""
    return tuple(sorted({stage.crew for stage in sheets.stages}))


def field_facts(
    job: Job, sheets: SheetSet, procedures: Sequence[Procedure], crew: int
) -> FieldFacts:
    """Return what the field page of one crew shows.

    Parameters
    ----------
    job : Job
    sheets : SheetSet
        Confirmed by the certificate: its numbers are the ones shown.
    procedures : sequence of Procedure
        The certificate's; empty for a plan that has none.
    crew : int
    """
    head, crews = sheets.header, len(crews_of(sheets))
    printed = json.loads(json_bytes(sheets, ()))
    return FieldFacts(
        job=head.job,
        check_code=head.check_code,
        spoken=head.spoken,
        status=head.status,
        approved=head.approved,
        crew=crew,
        crews=crews,
        units=field_units(job),
        stages=tuple(
            _stage(
                job,
                sheets,
                stage,
                asked_of(printed, job, stage.number),
                next(
                    (p for p in procedures if (p.stage, p.group) == (stage.number, stage.group)),
                    None,
                ),
            )
            for stage in sheets.stages
            if stage.crew == crew
        ),
        stop=BAND_PASSED,
        hold=HOLD,
        caution=sheets.caution_strip,
        heading=f"Field page, crew {crew} of {crews}",
    )


def _stage(
    job: Job,
    sheets: SheetSet,
    stage: StageSheet,
    asked: tuple[Asked, ...],
    procedure: Procedure | None,
) -> FieldStage:
    own = _own_names(stage)
    mine = {a.name: a for a in asked if a.name in own}
    title = f"Stage {stage.number} of {stage.of}: {stage.group}, segment {stage.segment}"
    return FieldStage(
        number=stage.number,
        title=title,
        steps=tuple(_steps(job, stage, procedure, mine)),
        form=tuple(_form(sheets, stage.number, mine)),
    )


def _own_names(stage: StageSheet) -> set[str]:
    """Return what this crew reads of a stage that another crew may share."""
    jacks = {f"{what} {jack.jack}" for jack in stage.jacks for what in ("ram", "load")}
    packs = {f"pack {card.seat}" for card in stage.cards}
    return jacks | packs | {line.id for line in stage.expected}


def _steps(
    job: Job, stage: StageSheet, procedure: Procedure | None, asked: Mapping[str, Asked]
) -> Iterator[FieldStep]:
    """Yield the work of a stage: event by event, or by the increments of a plan without events."""
    yield FieldStep(
        "Before the first stroke", stage.moves, tuple(c.words for c in stage.conditions)
    )
    if procedure is None:
        yield from increment_steps(job, stage, asked)
        return
    steps = tuple(event_steps(job, procedure, asked))
    yield from steps
    read = {entry.name for step in steps for entry in step.entries}
    left = [a for a in asked.values() if a.what == "check" and a.name not in read]
    if left:
        yield joint_step(stage, left)


def _form(sheets: SheetSet, stage: int, asked: dict[str, Asked]) -> Iterator[FormRow]:
    table = as_done(sheets)
    at = {name: i for i, name in enumerate(table.columns)}
    for row in table.rows:
        name = str(row[at["name"]])
        if row[at["stage"]] != stage or name not in asked:
            continue
        a = asked[name]
        place, should, stop, other = (
            str(row[at[c]]) for c in ("place", "should_read", "stop_beyond", "or_beyond")
        )
        most = a.most if a.what == "load" else None
        unit: UnitName = "force" if a.dimension == "force" else "move"
        yield FormRow(name, a.what, place, should, stop, other, unit, a.pack, most)
