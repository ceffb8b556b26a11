"""Pages for the phone are written from certified sheets, or not at all."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path


def test_one_page_a_crew(
    fitup: Callable, tmp_path: Path, small_job_writer: Callable[..., Path]
) -> None:
    job = small_job_writer(tmp_path / "small")
    said = fitup("field", job, "--to", tmp_path / "phones")
    assert (said.code, said.lines) == (0, [])
    assert [p.name for p in (tmp_path / "phones").iterdir()] == ["field-crew-1.html"]
    code = said.out.split()[1].rstrip(",")
    page = (tmp_path / "phones" / "field-crew-1.html").read_text("utf-8")
    assert f'"check_code":"{code}"' in page
    # the plan carries its orders, and the page takes the crew through them line by line
    assert '"title":"Line 1: SET (pump hands)"' in page
    # written again over itself, never over another file
    assert fitup("field", job, "--to", tmp_path / "phones").code == 0
    (tmp_path / "phones" / "field-crew-1.html").write_text("notes of the night")
    said = fitup("field", job, "--to", tmp_path / "phones")
    assert said.code == 2
    assert "found a file that fitup did not write" in said.lines[0]
    assert (tmp_path / "phones" / "field-crew-1.html").read_text() == "notes of the night"


def test_no_page_where_tolerance_cannot_be_met(
    fitup: Callable, tmp_path: Path, small_job_writer: Callable[..., Path]
) -> None:
    plates = "mark,nominal_mm,measured_mm,count,length_mm,width_mm\n"
    plates += "".join(f"P{t},{t},{t},0,300,300\n" for t in (20, 10, 5, 2, 1))
    job = small_job_writer(tmp_path / "bare", plates=plates)
    said = fitup("field", job, "--to", tmp_path / "phones")
    assert said.code == 3
    assert said.out.startswith("No field pages: a check is outside its tolerance")
    assert not (tmp_path / "phones").exists()
