"""The edge in: read a job folder, check all of it, and return a :class:`fitup.model.Job`."""

from fitup.jobfolder.read import read_job
from fitup.jobfolder.start import start_job

__all__ = ["read_job", "start_job"]
