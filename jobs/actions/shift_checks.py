"""What a shift is checked for before anything is kept of it, and how it is refused."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from inventory.actions.ledger import Who
from inventory.actions.undo import NotYours
from inventory.models import Act, Outing
from inventory.models.choices import Source
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.times import show_day, show_time, zone_of
from jobs.models import Job, JobPlan, PlanShift, PlanStep
from jobs.queries.plan import night_of, plan_of, versions_of
from jobs.queries.shift import closing_of, outings_for, outings_of


class ShiftRefused(Refused):
    """Something about a shift cannot be kept as it was said."""

    code = "shift"


class NotPlanned(ShiftRefused):
    """No version of the job's plan has this shift or step."""

    code = "not_planned"


class ShiftClosed(ShiftRefused):
    """The shift is closed; only whoever settles changes it."""

    code = "shift_closed"


class NoPassLogged(ShiftRefused):
    """A step is said to be done and no pass of it is logged: asked, kept with the reason."""

    code = "no_pass_logged"


class ShiftAhead(ShiftRefused):
    """The shift has not begun: nothing can be said of what was done on it."""

    code = "shift_ahead"


def step_of(job: Job, step_key: UUID, plan: JobPlan | None) -> tuple[JobPlan, PlanStep]:
    """A step by its key: of the plan that holds, else of the newest version that had it."""
    holds = plan or plan_of(job)
    for version in [holds] if holds is not None else []:
        for step in version.steps.all():
            if step.key == step_key:
                return version, step
    for version in versions_of(job):
        for step in version.steps.all():
            if step.key == step_key:
                return version, step
    raise NotPlanned(_("%(job)s has no such step.") % {"job": job.name}, _("Open the job again and choose one."))


def check_planned(job: Job, shift_key: UUID, step_key: UUID | None = None) -> None:
    """Raise NotPlanned unless some version of the job's plan has this shift and, where one is named, this step."""
    if not PlanShift.objects.filter(plan__job=job, key=shift_key).exists():
        raise NotPlanned(_("The plan has that shift no more."))
    if step_key is not None:
        step_of(job, step_key, None)


def outing_now(job: Job, shift_key: UUID, now: datetime) -> Outing | None:
    """The outing a shift's sets are out on: its own, else the open one of an earlier night."""
    night = night_of(job, shift_key)
    return outings_for([night], now).get(shift_key) if night is not None else outings_of([shift_key]).get(shift_key)


def check_begun(job: Job, shift_key: UUID, now: datetime, mend: str) -> None:
    """Raise ShiftAhead, with this next step, for a shift that has not begun."""
    shift = PlanShift.objects.filter(plan__job=job, key=shift_key).order_by("-plan__number").first()
    if shift is not None and shift.starts_at > now:
        at = shift.starts_at.astimezone(zone_of(job.branch))
        raise ShiftAhead(
            _("This shift is still ahead: it starts %(day)s %(time)s.")
            % {"day": show_day(at.date()), "time": show_time(at, job.branch)},
            mend,
        )


def check_open(who: Who, shift_key: UUID) -> None:
    """Raise ShiftClosed for a closed shift, unless the person settles or a phone tells what happened."""
    if who.source == Source.PHONE:  # written while it had no signal: a fact that happened, and it is kept
        return
    person = who.entered_by or who.done_by
    closing = closing_of(shift_key)
    if closing is not None and not person.can(Right.SETTLE):
        raise ShiftClosed(
            _("%(who)s closed this shift.") % {"who": closing.act.done_by.name}, _("Ask the shop manager to change it.")
        )


def check_yours(who: Who, target: Act) -> None:
    """Raise NotYours for somebody else's act, unless the person settles."""
    person = who.entered_by or who.done_by
    if person.pk not in (target.done_by_id, target.entered_by_id) and not person.can(Right.SETTLE):
        raise NotYours(
            _("%(person)s wrote that.") % {"person": target.done_by.name}, _("Ask the shop manager to void it.")
        )
