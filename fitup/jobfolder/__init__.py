"""The edge in: read a job folder, check all of it, and return a :class:`fitup.model.Job`."""

from fitup.jobfolder.blank import addable
from fitup.jobfolder.read import read_job
from fitup.jobfolder.start import add_tables, start_job, start_laid_out

__all__ = ["add_tables", "addable", "read_job", "start_job", "start_laid_out"]
