"""Files are written beside their place and put there; what lies there already is not written to."""

from __future__ import annotations

from pathlib import Path

import pytest

from fitup.cli.writing import write_files, write_page
from fitup.pages.document import GENERATOR

PAGE = GENERATOR.encode()


@pytest.mark.parametrize("write", [lambda f: write_files(f.parent, {f.name: PAGE}), None])
def test_link_in_the_place_of_the_new_file_is_not_followed(tmp_path: Path, write) -> None:
    """Whoever may write in the job folder must not reach the files of whoever prints there."""
    own = tmp_path / "ines.key"
    own.write_text("a key")
    job = tmp_path / "job"
    job.mkdir()
    (job / ".page.html.part").symlink_to(own)
    if write is None:
        write_page(job / "page.html", PAGE)
    else:
        write(job / "page.html")
    assert own.read_text() == "a key"
    assert not (job / "page.html").is_symlink()
    assert (job / "page.html").read_bytes() == PAGE
    assert sorted(p.name for p in job.iterdir()) == ["page.html"]
