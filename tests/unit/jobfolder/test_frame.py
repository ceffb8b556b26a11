"""Every message of the frame tables, whole, on the template's frame with one thing changed."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.errors import InputError
from fitup.jobfolder import read_job, start_job

Tell = Callable[..., list[str]]
EXAMPLES = Path(__file__).parents[3] / "examples"
MEMBER = "DA3,A88,A100,box,steel,A1,,"


@pytest.fixture
def stated(tmp_path: Path) -> Tell:
    """Start the template with a frame, change one file, and return what is wrong."""

    def tell(file: str, old: str, new: str) -> list[str]:
        folder = tmp_path / "frame"
        start_job(folder, frame=True)
        path = folder / file
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
        with pytest.raises(InputError) as caught:
            read_job(folder)
        return [str(p) for p in caught.value.problems]

    return tell


def test_template_is_read_in_si(tmp_path: Path) -> None:
    start_job(tmp_path / "frame", frame=True)
    frame = read_job(tmp_path / "frame").frame
    assert frame is not None
    member = frame.members["DA3"]
    assert (member.E, member.A, member.Iy, member.depth) == (210e9, 0.30, 0.20, 2.0)
    assert pytest.approx(210e9 / 2.6) == member.G
    assert member.weight == pytest.approx(0.30 * 78.5e3)
    assert frame.nodes["P40"].fixed == frozenset({0, 1, 2, 3})
    assert frame.springs["bearing-64"].stiffness == 1.8e9
    line = next(p for p in frame.member_loads if p.id == "DL3")
    assert (line.start, line.end, line.values.tolist()) == (0.0, 12.0, [0.0, 0.0, -51450.0])
    place = frame.places["seat-A"]
    assert (place.y, place.z, place.least, place.most) == (4.0, 1.0, -150e6, 150e6)


def test_a_cable_nut_is_not_lifted_off_whether_listed_or_not(tmp_path: Path) -> None:
    folder = tmp_path / "hung"
    shutil.copytree(EXAMPLES / "quillgate-hung", folder)
    nut = next(s.id for s in read_job(folder).seats.values() if s.pushes == "shorten")
    path = folder / "frame_seats.csv"
    path.write_text(path.read_text("utf-8") + f"{nut},,0\n", encoding="utf-8")
    job = read_job(folder)
    assert job.frame is not None and nut in job.frame.seats
    assert job.seats[nut].reaction_least >= 0.0
    assert not job.frame.seats[nut].one_way


@pytest.mark.parametrize(
    ("file", "old", "new", "messages"),
    [
        (
            "frame_nodes.csv",
            "N turn_E",
            "N turn_X",
            [
                "frame_nodes.csv, row 9, fixed: found 'turn_X'; allowed: E, N, H, turn_E, turn_N, "
                "turn_H, or all; correct it"
            ],
        ),
        (
            "frame_nodes.csv",
            "A88,88.0000",
            "A100,88.0000",
            [
                "frame_nodes.csv, row 11, id: found 'A100' again (first in row 10); allowed: each "
                "id once; rename or delete one",
            ],
        ),
        (
            "frame_members.csv",
            MEMBER,
            "DA3,A88,A100,bax,iron,A9,,",
            [
                "frame_members.csv, row 23, section: found 'bax'; allowed: an id of "
                "frame_sections.csv; correct it or add it there",
                "frame_members.csv, row 23, material: found 'iron'; allowed: an id of "
                "frame_materials.csv; correct it or add it there",
                "frame_members.csv, row 23, segment: found 'A9'; allowed: an id of segments.csv; "
                "correct it or add it there",
            ],
        ),
        (
            "frame_members.csv",
            MEMBER,
            "DA3,A100,A100,box,steel,A1,,",
            [
                "frame_members.csv, row 23, j: found a member 0 mm long; allowed: two ends apart; "
                "name another node, correct its place, or use frame_bodies.csv"
            ],
        ),
        (
            "frame_members.csv",
            MEMBER,
            "DA3,A88,A100,box,steel,A1,moment,",
            [
                "frame_members.csv, row 23, release_i: found 'moment'; allowed: axial, shear_y, "
                "shear_z, torsion, moment_y, moment_z; correct it"
            ],
        ),
        (
            "frame_members.csv",
            MEMBER,
            "DA3,A88,A100,box,steel,,,",
            [
                "frame_members.csv, segment: found no member of segment A1, so seat A1-S1 hangs "
                "in the air; allowed: a member with this segment, or a row in frame_seats.csv or "
                "frame_ties.csv; fill in the column segment"
            ],
        ),
        (
            "frame_nodes.csv",
            "A100,100.0000,200.0000,29.0000",
            "A100,88.0000,200.0000,17.0000",
            [
                "frame_members.csv, row 23, up_E: found an up direction along the member; allowed: "
                "a direction across it; empty is straight up; give up_E, up_N and up_H"
            ],
        ),
        (
            "frame_sections.csv",
            "0.30,0.20",
            "0.30,2000",
            [
                "frame_sections.csv, row 12, bending_m4: found a radius of gyration of 81.6 m in a "
                "depth of 2 m; allowed: 0.1 to 1 m; check area, bending and depth, and their units"
            ],
        ),
        (
            "frame_materials.csv",
            "steel,210",
            "steel,0.21",
            [
                "frame_materials.csv, row 8, E_GPa: found a modulus of 0.21 GPa; allowed: 1 to "
                "1000 GPa; check the unit: steel has about 210 GPa, concrete about 35"
            ],
        ),
        (
            "frame_springs.csv",
            "bearing-64,P64,,0,0,1,1800,,,",
            "bearing-64,P65,,0,0,0,1800,5,,",
            [
                "frame_springs.csv, row 13, node: found 'P65'; allowed: an id of frame_nodes.csv; "
                "correct it or add it there",
                "frame_springs.csv, row 13, axis_E: found no direction; allowed: axis_E, axis_N, "
                "axis_H; give one",
                "frame_springs.csv, row 13, stiffness_kN_per_mm: found not one of the two; "
                "allowed: stiffness or turning; give one",
            ],
        ),
        (
            "frame_springs.csv",
            "bearing-136,P136,,0,0,1,1800,,,",
            "bearing-136,P136,,0,0,1,1800,,no,25",
            [
                "frame_springs.csv, row 14, holds_kN: found a force that nothing releases; "
                "allowed: for a temporary spring along its axis only; clear it, or say temporary "
                "= yes"
            ],
        ),
        (
            "frame_bodies.csv",
            "id,nodes\n",
            "id,nodes\nb1,A88 P64\nb2,B100 A88\nb3,B112\nb4,B112 X9\nb5,B136 A88 \n",
            [
                "frame_bodies.csv, row 5, nodes: found 'P64', which the ground holds, but not as "
                "the leading node; allowed: held motions at the first node only; name it first, "
                "or hold the body by a spring",
                "frame_bodies.csv, row 7, nodes: found 'B112'; allowed: two or more different "
                "nodes; name more, or delete it",
                "frame_bodies.csv, row 8, nodes: found 'X9'; allowed: an id of frame_nodes.csv; "
                "correct it or add it there",
                "frame_bodies.csv, row 9, nodes: found 'B136'; allowed: an id of "
                "frame_nodes.csv; correct it or add it there",
            ],
        ),
        (
            "frame_bodies.csv",
            "id,nodes\n",
            "id,nodes\nb1,A88 A100\nb2,B100 A100\n",
            [
                "frame_bodies.csv, row 6, nodes: found 'A100', which is in body b1; allowed: each "
                "node in one body; join the two"
            ],
        ),
        (
            "frame_loads.csv",
            "DL3,line,DA3,,,,51.45,,,,,",
            "DL3,line,DA9,,,,,,,5,,",
            [
                "frame_loads.csv, row 17, warmer_C: found a value for a load of kind line; "
                "allowed: only line, at, to for this kind; clear it or correct the kind",
                "frame_loads.csv, row 17, line_kN_per_m: found an empty cell; allowed: a number; "
                "fill it in",
                "frame_loads.csv, row 17, on: found 'DA9'; allowed: an id of frame_members.csv; "
                "correct it or add it there",
            ],
        ),
        (
            "frame_loads.csv",
            "hoist-A,point,DA3,400,,,,11,",
            "hoist-A,point,DA3,0,,,,13,",
            [
                "frame_loads.csv, row 21, down_kN: found a load of nothing; allowed: an amount; "
                "give how much",
                "frame_loads.csv, row 21, at_m: found 13 m on a member of 12 m; allowed: a place "
                "on its flexible length; correct it",
            ],
        ),
        (
            "frame_loads.csv",
            "DL3,line,DA3,,,,51.45,,,",
            "DL3,line,DA3,,,,51.45,6,5,",
            [
                "frame_loads.csv, row 17, to_m: found 5 m, not beyond at; allowed: beyond at; "
                "correct one"
            ],
        ),
        (
            "frame_seats.csv",
            "at_m,temporary\n",
            "at_m,temporary\nX9,,,,,,,\nA1-S1,,,,P40,DA1,,\nA1-S2,,,,Q1,,,\n"
            "A1-S3,,,,,DA9,,\nA1-S4,,,,,,2,\n",
            [
                "frame_seats.csv, row 11, seat: found 'X9'; allowed: an id of seats.csv; correct "
                "it or add it there",
                "frame_seats.csv, row 12, node: found a node and a member; allowed: one of them; "
                "clear one",
                "frame_seats.csv, row 13, node: found 'Q1'; allowed: an id of frame_nodes.csv; "
                "correct it or add it there",
                "frame_seats.csv, row 14, member: found 'DA9'; allowed: an id of "
                "frame_members.csv; correct it or add it there",
                "frame_seats.csv, row 15, at_m: found a length without a member; allowed: both; "
                "name the member",
            ],
        ),
        (
            "frame_seats.csv",
            "at_m,temporary\n",
            "at_m,temporary\nA1-S1,,,,,,,\nA1-S1,,,,,DA3,13,\n",
            [
                "frame_seats.csv, row 12, seat: found 'A1-S1' again (first in row 11); allowed: "
                "each seat once; delete one",
                "frame_seats.csv, row 12, at_m: found 13 m on a member of 12 m; allowed: a place "
                "on its flexible length; correct it",
            ],
        ),
        (
            "frame_ties.csv",
            "at_m\n",
            "at_m\nX9,P40,,\n",
            [
                "frame_ties.csv, row 7, point: found 'X9'; allowed: an id of points.csv; correct "
                "it or add it there"
            ],
        ),
        (
            "frame_places.csv",
            "pier-A,DA2,0,moment,,,,,-9000,2000,,",
            "pier-A,DA2,25,moment,,1,5,,2000,2000,,",
            [
                "frame_places.csv, row 15, at_m: found 25 m on a member of 24 m; allowed: a place "
                "on its flexible length; correct it",
                "frame_places.csv, row 15, force_least_kN: found a value for moment; allowed: "
                "limits of moment: moment_least, moment_most; move the number",
                "frame_places.csv, row 15, up_m: found a value for moment; allowed: limits of "
                "moment: moment_least, moment_most; move the number",
                "frame_places.csv, row 15, moment_most_kNm: found not above moment_least; allowed: "
                "above it; correct one",
            ],
        ),
        (
            "frame_places.csv",
            "pier-A,DA2,",
            "pier-A,DA9,",
            [
                "frame_places.csv, row 15, member: found 'DA9'; allowed: an id of "
                "frame_members.csv; correct it or add it there"
            ],
        ),
        (
            "segments.csv",
            "95.5400,200.0000,29.0000,,",
            "95.5400,200.0000,29.0000,along turn,",
            [
                "segments.csv, held: found segment A1 held by friction or guides: along turn; "
                "allowed: empty where a frame is used; hold nodes in frame_nodes.csv, or add "
                "springs in frame_springs.csv"
            ],
        ),
        (
            "job.toml",
            'model = "frame"',
            'model = "rigid"',
            [
                "job.toml, influence.model: found tables of a frame, but [influence] does not ask "
                'for it; allowed: model = "frame"; or table = "FILE", and the frame is compared '
                "with it; say which, or take the frame tables out of the folder"
            ],
        ),
    ],
)
def test_messages(stated: Tell, file: str, old: str, new: str, messages: list[str]) -> None:
    assert stated(file, old, new) == messages


def test_temperature_needs_depth_width_and_expansion(tmp_path: Path) -> None:
    folder = tmp_path / "frame"
    start_job(folder, frame=True)
    for file, old, new in (
        ("frame_sections.csv", "0.15,2.0,8.0", "0.15,,"),
        ("frame_materials.csv", "78.5,0.000012", "78.5,"),
        ("frame_loads.csv", "hoist-A", "T1,temperature,DA3,,,,,,,,10,10\nhoist-A"),
    ):
        path = folder / file
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_job(folder)
    where = "frame_loads.csv, row 21"
    assert [str(p) for p in caught.value.problems] == [
        f"{where}, top_warmer_C: found a difference through a section without depth; allowed: a "
        "section with depth; give depth in frame_sections.csv",
        f"{where}, left_warmer_C: found a difference through a section without width; allowed: a "
        "section with width; give width in frame_sections.csv",
        f"{where}, on: found member DA3, whose material does not expand; allowed: a material with "
        "expansion; give expansion in frame_materials.csv",
    ]


def test_gap_under_a_loaded_seat(tmp_path: Path) -> None:
    folder = tmp_path / "frame"
    start_job(folder, frame=True)
    seats = folder / "seats.csv"
    text = seats.read_text(encoding="utf-8").replace("20,1200,,0", "20,1200,300,0", 1)
    seats.write_text(text, encoding="utf-8")
    with (folder / "frame_seats.csv").open("a", encoding="utf-8") as file:
        file.write("A1-S1,,2.5,,,,,\n")
    with pytest.raises(InputError) as caught:
        read_job(folder)
    assert str(caught.value) == (
        "frame_seats.csv, row 11, gap_mm: found an opening at seat A1-S1, which carries 300 kN; "
        "allowed: an opening or a load; clear gap here or reaction_now in seats.csv"
    )


def test_frame_asked_for_but_not_there(tmp_path: Path) -> None:
    folder = tmp_path / "frame"
    start_job(folder, frame=True)
    (folder / "frame_sections.csv").unlink()
    with pytest.raises(InputError) as caught:
        read_job(folder)
    assert str(caught.value).splitlines()[0] == (
        "frame_sections.csv: found no such file; allowed: a text file; create it or correct its "
        "name"
    )
