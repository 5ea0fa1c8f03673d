"""The two plain pages of the catalogue: a list that leads to its rows, and a form that keeps one."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

Cell = dict[str, Any]
ROWS_A_PAGE = 50


def words(label: str, text: Any, *, num: bool = False) -> Cell:
    """A cell of plain words or of a number."""
    return {"label": label, "words": text, "num": num}


def link(label: str, text: Any, url_name: str, *arguments: Any) -> Cell:
    """The cell that heads a row and leads to its page."""
    return {"label": label, "words": text, "head": True, "url": reverse(url_name, args=arguments)}


def head(label: str, text: Any, may: bool = False, url_name: str = "", *arguments: Any) -> Cell:
    """The cell that heads a row; for those who may it leads to the row's page."""
    return link(label, text, url_name, *arguments) if may else {"label": label, "words": text, "head": True}


def heads_of(rows: list[list[Cell]]) -> list[Cell]:
    """The heads of a table's columns, as its first row names them."""
    return [{"label": cell["label"], "num": cell.get("num")} for cell in rows[0]] if rows else []


def section(
    title: str, rows: list[list[Cell]], add_url: str = "", add_words: str = "", empty: str = ""
) -> dict[str, Any]:
    """A table below a form: its rows, what adds one, and the words that stand there while it has none."""
    return {
        "title": title,
        "rows": rows,
        "heads": heads_of(rows),
        "add_url": add_url,
        "add_words": add_words,
        "empty": empty,
    }


def list_page(
    request: HttpRequest,
    title: str,
    rows: list[list[Cell]],
    *,
    lead: str = "",
    add: tuple[str, str] | None = None,
    empty: str = "",
    extra: dict[str, Any] | None = None,
) -> HttpResponse:
    """A list of one noun, 50 rows a page; add: address's name and verb, for those who may."""
    leaf = Paginator(rows, ROWS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "title": title,
        "lead": lead,
        "heads": heads_of(rows),
        "rows": list(leaf),
        "leaf": leaf,
        "add_url": reverse(add[0]) if add else "",
        "add_words": add[1] if add else "",
        "empty": empty,
    }
    return render(request, "inventory/catalogue/list.html", context | (extra or {}))


def form_page(
    request: HttpRequest, title: str, form: BaseForm, submit: str, back: str, *, extra: dict[str, Any] | None = None
) -> HttpResponse:
    """A form of one noun; what was refused comes back with 422 and as typed."""
    context = {"title": title, "form": form, "submit": submit, "back_url": reverse(back)}
    status = 422 if form.errors else 200
    return render(request, "inventory/catalogue/form.html", context | (extra or {}), status=status)
