"""What is done with the shop itself: machines, places, settings, hours, closed days. Each is one transaction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.catalogue import CatalogueRefused, NameTaken, Unlikely, units_of
from inventory.actions.lives import mark_all_due
from inventory.models import (
    Branch,
    ClosedDay,
    Machine,
    MachineVersion,
    Person,
    Place,
    PlaceVersion,
    SetState,
    Setting,
    ShopHours,
    ShopHoursDay,
)
from inventory.models.catalogue import MachineFacts
from inventory.models.choices import PlaceKind
from inventory.queries.places import taken_back
from inventory.shop_settings import KNOWN, settings_of
from inventory.units import Units, show_hours, show_length, show_volume
from inventory.units.limits import EARLIEST_YEAR

MACHINE_FACTS = tuple(field.name for field in MachineFacts._meta.get_fields())
# Sites are made with a job, suppliers with the catalogue, the unknown place by the ledger.
MADE_HERE = (PlaceKind.RACK, PlaceKind.TUB, PlaceKind.BUCKET, PlaceKind.CRATE, PlaceKind.VAN)
# What a setting may be, by its unit: least, most. Shares lie between never and always. Our assumption.
_LIMITS: dict[str, tuple[float, float]] = {
    "share": (0.01, 0.99),
    "m2": (0.1, 10_000),
    "h": (0.25, 240),
    "min": (0, 1_440),
    "d": (0, 60),
    "mm": (0.05, 20),
    "ratio": (0.05, 20),
    "weeks": (1, 104),
    "width_mm": (0, 1_000),
    "depth_mm": (0.001, 5),
    "parts": (1, 2_000),
    "grit": (1, 20_000),
    "m/min": (1, 120),
    "L/min": (0, 100),
    "L/m2": (0, 10),
    "per m": (0, 10),
    "": (0, 2**31),
}
_DAY_MIN = 24 * 60
_YEARS_AHEAD = 5
# Staffed hours past midnight longer than this are asked about. Our assumption.
_LIKELY_NIGHT_H = 14.0
_LIKELY_MACHINE = {"path_m": (0.05, 3.0), "tank_l": (1.0, 2_000.0), "recovery_tank_l": (1.0, 2_000.0)}


def save_machine(
    by: Person | None,
    branch: Branch,
    facts: Mapping[str, Any],
    *,
    machine: Machine | None = None,
    valid_from: date,
    now: datetime,
) -> Machine:
    """Keep a machine and, if anything changed, its version from that day on.

    facts: columns of MachineFacts by name (path m, speeds m/min, tanks L); what is left out stays. Safe to repeat.
    Raises CatalogueRefused, NameTaken; then nothing is kept.
    """
    if unknown := set(facts) - set(MACHINE_FACTS):
        raise CatalogueRefused(_("A machine has no %(name)s.") % {"name": ", ".join(sorted(unknown))})
    with transaction.atomic():
        if machine is None:
            row, before = Machine(branch=branch), None
        else:
            row = Machine.objects.select_for_update().get(pk=machine.pk, branch=branch)
            before = machine_facts(row)
        for name, value in facts.items():
            setattr(row, name, " ".join(value.split()) if isinstance(value, str) else value)
        _check_machine(row, units_of(by))
        same_name = Machine.objects.filter(branch=branch, name__iexact=row.name).exclude(pk=row.pk).first()
        if same_name is not None:
            if machine is None and machine_facts(same_name) == machine_facts(row):
                return same_name
            raise NameTaken(_("There is a machine %(name)s already.") % {"name": same_name.name}, field="name")
        if before != machine_facts(row):
            row.save()
            MachineVersion.objects.create(
                machine=row, valid_from=valid_from, recorded_at=now, recorded_by=by, **machine_facts(row)
            )
    return row


def machine_facts(row: MachineFacts) -> dict[str, Any]:
    """The facts of a machine or of one of its versions, by column."""
    return {name: getattr(row, name) for name in MACHINE_FACTS}


def save_place(
    by: Person | None,
    branch: Branch,
    *,
    kind: str,
    name: str,
    room_sets: int | None = None,
    thermostat: bool = False,
    active: bool = True,
    place_id: UUID | None = None,
    valid_from: date,
    now: datetime,
) -> Place:
    """Keep a rack, tub, bucket, crate or van and, if anything changed, its version; its kind never changes.

    room_sets: how many sets fit, None if nobody knows. thermostat: of a tub, whether it holds its heat by itself;
    readings of its water taken before keep what was said then. Safe to repeat.
    Raises CatalogueRefused, NameTaken; a place with sets in it does not go out of use.
    """
    name = " ".join(name.split())
    if kind not in MADE_HERE:
        raise CatalogueRefused(
            _("A place of that kind is not made here."), _("Sites come with their jobs, suppliers with the catalogue."),
            field="kind",
        )  # fmt: skip
    if not name or len(name) > 80:
        raise CatalogueRefused(
            _("A place needs a name of up to 80 characters."), _("Write it, such as Rack B."), field="name"
        )
    if room_sets is not None and not 1 <= room_sets <= 9_999:
        raise CatalogueRefused(
            _("Room for %(sets)d sets is none.") % {"sets": room_sets}, _("Write how many fit, or leave it empty."),
            field="room_sets",
        )  # fmt: skip
    with transaction.atomic():
        row = Place(branch=branch, kind=kind)
        if place_id is not None:
            row = Place.objects.select_for_update().get(pk=place_id, branch=branch)
            if row.kind != kind:
                raise CatalogueRefused(_("A %(kind)s stays one.") % {"kind": row.get_kind_display()}, field="kind")
        same = Place.objects.filter(branch=branch, kind=kind, name__iexact=name).exclude(pk=row.pk).first()
        thermostat = thermostat and kind == PlaceKind.TUB
        if same is not None and place_id is None and taken_back(branch).filter(pk=same.pk).exists():
            # Gone with the list that named it, and listed nowhere: named again it is there again.
            row, same = Place.objects.select_for_update().get(pk=same.pk), None
        if same is not None:
            if place_id is None and (same.room_sets, same.thermostat, same.active) == (room_sets, thermostat, active):
                return same
            raise NameTaken(
                _("There is a %(name)s already.") % {"name": same.name}, _("Take another name."), field="name"
            )
        inside = (
            SetState.objects.filter(place=row.pk, main_id=F("tool_set_id")).count() if row.active and not active else 0
        )
        if inside:
            raise CatalogueRefused(
                ngettext("%(name)s holds %(sets)d set.", "%(name)s holds %(sets)d sets.", inside)
                % {"name": row.name, "sets": inside},
                _("Move them first."),
                field="active",
            )
        facts = {"name": name, "room_sets": room_sets, "thermostat": thermostat, "active": active}
        if place_id is not None and all(getattr(row, column) == said for column, said in facts.items()):
            return row
        for column, said in facts.items():
            setattr(row, column, said)
        row.save()
        PlaceVersion.objects.create(place=row, valid_from=valid_from, recorded_at=now, recorded_by=by, **facts)
    return row


def save_setting(
    by: Person | None, branch: Branch, key: str, value: str, *, valid_from: date, now: datetime
) -> Setting | None:
    """Keep one setting from a day on, as its text (SI); None when it says what held already. Safe to repeat.

    Raises CatalogueRefused, also for a day that no shop plans for.
    """
    _check_day(valid_from, now, "valid_from")
    known = KNOWN.get(key)
    if known is None:
        raise CatalogueRefused(_("The shop has no setting %(key)s.") % {"key": key})
    text = value.strip()
    _check_setting(key, text)
    with transaction.atomic():
        Branch.objects.select_for_update().get(pk=branch.pk)
        holds = settings_of(branch, today=valid_from)
        if holds[key] == known.read(text):
            return None
        read = known.read(text)
        tight = read if key == "tight_limit" else holds["tight_limit"]
        finish = read if key == "finish_limit" else holds["finish_limit"]
        if tight >= finish:
            raise CatalogueRefused(
                _("Tight from %(tight).0f %% and enough from %(finish).0f %% leaves nothing tight.")
                % {"tight": 100 * tight, "finish": 100 * finish},
                _("Tight begins lower than enough."),
                field="value",
            )
        if key.startswith("factor_"):
            mark_all_due()
        return Setting.objects.create(
            branch=branch, key=key, value=text, valid_from=valid_from, recorded_at=now, recorded_by=by
        )


def save_hours(
    by: Person | None,
    branch: Branch,
    week: Mapping[int, Sequence[tuple[time, time]]],
    *,
    valid_from: date,
    now: datetime,
    sure: bool = False,
) -> ShopHours:
    """Keep the week's staffed spans from a day on: weekday (Monday 0) to (opens, closes). Safe to repeat.

    A span that closes at or before it opens runs past midnight (22:00 to 06:00); 00:00 to 00:00 is a whole day.
    Raises CatalogueRefused for a span without length, spans that overlap, a week without hours, a day none plans for;
    Unlikely for a night longer than a long shift ("17-7" may be 7-17 turned round).
    """
    _check_day(valid_from, now, "valid_from")
    spans = [(day, opens, closes) for day in sorted(week) for opens, closes in sorted(week[day])]
    if not spans:
        raise CatalogueRefused(
            _("A week without hours has no staffed day to plan with."),
            _("Write the hours of one day at least."),
            field="week",
        )
    for i, (day, opens, closes) in enumerate(spans):
        if closes == opens != time(0):
            raise CatalogueRefused(
                _("%(opens)s to %(closes)s is no time.") % _clocks(opens, closes),
                _("Write a whole day as 00:00-24:00."),
                field=f"day{day}",
            )
        night_h = 24 + closes.hour - opens.hour + (closes.minute - opens.minute) / 60
        if not sure and time(0) < closes < opens and night_h > _LIKELY_NIGHT_H:
            raise Unlikely(
                _("%(opens)s to %(closes)s past midnight is %(hours)s.")
                % (_clocks(opens, closes) | {"hours": show_hours(night_h)}),
                _("Correct it, or keep it if right."),
                field=f"day{day}",
            )
        if _runs_into(spans[i - 1], spans[i]) and (len(spans) > 1):
            raise CatalogueRefused(
                _("%(opens)s to %(closes)s begins before the hours ahead of it end.") % _clocks(opens, closes),
                _("Write them as one."),
                field=f"day{day}",
            )
    with transaction.atomic():
        Branch.objects.select_for_update().get(pk=branch.pk)
        last = ShopHours.objects.filter(branch=branch).order_by("valid_from", "recorded_at", "pk").last()
        if last is not None and last.valid_from == valid_from:
            kept = list(last.days.order_by("weekday", "opens").values_list("weekday", "opens", "closes"))
            if kept == spans:
                return last
        hours = ShopHours.objects.create(branch=branch, valid_from=valid_from, recorded_at=now, recorded_by=by)
        ShopHoursDay.objects.bulk_create(
            [ShopHoursDay(hours=hours, weekday=day, opens=opens, closes=closes) for day, opens, closes in spans]
        )
    return hours


def save_closed_day(
    by: Person | None, branch: Branch, day: date, *, name: str = "", closed: bool = True, now: datetime
) -> ClosedDay | None:
    """Close a day, or open it again; None when that was said already. Safe to repeat.

    Raises CatalogueRefused for a day that no shop plans for.
    """
    if closed:
        _check_day(day, now, "day")
    with transaction.atomic():
        Branch.objects.select_for_update().get(pk=branch.pk)
        last = ClosedDay.objects.filter(branch=branch, day=day).order_by("recorded_at", "pk").last()
        if (last.closed if last else False) == closed and (not closed or last is None or last.name == name.strip()):
            return None
        return ClosedDay.objects.create(
            branch=branch,
            day=day,
            name=name.strip()[:80],
            closed=closed,
            valid_from=day,
            recorded_at=now,
            recorded_by=by,
        )


def _check_day(day: date, now: datetime, field: str) -> None:
    """Refuse a day by a mistyped year, before anything works with it. 1990 to five years ahead: our assumption."""
    if EARLIEST_YEAR <= day.year <= now.year + _YEARS_AHEAD:
        return
    raise CatalogueRefused(
        _("The year %(year)s is not one to plan for.") % {"year": day.year},
        _("Check it: %(least)s to %(most)s is possible.") % {"least": EARLIEST_YEAR, "most": now.year + _YEARS_AHEAD},
        field=field,
    )


def _runs_into(before: tuple[int, time, time], span: tuple[int, time, time]) -> bool:
    """Whether a span of the week ends after the next one began; the week's last is followed by its first."""
    minutes = [day * _DAY_MIN + opens.hour * 60 + opens.minute for day, opens, _closes in (before, span)]
    day, opens, closes = before
    end = (day + (closes <= opens)) * _DAY_MIN + closes.hour * 60 + closes.minute
    begins = minutes[1] if minutes[1] >= minutes[0] else minutes[1] + 7 * _DAY_MIN
    return end > begins


def _clocks(opens: time, closes: time) -> dict[str, str]:
    return {"opens": f"{opens:%H:%M}", "closes": "24:00" if closes == time(0) else f"{closes:%H:%M}"}


def _check_setting(key: str, text: str) -> None:
    known = KNOWN[key]
    try:
        read = known.read(text)
    except ValueError as unread:
        example = known.start
        raise CatalogueRefused(
            _("“%(text)s” cannot be read.") % {"text": text[:40]},
            _("Write it like %(example)s.") % {"example": example},
            field="value",
        ) from unread
    if known.unit in _LIMITS:
        least, most = _LIMITS[known.unit]
        if not least <= read <= most:
            raise CatalogueRefused(
                _("%(value)g is outside what this can be.") % {"value": read},
                _("Between %(least)g and %(most)g is possible.") % {"least": least, "most": most},
                field="value",
            )


def _check_machine(row: Machine, units: Units) -> None:
    if not row.name:
        raise CatalogueRefused(_("A machine needs a name."), _("Write it."), field="name")
    if not (row.mount or "").strip():
        raise CatalogueRefused(
            _("%(name)s needs its mount: by it the plan knows which sets fit.") % {"name": row.name},
            _("Write it as the tool types have it, such as 9 in. plate."),
            field="mount",
        )
    if not 1 <= (row.heads or 0) <= 99:
        raise CatalogueRefused(_("A machine has one head or more."), _("Write how many."), field="heads")
    if not row.heads <= (row.pieces_per_load or 0) <= 999:
        raise CatalogueRefused(
            _("%(pieces)d pieces do not cover %(heads)d heads.")
            % {"pieces": row.pieces_per_load or 0, "heads": row.heads},
            _("Write how many pieces one load takes over all heads."),
            field="pieces_per_load",
        )
    for name, (least, most) in _LIKELY_MACHINE.items():
        value, show = getattr(row, name), show_length if name == "path_m" else show_volume
        if value is not None and not least <= value <= most:
            raise CatalogueRefused(
                _("%(value)s is outside what a machine has.") % {"value": show(value, units)},
                _("Between %(least)s and %(most)s is possible; write a width in inches like 36 in.")
                % {"least": show(least, units), "most": show(most, units)}
                if name == "path_m"
                else _("Between %(least)s and %(most)s is possible.")
                % {"least": show(least, units), "most": show(most, units)},
                field=name,
            )
    low, high = row.speed_low_m_per_min, row.speed_high_m_per_min
    if low is not None and high is not None and low > high:
        raise CatalogueRefused(
            _("The slowest speed lies above the fastest."), _("Turn the two round."), field="speed_low_m_per_min"
        )
    if row.rented_from is not None and row.rented_to is not None and row.rented_to < row.rented_from:
        raise CatalogueRefused(
            _("Rented to %(to)s is before %(start)s.") % {"to": row.rented_to, "start": row.rented_from},
            _("Correct one of the days."),
            field="rented_to",
        )
