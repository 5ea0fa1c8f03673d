"""Buying: the orders, a new one, one order's page, receiving on it and over the counter, closing."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.actions.purchasing import MoreThanOrdered, close_order, promise_order
from inventory.actions.undo import undo
from inventory.forms.order_form import CloseForm, CounterForm, PromiseForm
from inventory.models import Act, Order, OrderLine
from inventory.queries.purchasing import orders_now
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.sheets.export import csv_bytes, xlsx_bytes
from inventory.views import order_page as pages
from inventory.views.doors import PersonRequest, door, who_of

_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@door("GET", right=Right.BUY)
def orders(request: PersonRequest) -> HttpResponse:
    """Every order, those with something to come first."""
    return render(request, "inventory/order/list.html", pages.list_context(request))


@door("GET", right=Right.BUY)
def orders_file(request: PersonRequest, kind: str) -> HttpResponse:
    """The lines of every order as CSV or as a workbook."""
    headings, rows = pages.orders_table(request.user, orders_now(request.user.branch))
    data = csv_bytes(headings, rows) if kind == "csv" else xlsx_bytes(headings, rows, title=_("Orders"))
    content = "text/csv; charset=utf-8" if kind == "csv" else _XLSX
    named = {"Content-Disposition": f'attachment; filename="orders.{kind}"'}
    return HttpResponse(data, content_type=content, headers=named)


@door("GET", "POST", right=Right.BUY)
def order_new(request: PersonRequest) -> HttpResponse:
    """Write an order; `?line=type:sets` and `?supplier=` fill it from the reorder page."""
    (form, lines), refused = pages.order_forms(request), None
    if request.method == "POST" and form.is_valid() and lines.is_valid():
        try:
            made, words = pages.keep_order(request, form, lines)
        except Refused as refusal:
            refused = refusal
        else:
            messages.success(request, words)
            return redirect("inventory:order", made.pk)
    context = {"form": form, "lines": lines, "refused": refused, "act_key": pages.key_of(request)}
    return render(request, "inventory/order/new.html", context, status=422 if request.method == "POST" else 200)


@door("GET", right=Right.BUY)
def order(request: PersonRequest, order_id: int) -> HttpResponse:
    """One order: its stage, its lines, receiving the next of them."""
    now = pages.order_or_404(request, order_id)
    return render(request, "inventory/order/page.html", pages.order_context(request, now))


@door("POST", right=Right.BUY)
def order_receive(request: PersonRequest, order_id: int, line_id: int) -> HttpResponse:
    """Take in what came on one line."""
    line = get_object_or_404(OrderLine, pk=line_id, order_id=order_id, order__branch=request.user.branch)
    form, refused = pages.receive_form(request, line, request.POST), None
    if form.is_valid():
        try:
            got = pages.take_in(request, form, line=line)
        except Refused as refusal:
            refused = refusal
        else:
            messages.success(request, pages.received_words(got), extra_tags=pages.undo_url(got.recorded.act))
            return redirect(reverse("inventory:order", args=[order_id]))
    context = pages.order_context(request, pages.order_or_404(request, order_id), line_id=line_id, form=form)
    context |= {"refused": refused, "ask_sure": isinstance(refused, MoreThanOrdered)}
    return render(request, "inventory/order/page.html", context, status=422)


@door("POST", right=Right.BUY)
def receive_undo(request: PersonRequest, act_id: UUID) -> HttpResponse:
    """Take back what was received just now."""
    received = Act.objects.filter(branch=request.user.branch, entries__kind="received").distinct()
    act = get_object_or_404(received, pk=act_id)
    try:
        undo(who_of(request), request.user.branch, act, _("received by mistake"), now=timezone.now())
        messages.success(request, _("Taken back. The labels are blank again."))
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    line = OrderLine.objects.filter(entries__act=act).first()
    return redirect("inventory:order", line.order_id) if line else redirect("inventory:receive")


@door("POST", right=Right.BUY)
def order_promise(request: PersonRequest, order_id: int) -> HttpResponse:
    """Keep the day the supplier promised."""
    order = get_object_or_404(Order, pk=order_id, branch=request.user.branch)
    form = PromiseForm(request.POST)
    try:
        if form.is_valid():
            promise_order(request.user, order, form.cleaned_data["day"], now=timezone.now())
            messages.success(request, _("The promised day is kept."))
        else:
            messages.error(request, " ".join(map(str, form.errors.get("day", []))))
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    return redirect("inventory:order", order_id)


@door("POST", right=Right.BUY)
def order_close(request: PersonRequest, order_id: int) -> HttpResponse:
    """Close an order of which nothing more will come."""
    order = get_object_or_404(Order, pk=order_id, branch=request.user.branch)
    form = CloseForm(request.POST)
    try:
        if form.is_valid():
            close_order(
                request.user, order, form.cleaned_data["why"], on_day=pages.today_of(request), now=timezone.now()
            )
            messages.success(request, _("Order %(number)s is closed.") % {"number": order.number})
        else:
            messages.error(request, _("An order is closed for a reason. Say why nothing more will come."))
    except Refused as refusal:
        messages.error(request, refusal.sentence)
    return redirect("inventory:order", order_id)


@door("GET", "POST", right=Right.BUY)
def counter(request: PersonRequest) -> HttpResponse:
    """Receive sets that were bought without an order."""
    branch, refused = request.user.branch, None
    start = pages.receive_start(branch)
    form = CounterForm(request.POST or None, branch=branch, money=request.user.can(Right.SEE_MONEY), initial=start)
    if request.method == "POST" and form.is_valid():
        try:
            got = pages.take_in(request, form)
        except Refused as refusal:
            refused = refusal
        else:
            messages.success(request, pages.received_words(got), extra_tags=pages.undo_url(got.recorded.act))
            return redirect(reverse("inventory:receive") + "?codes=" + ",".join(label.code for label in got.labels))
    context = {"form": form, "refused": refused, "codes": pages.codes_of(request)}
    return render(request, "inventory/order/counter.html", context, status=422 if request.method == "POST" else 200)
