"""The words of the page of a tool type's lives: the answer, the facts behind it, the picture, its numbers."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.urls import reverse
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory import estimate
from inventory.actions.lives import facts_of
from inventory.lives_picture import lives_pictures
from inventory.models import LearntLife, Person, ToolType
from inventory.numerics.wear_fit import TypeFit
from inventory.queries.catalogue import ladder
from inventory.queries.lives import LivesOfType, SetOfType, lives_of_type
from inventory.rights import Right
from inventory.times import show_day, show_when, zone_of
from inventory.units import show_about, show_number, show_range
from inventory.views.lists import Cell, words
from inventory.views.refit import run_words

_ABOUT_RIGHT = 0.05  # a rating within so much of what is learnt is called about right


def type_context(tool_type: ToolType, person: Person, now: datetime) -> dict[str, Any]:
    """Everything the page shows. tool_type: with what was learnt of it."""
    learnt = estimate.learnt_of(tool_type)
    context: dict[str, Any] = {
        "tool_type": tool_type,
        "place": ladder(person.branch).get(tool_type.pk, (0, 1)),
        "may_run": person.can(Right.RUN_SHOP),
        "run": run_words(person, now),
    }
    if learnt is None:
        return context | {"headline": _nothing(tool_type)}
    fit, found = TypeFit.from_json(learnt.fit), lives_of_type(tool_type, person.branch)
    headline = _headline(learnt, person)
    new = estimate.new_life_of(learnt)
    return context | {
        "learnt": learnt,
        "on_rack": any(not one.ended for one in found.sets),
        "headline": headline,
        "against": _against(tool_type, learnt, fit),
        "doubtful": fit.rating_doubtful,
        "facts": _facts(tool_type, learnt, fit, found, person, now),
        "pictures": [
            mark_safe(svg)  # noqa: S308 - the chart escapes all words
            for svg in lives_pictures(
                found.sets,
                new,
                tool_type.rated_coverage_m2,
                context["place"],
                headline,
                person.units,  # type: ignore[arg-type]
            )
        ],
        "rows": (rows := [_row(one, person, now) for one in found.sets]),
        "heads": rows[0] if rows else [],
        "left_out": found.left_out,
        "elsewhere": found.elsewhere,
    }


def _nothing(tool_type: ToolType) -> str:
    if tool_type.rated_coverage_m2 is None:
        return _("Nothing can be said of its life yet: neither it nor another type of its bond has a rating.")
    return _("Its life is worked out with its first set.")


def _headline(learnt: LearntLife, person: Person) -> str:
    units: Any = person.units
    low, likely, high = estimate.new_life_of(learnt)
    said = _("A new set lasts likely %(likely)s, %(range)s")
    return said % {"likely": show_about(likely, units), "range": show_range(low, high, units)}


def _percent(share: float) -> str:
    return show_number(round(share * 100)) + "\u00a0%"


def _against(tool_type: ToolType, learnt: LearntLife, fit: TypeFit) -> str:
    """How hopeful the rating is, in a sentence."""
    rated = tool_type.rated_coverage_m2
    if rated is None:
        return _("It has no rating: the mean of its bond stands in, and is doubted much more.")
    if fit.rating_doubtful:
        return _("The rating looks like another unit: check it. What is said here comes from the sets alone.")
    share = learnt.new_likely_m2 / rated - 1
    if not learnt.worn_out and not learnt.with_readings:
        return _(
            "No set of this type has worn out or been measured here: this is the rating, taken to be a little hopeful "
            "as ratings are (our assumption)."
        )
    if abs(share) <= _ABOUT_RIGHT:
        return _("The rating is about right.")
    if share < 0:
        return _("The rating is hopeful: a set lasts likely %(share)s less.") % {"share": _percent(-share)}
    return _("The rating is modest: a set lasts likely %(share)s more.") % {"share": _percent(share)}


def _facts(
    tool_type: ToolType, learnt: LearntLife, fit: TypeFit, found: LivesOfType, person: Person, now: datetime
) -> list[tuple[str, str, str]]:
    """Name, value, second line."""
    units: Any = person.units
    rated = tool_type.rated_coverage_m2
    low, likely, high = fit.life_range_m2
    fitted = learnt.fitted_at
    changed = learnt.facts != facts_of(tool_type) and fitted is not None
    since = ngettext("%(n)d set has news since", "%(n)d sets have news since", found.changed) % {"n": found.changed}
    return [
        (
            _("Rating"),
            show_about(rated, units) if rated else _("none"),
            "" if rated else _("%(area)s stands in, from its bond") % {"area": show_about(learnt.rated_m2, units)},
        ),
        (
            _("The type's middle set"),
            show_range(low, high, units),
            _("likely %(area)s: how well the type is known, not how sets differ") % {"area": show_about(likely, units)},
        ),
        (
            _("Worn-out sets behind it"),
            show_number(learnt.worn_out),
            ngettext("of %(n)d set on record", "of %(n)d sets on record", learnt.sets) % {"n": learnt.sets},
        ),
        (
            _("Heights behind it"),
            show_number(fit.readings),
            ngettext("read on %(n)d set", "read on %(n)d sets", learnt.with_readings) % {"n": learnt.with_readings},
        ),
        (
            _("Worked out last"),
            show_when(fitted, now, person.branch, clock_24h=person.clock_24h) if fitted else _("with its first set"),
            _("its rating, heights or bond were changed since") if changed else since if found.changed else "",
        ),
    ]


def _row(one: SetOfType, person: Person, now: datetime) -> list[Cell]:
    units: Any = person.units
    today = now.astimezone(zone_of(person.branch)).date()
    stands = {"": _("in use"), "worn": _("worn out"), "other": _("ended otherwise")}[one.ended]
    left = show_about(one.likely_m2, units) if not one.ended else "–"
    between = show_range(one.at_least_m2, one.up_to_m2, units) if not one.ended else "–"
    last = show_day(one.last_at.astimezone(zone_of(person.branch)).date(), today) if one.last_at else ""
    url = reverse("inventory:toolset", args=[one.set_id])
    return [
        {"label": _("Set"), "words": one.code or _("no code"), "head": True, "url": url},
        words(_("It is"), stands),
        words(_("Worked, reference area"), show_about(one.used_m2, units), num=True),
        words(_("Likely left, reference area"), left, num=True),
        words(_("At least to up to"), between, num=True),
        words(_("Heights"), _("read") if one.read else _("none")),
        words(_("Last seen"), last),
    ]
