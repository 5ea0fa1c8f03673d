"""The kinds of list that the work brings in."""

from .job_spec import JOBS, JobRow, JobSaid, StepSaid, group_jobs, job_key
from .site_spec import SITES, SiteRow, site_key
from .work_spec import WORK, WorkRow

__all__ = [
    "JOBS",
    "SITES",
    "WORK",
    "JobRow",
    "JobSaid",
    "SiteRow",
    "StepSaid",
    "WorkRow",
    "group_jobs",
    "job_key",
    "site_key",
]
