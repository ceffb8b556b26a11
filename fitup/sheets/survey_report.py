"""The survey report as PDF, its figures, and the adjusted coordinates as a table."""

from __future__ import annotations

from datetime import UTC, datetime
from math import degrees, isnan
from pathlib import Path
from typing import Any

from matplotlib import style

from fitup.alignment.write import points_landxml
from fitup.frames import Array
from fitup.model import Job
from fitup.network.congruency import Congruency, epoch_changes
from fitup.network.report import ellipse_lines, residual_lines, setup_lines
from fitup.network.solve import Solved
from fitup.network.words import network_lines
from fitup.plainfile import write_whole
from fitup.sheets.figure_moved import moved_figure
from fitup.sheets.figure_network import network_figure
from fitup.sheets.figures import STYLE, as_svg
from fitup.sheets.pdf import typeset
from fitup.sheets.survey_words import (
    KINDS,
    SurveyReportWords,
    changes_words,
    compared,
    reading_words,
    residual_words,
    unseen_words,
)
from fitup.survey.verdict import REFUSED
from fitup.units import DISPLAY, DisplayUnits


def write_report(job: Job, all_: SurveyReportWords, folder: Path) -> tuple[Path, ...]:
    """Write ``survey-report.pdf``, figures and the coordinates of every epoch.

    Everything is made before the first file is written, and each file is put in place whole.

    Parameters
    ----------
    job : Job
    all_ : SurveyReportWords
    folder : Path
        Made when missing.

    Returns
    -------
    tuple of Path
        Every file written, the report first.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    units = DISPLAY[job.units]
    epochs = list(all_.solved.values())
    with style.context(["default", STYLE]):
        drawn = [as_svg(network_figure(one, units)) for one in epochs]
        moved = [as_svg(moved_figure(*pair, units)) for pair in _moves(all_)]
    files = {"survey-report.pdf": _pdf(job, all_, drawn, moved)}
    for number, (one, svg) in enumerate(zip(epochs, drawn, strict=True), 1):
        files[f"survey-network-{number}.svg"] = svg
        files[f"survey-coordinates-{number}.csv"] = coordinates_csv(one)
        files[f"survey-coordinates-{number}.xml"] = coordinates_landxml(one, units)
    files |= {f"survey-moved-{number}.svg": svg for number, svg in enumerate(moved, 1)}
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        write_whole(folder / name, content)
    return tuple(folder / name for name in files)


def _moves(all_: SurveyReportWords) -> list[tuple[Congruency, dict[str, Array]]]:
    """Return what moved between epochs, with the places of the points."""
    result = []
    for before, after in compared(all_.solved, all_.since):
        found = epoch_changes(before, after)
        if found is not None and found.agreed:
            result.append((found, {c.id: after.position(c.id) for c in found.changes}))
    return result


def coordinates_landxml(solved: Solved, units: DisplayUnits) -> bytes:
    """Return adjusted coordinates as points of a LandXML file, with the time of the survey.

    Parameters
    ----------
    solved : Solved
    units : DisplayUnits
        The unit of coordinates is that of the file.
    """
    points = [(line.id, solved.position(line.id)) for line in ellipse_lines(solved)]
    made = solved.epoch.taken.replace("T", " ")
    return points_landxml(units.coordinate.suffix, points, made).encode("utf-8")


def coordinates_csv(solved: Solved) -> bytes:
    """Return adjusted coordinates [m] with their standard uncertainties [mm] as CSV."""
    rows = ["id,E_m,N_m,H_m,ellipse_large_mm,ellipse_small_mm,ellipse_azimuth_deg,u_H_mm"]
    for line in ellipse_lines(solved):
        height = float(solved.position(line.id)[2])
        known = not isnan(height)
        rows.append(
            f"{line.id},{line.east:.5f},{line.north:.5f},{f'{height:.5f}' if known else ''},"
            f"{line.large * 1e3:.3f},{line.small * 1e3:.3f},{degrees(line.azimuth):.1f},"
            f"{f'{line.height * 1e3:.3f}' if known else ''}"
        )
    return ("\r\n".join(rows) + "\r\n").encode()


def _pdf(job: Job, all_: SurveyReportWords, drawn: list[bytes], moved: list[bytes]) -> bytes:
    epochs = list(all_.solved.values())
    taken = [datetime.fromisoformat(e.taken).replace(tzinfo=UTC) for e in job.epochs]
    data = {
        "job": job.name,
        "grid": job.grid,
        "paper": "us-letter" if job.units == "US" else "a4",
        "inputs": job.digest,
        "believed": all_.verdict.word != REFUSED,
        "verdict": all_.verdict.word,
        "next": list(all_.verdict.lines),
        "unseen": list(unseen_words(job, all_.unseen)),
        "changes": list(changes_words(job, all_.solved, all_.since)),
        "surveys": [_survey(job, one) for one in epochs],
        "figures": [svg.decode("utf-8") for svg in drawn],
        "moved": [svg.decode("utf-8") for svg in moved],
    }
    return typeset("survey.typ", data, max(taken))


def _survey(job: Job, solved: Solved) -> dict[str, Any]:
    units = DISPLAY[job.units]
    prefix = f"{solved.epoch.file}: "
    return {
        "file": solved.epoch.file,
        "taken": solved.epoch.taken.replace("T", " "),
        "stated": [line.removeprefix(prefix) for line in network_lines(solved, job.units)],
        "setups": [
            [
                s.id,
                s.over or "free",
                str(s.sights),
                units.move.text(s.u),
                reading_words(s.collimation, units),
                reading_words(s.index, units),
                f"{s.worst:.1f}, {s.worst_target}" if s.worst_target else "",
            ]
            for s in setup_lines(solved)
        ],
        "residuals": [
            [
                r.id,
                KINDS[r.kind],
                residual_words(r, units),
                f"{abs(r.w):.1f}",
                "" if isnan(r.redundancy) else f"{r.redundancy:.2f}",
                "" if isnan(r.detectable_at_target) else units.move.text(r.detectable_at_target),
                "DOES NOT FIT" if r.odd else "",
            ]
            for r in residual_lines(solved, 14)
        ],
        "points": [
            [
                p.id,
                units.coordinate.text(p.east, unit=False),
                units.coordinate.text(p.north, unit=False),
                units.coordinate.text(float(solved.position(p.id)[2]), unit=False)
                if not isnan(float(solved.position(p.id)[2]))
                else "",
                units.move.text(p.large),
                units.move.text(p.small),
                f"{degrees(p.azimuth):.0f}°",
                units.move.text(p.height),
            ]
            for p in ellipse_lines(solved)
        ],
        "unit": units.coordinate.word,
        "excluded": [[o, r] for o, r in solved.excluded.items()],
    }
