"""What a crew said where it stopped, in the words of its move sheet."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fitup.model.recovery import Found, Stopped
from fitup.sheets.recovery import _said


@pytest.mark.parametrize(
    ("pushes", "out", "back"),
    [("up", "above", "below"), ("shorten", "beyond", "short of")],
)
def test_a_ram_elsewhere_is_said_as_on_the_move_sheet(made, pushes, out, back):
    jack = next(iter(made.job.jacks.values()))
    seat = replace(made.job.seats[jack.seat], pushes=pushes)
    job = replace(made.job, seats={**made.job.seats, seat.id: seat})

    def said(reading: float) -> list[str]:
        return list(_said(job, Found(Stopped(1, rams=((jack.id, reading),)), 0, ())))

    assert said(0.0035) == [f"ram {jack.id} stands 3.5 mm {out} START"]
    assert said(-0.0035) == [f"ram {jack.id} stands 3.5 mm {back} START"]
    assert said(0.0) == [f"ram {jack.id} stands at START"]
