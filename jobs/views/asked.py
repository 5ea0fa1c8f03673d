"""The questions of the morning and their answers, in words and as buttons."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.actions.gate import name_of
from inventory.flags import flag_words
from inventory.ledger_words import Reader, sentence
from inventory.models import Entry, Person, SetState
from inventory.models.choices import LeftHow
from inventory.shop_settings import settings_of
from inventory.times import when_for, zone_of
from inventory.units import show_area
from jobs.context import units_of
from jobs.models import ShiftEntry
from jobs.queries.morning import OVERRIDES, Answered, Asked, Flagged, HeldBack, HowLeft, Morning, NotBack, NoWork
from jobs.queries.plan import Night

Question = dict[str, Any]


def questions(
    asked: Iterable[Asked | list[NoWork]], person: Person, now: datetime, *, first: bool = True, leaf: int = 1
) -> list[Question]:
    """These gathered questions for parts/question.html; ``first`` marks the first, leaf: the page to come back to."""
    asked = list(asked)
    reader = None
    if any(isinstance(one, HeldBack) for one in asked):
        today = now.astimezone(zone_of(person.branch)).date()
        reader = Reader(person, settings_of(person.branch, today=today), today=today)
    found = [
        _held_back(one, reader, now) if isinstance(one, HeldBack) and reader else _question(one, person, now)
        for one in asked
    ]
    for answer in (one for question in found for one in question["answers"]) if leaf > 1 else ():
        if answer.get("method") != "get":
            answer["url"] += f"?page={leaf}"
    for number, question in enumerate(found):
        question["first"] = first and number == 0
        for answer in question["answers"] if not question["first"] else []:
            # One filled button a page: the first question's; the likeliest of the others only stands out.
            answer["kind"] = "likely" if answer.get("kind") == "fill" else answer.get("kind", "")
    return found


def gathered(asked: Iterable[Asked]) -> list[Asked | list[NoWork]]:
    """Steps of one shift without work as one question, where sets were out for all of them."""
    found: list[Asked | list[NoWork]] = []
    shifts: dict[Any, list[NoWork]] = {}
    for one in asked:
        if isinstance(one, NoWork) and one.sets:
            if one.night.shift.key not in shifts:
                shifts[one.night.shift.key] = []
                found.append(shifts[one.night.shift.key])
            shifts[one.night.shift.key].append(one)
        else:
            found.append(one)
    return [one[0] if isinstance(one, list) and len(one) == 1 else one for one in found]


def _question(one: Asked | list[NoWork], person: Person, now: datetime) -> Question:
    if isinstance(one, list):
        return _no_work_at_all(one, person)
    if isinstance(one, NoWork):
        return _no_work(one, person)
    if isinstance(one, NotBack):
        return _not_back(one)
    if isinstance(one, HowLeft):
        return _how_left(one)
    assert isinstance(one, Flagged)
    return _flagged(one, person, now)


def _who(night: Night) -> str:
    lead = night.shift.lead
    return f"{night.job.name} · {lead.name}" if lead else night.job.name


def _answer(label: str, kind: str, hidden: dict[str, Any], *, likely: bool = False, detail: str = "") -> dict[str, Any]:
    return {
        "label": label,
        "detail": detail,
        "url": reverse("jobs:answer", args=[kind]),
        "hidden": hidden,
        "kind": "fill" if likely else "",
    }


def _no_work(one: NoWork, person: Person) -> Question:
    key = {"job": one.night.job.pk, "shift": one.night.shift.key, "step": one.step.key}
    units = units_of(person)
    planned = _("Planned: %(area)s × %(passes)s.") % {
        "area": show_area(one.area_m2, units),
        "passes": ngettext("%(n)s pass", "%(n)s passes", one.step.passes) % {"n": one.step.passes},
    }
    words = _("No work logged for %(type)s. %(planned)s") % {"type": one.step.tool_type.name, "planned": planned}
    other = reverse("jobs:work", args=[one.night.job.pk]) + f"?shift={one.night.shift.key}&step={one.step.key}"
    answers = [
        {"label": _("Other"), "url": other, "method": "get"},
        _answer(_("No work"), "none", key),
    ]
    if one.sets:
        detail = ngettext("with %(n)s set", "shared by %(n)s sets", len(one.sets)) % {"n": len(one.sets)}
        take = _("Take %(area)s") % {"area": show_area(one.worked_m2, units)}
        answers.insert(0, _answer(take, "take", key, likely=True, detail=detail if len(one.sets) > 1 else ""))
    else:
        words += " " + _("No set of it was out by the ledger.")
        answers[0]["label"] = _("Say which set did it")
    return {"id": one.key, "who": _who(one.night), "words": words, "answers": answers}


def _no_work_at_all(steps: list[NoWork], person: Person) -> Question:
    night = steps[0].night
    key = {"job": night.job.pk, "shift": night.shift.key}
    units = units_of(person)
    several = len(night.plan.zones.all()) > 1
    names = (
        f"{one.step.tool_type.grit} ({one.zone.zone.name})" if several else one.step.tool_type.grit for one in steps
    )
    grits = _listed(list(dict.fromkeys(names)))
    area = show_area(sum(one.worked_m2 for one in steps), units)
    words = _("No work logged for %(grits)s. Planned: %(area)s, all passes together.") % {"grits": grits, "area": area}
    other = reverse("jobs:work", args=[night.job.pk]) + f"?shift={night.shift.key}"
    detail = ngettext("%(n)s step as planned", "%(n)s steps as planned", len(steps)) % {"n": len(steps)}
    answers = [
        _answer(_("Take %(area)s") % {"area": area}, "take", key, likely=True, detail=detail),
        {"label": _("Step by step"), "url": other, "method": "get"},
        _answer(_("No work"), "none", key),
    ]
    return {"id": f"work-{night.shift.key}", "who": _who(night), "words": words, "answers": answers}


def _listed(words: list[str]) -> str:
    """ "100, 200 and 400"."""
    return _("%(some)s and %(last)s") % {"some": ", ".join(words[:-1]), "last": words[-1]} if words[1:] else words[0]


def _grits(states: tuple[SetState, ...]) -> str:
    return _listed([state.tool_set.tool_type.grit for state in states])


def _not_back(one: NotBack) -> Question:
    ids = ",".join(str(state.pk) for state in one.states)
    key = {"outing": one.outing.pk, "sets": ids, "shift": one.night.shift.key if one.night else ""}
    back = one.of - len(one.states)
    words = (
        _("%(back)s of %(of)s back. Where are %(grits)s?")
        if len(one.states) > 1
        else _("%(back)s of %(of)s back. Where is %(grits)s?")
    )
    van = one.outing.van.name if one.outing.van else _("In the van")
    answers = [
        _answer(van, "where", {**key, "how": LeftHow.IN_VAN}, likely=True),
        _answer(_("On site"), "where", {**key, "how": LeftHow.UNKNOWN}),
        _answer(_("They came back") if len(one.states) > 1 else _("It came back"), "back", key),
        _answer(_("Missing"), "where", {**key, "how": "lost"}),
    ]
    if len(one.states) > 1:  # what is scanned in is asked about no more
        answers.append({"label": _("Some of them came back"), "url": reverse("inventory:scan_in"), "method": "get"})
    who = _who(one.night) if one.night else one.outing.name
    said = words % {"back": back, "of": one.of, "grits": _grits(one.states)}
    return {"id": one.key, "who": who, "words": said, "answers": answers}


def _how_left(one: HowLeft) -> Question:
    key = {"job": one.night.job.pk, "shift": one.night.shift.key}
    words = ngettext("How was the set left?", "How were the %(n)s sets left?", len(one.states)) % {"n": len(one.states)}
    answers = [
        _answer(_("In water"), "left", {**key, "how": LeftHow.IN_WATER}, likely=True),
        _answer(_("In the van"), "left", {**key, "how": LeftHow.IN_VAN}),
        _answer(_("Dry"), "left", {**key, "how": LeftHow.DRY}),
        _answer(_("They came back"), "left", {**key, "how": LeftHow.CAME_BACK}),
    ]
    return {"id": one.key, "who": _who(one.night), "words": words, "answers": answers}


def _flagged(one: Flagged, person: Person, now: datetime) -> Question:
    entry = one.entry
    key = {"set": one.state.pk, "entry": entry.pk, "code": one.code}
    who = f"{entry.act.done_by.name} {when_for(person, entry.act.happened_at, now)}"
    name = f"{name_of(one.state)}, {one.state.tool_set.tool_type.name}"
    if one.code in OVERRIDES:
        reason = f" “{entry.why}”" if entry.why else ""
        words = f"{name}: {flag_words(one.code).sentence}{reason}"
        answers = [_answer(_("Seen"), "settle", {**key, "answer": "seen"}, likely=True)]
    elif one.code == "taken_by_two" and one.before is not None:
        who = f"{one.before.act.done_by.name} {when_for(person, one.before.act.happened_at, now)}, {who}"
        words = _("Both took %(set)s. Who had it last?") % {"set": name}
        answers = [
            _answer(_outing_of(entry), "settle", {**key, "answer": "seen"}, likely=True),
            _answer(_outing_of(one.before), "give_back", key),
        ]
    elif one.code == "held_back":
        words = f"{name}: {flag_words(one.code).sentence}"
        answers = [
            _answer(_("Accept it"), "settle", {**key, "answer": "accept"}),
            _answer(_("Leave it out"), "settle", {**key, "answer": "leave_out"}),
        ]
    else:
        words = f"{name}: {flag_words(one.code).sentence} {flag_words(one.code).next_step}"
        answers = [_answer(_("Right as it stands"), "settle", {**key, "answer": "seen"}, likely=True)]
    return {"id": one.key, "who": who, "words": words, "answers": answers}


def _held_back(one: HeldBack, reader: Reader, now: datetime) -> Question:
    entry, key = one.entry, {"entry": one.entry.pk}
    held = flag_words("held_back").sentence
    return {
        "id": one.key,
        "who": f"{entry.act.done_by.name} {when_for(reader.person, entry.act.happened_at, now)}",
        "words": f"{entry.place}: {sentence(entry, reader)} {held} “{entry.act.held_back}”",
        "answers": [
            _answer(_("Accept it"), "settle_held", {**key, "answer": "accept"}),
            _answer(_("Leave it out"), "settle_held", {**key, "answer": "leave_out"}),
        ],
    }


def _outing_of(entry: Entry) -> str:
    outing = entry.outing.name if entry.outing else ""
    return f"{entry.act.done_by.name}, {outing}" if outing else entry.act.done_by.name


def answered(morning: Morning, person: Person) -> list[Question]:
    """What was answered today, folded to lines with Undo."""
    return [
        {
            "answered": _said(one, person),
            "words": _who(one.night) if one.night else "",
            "undo_url": reverse("jobs:undo", args=[one.act.pk]),
        }
        for one in morning.answered
    ]


def _said(one: Answered, person: Person) -> str:
    for row in one.rows:
        if row.kind == ShiftEntry.Kind.NO_WORK:
            return _("No work")
        if row.kind == ShiftEntry.Kind.LEFT:
            return _("Sets left: %(how)s") % {"how": row.get_left_how_display()}
    worked = [entry for entry in one.entries if entry.kind == "worked"]
    if worked:
        area = sum((entry.area_m2 or 0) * (entry.passes or 0) for entry in worked)
        said = _("%(area)s, %(basis)s") % {
            "area": show_area(area, units_of(person)), "basis": worked[0].get_basis_display()
        }  # fmt: skip
        return said
    entry = one.entries[0]
    name = name_of(entry.tool_set.state) if entry.tool_set else str(entry.place or "")
    if entry.kind == "settled":
        return _("%(set)s settled") % {"set": name}
    if entry.kind == "trouble":
        return _("%(set)s: %(what)s") % {"set": name, "what": entry.get_trouble_kind_display()}
    return _("%(set)s: %(what)s") % {"set": name, "what": entry.get_left_how_display() or _("seen")}


def complete_words(morning: Morning) -> str:
    """ "Last night is complete. 6 sets back, 2 on site in water."; of answers only, not of what is worth a look."""
    if not morning.nights and not morning.back:
        if morning.older:
            return _("Nothing ran last night. Older answers are missing.")
        return _("Nothing ran last night, and no answer is missing.")
    parts = []
    if morning.back:
        parts.append(ngettext("%(n)s set back", "%(n)s sets back", morning.back) % {"n": morning.back})
    if morning.in_water:
        parts.append(_("%(n)s on site in water") % {"n": morning.in_water})
    if morning.elsewhere:
        parts.append(_("%(n)s still out") % {"n": morning.elsewhere})
    return _("Last night is complete.") + (f" {', '.join(parts)}." if parts else "")
