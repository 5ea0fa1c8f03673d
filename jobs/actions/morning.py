"""Answers to what last night left open: one act each, safe to repeat, undone by a void."""

from __future__ import annotations

import uuid
from dataclasses import replace
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.ledger import NewLine, Recorded, Who, already, lock_states, record
from inventory.models import Branch, Device, Entry, Person, ToolSet
from inventory.models.choices import Basis, Source, TimeKnown
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.shop_settings import settings_of
from inventory.times import zone_of
from jobs.actions.shift import ShiftRefused, WorkPart, log_steps
from jobs.queries.morning import NoWork, unlogged

# The device of what the shop's clock stores by itself, one for each branch.
_CLOCK = UUID("0b7d0d3e-0f0a-5b57-8d8e-6f7a2d0f4c11")
# The root of ids that are derived from what a line says (LEDGER 16): the same guess has the same id everywhere.
_GUESSES = UUID("6f1c2a52-6a1e-5d7b-9f55-0d6c1b1f7a31")


class NobodySettles(Refused):
    """Nobody of the branch may settle, so nothing can be stored in anybody's name."""

    code = "nobody_settles"


def take_planned(
    who: Who,
    branch: Branch,
    shift_key: UUID,
    step_key: UUID | None = None,
    *,
    now: datetime,
    basis: str = Basis.PLANNED,
) -> Recorded:
    """Take what was planned as done: the zone times the planned passes, shared out evenly over the sets that were out.

    step_key None: all steps of the shift that are open and had a set out, in one act.

    Lines get ids from their key (set, shift, step, floor), so that two people who answer write one line. The time is
    known by the shift: its planned start and the step's number in seconds.
    Raises ShiftRefused when the question is answered already, or no set was out for the step.
    """
    if (known := already(who.act_id)) is not None:
        return known
    asked = [
        one
        for one in unlogged(branch, now)
        if one.night.shift.key == shift_key and (one.step.key == step_key or (step_key is None and one.sets))
    ]
    if not asked:
        raise ShiftRefused(_("That is answered already."), _("Open the job to change it."))
    return _store(who, asked, basis, now)


def store_guesses(branch: Branch, *, now: datetime, person: Person | None = None) -> list[Recorded]:
    """Store what nobody answered by the shop's hour (setting "guess_at") as guessed; again stores nothing new.

    person: in whose name; the first who may settle when not said. Steps for which no set was out stay open.
    Raises NobodySettles.
    """
    zone = zone_of(branch)
    local = now.astimezone(zone)
    hour = settings_of(branch, today=local.date())["guess_at"]
    until = local.replace(hour=hour.hour, minute=hour.minute, second=0, microsecond=0)
    if local < until:
        until -= timedelta(days=1)
    asked = [one for one in unlogged(branch, now) if one.sets and one.night.shift.ends_at <= until]
    if not asked:
        return []
    entered_by = person or _settles(branch)
    device, _made = Device.objects.get_or_create(
        pk=uuid.uuid5(_CLOCK, str(branch.pk)),
        defaults={"branch": branch, "name": _("the shop's clock"), "first_seen_at": now},
    )
    stored = []
    by_shift: dict[UUID, list[NoWork]] = {}
    for one in asked:
        by_shift.setdefault(one.night.shift.key, []).append(one)
    for number, steps in enumerate(by_shift.values()):
        who = Who(
            done_by=steps[0].night.shift.lead or entered_by,
            entered_by=entered_by,
            device=device,
            device_seq=int(now.timestamp() * 1000) + number,
            written_at=now,
            sent_at=now,
            source=Source.DESK,
        )
        stored.append(_store(who, steps, Basis.GUESSED, now))
    return stored


def give_back(who: Who, branch: Branch, tool_set: ToolSet, entry: Entry, flag_code: str, *, now: datetime) -> Recorded:
    """Settle "two took it" for who had it before: the set is handed back to that outing, in the same act.

    Raises ShiftRefused when the person may not settle, or nobody had it before.
    """
    person = who.entered_by or who.done_by
    if not person.can(Right.SETTLE):
        raise ShiftRefused(_("%(person)s may not settle.") % {"person": person.name}, _("Ask the shop manager."))
    with transaction.atomic():
        lock_states([tool_set])
        if (known := already(who.act_id)) is not None:
            return known
        handed = _hand_back(tool_set, entry)
        if not handed:
            raise ShiftRefused(_("Nobody had it before."), _("Settle it as it stands, or scan it in."))
        said = {"settles_target": entry.pk, "flag_code": flag_code, "answer": "corrected"}
        return record(who, branch, [NewLine("settled", tool_set, None, said), *handed], now=now)


def _hand_back(tool_set: ToolSet, entry: Entry) -> list[NewLine]:
    before = (
        Entry.objects.filter(
            tool_set=tool_set,
            kind__in=["scanned_out", "handed_over"],
            act__happened_at__lte=entry.act.happened_at,
            outing__isnull=False,
        )
        .exclude(outing=entry.outing)
        .select_related("outing")
        .order_by("-act__happened_at", "-line_no")
        .first()
    )
    if before is None or before.outing is None:
        return []
    holder = {
        "holder_kind": before.outing.holder_kind,
        "holder_person": before.outing.holder_person,
        "holder_name": before.outing.holder_name or None,
    }
    return [NewLine("handed_over", tool_set, None, {"outing": before.outing, **holder})]


def _settles(branch: Branch) -> Person:
    person = Person.objects.filter(branch=branch, is_active=True, right_rows__right=Right.SETTLE).order_by("pk").first()
    if person is None:
        raise NobodySettles(
            _("Nobody of %(branch)s may settle.") % {"branch": branch.name}, _("Give somebody that right first.")
        )
    return person


def _store(who: Who, asked: list[NoWork], basis: str, now: datetime) -> Recorded:
    """Write what was planned for these steps of one shift, in one act."""
    kind = "planned" if basis == Basis.PLANNED else "guess"
    night = asked[0].night
    parts: dict[UUID, list[WorkPart]] = {}
    for one in asked:
        step, key = one.step, (night.shift.key, one.step.key, one.zone.zone_id)
        if not one.sets:
            raise ShiftRefused(
                _("No set of %(type)s was out on this shift.") % {"type": step.tool_type.name},
                _("Log the work and say which set did it."),
            )
        each = one.area_m2 / len(one.sets)
        parts[step.key] = [
            WorkPart(tool_set, each, step.passes, id=guess_id(tool_set.pk, *key, _fresh(tool_set, *key, kind), kind))
            for tool_set in one.sets
        ]
    first, key = asked[0].sets[0], (night.shift.key, asked[0].step.key, asked[0].zone.zone_id)
    who = replace(
        who,
        time_known=TimeKnown.SHIFT,
        happened_at=night.shift.starts_at + timedelta(seconds=asked[0].step.order),
        act_id=guess_id(first.pk, *key, _fresh(first, *key, kind), f"{kind} act"),
    )
    return log_steps(who, night.job, night.shift.key, parts, now=now, basis=basis, sure=True, plan=night.plan)


def _fresh(tool_set: ToolSet, shift_key: UUID, step_key: UUID, floor: UUID, kind: str) -> int:
    """How often this guess was made and voided before: the number that gives it an id of its own."""
    again = 0
    while Entry.objects.filter(pk=guess_id(tool_set.pk, shift_key, step_key, floor, again, kind)).exists():
        again += 1
    return again


def guess_id(set_id: UUID, shift_key: UUID, step_key: UUID, floor: UUID, again: int = 0, of: str = "entry") -> UUID:
    """The id of a guess about what a set did, from its key (set, shift, step, floor), LEDGER 16.

    again: how often such a guess was voided before; of: "entry", or "act" for the act that carries it.
    """
    key = "|".join(str(part) for part in (of, set_id, shift_key, step_key, floor, *([again] if again else [])))
    return uuid.uuid5(_GUESSES, key)
