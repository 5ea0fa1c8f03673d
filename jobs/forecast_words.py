"""A forecast in words: the headline that is the answer, when to order, what was missing."""

from __future__ import annotations

from datetime import date, timedelta

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.times import show_day
from inventory.units import show_money
from jobs.forecast_result import SHOW_DAY_WITHIN, Forecast, Gap, JobBehind, LeadSaid, TypeForecast, total_cost
from jobs.models import Standing

# Below this a chance is called small (our assumption).
_SMALL = 0.15


def headline(forecast: Forecast, *, money: bool) -> str:
    """What to do: what runs short whatever is ordered, what to order by when, else until when to order nothing.

    "Metal 30 may run short before an order can come. Order 4 sets by Fri 16 May, $1,240".
    """
    if not forecast.types:
        return _("No tool types to reckon with yet")
    if forecast.unsolved or forecast.due:
        said = [_unsolved(forecast), _order(forecast, money=money)]
        if forecast.unsolved and forecast.unsolved[0].unsolved_chance < _SMALL:
            said.reverse()  # what to do comes before a chance that nobody need act on
        return ". ".join(filter(None, said))
    if any(one.sets is None and one.short_on is not None for one in forecast.types):
        return _("Nobody knows how long a supplier takes")
    if forecast.later and forecast.later[0].order_by is not None:
        when = month_or_week(forecast.later[0].order_by, forecast.today)
        return _("Nothing to order before %(when)s") % {"when": when}
    if any(gap.code == "no_need" for gap in forecast.gaps):
        return _("Nothing planned, nothing to order")
    return _("Nothing to order for the next %(weeks)d weeks") % {"weeks": len(forecast.types[0].weeks)}


def _unsolved(forecast: Forecast) -> str:
    """What may run short whatever is ordered now: the most likely by name, the rest counted."""
    if not forecast.unsolved:
        return ""
    first, more = forecast.unsolved[0], len(forecast.unsolved) - 1
    facts = {"name": _capital(first.name), "chance": chance_words(first.unsolved_chance)}
    if first.waits_for_order:
        said = _("%(name)s: %(chance)s of running short before what is on order comes") % facts
    else:
        said = _("%(name)s: %(chance)s of running short before an order can come") % facts
    if more:
        words = ngettext(
            "the chance of %(more)d more type is no larger", "the chances of %(more)d more types are no larger", more
        )
        said += "; " + words % {"more": more}
    return said


def chance_words(chance: float) -> str:
    """A chance in a word and in percent: "small chance (5 %)". Where the words change is our assumption."""
    facts = {"percent": sure_words(chance) if chance >= 0.01 else _("under 1 %")}
    if chance < _SMALL:
        return _("small chance (%(percent)s)") % facts
    if chance < 0.4:
        return _("some chance (%(percent)s)") % facts
    if chance < 0.6:
        return _("about an even chance (%(percent)s)") % facts
    if chance < 0.9:
        return _("large chance (%(percent)s)") % facts
    return _("near certainty (%(percent)s)") % facts


def _order(forecast: Forecast, *, money: bool) -> str:
    """What belongs to this week's order, in one sentence."""
    due = forecast.due
    if not due:
        return ""
    at_once = sum(one.sets or 0 for one in due if one.order_by is not None and one.order_by <= forecast.today)
    after = [one for one in due if one.order_by is not None and one.order_by > forecast.today]
    rest = sum(one.sets or 0 for one in after)
    cost = total_cost(due) if money else None
    words = {"sets": at_once or rest, "more": rest, "money": show_money(cost or 0, due[0].currency)}
    if after:
        words["day"] = show_day(min(one.order_by for one in after if one.order_by is not None), forecast.today)
    if at_once and rest:
        said = ngettext("Order %(sets)d set today", "Order %(sets)d sets today", at_once) % words
        said += ", " + ngettext("%(more)d more by %(day)s", "%(more)d more by %(day)s", rest) % words
    elif at_once:
        said = ngettext("Order %(sets)d set today", "Order %(sets)d sets today", at_once) % words
    else:
        said = ngettext("Order %(sets)d set by %(day)s", "Order %(sets)d sets by %(day)s", rest) % words
    return said if cost is None else f"{said}, {words['money']}"


def late_words(one: TypeForecast, today: date) -> str:
    """What no order helps any more: how likely, from when, for which job, and what does; "" when all is in time."""
    if one.unsolved_on is None:
        return ""
    facts = {
        "when": month_or_week(one.unsolved_on, today),
        "chance": chance_words(one.unsolved_chance),
        "rush": sets_words(one.rush),
    }
    # What is likely here by then runs short only in the runs in which it comes later than is likely.
    due = [arrival.day for arrival in one.arrivals if arrival.day <= one.unsolved_on]
    if one.waits_for_order and due:
        words = _("%(chance)s of running short from %(when)s, should what is on order come later than is likely.")
    elif one.waits_for_order:
        words = _("%(chance)s of running short from %(when)s, before what is on order is here.")
    elif one.arrives_on is not None and one.sets and one.arrives_on <= one.unsolved_on:
        words = _("%(chance)s of running short from %(when)s, should an order come later than is likely.")
    else:
        words = _("%(chance)s of running short from %(when)s, before an order could be here.")
    names = [job.name for job in one.early_jobs if job.name]
    facts["job"] = names[0] if names else _("the job")
    if not one.rush:
        helps = _("hurry the order, move %(job)s, or borrow.")
    elif one.sets:
        helps = _("rush %(rush)s as well, move %(job)s, or borrow.")
    else:
        helps = _("rush %(rush)s, move %(job)s, or borrow.")
    # Nobody need act on a small chance: what helps is offered for it, no more.
    lead = _("What helps: %(helps)s") if one.unsolved_chance >= 0.4 else _("If that is too much: %(helps)s")
    return _capital(words % facts) + " " + lead % {"helps": helps % facts}


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def order_by_words(one: TypeForecast, today: date) -> tuple[str, str]:
    """When to order, and a second line: "Fri 16 May", "in 2 days"; beyond 15 days the week."""
    day = one.order_by
    if day is None:
        if one.state == "late":
            return _("too late"), _("an order does not help")
        return (_("not known"), "") if one.state == "unknown" else (_("nothing yet"), "")
    if one.passed:
        return _("today"), _("was due %(day)s") % {"day": show_day(day, today)}
    days = (day - today).days
    if days <= 0:
        return _("today"), show_day(day, today)
    if days <= SHOW_DAY_WITHIN:
        return show_day(day, today), ngettext("in %(days)d day", "in %(days)d days", days) % {"days": days}
    monday = day - timedelta(days=day.weekday())
    weeks = (day - today).days // 7
    return (
        _("week of %(day)s") % {"day": show_day(monday, today)},
        ngettext("in %(weeks)d week", "in %(weeks)d weeks", weeks) % {"weeks": weeks},
    )


def sets_words(count: int) -> str:
    """ "4 sets"."""
    return ngettext("%(sets)d set", "%(sets)d sets", count) % {"sets": count}


def line_words(one: TypeForecast, today: date) -> str:
    """One type as a line of the terminal."""
    when, second = order_by_words(one, today)
    return f"{one.name}: {sets_words(one.sets or 0)}, {when}" + (f" ({second})" if second else "")


def sure_words(share: float | None) -> str:
    """A chance of no shortage as people read it, in whole percent: what the program states may be shown."""
    if share is None:
        return ""
    percent = min(99, int(share * 100 + 1e-9))
    return _("%(percent)d %%") % {"percent": percent} if share < 0.995 else _("over 99 %")


def by_weight(one: TypeForecast) -> list[JobBehind]:
    """The jobs behind a type by what they ask of it, bids by their chance; the one the advice names is among them."""
    found = [*one.behind, *(job for job in one.early_jobs[:1] if job.job_id not in {row.job_id for row in one.behind})]
    return sorted(found, key=lambda job: -job.area_m2 * job.award_chance)


def shown_jobs(one: TypeForecast, most: int) -> list[JobBehind]:
    """The weightiest of them, the one that the advice says to move always among them."""
    jobs = by_weight(one)
    named = [job for job in one.early_jobs[:1] if job.name and one.unsolved_on is not None]
    ids = {job.job_id for job in named}
    first = [job for job in jobs if job.job_id not in ids][: most - len(ids)]
    return [job for job in jobs if job in first or job.job_id in ids]


def because(one: TypeForecast, today: date) -> str:
    """Why, in one sentence: the job that weighs most, or what runs out when."""
    behind = by_weight(one)
    if behind and behind[0].name:
        top, more = behind[0], len(behind) - 1
        name = top.name
        if top.standing == Standing.BID:
            name = _("%(job)s (bid, %(chance)d %%)") % {"job": name, "chance": round(100 * top.award_chance)}
        here = ngettext("%(n)d new set here", "%(n)d new sets here", one.fresh) % {"n": one.fresh}
        if not more:
            return _("%(job)s uses it; %(here)s.") % {"job": name, "here": here}
        words = ngettext(
            "%(job)s and %(more)d more job use it; %(here)s.", "%(job)s and %(more)d more jobs use it; %(here)s.", more
        )
        return words % {"job": name, "more": more, "here": here}
    if behind:
        return _("It goes on as in the weeks before.")
    if one.short_on is None:
        return _("What is here lasts.")
    return ""


def short_words(one: TypeForecast, today: date) -> str:
    """When it may run short if nothing more is ordered."""
    if one.short_on is None:
        return _("Enough here for all that is planned.")
    if one.state == "late":
        return late_words(one, today)
    return _("Without an order it may run short from %(when)s.") % {"when": month_or_week(one.short_on, today)}


def arrives_words(one: TypeForecast, today: date) -> str:
    """When the advised order is likely here: the day within 15 days, beyond it the week, as for all other dates."""
    if one.arrives_on is None or not one.sets:
        return ""
    facts = {"sets": sets_words(one.sets), "when": month_or_week(one.arrives_on, today)}
    if one.order_by is not None and one.order_by > today:
        ordered = {"ordered": month_or_week(one.order_by, today)}
        return _("%(sets)s ordered by %(ordered)s: likely here by %(when)s.") % (facts | ordered)
    return _("%(sets)s ordered today: likely here by %(when)s.") % facts


def spread_words(one: TypeForecast) -> str:
    """Why sets run short while the picture shows more life than need; "" while the picture says it by itself."""
    if not one.life_is_spread:
        return ""
    return _(
        "The area left in all sets together would do, but it is spread over %(sets)s: a step that none of them surely "
        "finishes takes a new set, and the new sets here run out."
    ) % {"sets": ngettext("%(n)d set in use", "%(n)d sets in use", one.part_worn) % {"n": one.part_worn}}


def month_or_week(day: date, today: date) -> str:
    """The day within 15 days, beyond it the week."""
    if (day - today).days <= SHOW_DAY_WITHIN:
        return show_day(day, today)
    return _("the week of %(day)s") % {"day": show_day(day - timedelta(days=day.weekday()), today)}


def lead_words(lead: LeadSaid | None) -> tuple[str, str]:
    """How long the supplier takes, and where that comes from."""
    if lead is None:
        return _("Nobody knows how long an order takes."), _("Write the supplier's word, or receive a first order.")
    words = _(
        "%(supplier)s takes likely %(likely)d working days, at least %(low)d, up to %(high)d: Monday to Friday, the "
        "shop's closed days left out."
    )
    days = words % {
        "supplier": lead.supplier,
        "likely": round(lead.likely_days),
        "low": round(lead.low_days),
        "high": round(lead.high_days),
    }
    parts = []
    if lead.word_days is not None:
        parts.append(_("its word is %(days)d") % {"days": lead.word_days})
    parts.append(
        ngettext("%(count)d order came", "%(count)d orders came", lead.received) % {"count": lead.received}
        if lead.received
        else _("no order came yet")
    )
    if lead.still_open:
        parts.append(ngettext("%(count)d is open", "%(count)d are open", lead.still_open) % {"count": lead.still_open})
    return days, _("From what is on record: %(parts)s.") % {"parts": ", ".join(parts)}


def gap_words(gap: Gap) -> str:
    """What was missing, and what to do about it."""
    about = {"about": gap.about, "count": gap.count}
    if gap.code == "no_steps":
        words = ngettext(
            "%(count)d job has no steps yet and asks for nothing here: %(about)s.",
            "%(count)d jobs have no steps yet and ask for nothing here: %(about)s.",
            gap.count,
        )
        return words % (about | {"about": gap.about + (", ..." if gap.count > 3 else "")})
    if gap.code == "stale_bids":
        words = ngettext(
            "%(count)d bid is left out, its start has long passed: %(about)s.",
            "%(count)d bids are left out, their starts have long passed: %(about)s.",
            gap.count,
        )
        return words % about
    known = {
        "past_use": _("No planned jobs, so only past use speaks."),
        "no_need": _("No planned jobs and no work on record: plan a job, and the need shows here."),
        "no_rating": _(
            "%(about)s has no rated coverage, nor has another type of its bond: write it, and it is reckoned."
        ),
        "no_closed_days": _(
            "No closed day is on record for the weeks to come, so public holidays count as working days: write them "
            "under the shop."
        ),
        "no_work_of_type": _("No planned step asks for it."),
        "no_supplier": _("Nobody sells it yet: name its supplier."),
        "no_lead_time": _("Nobody knows how long its supplier takes: write its word."),
        "no_price": _("No price is on record."),
        "rating_of_bond": _("Without a rating of its own it is reckoned by the mean of its bond."),
    }
    return known.get(gap.code, gap.code) % about
