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
_LITTLE = 0.2  # below this share of record a factor has hardly moved from the shop's own


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
    by = ngettext("%(area)s by %(n)d set", "%(area)s by %(n)d sets", sets)
    reference = key == REFERENCE_CLASS
    return [
        {"label": _("Floor"), "words": class_words(key), "head": True},
        words(_("The shop's own"), show_number(own, 2), num=True),
        words(_("Learnt"), "–" if reference or not share else _range(used, share), num=True),
        words(_("How much record"), "–" if reference else f"{int(share * 100 + 1e-9) // 10 * 10}\u00a0%", num=True),
        words(_("Worked there"), by % {"area": show_about(area, units), "n": sets} if sets else "–", num=True),
        words(_("In use"), show_number(used, 2), num=True),
        words(_("Because"), _why(reference, share)),
    ]


def _range(factor: float, share: float) -> str:
    """The learnt factor with its range: what the record leaves open of the doubt there was (METHODS 1.1)."""
    spread = math.exp(_P10_P90 * FACTOR_SD * math.sqrt(max(1.0 - share, 0.0)))
    low, high = show_number(factor / spread, 2), show_number(factor * spread, 2)
    return _("%(likely)s, %(low)s to %(high)s") % {"likely": show_number(factor, 2), "low": low, "high": high}


def _why(reference: bool, share: float) -> str:
    if reference:
        return _("other floors are compared with it")
    if not share:
        return _("the shop's own word: nothing here says otherwise yet")
    if share < _LITTLE:
        return _("hardly moved from the shop's own: little record")
    return _("the shop's own, moved by what sets really wore on such floors")
