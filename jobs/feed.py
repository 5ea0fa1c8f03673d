"""A person's calendar as iCalendar (RFC 5545): put in water by, shifts, order by. Times in UTC; money never."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from uuid import NAMESPACE_URL, uuid5

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from icalendar import Calendar, Event

from inventory.actions.gate import name_of, where_of
from inventory.models import Person
from inventory.queries.open_water import OpenNeed
from inventory.queries.tubs import WaterNeed
from inventory.times import when_for
from inventory.units import show_area
from jobs.context import units_of
from jobs.forecast_result import Forecast, TypeForecast
from jobs.queries.feed import FeedFacts
from jobs.queries.plan import Night, zone_of_step

# What must be in water by an instant stands in the calendar for so long before it (our assumption).
_BEFORE = timedelta(minutes=30)
# How often a calendar program is asked to look again (RFC 7986, 5.7).
_AGAIN = timedelta(hours=1)
_PRODID = "-//Gritledger//Calendar 1//EN"


def calendar_of(facts: FeedFacts, forecast: Forecast | None, base: str, now: datetime) -> bytes:
    """The calendar of a person in the language that is active, with the person's units and clock.

    base: the shop's address, for the links. Lines are folded at 75 octets and end in CRLF (RFC 5545, 3.1); each event
    keeps its UID while it is about the same thing; there is no alarm in it.
    """
    person = facts.person
    calendar = Calendar()
    calendar.add("prodid", _PRODID)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    name = _("Gritledger, %(name)s") % {"name": person.name}
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)
    calendar.add("refresh-interval", _AGAIN, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", "PT1H")
    events = [_shift(night, facts, base) for night in facts.nights]
    events += [_water(need, person, base, now) for need in facts.needs]
    events += [_open(need, person, base, now) for need in facts.without]
    if facts.run is not None and forecast is not None:
        dated = (one for one in forecast.types if one.order_by is not None and one.sets)
        events += [_order(one, facts.run.made_at, base) for one in dated]
    for event in events:
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _event(key: str, summary: str, changed_at: datetime, url: str) -> Event:
    event = Event()
    event.add("uid", str(uuid5(NAMESPACE_URL, f"gritledger:{key}")))
    event.add("dtstamp", _utc(changed_at))
    event.add("last-modified", _utc(changed_at))
    event.add("summary", summary)
    event.add("url", url)
    # Nobody's time is taken by it: it is something to know.
    event.add("transp", "TRANSPARENT")
    event.add("class", "PRIVATE")
    return event


def _utc(at: datetime) -> datetime:
    """An instant without fractions of a second, which iCalendar has not."""
    return at.astimezone(UTC).replace(microsecond=0)


def _at(event: Event, starts: datetime, ends: datetime, words: Iterable[str]) -> Event:
    event.add("dtstart", _utc(starts))
    event.add("dtend", _utc(ends))
    event.add("description", "\n".join(filter(None, words)))
    return event


def _shift(night: Night, facts: FeedFacts, base: str) -> Event:
    shift, person = night.shift, facts.person
    named = {"job": night.job.name, "n": night.number, "of": night.of}
    summary = _("%(job)s, shift %(n)s of %(of)s") % named
    url = base + reverse("jobs:job", args=[night.job.pk])
    event = _event(f"shift:{shift.key}", summary, night.plan.recorded_at, url)
    site = night.job.site
    event.add("location", ", ".join(filter(None, (site.name, site.address))))
    leaves = when_for(person, facts.leaves[shift.key], shift.starts_at)
    words = [_("Leaves %(when)s") % {"when": leaves}]
    words.append(_("Crew lead: %(name)s") % {"name": shift.lead.name if shift.lead else _("no lead yet")})
    machines = ", ".join(row.machine.name for row in shift.machine_rows.all())
    words.append(_("Machines: %(names)s") % {"names": machines} if machines else "")
    for step in night.steps:
        zone = zone_of_step(night.plan, step)
        codes = ", ".join(name_of(row.tool_set.state) for row in facts.meant.get(step.key, ()))
        area = show_area(zone.area_m2, units_of(person)) if zone is not None else ""
        passes = ngettext("%(n)s pass", "%(n)s passes", step.passes) % {"n": step.passes}
        floor = zone.zone.name if zone is not None else ""
        words.append(" · ".join(filter(None, (step.tool_type.grit, codes, floor, area, passes))))
    return _at(event, shift.starts_at, shift.ends_at, words)


def _water(need: WaterNeed, person: Person, base: str, now: datetime) -> Event:
    code, tool_type = name_of(need.state), need.state.tool_set.tool_type
    late = need.by is None or need.by < now
    at = need.use.leaves_at if need.by is None or late else need.by
    named = {"set": code, "type": tool_type.said_name, "grit": tool_type.grit}
    if need.in_water:
        summary = _("%(grit)s, %(set)s: not ready when it leaves") % named
    elif late:
        summary = _("%(grit)s, %(set)s: too late for water") % named
    elif need.keeps:
        summary = _("%(grit)s, %(set)s: back in water, before it dries out") % named
    elif need.hot:
        summary = _("%(grit)s, %(set)s: in hot water") % named
    else:
        summary = _("%(grit)s, %(set)s: in water") % named
    key = f"water:{need.state.pk}:{need.use.url or need.use.words}"
    event = _event(key, summary, now, base + reverse("inventory:soak"))
    where = where_of(need.state)
    words = [
        tool_type.said_name,
        _("Where it is: %(place)s") % {"place": where} if where else "",
        _("For %(use)s.") % {"use": need.use.words},
        _("Put in now, ready %(when)s.") % {"when": when_for(person, need.ready_at, now)} if late else "",
    ]
    return _at(event, at - _BEFORE, at, words)


def _open(need: OpenNeed, person: Person, base: str, now: datetime) -> Event:
    late = need.by is None or need.by < now
    at = need.step.leaves_at if need.by is None or late else need.by
    named = {"grit": need.tool_type.grit}
    if late:
        summary = _("%(grit)s: no set reserved, too late for water") % named
    else:
        summary = _("%(grit)s: no set reserved, one must be in water") % named
    url = base + (need.step.url or reverse("inventory:soak"))
    event = _event(f"open:{need.tool_type.pk}:{need.step.url or need.step.words}", summary, now, url)
    words = [_("%(type)s for %(use)s") % {"type": need.tool_type.said_name, "use": need.step.words}]
    if need.dry is not None:
        words.append(_("Free and dry: %(set)s") % {"set": name_of(need.dry)})
    return _at(event, at - _BEFORE, at, words)


def _order(one: TypeForecast, made_at: datetime, base: str) -> Event:
    """An order-by date: a whole day of the shop's calendar, in no time zone (RFC 5545, 3.3.4)."""
    assert one.order_by is not None
    count = one.sets or 0
    words = ngettext("Order by today: %(n)s set of %(type)s", "Order by today: %(n)s sets of %(type)s", count)
    summary = words % {"n": count, "type": one.name}
    url = f"{base}{reverse('jobs:reorder')}?type={one.tool_type_id}"
    event = _event(f"order:{one.tool_type_id}", summary, made_at, url)
    event.add("dtstart", one.order_by)
    event.add("dtend", one.order_by + timedelta(days=1))
    event.add("description", one.lead.supplier if one.lead is not None else "")
    return event
