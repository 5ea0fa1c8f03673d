"""What the rack's pages show: the picture, the lines of one grit, the list."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.models import Person
from inventory.queries.labels import own_tags
from inventory.queries.rack import Grit, Rack, RackSet
from inventory.rack_picture import DESK_SHELVES, PER_SHELF, RackGauge, RackRow, arranged, brief_names, rack_picture
from inventory.rack_words import (
    cover_words,
    face_of_set,
    life_words,
    place_words,
    rack_answer,
    said_name,
    shown_code,
    state_words,
)
from inventory.units import NBSP, show_about

# Of so many sets a row is a silhouette for certain: nobody reads the name of one of them there.
_NAMELESS = DESK_SHELVES * (PER_SHELF + 1)


def rack_context(rack: Rack, person: Person, now: datetime) -> dict[str, Any]:
    """The picture and the answer above it."""
    count = sum(len(grit.sets) for grit in rack.grits)
    tags = own_tags(person.branch) if count else {}
    last = rack.grits[-1] if rack.grits else None
    return {
        "rack": rack_picture([rack_row(grit, person, now, tags) for grit in rack.grits]) if count else None,
        "answer": rack_answer(rack.grits, count, rack.bare),
        "legend_place": last.ladder_count // 2 if last else 0,
        "legend_count": last.ladder_count if last else 1,
    }


def rack_row(grit: Grit, person: Person, now: datetime, tags: Mapping[UUID, str]) -> RackRow:
    """One grit as the picture draws it. tags: own tags by set."""
    place, of = grit.ladder_place, grit.ladder_count
    named = len(grit.sets) <= _NAMELESS
    briefs = brief_names([(one.code, tags.get(one.set_id, "")) for one in grit.sets])
    gauges = [
        RackGauge(
            face_of_set(one, place, of, said_name(one, person, now, tags) if named else ""),
            shown_code(one, tags),
            f"/sets/{one.set_id}/" if not named else reverse("inventory:toolset", args=[one.set_id]),
            brief,
        )
        for one, brief in zip(grit.sets, briefs, strict=True)
    ]
    life = grit.life_m2 if any(one.life is not None for one in grit.working) else (0.0, 0.0, 0.0)
    return RackRow(
        grit.tool_type.grit,
        _row_note(grit),
        reverse("inventory:rack_grit", args=[grit.tool_type.pk]),
        place,
        of,
        gauges,
        life,
        grit.need_m2,
        show_about(life[1], person.units),  # type: ignore[arg-type]
        grit.cover,
        cover_words(grit),
        grit.tool_type.own_mark,
        str(grit.tool_type.get_bond_display()),
    )


def _row_note(grit: Grit) -> str:
    count = len(grit.sets)
    bond = grit.tool_type.get_bond_display()
    return ngettext("%(bond)s · %(count)d set", "%(bond)s · %(count)d sets", count) % {"bond": bond, "count": count}


def ordered(grit: Grit) -> list[RackSet]:
    """The sets of a grit in the order the picture hangs them: by shelf, conditioned first, then most life."""
    by_url = {str(one.set_id): one for one in grit.sets}
    gauges = [
        RackGauge(face_of_set(one, grit.ladder_place, grit.ladder_count), one.code, str(one.set_id))
        for one in grit.sets
    ]
    return [by_url[gauge.url] for _group, found in arranged(gauges) for gauge in found]


def set_line(one: RackSet, grit: Grit, person: Person, now: datetime, tags: Mapping[UUID, str]) -> dict[str, Any]:
    """A set as a 96 px line. tags: own tags by set."""
    likely, between = life_words(one, person)
    return {
        "face": face_of_set(one, grit.ladder_place, grit.ladder_count),
        "grit": one.tool_type.grit,
        "code": shown_code(one, tags),
        "url": reverse("inventory:toolset", args=[one.set_id]),
        "state": one.key,
        "words": _("Dry") if one.key == "dry" else state_words(one, person, now),
        "place": place_words(one),
        "life": likely,
        "range": between.rpartition(NBSP)[0],
    }


def neighbours(rack: Rack, grit: Grit) -> tuple[Grit | None, Grit | None]:
    """The next coarser and the next finer row."""
    at = rack.grits.index(grit)
    return (
        rack.grits[at - 1] if at else None,
        rack.grits[at + 1] if at + 1 < len(rack.grits) else None,
    )


def views_of(current: str) -> list[dict[str, Any]]:
    """Picture or list."""
    url = reverse("inventory:rack")
    return [
        {"url": url, "label": _("Picture"), "current": current == "picture"},
        {"url": f"{url}?view=list", "label": _("List"), "current": current == "list"},
    ]
