"""The words of the page of floor factors: by kind of floor the shop's own, the learnt one, the record, what is used."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.models import LearntFloors, Person
from inventory.models.choices import Hardness, Surface
from inventory.numerics.wear_factors import FACTOR_SD
from inventory.rights import Right
from inventory.shop_settings import CLASSES_LEARNT, REFERENCE_CLASS, ShopSettings, floor_factor, own_factor, settings_of
from inventory.times import show_when, zone_of
from inventory.units import show_about, show_number
from inventory.views.lists import Cell, words

_P10_P90 = 1.2816  # SDs of a normal
_LITTLE = 0.2  # below this share of record a factor counts as the shop's own word


def floors_context(person: Person, now: datetime) -> dict[str, Any]:
    """Everything the page shows; two queries."""
    settings = settings_of(person.branch, today=now.astimezone(zone_of(person.branch)).date())
    learnt = LearntFloors.objects.first()
    behind = learnt.behind if learnt else {}
    worked = [key for key in CLASSES_LEARNT if key in behind or key == REFERENCE_CLASS]
    rows = [_row(key, settings, learnt, person) for key in worked]
    moved = sum(share >= _LITTLE for share in (learnt.record if learnt else {}).values())
    may = person.can(Right.RUN_SHOP)
    return {
        "rows": rows,
        "heads": rows[0],
        "others": len(CLASSES_LEARNT) - len(worked),
        "headline": ngettext(
            "%(n)d floor factor is learnt from the shop's own record",
            "%(n)d floor factors are learnt from the shop's own record",
            moved,
        )
        % {"n": moved}
        if moved
        else _("Floor factors are the shop's own word so far"),
        "last": show_when(learnt.fitted_at, now, person.branch, clock_24h=person.clock_24h) if learnt else "",
        "own": [_own(key, label, settings, may) for key, label in _own_factors()],
        "may_run": may,
    }


def _own_factors() -> list[tuple[str, str]]:
    return [
        ("factor_soft", _("Soft concrete")),
        ("factor_medium", _("Medium concrete")),
        ("factor_hard", _("Hard concrete")),
        ("factor_first_cut", _("First cut, raw or coated: times")),
        ("factor_dry", _("Dry work: times")),
    ]


def _own(key: str, label: str, settings: ShopSettings, may: bool) -> list[Cell]:
    url = reverse("inventory:setting", args=[key]) if may else ""
    return [
        {"label": _("The shop's own"), "words": label, "head": True, "url": url},
        words(_("Factor"), show_number(settings[key], 2), num=True),
    ]


def class_words(key: str) -> str:
    """A floor class in words: "soft, raw, first cut, dry"."""
    hardness, surface, wet_dry, step_kind = key.split("|")
    parts = [str(Hardness(hardness).label)]
    if step_kind == "first_cut":
        parts += [str(Surface(surface).label), _("first cut")]
    parts.append(_("dry") if wet_dry == "dry" else _("wet"))
    return ", ".join(parts)


def _row(key: str, settings: ShopSettings, learnt: LearntFloors | None, person: Person) -> list[Cell]:
    units: Any = person.units
    own, used = own_factor(settings, *key.split("|")), floor_factor(settings, *key.split("|"))
    share = float((learnt.record if learnt else {}).get(key, 0.0))
    area, sets = (learnt.behind if learnt else {}).get(key, (0.0, 0))
    reference = key == REFERENCE_CLASS
    return [
        {"label": _("Floor"), "words": class_words(key), "head": True},
        words(_("The shop's own"), show_number(own, 2), num=True),
        words(_("In use"), show_number(used, 2), num=True),
        words(_("At least to up to"), "–" if reference or not share else _range(used, share), num=True),
        words(_("Beside the shop's own"), "–" if reference else _beside(used / own - 1)),
        words(_("How much record"), "–" if reference else f"{int(share * 100 + 1e-9) // 10 * 10}\u00a0%", num=True),
        words(_("Worked there"), show_about(area, units) if sets else "–", num=True),
        words(_("By sets"), show_number(sets) if sets else "–", num=True),
    ]


def _range(factor: float, share: float) -> str:
    """The range of a learnt factor: what the record leaves open of the doubt there was (METHODS 1.1)."""
    spread = math.exp(_P10_P90 * FACTOR_SD * math.sqrt(max(1.0 - share, 0.0)))
    return _("%(low)s to %(high)s") % {"low": show_number(factor / spread, 2), "high": show_number(factor * spread, 2)}


def _beside(share: float) -> str:
    """How far the factor in use lies from the shop's own: "8 % more"."""
    percent = round(100 * abs(share))
    if not percent:
        return _("the same")
    said = f"{show_number(percent)}\u00a0%"
    return _("%(share)s more") % {"share": said} if share > 0 else _("%(share)s less") % {"share": said}
