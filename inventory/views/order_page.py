"""What the pages of buying show: orders in words, the forms filled in, the table as a file."""

from __future__ import annotations

import random
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.core.paginator import Paginator
from django.forms import BaseFormSet, formset_factory
from django.http import Http404
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.purchasing import Received, Wanted, place_order, receive
from inventory.forms.order_form import CloseForm, OrderForm, OrderLineForm, PromiseForm, ReceiveForm
from inventory.models import Act, Branch, Order, OrderLine, Person, Place, ToolType
from inventory.models.choices import PlaceKind
from inventory.queries.catalogue import ladder, price_of, shop_calendar
from inventory.queries.purchasing import LineNow, OrderNow, likely_day, orders_now, supplier_lead
from inventory.rights import Right
from inventory.times import show_day, when_for, zone_of
from inventory.units import show_money
from inventory.views.doors import PersonRequest, who_of
from inventory.views.scanning import as_uuid

ROWS_A_PAGE = 50
DRAWN = 12
_SPARE_LINES = 3


def today_of(request: PersonRequest) -> date:
    """Today at the person's branch."""
    return timezone.now().astimezone(zone_of(request.user.branch)).date()


def key_of(request: PersonRequest) -> str:
    """The key of what the form does: kept when it comes back, so that sending it again is the same."""
    return request.POST.get("act_id", "") or str(uuid4())


def sets_words(count: int) -> str:
    """ "4 sets"."""
    return ngettext("%(n)d set", "%(n)d sets", count) % {"n": count}


def stage_words(now: OrderNow) -> str:
    """Where an order stands, in words."""
    words = {
        "here": _("All here"),
        "closed": _("Closed with %(n)d missing") % {"n": max(0, now.wanted - now.here)},
        "part": _("%(n)d to come") % {"n": now.to_come},
        "sent": _("Sent, %(n)d to come") % {"n": now.to_come},
    }
    return words[now.stage]


def list_context(request: PersonRequest) -> dict[str, Any]:
    """The list of orders: open ones first, then the newest."""
    found = orders_now(request.user.branch)
    found.sort(key=lambda one: one.to_come == 0)  # stable: the newest stay first within both
    leaf = Paginator(found, ROWS_A_PAGE).get_page(request.GET.get("page"))
    money, today = request.user.can(Right.SEE_MONEY), today_of(request)
    still_open = [one for one in found if one.to_come]
    rows = [
        {
            "now": one,
            "stage": stage_words(one),
            "open": one.to_come > 0,
            "day": show_day(one.ordered_on, today),
            "promised": show_day(one.promised_on, today) if one.promised_on else "",
            "types": ", ".join(dict.fromkeys(line.line.tool_type.grit for line in one.lines)),
            "total": show_money(one.total, _currency(one)) if money and one.total is not None else "",
        }
        for one in leaf
    ]
    return {
        "rows": rows,
        "leaf": leaf,
        "money": money,
        "open_count": len(still_open),
        "to_come": sum(one.to_come for one in still_open),
    }


def _currency(one: OrderNow) -> str:
    return next((line.line.currency for line in one.lines if line.line.currency), one.order.branch.currency)


def orders_table(person: Person, found: list[OrderNow]) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows, a row a line; money only for people who may see it."""
    money = person.can(Right.SEE_MONEY)
    headings = [_("Order"), _("Supplier"), _("Ordered on"), _("Promised for"), _("Stage"), _("Tool type")]
    headings += [_("Sets ordered"), _("Here"), _("To come")] + ([_("Price"), _("Currency")] if money else [])
    rows: list[list[Any]] = []
    for one in found:
        for line in one.lines:
            row = [one.order.number, one.order.supplier.name, one.ordered_on, one.promised_on, stage_words(one)]
            row += [line.line.tool_type.name, line.line.sets, line.here, line.to_come]
            rows.append(row + ([line.line.price, line.line.currency] if money else []))
    return headings, rows


# --- a new order ---


def order_forms(request: PersonRequest) -> tuple[OrderForm, BaseFormSet[OrderLineForm]]:
    """The form of an order and its lines, filled from the address or from what was sent."""
    branch, today = request.user.branch, today_of(request)
    asked = _asked_lines(request)
    prices = price_of([pk for pk, _sets in asked], today) if asked else {}
    initial = [
        {"tool_type": pk, "sets": sets, "price": prices[pk].price if pk in prices else None} for pk, sets in asked
    ]
    spare = 0 if request.method == "POST" else _SPARE_LINES
    factory = formset_factory(OrderLineForm, extra=spare, max_num=60, absolute_max=60)
    start = {"on_day": today, "supplier": request.GET.get("supplier", "") or None}
    form = OrderForm(request.POST or None, today=today, initial=start)
    kwargs = {"branch": branch, "money": request.user.can(Right.SEE_MONEY)}
    lines = factory(request.POST or None, prefix="line", initial=initial, form_kwargs=kwargs)
    return form, lines


def _asked_lines(request: PersonRequest) -> list[tuple[int, int]]:
    """What the address asks to order: `?line=12:4` is 4 sets of type 12; what cannot be read is left out."""
    asked = []
    for text in request.GET.getlist("line")[:30]:
        pk, _colon, sets = text.partition(":")
        if pk.isdecimal() and sets.isdecimal() and len(pk) < 12 and 0 < int(sets) <= 500:
            asked.append((int(pk), int(sets)))
    known = set(ToolType.objects.filter(pk__in=[pk for pk, _sets in asked]).values_list("pk", flat=True))
    return [(pk, sets) for pk, sets in asked if pk in known]


def wanted_of(person: Person, lines: BaseFormSet[OrderLineForm], day: date) -> list[Wanted]:
    """The lines that say something; whoever does not see prices orders at the price that stands."""
    said = [form.cleaned_data for form in lines if form.cleaned_data.get("tool_type")]
    if person.can(Right.SEE_MONEY):
        return [Wanted(one["tool_type"], one["sets"], one.get("price")) for one in said]
    prices = price_of([one["tool_type"].pk for one in said], day)
    found = ((one, prices.get(one["tool_type"].pk)) for one in said)
    return [Wanted(one["tool_type"], one["sets"], price.price if price else None) for one, price in found]


def keep_order(request: PersonRequest, form: OrderForm, lines: BaseFormSet[OrderLineForm]) -> tuple[Order, str]:
    """Place the order, and say that it is kept, or when it was sent already. Raises OrderRefused."""
    now, key = timezone.now(), as_uuid(request.POST.get("act_id", ""))
    sent = Order.objects.filter(key=key).first() if key else None
    wanted = wanted_of(request.user, lines, form.cleaned_data["on_day"])
    made = place_order(request.user, request.user.branch, wanted=wanted, now=now, key=key, **form.cleaned_data)
    if sent is not None:
        return made, _("Already ordered %(time)s.") % {"time": when_for(request.user, sent.made_at, now)}
    return made, _("Order %(number)s is kept.") % {"number": made.number}


# --- one order ---


def order_or_404(request: PersonRequest, order_id: int) -> OrderNow:
    """The order as it stands, if it is the branch's."""
    # A number no column can hold names no order.
    found = orders_now(request.user.branch, only=[order_id]) if order_id < 2**63 else []
    if not found:
        raise Http404
    return found[0]


def receive_start(branch: Branch) -> dict[str, Any]:
    """Where new sets go unless somebody says otherwise: the shop's first rack."""
    rack = Place.objects.filter(branch=branch, kind=PlaceKind.RACK, active=True).order_by("name").first()
    return {"place": rack.pk if rack else None, "sets": 1}


def receive_form(
    request: PersonRequest, line: OrderLine, data: Mapping[str, Any] | None = None, to_come: int = 1
) -> ReceiveForm:
    """The form of what came on a line."""
    branch = request.user.branch
    start = receive_start(branch) | {"sets": max(1, to_come), "price": line.price}
    return ReceiveForm(data, branch=branch, money=request.user.can(Right.SEE_MONEY), initial=start)


def order_context(
    request: PersonRequest, now: OrderNow, *, line_id: int | None = None, form: ReceiveForm | None = None
) -> dict[str, Any]:
    """Everything the page of an order asks for."""
    places = ladder(request.user.branch)
    asked = line_id or _number(request.GET.get("line", ""))
    chosen = next((line for line in now.lines if line.line.pk == asked), None)
    chosen = chosen or next((line for line in now.lines if line.to_come), None)
    if chosen is not None and form is None and now.ended is None:
        form = receive_form(request, chosen.line, to_come=chosen.to_come)
    expected, lead = _lead(request, now)
    return {
        "now": now,
        "headline_words": _headline(now),
        "stages": _stages(now, expected, today_of(request)),
        "money": request.user.can(Right.SEE_MONEY),
        "lines": [_line(request, line, now, places) for line in now.lines],
        "chosen": chosen,
        "chosen_grit": places.get(chosen.line.tool_type_id, (0, 1)) if chosen else (0, 1),
        "form": form,
        "receive_url": reverse("inventory:order_receive", args=[now.order.pk, chosen.line.pk]) if chosen else "",
        "act_key": key_of(request),
        "promise_form": PromiseForm(initial={"day": now.promised_on}),
        "close_form": CloseForm(),
        "labels_url": f"{reverse('inventory:labels')}?order={now.order.pk}",
        "lead": lead,
        "total": show_money(now.total, _currency(now)) if now.total is not None else "",
    }


def _number(text: str) -> int | None:
    return int(text) if text.isdecimal() and len(text) < 12 else None


def _headline(now: OrderNow) -> str:
    if now.stage == "here":
        return ngettext("The set is here", "All %(n)d sets are here", now.wanted) % {"n": now.wanted}
    facts = {"here": now.here, "wanted": now.wanted, "left": now.to_come}
    if now.stage == "closed":
        return _("%(here)d of %(wanted)d sets came, the order is closed") % facts
    if not now.here:
        return ngettext("%(left)d set to come", "%(left)d sets to come", now.to_come) % facts
    return (
        ngettext(
            "%(here)d of %(wanted)d sets is here, %(left)d still to come",
            "%(here)d of %(wanted)d sets are here, %(left)d still to come",
            now.here,
        )
        % facts
    )


def _lead(request: PersonRequest, now: OrderNow) -> tuple[tuple[date, bool] | None, str]:
    """When the rest is likely here and whether it is late, and how long this supplier takes by now."""
    today = today_of(request)
    lead = supplier_lead(request.user.branch, now.order.supplier_id, today)
    if lead is None:
        return None, ""
    low, likely, high = (round(lead.quantile(share)) for share in (0.1, 0.5, 0.9))
    words = _("This supplier takes likely %(likely)d working days, at least %(low)d, up to %(high)d.")
    expected = None
    if now.to_come:
        expected = likely_day(lead, shop_calendar(request.user.branch, today), now.ordered_on, today)
    return expected, words % {"likely": likely, "low": low, "high": high}


def _stages(now: OrderNow, expected: tuple[date, bool] | None, today: date) -> list[dict[str, Any]]:
    """The line of stages: sent, promised, first part, the rest."""
    days = now.days_came
    stages = [{"word": _("Sent"), "day": show_day(now.ordered_on, today), "note": now.ordered_by.name, "done": True}]
    if now.promised_on is not None:
        stages.append({"word": _("Promised for"), "day": show_day(now.promised_on, today), "note": "", "done": True})
    if days and (now.to_come or len(days) > 1):
        stages.append({"word": _("First part"), "day": show_day(days[0], today), "note": "", "done": True})
    if now.to_come:
        word = _("Rest") if days else _("Expected")
        on, late = expected if expected else (None, False)
        note = _("likely, late") if late else _("likely") if expected else ""
        if now.promised_on is not None:
            on, note = now.promised_on, _("promised, late") if now.promised_on < today else _("promised")
        stages.append({"word": word, "day": show_day(on, today) if on else _("not known"), "note": note, "done": False})
    elif now.ended is not None and now.stage == "closed":
        stages.append(
            {"word": _("Closed"), "day": show_day(now.ended.on_day, today), "note": now.ended.why, "done": True}
        )
    elif days:
        stages.append({"word": _("All here"), "day": show_day(days[-1], today), "note": "", "done": True})
    return stages


def _line(
    request: PersonRequest, line: LineNow, now: OrderNow, places: Mapping[int, tuple[int, int]]
) -> dict[str, Any]:
    """One line as the page shows it; prices only for people who may see money."""
    place, count = places.get(line.line.tool_type_id, (0, 1))
    drawn_here = min(line.here, DRAWN)
    price, other = "", ""
    if request.user.can(Right.SEE_MONEY) and line.line.price is not None:
        price = show_money(line.line.price, line.line.currency)
        if line.paid_otherwise is not None:
            agreed, paid = line.line.price, [one.price for one in line.receipts if one.price is not None]
            extra = sum(paid, Decimal(0)) - agreed * len(paid)
            shown = {
                "paid": show_money(line.paid_otherwise, line.line.currency),
                "extra": show_money(abs(extra), line.line.currency),
            }
            words = (
                _("paid %(paid)s, %(extra)s more in all") if extra > 0 else _("paid %(paid)s, %(extra)s less in all")
            )
            other = words % shown
    return {
        "line": line,
        "type": line.line.tool_type,
        "place": place,
        "count": count,
        "here_drawn": range(drawn_here),
        "come_drawn": range(min(line.to_come, DRAWN - drawn_here)),
        "codes": [one.code for one in line.receipts if one.code],
        "price": price,
        "other": other,
        "url": f"{reverse('inventory:order', args=[now.order.pk])}?line={line.line.pk}#receive",
    }


# --- what was received ---


def take_in(request: PersonRequest, form: ReceiveForm, *, line: OrderLine | None = None) -> Received:
    """Receive what the form says, on a line of an order or without. Raises ReceiptRefused, MoreThanOrdered.

    Whoever does not see prices receives at the price that was ordered.
    """
    given = form.cleaned_data
    agreed = line.price if line is not None else None
    return receive(
        who_of(request),
        request.user.branch,
        line.tool_type if line is not None else given["tool_type"],
        given["sets"],
        now=timezone.now(),
        rng=random.SystemRandom(),
        place=given["place"],
        supplier=line.order.supplier if line is not None else given["supplier"],
        price=given["price"] if "price" in form.fields else agreed,
        order_line=line,
        blank=given["blank"],
        sure=given.get("sure", False),
    )


def received_words(got: Received) -> str:
    """What was kept: so many sets, under which labels."""
    words = ngettext(
        "%(n)d set is here under label %(codes)s.", "%(n)d sets are here under labels %(codes)s.", len(got.sets)
    )
    codes = [label.code for label in got.labels]
    shown = ", ".join(codes[:4]) + (f" … {codes[-1]}" if len(codes) > 4 else "")
    return words % {"n": len(got.sets), "codes": shown}


def undo_url(act: Act) -> str:
    """Where the receipt is taken back."""
    return reverse("inventory:receive_undo", args=[act.pk])


def codes_of(request: PersonRequest) -> str:
    """Codes just received, for the link that prints their labels."""
    codes = [text for text in request.GET.get("codes", "").split(",") if text.startswith("GL-") and len(text) == 9]
    return ",".join(codes[:200])
