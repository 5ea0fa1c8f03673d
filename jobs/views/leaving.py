"""Tonight in words and drawings: a line a shift, a cell a step, a mend for each trouble."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any
from uuid import UUID

from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.actions.gate import holder_of, name_of, where_of
from inventory.hooks import Found
from inventory.models import Person, SetState
from inventory.soak_words import SoakWords, soak_words
from inventory.templatetags.gritledger import sure_words
from inventory.times import when_for
from inventory.units import show_about, show_area, show_hours, show_span
from jobs.context import units_of
from jobs.plan_draft import FINISHES
from jobs.queries.clash import Clash, Wanted
from jobs.queries.tonight import TROUBLES, Cell, Leaving, without_outing
from jobs.views.faces import Ladder, set_face

# By a cell's key: the state of inventory.gauge.STATES, and the class of its box.
MARKS = {
    "ready": ("yes", ""),
    "tight": ("tight", ""),
    "soaking": ("soaking", ""),
    "soaked": ("soaked", ""),
    "taken": ("out", ""),
    "against": ("out", "dry"),
    "done": ("yes", ""),
    "glazed": ("glazed", "short"),
    "twice": ("elsewhere", "stop"),
    "dry": ("dry", "dry"),
    "dries": ("dry", "dry"),
    "late": ("soaking", "dry"),
    "no": ("no", "short"),
    "missing": ("missing", "stop"),
    "elsewhere": ("elsewhere", "stop"),
    "aside": ("aside", "stop"),
    "none": ("missing", "stop"),
}


def key_words(key: str) -> str:
    """The word of a cell's key."""
    return {
        "ready": _("Ready"),
        "tight": _("Tight"),
        "soaking": _("Soaking"),
        "soaked": _("Soaked"),
        "taken": _("Scanned out"),
        "against": _("Left though not ready"),
        "done": _("Done"),
        "dry": _("Dry"),
        "dries": _("Dries out"),
        "late": _("Soaking"),
        "no": _("Short"),
        "glazed": _("Glazed"),
        "missing": _("Missing"),
        "elsewhere": _("Out"),
        "twice": _("Meant twice"),
        "aside": _("Set aside"),
        "none": _("No set"),
    }[key]


def leaving_jobs(person: Person, now: datetime) -> list[Found]:
    """The shifts of tonight without an outing, for the scan page: pressing one makes its outing."""
    found = []
    for night, leaves_at in without_outing(person.branch, now):
        when = _("leaves %(when)s") % {"when": when_for(person, leaves_at, now)}
        detail = " · ".join(part for part in (when, night.shift.lead.name if night.shift.lead else "") if part)
        url = reverse("jobs:job_outing", args=[night.job.pk, night.shift.key])
        found.append(Found(night.job.name, detail, url))
    return found


def clash_words(clashes: list[Clash]) -> list[str]:
    """ "Dag P. is on Marrow Street at that time too", one for each."""
    words = _("%(who)s is on %(job)s at that time too")
    return list(dict.fromkeys(words % {"who": one.who, "job": one.other.plan.job.name} for one in clashes))


def set_clash_words(clash: Wanted, person: Person, now: datetime) -> str:
    """That another job wants a set too: at that time, or too near to soak it between."""
    words = _("Meant for %(job)s, %(when)s, at that time too.")
    if clash.soak:
        words = _("Meant for %(job)s, %(when)s: no time between to soak it again.")
    return words % {"job": clash.job, "when": when_for(person, clash.shift.starts_at, now)}


def leaving_lines(
    leaving: list[Leaving], person: Person, places: Ladder, now: datetime, clashes: dict[UUID, list[Clash]]
) -> list[dict[str, Any]]:
    """A line for each shift: when, who, how much, and its cells by place on the ladder."""
    lines = []
    for one in leaving:
        cells = [tile for cell in one.cells for tile in _tiles(cell, person, places, now, one)]
        count = next((cell["count"] for cell in cells), 1)
        by_place: list[list[dict[str, Any]]] = [[] for _place in range(count)]
        for cell in cells:
            by_place[cell["place"]].append(cell)
        plan, shift = one.night.plan, one.night.shift
        lines.append(
            {
                "leaves": when_for(person, one.leaves_at, now),
                "job": one.night.job,
                "url": reverse("jobs:job", args=[one.night.job.pk]),
                "lead": shift.lead.name if shift.lead else "",
                "van": one.outing.van.name if one.outing and one.outing.van else "",
                "outing": one.outing,
                "closed": one.closed,
                "clashes": clash_words(clashes.get(shift.key, [])),
                "shift": shift,
                "area": show_area(sum(zone.area_m2 for zone in plan.zones.all()), units_of(person)),
                "finish": FINISHES.get(plan.finish_level or 0, plan.get_kind_display()),
                "enough": one.enough,
                "enough_words": {"yes": _("Yes"), "tight": _("Tight"), "no": _("No")}.get(
                    one.enough, _("not known yet")
                ),
                "enough_class": {"yes": "ready", "tight": "dry", "no": "stop"}.get(one.enough, ""),
                "cells": cells,
                "by_place": by_place,
                "troubles": [f"{cell['grit']} {cell['word']}".lower() for cell in cells if cell["trouble"]],
            }
        )
    return lines


def _tiles(cell: Cell, person: Person, places: Ladder, now: datetime, one: Leaving) -> list[dict[str, Any]]:
    """A tile for the set of a step, and one for the second of two, judged by itself."""
    tile = _cell(cell, person, places, now, one)
    if cell.second is None:
        return [tile]
    other = replace(
        cell,
        key=cell.second_key,
        state=cell.second,
        second=None,
        conditioning=cell.second_conditioning,
        life=cell.second_life,
        chance=None,
    )
    second = _cell(other, person, places, now, one)
    # Where the first is enough alone, a second that does not go is no trouble.
    trouble = other.trouble and cell.trouble
    detail = ", ".join(part for part in (_("second set"), second["detail"]) if part)
    return [tile, {**second, "trouble": trouble, "detail": detail}]


def _cell(cell: Cell, person: Person, places: Ladder, now: datetime, one: Leaving) -> dict[str, Any]:
    mark, box = MARKS[cell.key]
    water = _water(cell, person, now)
    word, detail = _words(cell, person, now, water)
    place, count = places.get(cell.step.tool_type_id, (0, 1))
    face = None
    if cell.state is not None:
        enough = {"no": "no", "tight": "tight", "ready": "yes"}.get(cell.key, "")
        face = set_face(
            cell.state,
            places,
            conditioning=cell.conditioning,
            life=cell.life,
            need_m2=cell.reference_m2,
            enough=enough,
            words=f"{word} {detail}".strip(),
        )
    return {
        "face": face,
        "place": place,
        "count": count,
        "grit": cell.step.tool_type.grit,
        "code": name_of(cell.state) if cell.state else "",
        "mark": mark,
        "word": word,
        "detail": detail,
        "box": box,
        "trouble": cell.trouble,
        "url": _set_url(cell.state) or reverse("jobs:job", args=[one.night.job.pk]),
    }


def _set_url(state: SetState | None) -> str:
    if state is None:
        return ""
    return reverse("inventory:set_phone", args=[state.pk])


def _water(cell: Cell, person: Person, now: datetime) -> SoakWords | None:
    if cell.conditioning is None:
        return None
    return soak_words(cell.conditioning, person.branch, now, units=person.units, clock_24h=person.clock_24h)


def _words(cell: Cell, person: Person, now: datetime, water: SoakWords | None) -> tuple[str, str]:
    """The state word of a cell and a second line."""
    sure, word = sure_words(cell.chance) if cell.chance is not None else "", key_words(cell.key)
    if cell.key in ("tight", "no"):
        return word, sure
    if cell.key == "taken" and cell.state and cell.state.outing and cell.state.outing.van:
        return _("In van"), ""
    if cell.key in ("soaking", "late"):
        ready = cell.conditioning.expected_ready_at if cell.conditioning else None
        when = _("until %(when)s") % {"when": when_for(person, ready, now)} if ready else _("ready time not known")
        return word, when
    details = {
        "soaked": _("confirm it"),
        "dry": _needs(cell) if cell.key == "dry" else "",
        "dries": _dries(cell, person, now),
        "elsewhere": holder_of(cell.state) if cell.state else "",
    }
    return word, details.get(cell.key, "")


def _dries(cell: Cell, person: Person, now: datetime) -> str:
    """When it dries out, as the soak rules have it."""
    at = cell.conditioning.why.values.get("dried_at") if cell.conditioning else None
    return when_for(person, at, now) if isinstance(at, datetime) else ""


def _needs(cell: Cell) -> str:
    values = cell.conditioning.why.values if cell.conditioning else {}
    hours = values.get("missing_hours_cold") or values.get("cold_hours")
    return _("needs %(hours)s") % {"hours": show_hours(float(hours))} if isinstance(hours, int | float) else ""


def mends(leaving: list[Leaving], person: Person, now: datetime) -> list[dict[str, Any]]:
    """What does not leave as it is, by leaving time, each with its mend."""
    found = []
    for one in leaving:
        for cell in one.cells:
            if cell.trouble:
                found.append(_mend(one, cell, person, now))
    for number, mend in enumerate(found):
        mend["folded"] = number > 0 and len(found) > 2  # two have room on a phone with their reasons
    return found


def _mend(one: Leaving, cell: Cell, person: Person, now: datetime) -> dict[str, Any]:
    mark, _box = MARKS[cell.key]
    name = cell.step.tool_type.said_name.capitalize()
    words = {
        "dry": _("%(type)s is dry"),
        "dries": _("%(type)s dries out before it starts"),
        "late": _("%(type)s soaks too long"),
        "no": _("%(type)s is short of life"),
        "glazed": _("%(type)s is glazed"),
        "twice": _("%(type)s is meant for two jobs"),
        "missing": _("%(type)s is missing"),
        "elsewhere": _("%(type)s is out"),
        "aside": _("%(type)s is set aside"),
        "none": _("No set of %(type)s"),
    }[cell.key] % {"type": cell.step.tool_type.said_name if cell.key == "none" else name}
    # With a set to take the other ways are on the page of the choice; without one that page is the first way.
    helped = cell.instead is not None or cell.beside is not None
    return {
        "when": when_for(person, one.leaves_at, now),
        "state": mark,
        "words": words,
        "where": one.night.job.name,
        "cause": _cause(one, cell, person, now),
        "action": _instead(one, cell, person),
        "others": _later(one, cell, person, now) + (_others(one, cell) if not helped or cell.key == "dries" else []),
        "other_url": _choose_url(one, cell) if helped else "",
    }


def _cause(one: Leaving, cell: Cell, person: Person, now: datetime) -> str:
    left = max(0.0, (one.leaves_at - now).total_seconds() / 3600)
    leaves = _("It leaves in %(time)s.") % {"time": show_span(left)} if left else _("It should have left.")
    state = cell.state
    if state is None:
        return _("The shop has none that is not retired.")
    name = name_of(state)
    if cell.key in ("dry", "late"):
        water = _water(cell, person, now)
        return f"{name}: {water.line if water else ''}. {leaves}"
    if cell.key == "dries":
        words = _(
            "%(set)s is wet through until %(until)s; its step starts %(starts)s. It can travel in water, in a bucket."
        )
        starts = when_for(person, cell.starts_at, now)
        return words % {"set": name, "until": _dries(cell, person, now), "starts": starts} + f" {leaves}"
    if cell.key == "no" and cell.life is not None:
        units = units_of(person)
        factor = cell.reference_m2 / cell.worked_m2 if cell.worked_m2 else 1.0
        likely = cell.life.likely_m2 / factor if factor else cell.life.likely_m2
        words = _(
            "%(set)s: likely %(likely)s left on this floor; the step needs %(needs)s, all passes. %(sure)s to finish."
        ) % {
            "set": name,
            "likely": show_about(likely, units),
            "needs": show_about(cell.reference_m2 / factor if factor else cell.reference_m2, units),
            "sure": sure_words(cell.chance).capitalize() if cell.chance is not None else "",
        }
        return f"{words} {_second_out(cell, person, now)}".rstrip()
    if cell.key == "glazed":
        return _("%(set)s is glazed: it stops cutting. Dress it, or take another.") % {"set": name}
    if cell.key == "twice":
        return _("%(set)s is meant for another job that leaves tonight. It can do one of them.") % {"set": name}
    if cell.key == "missing":
        seen = state.facts.get("seen_at")
        when = when_for(person, datetime.fromisoformat(seen), now) if seen else _("never")
        return _("%(set)s was last seen %(when)s.") % {"set": name, "when": when}
    if cell.key == "elsewhere":
        return _("%(set)s is with %(who)s.") % {"set": name, "who": holder_of(state).removesuffix(".")}
    return _("%(set)s: %(why)s.") % {"set": name, "why": state.fitness_why or _("no reason given")}


def _second_out(cell: Cell, person: Person, now: datetime) -> str:
    """Why the second set does not count, where it does not."""
    if cell.second is None or cell.second_key not in TROUBLES:
        return ""
    why = key_words(cell.second_key)
    if cell.second_key in ("dry", "late", "dries") and cell.second_conditioning is not None:
        water = cell.second_conditioning
        why = soak_words(water, person.branch, now, units=person.units, clock_24h=person.clock_24h).line
    return _("The second set, %(set)s, does not count: %(why)s.") % {"set": name_of(cell.second), "why": why}


def _instead(one: Leaving, cell: Cell, person: Person) -> dict[str, Any]:
    """Take another set; else where one looks for a way out."""
    if cell.instead is not None:
        sure = _("%(sure)s to finish") % {"sure": sure_words(cell.instead_chance)} if cell.instead_chance else ""
        why = _("Of those that are enough it has the least left: fuller ones stay for larger steps") if sure else ""
        return {
            "label": _("Take %(set)s instead") % {"set": name_of(cell.instead)},
            "detail": ". ".join(part for part in (where_of(cell.instead), sure, why) if part),
            "url": reverse("jobs:take_instead", args=[one.night.job.pk, cell.step.key]),
            "hidden": {"tool_set": cell.instead.pk, "shift": one.night.shift.key},
            "kind": "fill",
        }
    if cell.beside is not None and cell.state is not None and cell.beside_chance is not None:
        sure = _("Together %(sure)s") % {"sure": sure_words(cell.beside_chance)}
        return {
            "label": _("Add %(set)s as second set") % {"set": name_of(cell.beside)},
            "detail": ". ".join(part for part in (sure, where_of(cell.beside)) if part),
            "url": reverse("jobs:take_instead", args=[one.night.job.pk, cell.step.key]),
            "hidden": {"tool_set": cell.state.pk, "second": cell.beside.pk, "shift": one.night.shift.key},
            "kind": "fill",
        }
    if cell.state is not None:
        return {
            "label": _("Choose another set"),
            "detail": _("None is ready and enough by itself"),
            "url": _choose_url(one, cell),
            "method": "get",
        }
    return {
        "label": _("Change the plan"),
        "detail": _("No set of it is here"),
        "url": reverse("jobs:plan", args=[one.night.job.pk]),
        "method": "get",
    }


def _choose_url(one: Leaving, cell: Cell) -> str:
    return reverse("jobs:choose_set", args=[one.night.job.pk, one.night.shift.key, cell.step.key])


def _later(one: Leaving, cell: Cell, person: Person, now: datetime) -> list[dict[str, Any]]:
    """A set that soaks too long, with no other ready: the shift starts later, where the plan is changed."""
    ready = cell.conditioning.expected_ready_at if cell.conditioning is not None else None
    if cell.key != "late" or cell.instead is not None or ready is None:
        return []
    label = _("Start later: it is ready %(when)s") % {"when": when_for(person, ready, now)}
    url = reverse("jobs:plan", args=[one.night.job.pk])
    return [{"label": label, "detail": _("Change the shift's time in the plan"), "url": url, "method": "get"}]


def _others(one: Leaving, cell: Cell) -> list[dict[str, Any]]:
    """What else helps: water for a dry set that is here; finding a missing one."""
    if cell.state is None:
        return []
    if cell.key in ("dry", "dries") and cell.state.outing_id is None:
        url = reverse("inventory:soak_put") + f"?set={cell.state.pk}"
        label = _("Put it back in water") if cell.key == "dries" else _("Put it in water")
        return [{"label": label, "detail": name_of(cell.state), "url": url, "method": "get"}]
    if cell.key in ("missing", "glazed", "aside", "elsewhere"):
        return [
            {"label": _("Open %(set)s") % {"set": name_of(cell.state)}, "url": _set_url(cell.state), "method": "get"}
        ]
    return []
