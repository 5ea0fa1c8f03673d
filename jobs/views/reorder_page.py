"""What the reorder page shows of a forecast to the person before it: rows, one type's picture, the file."""

from __future__ import annotations

from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.models import ToolType
from inventory.queries.catalogue import ladder
from inventory.rights import Right
from inventory.times import show_day, show_time, zone_of
from inventory.units import Units, from_si, show_about, show_money, show_range, unit_for
from inventory.views.doors import PersonRequest
from jobs import forecast_words as words
from jobs.actions.forecast import kept_forecast
from jobs.forecast_orders import order_groups
from jobs.forecast_result import Forecast, JobBehind, TypeForecast, total_cost
from jobs.models import Standing
from jobs.reorder_chart import reorder_charts, sentence, shown_weeks

SURE = (0.80, 0.90, 0.95, 0.98)
_JOBS = 5  # named in the panel


def page_context(request: PersonRequest, made: Forecast, *, fresh: bool) -> dict[str, Any]:
    """Everything the page's template asks for."""
    types = ToolType.objects.in_bulk([one.tool_type_id for one in made.types])
    places = ladder(request.user.branch)
    # What was worked out before the newest entries is looked at; nothing is ordered by it.
    groups = {one.tool_type_id: group for group in order_groups(made.types, made.today) for one in group}
    may_order = fresh and request.user.can(Right.BUY)
    rows = [
        _row(request, one, made, types[one.tool_type_id], places)
        | _order_links(one, groups.get(one.tool_type_id, [one]), may_order=may_order)
        for one in made.types
    ]
    late = _late(rows, made)
    chosen = _chosen(request, [*late, *rows])
    return {
        "headline_words": words.headline(made, money=request.user.can(Right.SEE_MONEY)),
        "under": _under(request, made),
        "fresh": fresh,
        "made": made,
        "due": [row for row in rows if row["due"]],
        "late": late,
        "later": [row for row in rows if not row["due"] and row["one"].state != "late"],
        "rows": rows,
        "chosen": chosen,
        "panel": None if chosen is None else _panel(request, chosen, made),
        "gaps": [words.gap_words(gap) for gap in made.gaps],
        "sure_links": _sure_links(request, made),
        "order_all": _order_all(request, rows),
        "money": request.user.can(Right.SEE_MONEY),
        "perms_buy": request.user.can(Right.BUY),
        "may_plan": request.user.can(Right.PLAN),
        "asked": words.sure_words(made.certainty),
        "query": query_of(request),
    }


def certainty_of(request: PersonRequest) -> float | None:
    """The certainty asked for in the address, in percent; None: the shop's own."""
    asked = request.GET.get("sure", "") or request.POST.get("sure", "")
    return next((one for one in SURE if asked == f"{one * 100:.0f}"), None)


def query_of(request: PersonRequest, **more: Any) -> str:
    """The address's query that keeps the asked certainty."""
    certainty = certainty_of(request)
    said = ({"sure": f"{certainty * 100:.0f}"} if certainty is not None else {}) | more
    return f"?{urlencode(said)}" if said else ""


def _sure_links(request: PersonRequest, made: Forecast) -> list[dict[str, Any]]:
    chosen = request.GET.get("type", "")
    more = {"type": chosen} if chosen.isdecimal() else {}
    links = [
        {
            "url": "?" + urlencode({"sure": f"{one * 100:.0f}"} | more),
            "label": _("%(percent)d %%") % {"percent": round(one * 100)},
            "current": abs(one - made.certainty) < 0.001,
        }
        for one in SURE
    ]
    if not any(link["current"] for link in links):
        links.append({"url": "?" + urlencode(more), "label": words.sure_words(made.certainty), "current": True})
    return links


def _row(
    request: PersonRequest, one: TypeForecast, made: Forecast, tool_type: ToolType, places: dict[int, tuple[int, int]]
) -> dict[str, Any]:
    """One type as the page shows it; money only where the person may see it."""
    place, count = places.get(one.tool_type_id, (0, 1))
    when, second = words.order_by_words(one, made.today)
    money = request.user.can(Right.SEE_MONEY)
    lasts = "" if one.short_on is None or one.unsolved_on else words.month_or_week(one.short_on, made.today)
    return {
        "one": one,
        "type": tool_type,
        "place": place,
        "count": count,
        "sets": words.sets_words(one.sets) if one.sets else "",
        "when": when,
        "second": second,
        "cost": show_money(one.cost, one.currency) if money and one.cost is not None else "",
        "sure": words.sure_words(one.sure) if one.sets else "",
        "because": words.because(one, made.today),
        "late": words.late_words(one, made.today),
        "due": one.is_due(made.today),
        "today": one.passed or one.order_by == made.today,
        "lasts": lasts,
        "url": query_of(request, type=one.tool_type_id),
    }


def _late(rows: list[dict[str, Any]], made: Forecast) -> list[dict[str, Any]]:
    """What no order of this week reaches, the most likely first."""
    by_type = {row["one"].tool_type_id: row for row in rows if not row["due"]}
    return [by_type[one.tool_type_id] for one in made.unsolved if one.tool_type_id in by_type]


def _order_links(one: TypeForecast, group: list[TypeForecast], *, may_order: bool) -> dict[str, str]:
    """The buttons of a type: what is advised, and what is to come at once. group: the types of the same order.

    Where the type alone is less than its supplier takes, its button orders the group. Empty for who may not order.
    """
    links = {"order_url": "", "order_words": "", "rush_url": "", "rush_words": ""}
    if not may_order:
        return links
    supplier = one.lead.supplier_id if one.lead else None
    if one.sets:
        alone = one.lead is None or one.sets >= one.lead.minimum_sets
        types = [one] if alone else group
        links["order_url"] = _order_url(supplier, {each.tool_type_id: each.sets or 0 for each in types})
        links["order_words"] = _("Order %(sets)s") % {"sets": words.sets_words(one.sets)}
        others = [each.name for each in types if each is not one]
        if others:
            facts = {"sets": words.sets_words(sum(each.sets or 0 for each in types)), "names": ", ".join(others)}
            links["order_words"] = _("Order %(sets)s, with %(names)s") % facts
    if one.rush:
        links["rush_url"] = _order_url(supplier, {one.tool_type_id: one.rush})
        links["rush_words"] = _("Rush %(sets)s") % {"sets": words.sets_words(one.rush)}
    elif one.waits_for_order and one.arrivals:
        links["rush_url"] = reverse("inventory:order", args=[one.arrivals[-1].order_id])
        links["rush_words"] = _("Hurry order %(number)s") % {"number": one.arrivals[-1].number}
    return links


def _order_url(supplier_id: int | None, sets: dict[int, int]) -> str:
    said: list[tuple[str, Any]] = [("supplier", supplier_id)] if supplier_id is not None else []
    said += [("line", f"{type_id}:{count}") for type_id, count in sets.items()]
    return reverse("inventory:order_new") + "?" + urlencode(said)


def _order_all(request: PersonRequest, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Where one supplier has several types due: all of them on one order."""
    by_supplier: dict[int, list[TypeForecast]] = {}
    for row in rows:
        if row["due"] and row["order_url"] and row["one"].lead is not None:
            by_supplier.setdefault(row["one"].lead.supplier_id, []).append(row["one"])
    return [
        {
            "url": _order_url(supplier, {one.tool_type_id: one.sets or 0 for one in types}),
            "label": _("Order all %(sets)s from %(supplier)s")
            % {"sets": words.sets_words(sum(one.sets or 0 for one in types)), "supplier": types[0].lead.supplier},
        }
        for supplier, types in by_supplier.items()
        if len(types) > 1 and types[0].lead is not None
    ]


def _chosen(request: PersonRequest, rows: list[dict[str, Any]]) -> dict[str, Any] | None:
    """The row whose picture is shown: the asked one, else the first that has need, else the first."""
    asked = request.GET.get("type", "")
    for row in rows:
        if asked == str(row["one"].tool_type_id):
            return row
    return next(
        (row for row in rows if row["due"] or row["one"].order_by or row["one"].state == "late" or row["one"].behind),
        rows[0] if rows else None,
    )


def _under(request: PersonRequest, made: Forecast) -> list[str]:
    """The lines under the headline: what comes next, and from what it was worked out."""
    lines = []
    if (made.due or made.unsolved) and made.later:
        nxt = made.later[0]
        when = words.order_by_words(nxt, made.today)[0]
        total, money = total_cost((*made.due, nxt)), request.user.can(Right.SEE_MONEY)
        facts = {"name": nxt.name, "when": when}
        text = _("Next: %(name)s, %(when)s.") % facts
        if money and isinstance(total, Decimal) and nxt.cost is not None:
            text = _("Next: %(name)s, %(when)s, %(money)s.") % (facts | {"money": show_money(nxt.cost, nxt.currency)})
            if made.due:
                both = {"money": show_money(total, nxt.currency)}
                text += " " + _("Together with what is to order now: %(money)s.") % both
        lines.append(text)
    at = made.made_at.astimezone(zone_of(request.user.branch))
    jobs = ngettext("%(count)d job", "%(count)d jobs", made.jobs) % {"count": made.jobs}
    bids = ngettext("%(count)d bid", "%(count)d bids", made.bids) % {"count": made.bids}
    facts = {
        "day": show_day(at.date()),
        "time": show_time(at, request.user.branch, clock_24h=request.user.clock_24h),
        "jobs": jobs,
        "bids": bids,
    }
    lines.append(_("Worked out %(day)s %(time)s from %(jobs)s and %(bids)s.") % facts)
    return lines


def _panel(request: PersonRequest, row: dict[str, Any], made: Forecast) -> dict[str, Any]:
    """One type's picture, numbers and reasons."""
    one: TypeForecast = row["one"]
    units: Units = "metric" if request.user.units == "metric" else "us"
    jobs = words.shown_jobs(one, _JOBS)
    most = max((job.area_m2 * job.award_chance for job in jobs), default=1.0) or 1.0
    lead, lead_from = words.lead_words(one.lead)
    return {
        "chart": reorder_charts(one, made.today, row["place"], row["count"], units),
        "title": _capital(sentence(one, made.today)),
        "short": words.short_words(one, made.today),
        "late": row["late"] if one.sets else "",
        "life": show_range(one.life_here_m2[0], one.life_here_m2[2], units),
        "life_likely": show_about(one.life_here_m2[1], units),
        "record": _record(one),
        "jobs": [_job(job, most, units) for job in jobs],
        "more_jobs": len(words.by_weight(one)) - len(jobs),
        "lead": lead,
        "lead_from": lead_from,
        "supplier_url": reverse("inventory:supplier", args=[one.lead.supplier_id]) if one.lead else "",
        "arrivals": [
            {
                "words": words.sets_words(arrival.sets),
                "day": show_day(arrival.day),
                "number": arrival.number,
                "late": arrival.late,
                "promised": arrival.promised,
                "url": reverse("inventory:order", args=[arrival.order_id]) if request.user.can(Right.BUY) else "",
            }
            for arrival in one.arrivals
        ],
        "arrives": words.arrives_words(one, made.today),
        "spread": words.spread_words(one),
        "gaps": [words.gap_words(gap) for gap in one.gaps],
        "numbers": [
            {
                "day": show_day(week.ends_on),
                "need": show_about(week.likely_m2, units),
                "range": show_range(week.low_m2, week.high_m2, units),
                "sets": f"{week.sets:.1f}",
                "short": words.sure_words(week.short),
            }
            for week in shown_weeks(one, made.today)
        ],
    }


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _job(job: JobBehind, most: float, units: Units) -> dict[str, Any]:
    if not job.name:
        second = _("as in the weeks before")
    elif job.standing == Standing.BID:
        second = _("bid, counts %(chance)d %%") % {"chance": round(100 * job.award_chance)}
    else:
        second = _("won")
    area_m2 = job.area_m2 * job.award_chance
    return {
        "name": job.name or _("Past use"),
        "job_id": job.job_id,
        "second": second + (f", {show_day(job.starts_on)}" if job.starts_on else ""),
        "area": show_about(area_m2, units),
        "width": str(round(100 * area_m2 / most)),
    }


def _record(one: TypeForecast) -> str:
    """Which sets stand behind the life here, and which are left out."""
    parts = [
        ngettext("%(n)d new set", "%(n)d new sets", one.fresh) % {"n": one.fresh},
        ngettext("%(n)d in use", "%(n)d in use", one.part_worn) % {"n": one.part_worn},
    ]
    if one.aside:
        parts.append(
            ngettext("%(n)d set aside, not counted", "%(n)d set aside, not counted", one.aside) % {"n": one.aside}
        )
    if one.missing:
        parts.append(
            ngettext("%(n)d missing, not counted", "%(n)d missing, not counted", one.missing) % {"n": one.missing}
        )
    return ", ".join(parts)


def table_of(request: PersonRequest) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows of the table as a file; money only where the person may see it."""
    made = kept_forecast(request.user.branch, now=timezone.now(), certainty=certainty_of(request)).forecast
    money = request.user.can(Right.SEE_MONEY)
    unit = unit_for("area", "metric" if request.user.units == "metric" else "us")

    def area(value_m2: float) -> float:
        return float(f"{from_si(value_m2, unit):.3g}")

    headings = [
        _("Tool type"), _("Order by"), _("Sets"), _("Then sure"), _("May run short from"),
        _("Short before an order can come, from"), _("Short before an order can come, chance"), _("New sets here"),
        _("Sets in use"), _("On order"), _("Life here, at least (%(unit)s)") % {"unit": unit},
        _("Life here, likely (%(unit)s)") % {"unit": unit}, _("Life here, up to (%(unit)s)") % {"unit": unit},
        _("Need, likely (%(unit)s)") % {"unit": unit}, _("Supplier"), _("Lead time, working days, likely"),
        _("Jobs behind it"),
    ]  # fmt: skip
    if money:
        headings += [_("Price of a set"), _("Cost"), _("Currency")]
    rows: list[list[Any]] = []
    for one in made.types:
        row: list[Any] = [
            one.name, one.order_by, one.sets, None if one.sure is None else round(one.sure, 3), one.short_on,
            one.early_on, round(one.early_chance, 3), one.fresh, one.part_worn, one.on_order,
            *(area(value) for value in one.life_here_m2),
            area(one.weeks[-1].likely_m2) if one.weeks else None, one.lead.supplier if one.lead else "",
            round(one.lead.likely_days) if one.lead else None,
            ", ".join(job.name for job in words.shown_jobs(one, 8) if job.name),
        ]  # fmt: skip
        if money:
            row += [one.price, one.cost, one.currency if one.price is not None else ""]
        rows.append(row)
    return headings, rows
