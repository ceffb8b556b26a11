"""Start a job folder from the commented template."""

from __future__ import annotations

import re
from importlib import resources
from pathlib import Path

from fitup.errors import InputError, Problem


def start_job(
    folder: Path | str, *, frame: bool = False, observations: bool = False
) -> tuple[Path, ...]:
    """Write the commented template into a new or empty folder.

    Parameters
    ----------
    folder : path
    frame : bool
        Write the job whose structure is a frame.
    observations : bool
        Give it what an instrument read in place of a coordinate list.

    Returns
    -------
    tuple of Path
        The files written.

    Raises
    ------
    InputError
        If the folder holds files already or cannot be written; nothing is overwritten.
    """
    root = Path(folder)
    try:
        if root.exists() and (not root.is_dir() or any(root.iterdir())):
            raise InputError(
                [Problem(str(root), "files already there", "a new or empty folder", "name another")]
            )
        root.mkdir(parents=True, exist_ok=True)
        written = []
        for name, content in sorted(_template(frame, observations).items()):
            target = root / name
            target.write_bytes(content)
            written.append(target)
    except OSError as error:
        raise InputError(
            [
                Problem(
                    str(root), error.strerror or "an error", "a writable folder", "ask for access"
                )
            ]
        ) from None
    return tuple(written)


def _template(frame: bool, observations: bool) -> dict[str, bytes]:
    """Files of the template; those of frame and observations stand in place of the plain ones."""
    home = resources.files("fitup.jobfolder")
    chosen = {"template": True, "template_frame": frame, "template_observed": observations}
    files = {
        s.name: s.read_bytes()
        for folder, wanted in chosen.items()
        if wanted
        for s in (home / folder).iterdir()
    }
    if observations:
        del files["survey.csv"]
        files["job.toml"] = _observed(files["job.toml"].decode("utf-8")).encode("utf-8")
    return files


def _observed(text: str) -> str:
    """Return the text of job.toml whose survey is what an instrument read."""
    head, survey = text.rsplit("[[survey]]", 1)
    survey = re.sub(r"^(file|u_mm) =", r"# \1 =", survey, flags=re.M)
    return (
        head + "[[survey]]" + re.sub(r"^# (observations|levelling) =", r"\1 =", survey, flags=re.M)
    )
