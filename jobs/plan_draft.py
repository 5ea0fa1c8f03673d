"""A job's plan as plain values: what a person saves, what a version holds, and in which words two versions differ."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inventory.models import Machine, Person, ToolType
from inventory.models.choices import Condition, StepKind, WetDry
from inventory.times import show_day
from inventory.units import Units, show_area, show_length
from jobs.models import JobKind, JobPlan, Standing, Zone

# Appearance levels of the published chart (REFERENCES P1).
FINISHES = {
    1: gettext_lazy("flat"),
    2: gettext_lazy("satin"),
    3: gettext_lazy("polished"),
    4: gettext_lazy("highly polished"),
}


@dataclass(frozen=True)
class ZoneDraft:
    """A floor as planned. What is None is taken from the zone; key stays through versions (None: the zone's own)."""

    zone: Zone
    area_m2: float | None = None
    edge_m: float | None = None
    hardness: str | None = None
    surface: str | None = None
    coating: str | None = None
    key: UUID | None = None
    condition: str | None = None

    def filled(self) -> PlannedZone:
        """The same with everything taken from the zone that was not said."""
        zone = self.zone
        return PlannedZone(
            zone,
            zone.area_m2 if self.area_m2 is None else self.area_m2,
            zone.edge_m if self.edge_m is None else self.edge_m,
            self.hardness or zone.hardness,
            self.surface or zone.surface,
            self.coating or zone.coating,
            self.key or zone.pk,
            self.condition or zone.condition,
        )


@dataclass(frozen=True)
class PlannedZone:
    """A floor as a version keeps it: area in m2, edge in m."""

    zone: Zone
    area_m2: float
    edge_m: float
    hardness: str
    surface: str
    coating: str
    key: UUID
    condition: str = Condition.UNKNOWN


@dataclass(frozen=True)
class StepDraft:
    """One step of the ladder on one planned floor; steps of a floor run in the order they are given.

    zone_key: the ZoneDraft's key (its zone's id unless said). shift_key None: spread over the nights in order.
    """

    zone_key: UUID
    tool_type: ToolType
    passes: int
    step_kind: str = StepKind.LATER
    wet_dry: str = WetDry.WET
    shift_key: UUID | None = None
    key: UUID = field(default_factory=uuid4)


@dataclass(frozen=True)
class ShiftDraft:
    """One night or day: aware instants, the crew lead, the machines that go along."""

    starts_at: datetime
    ends_at: datetime
    lead: Person | None = None
    machines: tuple[Machine, ...] = ()
    key: UUID = field(default_factory=uuid4)


@dataclass(frozen=True)
class PlanDraft:
    """A whole plan. award_chance from 0 to 1; finish_level 1 to 4 (flat, satin, polished, highly polished) or None."""

    starts_on: date
    kind: str = JobKind.FULL
    standing: str = Standing.BID
    award_chance: float = 1.0
    confirmed: bool = False
    finish_level: int | None = None
    notes: str = ""
    zones: tuple[ZoneDraft, ...] = ()
    steps: tuple[StepDraft, ...] = ()
    shifts: tuple[ShiftDraft, ...] = ()


def draft_of(plan: JobPlan) -> PlanDraft:
    """The values a version holds; zones, steps, shifts and machines are read as they were prefetched."""
    return PlanDraft(
        starts_on=plan.starts_on,
        kind=plan.kind,
        standing=plan.standing,
        award_chance=plan.award_chance,
        confirmed=plan.dates_confirmed,
        finish_level=plan.finish_level,
        notes=plan.notes,
        zones=tuple(
            ZoneDraft(row.zone, row.area_m2, row.edge_m, row.hardness, row.surface, row.coating, row.key, row.condition)
            for row in plan.zones.all()
        ),
        steps=tuple(
            StepDraft(row.zone_key, row.tool_type, row.passes, row.step_kind, row.wet_dry, row.shift_key, row.key)
            for row in sorted(plan.steps.all(), key=lambda row: (row.order, row.pk))
        ),
        shifts=tuple(
            ShiftDraft(
                row.starts_at, row.ends_at, row.lead, tuple(one.machine for one in row.machine_rows.all()), row.key
            )
            for row in sorted(plan.shifts.all(), key=lambda row: (row.starts_at, row.pk))
        ),
    )


def content(draft: PlanDraft) -> tuple[object, ...]:
    """What a draft says, for comparing two: equal means nothing changed. The order of zones and shifts says nothing."""
    zones = sorted(
        (str(row.key), str(row.zone.pk), row.area_m2, row.edge_m, row.hardness, row.surface, row.coating, row.condition)
        for row in (row.filled() for row in draft.zones)
    )
    steps = [
        (row.key, row.zone_key, row.tool_type.pk, row.passes, row.step_kind, row.wet_dry, row.shift_key)
        for row in draft.steps
    ]
    by_zone = sorted(range(len(steps)), key=lambda number: (str(steps[number][1]), number))
    shifts = sorted(
        (str(row.key), row.starts_at, row.ends_at, row.lead.pk if row.lead else 0, sorted(m.pk for m in row.machines))
        for row in draft.shifts
    )
    return (
        draft.starts_on,
        draft.kind,
        draft.standing,
        draft.award_chance,
        draft.confirmed,
        draft.finish_level,
        draft.notes,
        tuple(map(str, zones)),
        tuple(steps[number] for number in by_zone),
        tuple(map(str, shifts)),
    )


def what_changed(old: PlanDraft | None, new: PlanDraft, units: Units, zone: ZoneInfo) -> list[str]:
    """How a version differs from the one before, in sentences: "area 12,400 ft², was 11,000 ft²"."""
    if old is None:
        return [_("first version")]
    said: list[str] = []
    plain = (
        (_("starts %(new)s, was %(old)s"), show_day(new.starts_on), show_day(old.starts_on)),
        (_("%(new)s, was %(old)s"), str(Standing(new.standing).label), str(Standing(old.standing).label)),
        (_("award chance %(new)s, was %(old)s"), _percent(new.award_chance), _percent(old.award_chance)),
        (_("%(new)s, was %(old)s"), str(JobKind(new.kind).label), str(JobKind(old.kind).label)),
        (_("%(new)s, was %(old)s"), _finish(new.finish_level), _finish(old.finish_level)),
        (_("area %(new)s, was %(old)s"), show_area(_area(new), units), show_area(_area(old), units)),
        (_("edge %(new)s, was %(old)s"), show_length(_edge(new), units), show_length(_edge(old), units)),
        (_("%(new)s passes in all, was %(old)s"), str(_passes(new)), str(_passes(old))),
        (_("steps %(new)s, was %(old)s"), _ladder(new), _ladder(old)),
    )
    said += [words % {"new": now, "old": was} for words, now, was in plain if now != was]
    if new.confirmed != old.confirmed:
        said.append(_("dates confirmed") if new.confirmed else _("dates open again"))
    nights = len(new.shifts) - len(old.shifts)
    if nights > 0:
        said.append(ngettext("%(n)s shift more", "%(n)s shifts more", nights) % {"n": nights})
    elif nights < 0:
        said.append(ngettext("%(n)s shift less", "%(n)s shifts less", -nights) % {"n": -nights})
    said += _shift_changes(old, new, zone)
    if new.notes != old.notes:
        said.append(_("notes"))
    if not said and content(old) != content(new):
        said.append(_("floors or steps in detail"))
    return said


def _shift_changes(old: PlanDraft, new: PlanDraft, zone: ZoneInfo) -> Iterable[str]:
    before = {row.key: row for row in old.shifts}
    for row in new.shifts:
        was = before.get(row.key)
        if was is None:
            continue
        day = show_day(row.starts_at.astimezone(zone).date())
        if (row.starts_at, row.ends_at) != (was.starts_at, was.ends_at):
            yield _("shift of %(old)s now %(new)s %(time)s") % {
                "old": show_day(was.starts_at.astimezone(zone).date()),
                "new": day,
                "time": f"{row.starts_at.astimezone(zone):%H:%M}",
            }
        if row.lead != was.lead:
            yield _("%(day)s led by %(who)s") % {"day": day, "who": row.lead or _("nobody yet")}
        if {one.pk for one in row.machines} != {one.pk for one in was.machines}:
            names = ", ".join(sorted(one.name for one in row.machines)) or _("no machine")
            yield _("%(day)s with %(machines)s") % {"day": day, "machines": names}


def _percent(share: float) -> str:
    return f"{round(share * 100)} %"


def _finish(level: int | None) -> str:
    return _("no finish said") if level is None else str(FINISHES[level])


def _area(draft: PlanDraft) -> float:
    return sum(row.filled().area_m2 for row in draft.zones)


def _edge(draft: PlanDraft) -> float:
    return sum(row.filled().edge_m for row in draft.zones)


def _passes(draft: PlanDraft) -> int:
    return sum(row.passes for row in draft.steps)


def _ladder(draft: PlanDraft) -> str:
    types = {row.tool_type.pk: row.tool_type for row in draft.steps}
    return " ".join(one.grit for one in sorted(types.values(), key=lambda one: one.ladder_place)) or _("none")
