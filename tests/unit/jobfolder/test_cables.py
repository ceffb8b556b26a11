"""Every message of the tables of cables and saddles, whole, on the hung example changed once."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.errors import InputError
from fitup.jobfolder import read_job

EXAMPLE = Path(__file__).parents[3] / "examples" / "quillgate-hung"
Tell = Callable[..., list[str]]


@pytest.fixture
def stated(tmp_path: Path) -> Tell:
    """Copy the example, change one file, and return what is wrong."""

    def tell(file: str, old: str, new: str) -> list[str]:
        folder = tmp_path / "hung"
        shutil.copytree(EXAMPLE, folder, ignore=shutil.ignore_patterns("out"))
        path = folder / file
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
        with pytest.raises(InputError) as caught:
            read_job(folder)
        return [str(p) for p in caught.value.problems]

    return tell


def test_example_is_read_in_si() -> None:
    frame = read_job(EXAMPLE).frame
    assert frame is not None
    back, hanger = frame.cables["back"], frame.cables["H14"]
    assert pytest.approx(195e9 * 0.058) == back.EA
    assert (back.weight, back.length, back.tension, back.seat) == (5200.0, 107.10847, None, None)
    assert (hanger.length, hanger.tension, hanger.seat) == (None, 789300.0, "SH14")
    assert (hanger.least, hanger.most) == (200e3, 1900e3)
    saddle = frame.saddles["saddle"]
    assert (saddle.node, saddle.on, saddle.seat, saddle.friction) == ("S", "T", "SP", 0.2)


H14 = "H14,C14,D14,catenary,160.0,58,0.6,,789.3,SH14,200,1900"
CASES = [
    (
        "frame_cables.csv", H14, H14.replace("C14", "C15"),
        "frame_cables.csv, row 10, i: found 'C15'; allowed: an id of frame_nodes.csv; correct it "
        "or add it there",
    ),
    (
        "frame_cables.csv", H14, H14.replace("D14", "C14"),
        "frame_cables.csv, row 10, j: found a cable 0 mm long between its ends; allowed: two ends "
        "apart; name another node or correct its place",
    ),
    (
        "frame_cables.csv", H14, H14.replace("SH14", "SX"),
        "frame_cables.csv, row 10, seat: found 'SX'; allowed: an id of seats.csv; correct it or "
        "add it there",
    ),
    (
        "frame_cables.csv", H14, H14.replace("SH14", "H5L"),
        "frame_cables.csv, row 10, seat: found 'H5L', which pushes up; allowed: a seat that pushes "
        "shorten; correct it here or in seats.csv",
    ),
    (
        "frame_cables.csv", H14, H14.replace(",,789.3", ",39.8,789.3"),
        "frame_cables.csv, row 10, length_m: found length and tension; allowed: one of them; or "
        "its tension measured in tensions.csv; give how long it is unstressed, or how much it "
        "pulls",
    ),
    (
        "frame_cables.csv", "D62,catenary,160.0,58,0.6,,964.9", "D62,catenary,160.0,58,0.6,,",
        "frame_cables.csv, row 14, length_m: found neither length nor tension; allowed: one of "
        "them; or its tension measured in tensions.csv; give how long it is unstressed, or how "
        "much it pulls",
    ),
    (
        "frame_cables.csv", H14, H14.replace("200,1900", "200,150"),
        "frame_cables.csv, row 10, tension_most_kN: found not above tension_least; allowed: above "
        "tension_least; correct one",
    ),
    (
        "frame_saddles.csv", "back,main1", "back,main2",
        "frame_saddles.csv, row 2, ahead: found 'main2', which runs from C14 to C26; allowed: a "
        "cable that ends at S; correct it here or in frame_cables.csv",
    ),
    (
        "frame_saddles.csv", "back,main1", "back,main9",
        "frame_saddles.csv, row 2, ahead: found 'main9'; allowed: an id of frame_cables.csv; "
        "correct it or add it there",
    ),
    (
        "frame_saddles.csv", ",T,SP", ",,SP",
        "frame_saddles.csv, row 2, on: found seat and on do not go together; allowed: both, on "
        "being another node; or neither, for a saddle that is fixed; say what the saddle slides on",
    ),
    (
        "frame_saddles.csv", ",T,SP", ",T,SH14",
        "frame_saddles.csv, row 2, seat: found 'SH14', which shortens a cable; allowed: a seat "
        "that pushes; correct it here or in seats.csv",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "message"), CASES)
def test_message(stated: Tell, file: str, old: str, new: str, message: str) -> None:
    assert stated(file, old, new) == [message]


def test_a_seat_shortens_one_cable(stated: Tell) -> None:
    assert stated("frame_cables.csv", "SH26,", "SH14,") == [
        "frame_cables.csv, row 11, seat: found 'SH14', which shortens cable H14; allowed: a seat "
        "for each cable; give it its own",
    ]


def test_a_seat_that_shortens_needs_its_cable(stated: Tell) -> None:
    assert stated("frame_cables.csv", "SH26,", ",") == [
        "seats.csv, row 17, pushes: found shorten at a seat that no cable names; allowed: a cable "
        "with this seat; name it in frame_cables.csv, column seat",
    ]


def test_a_measured_tension_cuts_a_cable_that_has_neither_length_nor_tension(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "hung"
    shutil.copytree(EXAMPLE, folder, ignore=shutil.ignore_patterns("out"))
    path = folder / "frame_cables.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("789.3", ""), encoding="utf-8")
    job = read_job(folder)
    assert job.frame is not None
    assert job.frame.cables["H14"].tension == job.tensions["H14"].value
