"""What the rack says of a set: its state, where it is, its life, and the one name that is read out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.gauge import GaugeFace
from inventory.models import Person, ToolType
from inventory.queries.rack import Grit, RackSet
from inventory.soak_words import GAUGE_STATES, soak_words
from inventory.times import when_for
from inventory.units import NBSP, show_about, show_range


def state_words(one: RackSet, person: Person, now: datetime) -> str:
    """The state in words: "Conditioned until Thu 05:00", "Out: Dag P., van 3", "Missing since Mon"."""
    if one.group == "missing":
        if one.missing_since is None:
            return _("Missing")
        return _("Missing since %(when)s") % {"when": when_for(person, one.missing_since, now)}
    if one.group == "aside":
        if one.fitness == "retired":
            return _("Retired")
        return _("Set aside: %(why)s") % {"why": one.fitness_why or _("no reason given")}
    if one.group == "out":
        return _("Out: %(holder)s") % {"holder": one.holder}
    if one.glazed:
        return _("Glazed: dress it")
    return water_words(one, person, now)


def water_words(one: RackSet, person: Person, now: datetime) -> str:
    """What its water says: "Dry. Needs 60 h in water"."""
    words = soak_words(one.conditioning, person.branch, now, units=person.units, clock_24h=person.clock_24h)
    return words.line


def place_words(one: RackSet) -> str:
    """Where it hangs or lies, or the outing it is on: "Rack B, peg 14"."""
    if one.group == "out" and one.outing:
        return one.outing
    if one.place and one.peg:
        return _("%(place)s, peg %(peg)s") % {"place": one.place, "peg": one.peg}
    return one.place


def said_area(area_m2: float, person: Person) -> str:
    """An area as it is read out: "118,000 square feet"."""
    number, _space, _unit = show_about(area_m2, person.units).rpartition(NBSP)  # type: ignore[arg-type]
    unit = _("square meters") if person.units == "metric" else _("square feet")
    return f"{number} {unit}"


def said_life(one: RackSet, person: Person) -> str:
    """ "life left on a medium floor likely 118,000 square feet, at least 89,000, up to 152,000"."""
    if one.life is None:
        return _("life left not known")
    low, high = (said_area(area, person).partition(" ")[0] for area in (one.life.at_least_m2, one.life.up_to_m2))
    return _("life left on a medium floor likely %(likely)s, at least %(low)s, up to %(high)s") % {
        "likely": said_area(one.life.likely_m2, person),
        "low": low,
        "high": high,
    }


def shown_code(one: RackSet, tags: Mapping[UUID, str]) -> str:
    """What is printed on a set, its own tag (of `tags`) behind the code; "No label" when it has neither."""
    return " · ".join(filter(None, (one.code, tags.get(one.set_id, "")))) or _("No label")


def said_name(one: RackSet, person: Person, now: datetime, tags: Mapping[UUID, str] | None = None) -> str:
    """The whole set in one line, as it is read out and as the strip shows it."""
    state = state_words(one, person, now)
    parts = [
        shown_code(one, tags or {}),
        f"{one.tool_type.get_bond_display()} {one.tool_type.grit}",
        state[:1].lower() + state[1:],
        place_words(one),
        said_life(one, person),
        _("leaves tonight") if one.leaves else "",
    ]
    return ", ".join(part for part in parts if part)


def face_of_set(one: RackSet, place: int, count: int, name: str = "") -> GaugeFace:
    """The gauge of a set at a place of the ladder."""
    # Nothing known is all doubt; nothing left is nothing.
    unknown = (0.0, 0.0, 0.0 if one.fitness == "retired" else 1.0)
    low, likely, high = one.life.shares if one.life else unknown
    return GaugeFace(
        place,
        count,
        one.tool_type.bond,  # type: ignore[arg-type]  # a closed choice of the same words
        low,
        likely,
        high,
        where=one.group,  # type: ignore[arg-type]
        water=GAUGE_STATES[one.conditioning.state],  # type: ignore[arg-type]
        glazed=one.glazed,
        leaves=one.leaves,
        name=name,
        plain=False,
    )


def life_words(one: RackSet, person: Person) -> tuple[str, str]:
    """Likely, and the range: "118,000 ft2", "89,000 to 152,000 ft2"; a dash where nothing can be said."""
    if one.life is None or one.fitness == "retired":
        return "–", ""
    likely = show_about(one.life.likely_m2, person.units)  # type: ignore[arg-type]
    return likely, show_range(one.life.at_least_m2, one.life.up_to_m2, person.units)  # type: ignore[arg-type]


COVERS = ("covers", "may_run_short", "short")


def cover_words(grit: Grit) -> str:
    """Whether the life here covers the need of twelve weeks; nothing is covered where nothing is asked."""
    if grit.cover and not grit.need_m2:
        return _("Nothing planned")
    return {
        "covers": _("Covers need"),
        "may_run_short": _("May run short"),
        "short": _("Short of need"),
    }.get(grit.cover, "")


def grit_name(tool_type: ToolType) -> str:
    """ "resin 400"."""
    return f"{tool_type.get_bond_display()} {tool_type.grit}"


def rack_answer(grits: tuple[Grit, ...], count: int, bare: tuple[str, ...] = ()) -> str:
    """The line below the head: "120 sets in use. 1 grit will not cover the next twelve weeks: resin 400.".

    bare: jobs without steps; while there are any, nothing is said to be covered.
    """
    in_use = ngettext("%(count)d set in use.", "%(count)d sets in use.", count) % {"count": count}
    short = [grit_name(grit.tool_type) for grit in grits if grit.cover == "short"]
    doubtful = [grit_name(grit.tool_type) for grit in grits if grit.cover == "may_run_short"]
    said = [in_use]
    if short:
        said.append(
            ngettext(
                "%(count)d grit will not cover the next twelve weeks: %(grits)s.",
                "%(count)d grits will not cover the next twelve weeks: %(grits)s.",
                len(short),
            )
            % {"count": len(short), "grits": ", ".join(short)}
        )
    if doubtful:
        said.append(_("May run short: %(grits)s.") % {"grits": ", ".join(doubtful)})
    if bare:
        words = ngettext(
            "%(count)d job has no steps yet, so what it needs is not in here: %(jobs)s.",
            "%(count)d jobs have no steps yet, so what they need is not in here: %(jobs)s.",
            len(bare),
        )
        said.append(words % {"count": len(bare), "jobs": ", ".join(bare[:3]) + (", ..." if len(bare) > 3 else "")})
    elif not short and not doubtful and any(grit.need_m2 for grit in grits):
        said.append(_("Every grit covers the next twelve weeks as planned; Reorder weighs the doubt and the days."))
    return " ".join(said)
