"""Start a job folder from the commented template."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from fitup.errors import InputError, Problem


def start_job(folder: Path | str, *, frame: bool = False) -> tuple[Path, ...]:
    """Write the commented template into a new or empty folder.

    Parameters
    ----------
    folder : path
    frame : bool
        Write the job whose structure is a frame.

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
        for name, content in sorted(_template(frame).items()):
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


def _template(frame: bool) -> dict[str, bytes]:
    """Files of the template; those of the frame stand in place of the plain ones."""
    home = resources.files("fitup.jobfolder")
    folders = ["template", "template_frame"] if frame else ["template"]
    return {s.name: s.read_bytes() for f in folders for s in (home / f).iterdir()}
