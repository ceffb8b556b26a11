"""Start a job folder from the commented template."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from fitup.errors import InputError, Problem


def start_job(folder: Path | str) -> tuple[Path, ...]:
    """Write the commented template into a new or empty folder.

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
        template = resources.files("fitup.jobfolder") / "template"
        for source in sorted(template.iterdir(), key=lambda item: item.name):
            target = root / source.name
            target.write_bytes(source.read_bytes())
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
