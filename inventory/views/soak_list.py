"""The soak list: what goes in water by when, today first, to print and take to the tubs."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.gate import where_of
from inventory.models import Person
from inventory.queries.open_water import OpenNeed, open_needs
from inventory.queries.tubs import Tub, WaterNeed, tubs_of, water_needs
from inventory.rights import Right
from inventory.times import show_day, when_for, zone_of
from inventory.views.doors import PersonRequest, door
from inventory.views.soak_needs import first_group, need_line, open_line, tub_for

# So many rows of what comes after today stand on the list (our assumption: one more page).
_LATER = 40


@door("GET", right=(Right.SCAN, Right.CONFIRM_SOAK, Right.PLAN))
def soak_list(request: PersonRequest) -> HttpResponse:
    """What must go in water today, by when; then what comes after; a constant number of queries."""
    return render(request, "inventory/soak/list.html", list_page(request.user, timezone.now()))


def list_page(person: Person, now: datetime) -> dict[str, Any]:
    """The list: rows of today (late ones too) and those after, each with its time, set, place, tub and use."""
    tubs = tubs_of(person.branch, now)
    needs, without = water_needs(person.branch, tubs, now), open_needs(person.branch, tubs, now)
    ends = _day_ends(person, now)
    into = _tubs(needs, tubs)
    rows = [(need.by or need.use.leaves_at, _need_row(need, into, person, now)) for need in needs]
    rows += [(need.by or need.step.leaves_at, _open_row(need, tubs, person, now)) for need in without]
    rows.sort(key=lambda row: row[0])
    # What is too late is of today, however far off its van is.
    today = [row for at, row in rows if at < ends or row["late"]]
    later = [row for at, row in rows if at >= ends and not row["late"]]
    return {
        "today": today,
        "later": later[:_LATER],
        "later_more": max(0, len(later) - _LATER),
        "day": show_day(now.astimezone(zone_of(person.branch)).date()),
        "headline": _headline(len(today)),
    }


def _headline(count: int) -> str:
    if not count:
        return _("Nothing must go into water today")
    return ngettext("%(n)s line for today", "%(n)s lines for today", count) % {"n": count}


def _day_ends(person: Person, now: datetime) -> datetime:
    zone = zone_of(person.branch)
    after = now.astimezone(zone).date() + timedelta(days=1)
    return datetime(after.year, after.month, after.day, tzinfo=zone)


def _tubs(needs: list[WaterNeed], tubs: list[Tub]) -> dict[Any, str]:
    """The tub named for the sets that go in first: as on the soak page."""
    group = first_group(needs)
    into = tub_for(group, tubs)
    return {need.state.pk: into.place.name for need in group} if into is not None else {}


def _need_row(need: WaterNeed, into: dict[Any, str], person: Person, now: datetime) -> dict[str, Any]:
    line = need_line(need, person, now)
    tool_type = need.state.tool_set.tool_type
    return {
        **line,
        "words": _("%(words)s (hot)") % {"words": line["words"]} if need.hot and not line["late"] else line["words"],
        "type": tool_type.said_name,
        "code": line["code"] or "—",
        "where": where_of(need.state),
        "tub": "" if line["late"] else into.get(need.state.pk, ""),
        "use": need.use.words,
        "leaves": when_for(person, need.use.leaves_at, now),
    }


def _open_row(need: OpenNeed, tubs: list[Tub], person: Person, now: datetime) -> dict[str, Any]:
    line = open_line(need, tubs, person, now)
    return {
        **line,
        "type": need.tool_type.said_name,
        "code": (need.dry.shown_code if need.dry is not None else "") or "—",
        "where": where_of(need.dry) if need.dry is not None else line["none"],
        "tub": "",
        "use": need.step.words,
        "leaves": when_for(person, need.step.leaves_at, now),
    }
