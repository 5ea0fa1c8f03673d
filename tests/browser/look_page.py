"""A page of all parts, drawn from plain values and served to the browser without a server or a database."""

from __future__ import annotations

import mimetypes
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from urllib.parse import urlsplit

from django import forms
from django.contrib.staticfiles import finders
from django.template import Template
from django.template.context import make_context
from django.test import RequestFactory

from inventory.chart import Chart, nice_ticks, range_bar
from inventory.context import NavGroup, NavLink
from inventory.forms.shop_form import ShopForm
from inventory.gauge import STATES, GaugeFace

HOST = "http://localhost"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'"
)


class LookForm(ShopForm):
    """One field of each kind."""

    code = forms.CharField(label="Code of the set", help_text="As printed; small letters and blanks do no harm.")
    height = forms.DecimalField(
        label="Lowest piece", initial="6.8", widget=forms.TextInput(attrs={"inputmode": "decimal"})
    )
    place = forms.ChoiceField(label="Place", choices=[("a", "Rack A"), ("b", "Rack B")])
    left = forms.ChoiceField(
        label="How high is it", choices=[("n", "New"), ("h", "Half"), ("q", "A quarter")], widget=forms.RadioSelect
    )
    same = forms.BooleanField(label="Same for the next like it", required=False)
    note = forms.CharField(label="Note", widget=forms.Textarea(attrs={"rows": 2}), required=False)


class PlainForm(ShopForm):
    height = forms.CharField(
        label="Lowest height", initial="6.8", widget=forms.TextInput(attrs={"inputmode": "decimal"})
    )
    passes = forms.CharField(label="Pass", initial="4", widget=forms.TextInput(attrs={"inputmode": "numeric"}))


def faces() -> list[GaugeFace]:
    """One gauge of every state."""
    life: dict[str, Any] = {"at_least": 0.4, "likely": 0.55, "up_to": 0.7}
    return [
        GaugeFace(0, 10, "metal", 0.8, 0.95, 1, name="metal 30"),
        GaugeFace(3, 10, "hybrid", 0.7, 0.85, 1, name="hybrid 50"),
        GaugeFace(5, 10, water="conditioned", name="resin 200, conditioned", **life),
        GaugeFace(6, 10, water="dry", name="resin 400, dry", **life),
        GaugeFace(6, 10, water="soaking", where="in_water", name="resin 400, soaking", **life),
        GaugeFace(7, 10, water="soaked", where="in_water", name="resin 800, soaked", **life),
        GaugeFace(4, 10, where="out", name="resin 100, out", **life),
        GaugeFace(2, 10, "metal", where="aside", name="metal 120, set aside", **life),
        GaugeFace(1, 10, "metal", glazed=True, name="metal 70, glazed", **life),
        GaugeFace(5, 10, where="missing", name="resin 200, missing", **life),
        GaugeFace(4, 10, need=0.62, enough="tight", name="resin 100, tight", **life),
        GaugeFace(4, 10, need=0.9, enough="no", name="resin 100, short", **life),
        GaugeFace(
            9, 10, water="conditioned", leaves=True, name="resin 3000, leaves", at_least=0.01, likely=0.04, up_to=0.1
        ),
        GaugeFace(8, 10, plain=True, name="resin 1500"),
    ]


def _act(label: str, kind: str = "", **more: Any) -> dict[str, Any]:
    return {"label": label, "url": "#go", "kind": kind, **more}


def life_curve(width: float, css: str) -> str:
    """A life curve as on a ledger card."""
    small = width < 500
    drawing = Chart(width, 300, (0, 300), (0, 11), left=36, ramp="ramp-6-of-10")
    drawing.grid([(value, f"{value:g}") for value in nice_ticks(0, 10, 6)])
    drawing.foot([(value, f"{value:g}k") for value in nice_ticks(0, 300, 4 if small else 7)], "Reference area, ft²")
    drawing.line([(0, 10), (180, 2)], "rated")
    drawing.band([(96, 6.9), (212, 2)], [(96, 6.9), (290, 2)], hatch="h6-10-4")
    drawing.line([(0, 10), (96, 6.9)], "life")
    drawing.line([(96, 6.9), (250, 2)])
    drawing.line([(0, 2), (300, 2)], "likely planned")
    for x, y in ((0, 10), (31, 8.9), (58, 8.3), (96, 6.9)):
        drawing.point(x, y, y - 0.3, y + 0.3)
    drawing.mark(96, "today, 6.9 mm")
    drawing.words(4, 2, "retire at 2 mm", "bold", dy=18)
    drawing.words(250, 2, "likely 153k more", "bold", "middle", dy=18)
    return drawing.svg("Lowest piece 6.9 mm today; 2 mm likely after 153,000 square feet more.", css)


def look_context() -> dict[str, Any]:
    """Everything the look page shows."""
    some = faces()
    nav = [
        NavLink("x", word, f"/{word}", word == "Rack")
        for word in ("Shop day", "Rack", "Soak", "Jobs", "Reorder", "My job", "Costs")
    ]
    form = LookForm({"code": "", "height": "124,000", "place": "a", "left": "n"})
    return {
        "nav": nav,
        "beyond_nav": [
            NavGroup("The shop", [NavLink("y", word, f"/{word}", False) for word in ("Orders", "Labels", "Tool types")])
        ],
        "foot_nav": nav[:3],
        "more_nav": [NavGroup("", nav[3:])],
        "scan_link": NavLink("s", "Scan", "/scan", False),
        "find_url": "/find",
        "user": SimpleNamespace(is_authenticated=True, name="Ines O."),
        "units": "us",
        "curves": [life_curve(640, "wide-only"), life_curve(358, "small-only")],
        "range": range_bar(1230, 1420, 1680, 3560, width=160),
        "faces": some,
        "big": [some[2], some[4], some[7], some[9]],
        "form": form,
        "plain": PlainForm(),
        "states": [(key, f"{key} 05:00") for key in STATES],
        "marks": [f"own-{name}" for name in ("diamond", "disc", "ring", "square", "wedge", "plus", "bow", "bars")],
        "mends": [
            {
                "when": "19:30",
                "state": "dry",
                "words": "Resin 400 is dry",
                "where": "Osprey Lane",
                "cause": "It needs 60 h in cold water. It leaves in 2 h 40 min.",
                "other_url": "#o",
                "action": _act("Take GL-7K2M46 instead", "fill", detail="Rack B, peg 14 · over 95 % sure to finish"),
            },
            {
                "when": "20:15",
                "state": "no",
                "words": "Resin 100 is short of life",
                "where": "Bellweather hangar 2",
                "cause": "Likely 61,000 ft² left; the step needs 72,000.",
                "folded": True,
                "other_url": "#o",
                "action": _act("Add GL-9B0KTP as second set", "fill"),
            },
        ],
        "rungs": [
            {"grit": "70", "place": 1, "count": 10, "status": "done", "mark": "tick"},
            {"grit": "100", "place": 4, "count": 10, "status": "done", "mark": "tick"},
            {"grit": "200", "place": 5, "count": 10, "status": "now"},
            {"grit": "400", "place": 6, "count": 10, "status": "to_come", "mark": "drop"},
        ],
        "taken": {
            "kind": "taken",
            "id": "v1",
            "word": "Taken",
            "grit": "200",
            "code": "GL-8KR4H1",
            "face": some[2],
            "lines": ["resin, conditioned", "until 05:00"],
            "reason": "Enough: yes, over 95 % sure",
            "then": "Next: resin 400, rack B, peg 14",
        },
        "turned_away": {
            "kind": "refused",
            "id": "v2",
            "word": "Refused",
            "grit": "400",
            "code": "GL-Q83ZHM",
            "lines": ["resin, set of 3", "rack B, peg 16"],
            "reason": "Dry. It needs 60 h in cold water.",
            "actions": [_act("Take GL-7K2M46: rack B, peg 14", "fill"), _act("Send it dry and say why")],
        },
        "elsewhere": {
            "kind": "elsewhere",
            "id": "v3",
            "word": "En otro sitio",
            "grit": "3000",
            "code": "GL-V5A0T9",
            "lines": ["resin, set of 3", "since Mon 18:05"],
            "reason": "Out with Dag P., van 3.",
            "actions": [_act("Hand it over to Osprey Lane", "fill"), _act("Leave it with Dag")],
        },
        "questions": [
            {
                "who": "Bellweather hangar 2 · Marisol Q.",
                "first": True,
                "words": "No work logged for resin 200. Planned: 18,000 ft² × 5 passes.",
                "answers": [_act("Take 90,000 ft²", "fill"), _act("Other")],
            },
            {
                "who": "Osprey Lane · Dag P.",
                "words": "4 of 6 back. Where are 100 and 200?",
                "answers": [_act("Van 3"), _act("On site"), _act("Ask Dag")],
            },
            {"answered": "In water", "words": "How were the sets left?", "undo_url": "#u"},
        ],
        "work": {
            "sentence": "Checking the rows",
            "count": "Row 18,200 of 50,000",
            "done": 18200,
            "of": 50000,
            "left": "about 20 s",
        },
        "heads": [{"label": "Grit"}, {"label": "Code"}, {"label": "Life left, ft²", "num": True}],
        "rows": [
            [
                {"label": "Grit", "words": "400", "head": True},
                {"label": "Code", "words": "GL-7K2M46", "url": "#c"},
                {"label": "Life left, ft²", "words": "118,000", "num": True},
            ],
            [
                {"label": "Grit", "words": "200", "head": True},
                {"label": "Code", "words": "GL-8KR4H1", "url": "#d"},
                {"label": "Life left, ft²", "words": "62,000", "num": True},
            ],
        ],
        "links": [{"label": "Picture", "url": "#p", "current": True}, {"label": "List", "url": "#l"}],
        "empty_actions": [_act("Receive an order", method="get"), _act("Bring in a spreadsheet", method="get")],
    }


def look_html(density: str = "desk", theme: str = "") -> str:
    """The look page's HTML."""
    text = (Path(__file__).parent / "look.html").read_text(encoding="utf-8")
    context = make_context({**look_context(), "density": density, "theme": theme}, RequestFactory().get("/"))
    return str(Template(text).render(context))


def serve(page: Any, pages: dict[str, str]) -> list[str]:
    """Answer the browser's requests from memory and the static finders, under the site's policy.

    Returns the list its complaints go to.
    """
    complaints: list[str] = []
    page.on(
        "console", lambda message: complaints.append(message.text) if message.type in ("error", "warning") else None
    )
    page.on("pageerror", lambda problem: complaints.append(str(problem)))

    def answer(route: Any) -> None:
        path = urlsplit(route.request.url).path
        if path in pages:
            route.fulfill(
                body=pages[path],
                headers={"content-type": "text/html; charset=utf-8", "content-security-policy": POLICY},
            )
            return
        found = finders.find(path.removeprefix("/static/")) if path.startswith("/static/") else None
        if found:
            kind = mimetypes.guess_type(path)[0] or "application/octet-stream"
            route.fulfill(body=Path(str(found)).read_bytes(), headers={"content-type": kind})
        else:
            route.fulfill(status=204)

    page.route("**/*", answer)
    return complaints
