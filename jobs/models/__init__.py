"""The work: sites and floors, jobs and their plans, shifts, reservations."""

from jobs.models.feed import CalendarAddress
from jobs.models.forecast import ForecastRun
from jobs.models.job import (
    Job,
    JobKind,
    JobPlan,
    PlanShift,
    PlanShiftMachine,
    PlanStep,
    PlanZone,
    Standing,
)
from jobs.models.reservation import Reservation
from jobs.models.shift import ShiftEntry, ShiftOuting
from jobs.models.site import Site, Zone

__all__ = [
    "CalendarAddress",
    "ForecastRun",
    "Job",
    "JobKind",
    "JobPlan",
    "PlanShift",
    "PlanShiftMachine",
    "PlanStep",
    "PlanZone",
    "Reservation",
    "ShiftEntry",
    "ShiftOuting",
    "Site",
    "Standing",
    "Zone",
]
