"""A forecast in words: the headline that is the answer, when to order, what was missing."""

from __future__ import annotations

from datetime import date, timedelta

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.times import show_day
from inventory.units import show_money
from jobs.forecast_result import SHOW_DAY_WITHIN, Forecast, Gap, LeadSaid, TypeForecast, total_cost
from jobs.models import Standing


def headline(forecast: Forecast, *, money: bool) -> str:
    """What to do: what runs short whatever is ordered, what to order by when, else until when to order nothing.

    "Metal 30 may run short before an order can come. Order 4 sets by Fri 16 May, $1,240".
    """
    if not forecast.types:
        return _("No tool types to reckon with yet")
    if forecast.unsolved or forecast.due:
        return ". ".join(filter(None, (_unsolved(forecast), _order(forecast, money=money))))
    if any(one.sets is None and one.short_on is not None for one in forecast.types):
        return _("Nobody knows how long a supplier takes")
    if forecast.later:
        return _("Nothing to order before %(when)s") % {
            "when": month_or_day(forecast.later[0].order_by, forecast.today)
        }
    if any(gap.code == "no_need" for gap in forecast.gaps):
        return _("Nothing planned, nothing to order")
    return _("Nothing to order for the next %(weeks)d weeks") % {"weeks": len(forecast.types[0].weeks)}


def _unsolved(forecast: Forecast) -> str:
    """What may run short whatever is ordered now: the soonest by name, the rest counted."""
    if not forecast.unsolved:
        return ""
    first, more = forecast.unsolved[0], len(forecast.unsolved) - 1
    name = _capital(first.name)
    if more:
        words = ngettext(
            "%(name)s and %(more)d more type may run short before an order can come",
            "%(name)s and %(more)d more types may run short before an order can come",
            more,
        )
    elif first.early_on is not None:
        words = _("%(name)s may run short before an order can come")
    else:
        words = _("%(name)s may run short before what is on order comes")
    return words % {"name": name, "more": more}


def _order(forecast: Forecast, *, money: bool) -> str:
    """What belongs to this week's order, in one sentence."""
    due = forecast.due
    if not due:
        return ""
    sets = sum(one.sets or 0 for one in due)
    first = min(one.order_by for one in due if one.order_by is not None)
    cost = total_cost(due) if money else None
    words = {"sets": sets, "day": show_day(first), "money": show_money(cost or 0, due[0].currency)}
    if first <= forecast.today:
        with_money, bare = (
            ngettext("Order %(sets)d set today, %(money)s", "Order %(sets)d sets today, %(money)s", sets),
            ngettext("Order %(sets)d set today", "Order %(sets)d sets today", sets),
        )
    else:
        with_money, bare = (
            ngettext("Order %(sets)d set by %(day)s, %(money)s", "Order %(sets)d sets by %(day)s, %(money)s", sets),
            ngettext("Order %(sets)d set by %(day)s", "Order %(sets)d sets by %(day)s", sets),
        )
    return (with_money if cost is not None else bare) % words


def late_words(one: TypeForecast, today: date) -> str:
    """What no order helps any more: how likely, from when, for which job, and what does; "" when all is in time."""
    if one.unsolved_on is None:
        return ""
    facts = {"when": month_or_week(one.unsolved_on, today)}
    if one.early_on is None:
        words = _("%(chance)s chance of running short from %(when)s, before what is on order is here:")
        facts["chance"] = sure_words(one.short_chance)
    else:
        words = _("%(chance)s chance of running short from %(when)s, before an order could be here:")
        facts["chance"] = sure_words(one.early_chance)
    names = [job.name for job in one.early_jobs if job.name]
    if names:
        facts["job"] = names[0]
        if one.sets:
            return _capital(words % facts) + " " + _("ask for a rush, move %(job)s, or borrow.") % facts
        return _capital(words % facts) + " " + _("too late for %(job)s, move it, rush an order, or borrow.") % facts
    return _capital(words % facts) + " " + _("move the job, rush an order, or borrow.")


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def month_or_day(day: date | None, today: date) -> str:
    """ "June", or the day itself when it lies in this month or within the days that are shown."""
    if day is None:
        return ""
    if (day.year, day.month) == (today.year, today.month) or day <= today + timedelta(days=SHOW_DAY_WITHIN):
        return show_day(day, today)
    return str(formats.date_format(day, "F" if day.year == today.year else "F Y"))


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


def because(one: TypeForecast, today: date) -> str:
    """Why, in one sentence: the job that weighs most, or what runs out when."""
    if one.behind and one.behind[0].name:
        top, more = one.behind[0], len(one.behind) - 1
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
    if one.behind:
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


def month_or_week(day: date, today: date) -> str:
    """The day within 15 days, beyond it the week."""
    if (day - today).days <= SHOW_DAY_WITHIN:
        return show_day(day, today)
    return _("the week of %(day)s") % {"day": show_day(day - timedelta(days=day.weekday()), today)}


def lead_words(lead: LeadSaid | None) -> tuple[str, str]:
    """How long the supplier takes, and where that comes from."""
    if lead is None:
        return _("Nobody knows how long an order takes."), _("Write the supplier's word, or receive a first order.")
    days = _("%(supplier)s takes likely %(likely)d working days, at least %(low)d, up to %(high)d.") % {
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
        "no_work_of_type": _("No planned step asks for it."),
        "no_supplier": _("Nobody sells it yet: name its supplier."),
        "no_lead_time": _("Nobody knows how long its supplier takes: write its word."),
        "no_price": _("No price is on record."),
        "rating_of_bond": _("Without a rating of its own it is reckoned by the mean of its bond."),
    }
    return known.get(gap.code, gap.code) % about
