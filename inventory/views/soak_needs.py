"""What must go into water by when, in words: the soak page's headline, its button and the lines after it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.models import Person
from inventory.queries.open_water import OpenNeed
from inventory.queries.tubs import Tub, WaterNeed
from inventory.rights import Right
from inventory.times import when_for

_USES_SAID = 2
# A set is not put in water earlier than a day before it must be (our assumption).
_SOON = timedelta(days=1)


def first_group(needs: list[WaterNeed]) -> list[WaterNeed]:
    """The needs that come first, together: those of the same time to be in water, hot or cold."""
    dry = [need for need in needs if not need.in_water]
    return [need for need in dry if (need.by, need.hot, need.keeps) == (dry[0].by, dry[0].hot, dry[0].keeps)]


def tub_for(group: list[WaterNeed], tubs: list[Tub]) -> Tub | None:
    """The tub to put them in: one held by a thermostat for a hot soak, else the roomiest of the others."""
    if not group:
        return None
    return _tub_with_room(tubs, len(group), hot=group[0].hot)


def _tub_with_room(tubs: list[Tub], count: int, *, hot: bool) -> Tub | None:
    fitting = [tub for tub in tubs if tub.place.kind == "tub" and (tub.room is None or tub.room >= count)]
    fitting = [tub for tub in fitting if tub.place.thermostat == hot] or ([] if hot else fitting)
    return max(fitting, key=lambda tub: tub.room or 0, default=None)


def put_action(group: list[WaterNeed], into: Tub | None) -> dict[str, Any] | None:
    if not group or into is None:
        return None
    words = ngettext("Put %(n)s set in %(tub)s", "Put %(n)s sets in %(tub)s", len(group))
    return {
        "label": words % {"n": len(group), "tub": into.place.name},
        "url": reverse("inventory:soak_put"),
        "kind": "fill floor",
        "hidden": {"sets": ",".join(str(need.state.pk) for need in group), "tub": str(into.place.pk)},
    }


def headline(
    tubs: list[Tub], needs: list[WaterNeed], group: list[WaterNeed], into: Tub | None, person: Person, now: datetime
) -> dict[str, Any]:
    """The answer: what goes in by when; else what waits, else what lies in water."""
    if group:
        return _need_headline(group, into, person, now)
    done = [one for tub in tubs for one in tub.done]
    wet = [one for tub in tubs for one in tub.sets]
    if any(need.in_water for need in needs):
        count = sum(need.in_water for need in needs)
        words = ngettext(
            "%(n)s set will not be ready when it leaves", "%(n)s sets will not be ready when they leave", count
        )
        return {"headline": words % {"n": count}, "under": [_("Nothing else must go into water now.")]}
    if done:
        words = ngettext(
            "%(n)s set has its hours and waits to be confirmed",
            "%(n)s sets have their hours and wait to be confirmed",
            len(done),
        )
        return {"headline": words % {"n": len(done)}, "under": [_("Nothing must go into water now.")]}
    if not wet:
        return {"headline": _("No set is in water"), "under": [_("Nothing must go into water now.")]}
    words = ngettext("%(n)s set lies in water", "%(n)s sets lie in water", len(wet)) % {"n": len(wet)}
    coming = [one.ready_at for one in wet if one.answer.state == "soaking" and one.ready_at is not None]
    under = [_("Nothing must go into water now.")]
    if coming:
        under.insert(0, _("The next is ready %(when)s.") % {"when": when_for(person, min(coming), now)})
    return {"headline": words, "under": under}


def _need_headline(group: list[WaterNeed], into: Tub | None, person: Person, now: datetime) -> dict[str, Any]:
    need, count = group[0], len(group)
    late = need.by is None or need.by < now
    when = when_for(person, need.by, now) if need.by is not None else ""
    if late:
        words = ngettext("%(n)s set is too late for water", "%(n)s sets are too late for water", count) % {"n": count}
    elif need.keeps:
        words = ngettext(
            "%(n)s set goes back in water by %(when)s, before it dries out",
            "%(n)s sets go back in water by %(when)s, before they dry out",
            count,
        ) % {"n": count, "when": when}
    else:
        words = ngettext("%(n)s set must be in water by %(when)s", "%(n)s sets must be in water by %(when)s", count) % {
            "n": count,
            "when": when,
        }
    leaving = sorted(group, key=lambda one: (one.use.leaves_at, one.use.words))
    uses = list(dict.fromkeys(one.use.words for one in leaving))
    under = [_("For %(use)s.") % {"use": words} for words in uses[:_USES_SAID]]
    if len(uses) > _USES_SAID:
        under.append(_("And for %(n)s more.") % {"n": len(uses) - _USES_SAID})
    under.append(_types_of(group))
    alarm = ""
    if need.keeps:
        under.append(_("Soaked before and not dried out yet: back in water by then, that soak still counts."))
    elif late:
        ready = when_for(person, need.ready_at, now)
        alarm = _("Put in now, ready %(when)s. Take conditioned sets instead, or start later.") % {"when": ready}
        under.append(alarm)
    elif need.hot:
        under.append(_("Only a hot soak is short enough: a tub on a thermostat, read at its end."))
    if into is not None:
        under.append(_("There is room in %(tub)s.") % {"tub": into.place.name})
    else:
        alarm = alarm or _("No tub has room for them: take sets out first.")
        under.append(_("No tub has room for them: take sets out first."))
    return {"headline": words, "under": under, "alarm": alarm}


def open_line(need: OpenNeed, tubs: list[Tub], person: Person, now: datetime) -> dict[str, Any]:
    """A step without a set: "no set reserved; one must be in water by Mon 14:00", and a button for a free dry one."""
    late = need.by is None or need.by < now
    by = when_for(person, need.by, now) if need.by is not None else ""
    if late:
        ready = when_for(person, need.ready_at, now)
        words = _("No set reserved; too late for water: put in now, one is ready %(when)s") % {"when": ready}
    elif need.hot:
        words = _("No set reserved; one must be in hot water by %(when)s") % {"when": by}
    else:
        words = _("No set reserved; one must be in water by %(when)s") % {"when": by}
    none = ""
    if need.dry is None:
        none = _("No free dry set of it hangs here.")
        if need.short:
            none = _("None of the free dry sets of it would finish the step alone.")
    return {
        "grit": need.tool_type.grit,
        "words": words,
        "for_words": _("%(type)s for %(use)s") % {"type": need.tool_type.said_name, "use": need.step.words},
        "url": need.step.url,
        "late": late,
        "put": _open_action(need, _tub_with_room(tubs, 1, hot=need.hot and not late), person, now),
        "none": none,
    }


def _open_action(need: OpenNeed, into: Tub | None, person: Person, now: datetime) -> dict[str, Any] | None:
    """One tap reserves a set that finishes the step, and puts it in water if that is due within a day.

    Where no free one would, the page of all its sets.
    """
    if need.dry is None and need.step.choose_url and person.can(Right.PLAN):
        return {"label": _("Choose a set"), "url": need.step.choose_url, "method": "get"}
    if need.dry is None or not person.can(Right.SCAN):
        return None
    code = need.dry.shown_code or need.tool_type.said_name
    if not need.step.reserve_url:
        if into is None:
            return None
        return {
            "label": _("Put %(set)s in %(tub)s") % {"set": code, "tub": into.place.name},
            "url": reverse("inventory:soak_put"),
            "hidden": {"sets": str(need.dry.pk), "tub": str(into.place.pk)},
        }
    if not person.can(Right.PLAN):
        return None
    hidden = {"set": str(need.dry.pk)}
    if need.by is not None and need.by > now + _SOON:
        when = when_for(person, need.by, now)
        return {
            "label": _("Reserve %(set)s") % {"set": code},
            "detail": _("in water only by %(when)s") % {"when": when},
            "url": need.step.reserve_url,
            "hidden": hidden,
        }
    if into is None:
        return {"label": _("Reserve %(set)s") % {"set": code}, "url": need.step.reserve_url, "hidden": hidden}
    return {
        "label": _("Reserve %(set)s and put it in %(tub)s") % {"set": code, "tub": into.place.name},
        "url": need.step.reserve_url,
        "hidden": {**hidden, "tub": str(into.place.pk)},
    }


def open_headline(needs: list[OpenNeed], person: Person, now: datetime) -> dict[str, Any]:
    """The answer where nothing that is reserved asks for water, but steps without a set do."""
    need, count = needs[0], len(needs)
    if need.by is None or need.by < now:
        words = ngettext(
            "%(n)s planned step has no set in water, and it is too late for water",
            "%(n)s planned steps have no set in water; for the first it is too late for water",
            count,
        ) % {"n": count}
    else:
        words = ngettext(
            "%(n)s planned step has no set: one must be in water by %(when)s",
            "%(n)s planned steps have no set: the first must be in water by %(when)s",
            count,
        ) % {"n": count, "when": when_for(person, need.by, now)}
    return {"headline": words, "under": [_("Nothing that is reserved must go into water now.")]}


def _types_of(group: list[WaterNeed]) -> str:
    """ "Resin 200, 2 sets: Rack A."; several types one after the other."""
    by_type: dict[str, list[WaterNeed]] = {}
    for need in group:
        by_type.setdefault(need.state.tool_set.tool_type.said_name, []).append(need)
    parts = []
    for name, needs in by_type.items():
        places = sorted({str(need.state.place) for need in needs if need.state.place is not None})
        words = ngettext("%(type)s, %(n)s set: %(where)s.", "%(type)s, %(n)s sets: %(where)s.", len(needs))
        parts.append(words % {"type": name, "n": len(needs), "where": ", ".join(places)})
    return " ".join(parts)


def need_line(need: WaterNeed, person: Person, now: datetime) -> dict[str, Any]:
    late = need.by is None or need.by < now
    by = when_for(person, need.by, now) if need.by is not None else ""
    if need.in_water:
        ready = when_for(person, need.ready_at, now)
        words = _("Ready only %(when)s, after it leaves") % {"when": ready}
    elif need.keeps:
        words = _("Back in water by %(when)s, before it dries out") % {"when": by}
    elif late:
        words = _("Too late for water")
    else:
        words = _("In water by %(when)s") % {"when": by}
    return {
        "grit": need.state.tool_set.tool_type.grit,
        "code": need.state.shown_code,
        "words": words,
        "late": late or need.in_water,
        "use": need.use,
    }
