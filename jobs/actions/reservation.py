"""Which set is meant for which step: reserve one, take another instead, let go."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from inventory.actions.ledger import Recorded, Who
from inventory.actions.soak import put_in
from inventory.models import Branch, Person, Place, SetState, ToolSet
from inventory.models.choices import Fitness
from inventory.refusals import Refused
from jobs.models import Job, Reservation
from jobs.queries.plan import night_of, plan_of, shifts_of_step


class ReservationRefused(Refused):
    """A set cannot be meant for that step."""

    code = "reservation"


def reserve(
    person: Person,
    job: Job,
    step_key: UUID,
    tool_set: ToolSet,
    *,
    now: datetime,
    order: int = 1,
    from_shift: UUID | None = None,
    to_shift: UUID | None = None,
    locked: bool = False,
) -> Reservation:
    """Mean a set for a step of a job, as first or second of two; whichever set was meant so before is let go.

    from_shift, to_shift: the step's own shifts unless said. locked: a person's own choice, which no plan moves.
    The same reservation again changes nothing.
    Raises ReservationRefused for a step the plan does not have, a step without a night, another tool type, a set that
    is retired or set aside.
    """
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=job.pk)
        plan = plan_of(job)
        step = next((one for one in plan.steps.all() if one.key == step_key), None) if plan else None
        if plan is None or step is None:
            raise ReservationRefused(_("%(job)s has no such step.") % {"job": job.name}, _("Open its plan again."))
        nights = shifts_of_step(plan, step)
        if from_shift is None and not nights:
            raise ReservationRefused(_("This step has no night yet."), _("Plan its shifts first."))
        first = from_shift or nights[0].key
        last = to_shift or (nights[-1].key if nights else first)
        if tool_set.tool_type_id != step.tool_type_id:
            raise ReservationRefused(
                _("The step asks for %(type)s.") % {"type": step.tool_type.name}, _("Choose a set of that type.")
            )
        fitness = SetState.objects.filter(pk=tool_set.pk, main_id=F("tool_set_id")).values_list("fitness", flat=True)
        if list(fitness) != [Fitness.USABLE]:
            raise ReservationRefused(_("That set is set aside or retired."), _("Choose another one."))
        before = Reservation.objects.filter(step_key=step_key, order=order, from_shift=first, ended_at__isnull=True)
        same = before.filter(tool_set=tool_set, to_shift=last).first()
        if same is not None:
            if locked and not same.locked:
                same.locked = True
                same.save(update_fields=["locked"])
            return same
        before.update(ended_at=now)
        return Reservation.objects.create(
            job=job,
            step_key=step_key,
            tool_set=tool_set,
            order=order,
            from_shift=first,
            to_shift=last,
            locked=locked,
            made_at=now,
            made_by=person,
        )


def reserve_for_night(
    person: Person,
    job: Job,
    shift_key: UUID,
    step_key: UUID,
    tool_set: ToolSet,
    *,
    now: datetime,
    second: ToolSet | None = None,
) -> list[Reservation]:
    """Mean a set for a step and for the other steps of its tool type on that shift: floors of a job share a set.

    second: the set that goes on when the first is worn out; a second set meant before stays so, unless it is now first.
    It is a person's own choice: no plan moves it.

    Raises ReservationRefused as ``reserve``; then nothing is changed.
    """
    with transaction.atomic():
        night = night_of(job, shift_key)
        if night is None:
            raise ReservationRefused(_("The plan has that shift no more."), _("Open Tonight again."))
        asked = next((step for step in night.steps if step.key == step_key), None)
        if asked is None:
            raise ReservationRefused(_("%(job)s has no such step.") % {"job": job.name}, _("Open its plan again."))
        same = [step.key for step in night.steps if step.tool_type_id == asked.tool_type_id]
        if second is not None and second.pk == tool_set.pk:
            raise ReservationRefused(_("That set is meant for it already."), _("Choose another one as the second."))
        Reservation.objects.filter(step_key__in=same, tool_set=tool_set, order=2, ended_at__isnull=True).update(
            ended_at=now
        )
        return [
            reserve(person, job, key, one, now=now, order=order, from_shift=shift_key, locked=True)
            for key in same
            for order, one in enumerate([tool_set, second], start=1)
            if one is not None
        ]


def reserve_and_soak(
    who: Who, branch: Branch, job: Job, shift_key: UUID, step_key: UUID, tool_set: ToolSet, tub: Place, *, now: datetime
) -> Recorded:
    """Mean a set for a step of a shift and put it in water for it: both, or neither.

    Raises ReservationRefused, and what ``put_in`` refuses.
    """
    with transaction.atomic():
        reserve_for_night(who.entered_by or who.done_by, job, shift_key, step_key, tool_set, now=now)
        return put_in(who, branch, [tool_set], tub, now=now)


def let_go_for_night(job: Job, shift_key: UUID, step_key: UUID, *, now: datetime) -> int:
    """Mean no certain set any more for a step and the others of its tool type on that shift; how many were let go.

    Raises ReservationRefused when the plan has the shift or the step no more.
    """
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=job.pk)
        night = night_of(job, shift_key)
        asked = next((step for step in night.steps if step.key == step_key), None) if night else None
        if night is None or asked is None:
            raise ReservationRefused(_("The plan has that shift no more."), _("Open Tonight again."))
        same = [step.key for step in night.steps if step.tool_type_id == asked.tool_type_id]
        rows = Reservation.objects.filter(job=job, step_key__in=same, ended_at__isnull=True)
        return rows.update(ended_at=now)


def let_go(reservation: Reservation, *, now: datetime) -> Reservation:
    """End a reservation; ending it twice keeps the first time."""
    with transaction.atomic():
        row = Reservation.objects.select_for_update().get(pk=reservation.pk)
        if row.ended_at is None:
            row.ended_at = now
            row.save(update_fields=["ended_at"])
        return row
