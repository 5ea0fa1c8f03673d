"""The private calendar: read back by the icalendar library (RFC 5545), by its own address alone, never with money."""

from __future__ import annotations

import re
import secrets
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import icalendar
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone, translation

from inventory.models import Person
from inventory.rights import Right
from jobs.actions.feed import hash_of, make_address, revoke_address
from jobs.actions.forecast import refresh_forecast
from jobs.actions.plan import save_plan
from jobs.actions.reservation import reserve
from jobs.feed import calendar_of
from jobs.forecast_result import Forecast
from jobs.models import CalendarAddress, ForecastRun, Job, Site
from jobs.plan_draft import StepDraft, draft_of
from jobs.queries.feed import feed_facts, whose
from jobs.queries.plan import plan_of
from tests.cast import NOW, hours, make_cast, make_place, make_set, make_type, uuid
from tests.jobs.plans import make_planned

pytestmark = pytest.mark.django_db
WORD = "w" * 43


@pytest.fixture
def world() -> SimpleNamespace:
    """A job of two nights in five and six days; the 400 that is meant for the second hangs dry and needs 72 h."""
    cast = make_cast()
    plan = make_planned(cast, first=NOW + timedelta(days=5), now=NOW - hours(5))
    step = next(one for one in plan.steps.all() if one.tool_type.grit == "400")
    rack, _tub = make_place(cast.branch, name="Rack B"), make_place(cast.branch, "tub", name="Tub 2")
    four = make_set(cast, step.tool_type, rack, at=NOW - hours(200), code="GL-400000")
    reserve(cast.ines, plan.job, step.key, four, now=NOW)
    return SimpleNamespace(cast=cast, plan=plan, job=plan.job, four=four, step=step)


def raw_of(person: Person, now: datetime = NOW, forecast: Forecast | None = None) -> bytes:
    return calendar_of(feed_facts(person, now, 0.95), forecast, "https://shop.example", now)


def events_of(raw: bytes) -> dict[str, Any]:
    """The events by their summary, as the icalendar library reads them."""
    calendar: Any = icalendar.Calendar.from_ical(raw)
    return {str(event["summary"]): event for event in calendar.walk("VEVENT")}


def test_the_icalendar_library_reads_shifts_and_water_back(world: SimpleNamespace) -> None:
    events = events_of(raw_of(world.cast.ines))
    shift = world.plan.shifts.all()[1]
    assert set(events) >= {"Osprey Lane, shift 1 of 2", "Osprey Lane, shift 2 of 2", "400, GL-400000: in water"}
    second = events["Osprey Lane, shift 2 of 2"]
    assert (second["dtstart"].dt, second["dtend"].dt) == (shift.starts_at, shift.ends_at)
    assert "400 · GL-400000 · Hall" in second["description"]
    assert str(second["url"]) == f"https://shop.example/jobs/{world.job.pk}/"
    water = events["400, GL-400000: in water"]["dtend"].dt
    # 72 h in cold water before the van leaves, two hours before the shift; earlier where nobody is there.
    assert water <= shift.starts_at - hours(74)
    assert water > shift.starts_at - hours(74) - timedelta(days=4)


def test_what_rfc_5545_asks_of_every_event(world: SimpleNamespace) -> None:
    """3.6.1: UID and DTSTAMP are required, once; 3.8.7.3 LAST-MODIFIED in UTC; no alarm inside."""
    raw = raw_of(world.cast.ines)
    calendar: Any = icalendar.Calendar.from_ical(raw)
    assert (str(calendar["version"]), str(calendar["prodid"])) == ("2.0", "-//Gritledger//Calendar 1//EN")
    assert calendar.walk("VALARM") == []
    events = calendar.walk("VEVENT")
    assert len({str(event["uid"]) for event in events}) == len(events) >= 3
    for event in events:
        for name in ("dtstamp", "last-modified"):
            assert event[name].dt.tzinfo is not None
            assert event[name].to_ical().endswith(b"Z"), name
        assert event["dtend"].dt > event["dtstart"].dt


def test_uids_stay_while_the_thing_stays(world: SimpleNamespace) -> None:
    before = {name: str(event["uid"]) for name, event in events_of(raw_of(world.cast.ines)).items()}
    later = {name: str(event["uid"]) for name, event in events_of(raw_of(world.cast.ines, NOW + hours(3))).items()}
    assert before == later


def test_lines_are_folded_at_75_octets_and_texts_escaped(world: SimpleNamespace) -> None:
    """RFC 5545 3.1 (75 octets, CRLF, a space goes on) and 3.3.11 (comma, semicolon, backslash, line end)."""
    name = "Lagerhalle; süß, sehr lang \\ mit Gang und noch einem Gang für Ñandú ✓ " + "ü" * 8
    Job.objects.filter(pk=world.job.pk).update(name=name)
    Site.objects.update(address="12 Kiln Row, Yard; B\\2", notes="x")
    raw = raw_of(world.cast.ines)
    lines = raw.split(b"\r\n")
    assert lines[-1] == b""
    assert max(map(len, lines)) <= 75
    assert b"\n" not in raw.replace(b"\r\n", b"")
    for line in lines:
        line.decode()  # a letter of several octets is never cut in two
    assert b"\\," in raw
    assert b"\\;" in raw
    events = events_of(raw)
    event = events[f"{name}, shift 1 of 2"]
    assert str(event["location"]) == "Osprey Lane cold store, 12 Kiln Row, Yard; B\\2"
    assert "\n" in str(event["description"])


@pytest.mark.parametrize(
    ("night", "starts", "ends"),
    [
        # Clocks of Chicago: 9 March 2025 forward at 2:00 (CST, -6 to CDT, -5), 2 November 2025 back (tz database).
        (date(2025, 3, 8), "20250309T020000Z", "20250309T090000Z"),
        (date(2025, 11, 1), "20251102T010000Z", "20251102T100000Z"),
    ],
)
def test_a_night_in_which_the_clock_changes_is_right_in_utc(
    world: SimpleNamespace, night: date, starts: str, ends: str
) -> None:
    from zoneinfo import ZoneInfo

    zone = ZoneInfo("America/Chicago")
    begin = datetime(night.year, night.month, night.day, 20, tzinfo=zone)
    after = night + timedelta(days=1)
    end = datetime(after.year, after.month, after.day, 4, tzinfo=zone)
    draft = draft_of(world.plan)
    shifts = (replace(draft.shifts[0], starts_at=begin.astimezone(UTC), ends_at=end.astimezone(UTC)),)
    steps = tuple(replace(step, shift_key=shifts[0].key) for step in draft.steps)
    changed = replace(draft, shifts=shifts, steps=steps, starts_on=night)
    save_plan(world.cast.ines, world.job, changed, now=begin - hours(24), sure=True)
    event = events_of(raw_of(world.cast.ines, begin.astimezone(UTC) - hours(5)))["Osprey Lane, shift 1 of 1"]
    assert (event["dtstart"].to_ical().decode(), event["dtend"].to_ical().decode()) == (starts, ends)


def test_a_lead_sees_the_own_shifts_and_somebody_without_rights_nothing(world: SimpleNamespace) -> None:
    assert "Osprey Lane, shift 1 of 2" in events_of(raw_of(world.cast.dag))
    save_plan(
        world.cast.ines, world.job, replace(draft_of(world.plan), shifts=tuple(
            replace(one, lead=world.cast.ines) for one in draft_of(world.plan).shifts
        )), now=NOW, sure=True,
    )  # fmt: skip
    assert [name for name in events_of(raw_of(world.cast.dag)) if "shift" in name] == []
    assert events_of(raw_of(world.cast.nils)) == {}


def test_order_by_dates_are_for_who_may_buy_and_never_say_a_price(world: SimpleNamespace) -> None:
    made = refresh_forecast(world.cast.branch, now=NOW)
    one = replace(made.types[0], order_by=date(2025, 5, 20), sets=3, price=Decimal(318), cost=Decimal(954))
    forecast = replace(made, types=(one,))
    ForecastRun.objects.update(certainty=0.95)
    assert world.cast.ruta.can(Right.BUY)
    raw = raw_of(world.cast.ruta, forecast=forecast)
    event = events_of(raw)[f"Order by today: 3 sets of {one.name}"]
    assert (event["dtstart"].dt, event["dtend"].dt) == (date(2025, 5, 20), date(2025, 5, 21))
    assert b"318" not in raw
    assert b"954" not in raw
    assert not any("Order" in name for name in events_of(raw_of(world.cast.dag, forecast=forecast)))


def test_it_speaks_the_persons_language_and_units(world: SimpleNamespace) -> None:
    draft = draft_of(world.plan)
    soon = tuple(
        replace(one, starts_at=timezone.now() + hours(60), ends_at=timezone.now() + hours(68))
        for one in draft.shifts[:1]
    )
    steps = tuple(replace(one, shift_key=soon[0].key) for one in draft.steps)
    changed = replace(draft, shifts=soon, steps=steps)
    save_plan(world.cast.ines, world.job, changed, now=timezone.now(), sure=True)
    Person.objects.filter(pk=world.cast.ines.pk).update(language="es", units="metric")
    make_address(world.cast.ines, WORD, now=NOW)
    with translation.override("en"):
        raw = Client().get(reverse("jobs:feed", args=[WORD])).content
        assert translation.get_language() == "en"
    said = " ".join(str(event["description"]) for event in events_of(raw).values())
    assert "5 pasadas" in said
    assert "1 000 m²" in said.replace("\u00a0", " ").replace("\u202f", " ")


def test_an_address_is_kept_as_a_hash_one_a_person_and_revoked_at_once(world: SimpleNamespace) -> None:
    dag, word, other = world.cast.dag, secrets.token_urlsafe(32), secrets.token_urlsafe(32)
    row = make_address(dag, word, now=NOW)
    assert word not in str(row.__dict__)
    assert make_address(dag, word, now=NOW).pk == row.pk
    assert whose(hash_of(word)) == dag
    make_address(dag, other, now=NOW + hours(1))
    assert (whose(hash_of(word)), whose(hash_of(other))) == (None, dag)
    assert CalendarAddress.objects.filter(person=dag, revoked_at__isnull=True).count() == 1
    assert (revoke_address(dag, now=NOW), revoke_address(dag, now=NOW)) == (1, 0)
    assert whose(hash_of(other)) is None
    make_address(dag, word[:-1] + "x", now=NOW)
    Person.objects.filter(pk=dag.pk).update(is_active=False)
    assert whose(hash_of(word[:-1] + "x")) is None
    with pytest.raises(ValueError, match="at least 43"):
        make_address(dag, "short", now=NOW)


def test_the_feed_needs_no_sign_in_is_never_kept_and_writes_nothing(world: SimpleNamespace) -> None:
    make_address(world.cast.dag, WORD, now=NOW)
    url = reverse("jobs:feed", args=[WORD])
    with CaptureQueriesContext(connection) as caught:
        answer = Client().get(url)
    assert (answer.status_code, answer["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    assert answer["Cache-Control"] == "private, no-store"
    assert answer.cookies == {}
    assert answer.content.startswith(b"BEGIN:VCALENDAR\r\n")
    assert [query["sql"] for query in caught if re.match(r"\s*(INSERT|UPDATE|DELETE)", query["sql"])] == []
    assert Client().head(url).status_code == 200
    assert Client().post(url).status_code == 405
    unknown = Client().get(reverse("jobs:feed", args=["v" * 43]))
    revoke_address(world.cast.dag, now=NOW)
    revoked = Client().get(url)
    assert (unknown.status_code, revoked.status_code) == (404, 404)


def test_the_page_shows_an_address_once(world: SimpleNamespace, client: Client) -> None:
    page, revoke = reverse("jobs:my_calendar"), reverse("jobs:calendar_revoke")
    assert "sign-in" in client.get(page)["Location"]
    assert "sign-in" in client.post(revoke)["Location"]
    client.force_login(world.cast.nils)
    assert client.delete(page).status_code == client.get(revoke).status_code == 405
    assert "Your calendar has no address yet" in client.get(page).content.decode()
    made = client.post(page).content.decode()
    found = re.search(r'value="http://testserver(/jobs/calendar/[\w-]{43}\.ics)"', made)
    assert found is not None
    assert client.get(found.group(1)).status_code == 200
    assert ".ics" not in client.get(page).content.decode()
    client.post(page)
    assert client.get(found.group(1)).status_code == 404
    client.post(revoke)
    assert "Your calendar has no address yet" in client.get(page).content.decode()
    assert page in client.get(reverse("inventory:me")).content.decode()


def test_the_feeds_queries_do_not_grow_with_shifts_and_sets(world: SimpleNamespace) -> None:
    now = timezone.now()
    draft = draft_of(plan_of(world.job) or world.plan)
    moved = tuple(
        replace(one, starts_at=now + timedelta(days=5 + n), ends_at=now + timedelta(days=5 + n, hours=8))
        for n, one in enumerate(draft.shifts)
    )
    save_plan(world.cast.ines, world.job, replace(draft, shifts=moved), now=now, sure=True)
    make_address(world.cast.ines, WORD, now=now)
    counts = []
    for _round in range(2):
        with CaptureQueriesContext(connection) as caught:
            assert Client().get(reverse("jobs:feed", args=[WORD])).status_code == 200
        counts.append(len(caught))
        draft = draft_of(plan_of(world.job) or world.plan)
        types = [make_type(f"{500 + n}", ladder_place=6) for n in range(5)]
        steps = tuple(
            StepDraft(draft.zones[0].zone.pk, one, 4, shift_key=moved[1].key, key=uuid(9100 + n))
            for n, one in enumerate(types)
        )
        if _round == 0:
            changed = replace(draft, steps=(*draft.steps, *steps))
            save_plan(world.cast.ines, world.job, changed, now=now, sure=True)
            for one, step in zip(types, steps, strict=True):
                tool_set = make_set(world.cast, one, make_place(world.cast.branch), at=now - hours(200))
                reserve(world.cast.ines, world.job, step.key, tool_set, now=now)
    assert counts[0] == counts[1], counts
