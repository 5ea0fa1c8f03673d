"""The outing a shift's sets leave on; several nights of a job may share one."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import transaction

from inventory.models import Outing, Place, SetState
from inventory.models.choices import HolderKind, OutingKind
from inventory.shop_settings import settings_of
from inventory.times import zone_of
from jobs.models import Job, PlanShift, ShiftOuting
from jobs.queries.shift import NIGHTS_APART


def outing_of_shift(
    job: Job,
    shift: PlanShift,
    *,
    now: datetime,
    leaves_at: datetime | None = None,
    due_at: datetime | None = None,
    van: Place | None = None,
) -> Outing:
    """The outing a shift's sets leave on; made when there is none yet. Nights of a job share one that is still open.

    leaves_at: the loading time before the start (setting) unless said; due_at: the shift's end unless said. A shared
    outing is due back after its last night.
    """
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=job.pk)
        row = ShiftOuting.objects.filter(shift_uuid=shift.key).select_related("outing").first()
        if row is not None:
            return row.outing
        due = due_at or shift.ends_at
        shared = (
            Outing.objects.filter(shift_rows__job=job, closed_at__isnull=True).order_by("-leaves_at").distinct().first()
        )
        if shared is not None and _goes_on(shared, shift, now):
            if shared.due_at is None or shared.due_at < due:
                shared.due_at = due
                shared.save(update_fields=["due_at"])
            ShiftOuting.objects.create(shift_uuid=shift.key, job=job, outing=shared)
            return shared
        if leaves_at is None:
            day = shift.starts_at.astimezone(zone_of(job.branch)).date()
            loading = settings_of(job.branch, today=day)["loading_hours"]
            leaves_at = shift.starts_at - timedelta(hours=loading)
        outing = Outing.objects.create(
            branch=job.branch,
            kind=OutingKind.JOB,
            name=job.name,
            holder_kind=HolderKind.CREW,
            holder_person=shift.lead,
            holder_name=job.name,
            van=van,
            leaves_at=leaves_at,
            due_at=max(due, leaves_at),
            made_at=now,
        )
        ShiftOuting.objects.create(shift_uuid=shift.key, job=job, outing=outing)
        return outing


def outings_of_nights(nights: Iterable[tuple[Job, PlanShift]], *, now: datetime) -> list[Outing]:
    """The outing of each of these shifts, made where there is none yet. Safe to repeat."""
    with transaction.atomic():
        return [outing_of_shift(job, shift, now=now) for job, shift in nights]


def _goes_on(outing: Outing, shift: PlanShift, now: datetime) -> bool:
    """Whether a shift's sets go on with this outing of an earlier night, or leave anew."""
    if outing.due_at is None:
        return True
    near = shift.starts_at - outing.due_at <= NIGHTS_APART
    return near and (now <= outing.due_at or SetState.objects.filter(outing=outing).exists())
