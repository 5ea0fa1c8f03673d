"""Every kind of entry as a sentence people read: "Soak begun, tub 1.", with amounts in the reader's units."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from inventory.flags import WEARS_ODDLY, flag_words
from inventory.models import Entry, Person
from inventory.models.choices import Basis, Gate, Kind, LeftHow, PlaceKind, Source, TroubleKind
from inventory.shop_settings import ShopSettings, floor_factor
from inventory.units import UNITS, show_area, show_entered, show_height, show_number, show_temperature, unit_for

# What the mark beside a line is, by kind; the rest has none.
_MARKS = {
    Kind.CONDITIONING_CONFIRMED: "drop",
    Kind.SOAK_BEGUN: "ripples",
    Kind.SCANNED_OUT: "gauge-out",
    Kind.SET_ASIDE: "gauge-barred",
    Kind.RETIRED: "gauge-empty",
    Kind.FOUND: "tick",
}


@dataclass(frozen=True)
class Reader:
    """Who reads, when, and what the words need beside the entry. names: of visits and floors; codes: of sets, by id."""

    person: Person
    settings: ShopSettings
    names: Mapping[UUID, str] = field(default_factory=dict)
    codes: Mapping[UUID, str] = field(default_factory=dict)
    today: date | None = None

    def height(self, height_mm: float) -> str:
        return show_height(height_mm, self.person.units)  # type: ignore[arg-type]

    def area(self, area_m2: float) -> str:
        return show_area(area_m2, self.person.units)  # type: ignore[arg-type]

    def set_code(self, set_id: UUID | None) -> str:
        return self.codes.get(set_id, "") if set_id else ""


def sentence(entry: Entry, reader: Reader) -> str:
    """What the entry says, without who and when; its reason in quotes. entry: with its relations loaded."""
    said = SENTENCES[entry.kind](entry, reader)
    if entry.why and entry.kind not in _SAY_WHY:
        said = _("%(said)s “%(why)s”") % {"said": said, "why": entry.why}
    return said


def who_said(entry: Entry) -> str:
    """ "Ines O.", "Dag P., entered by Ines O.", "Ines O., from paper"."""
    act = entry.act
    said = act.done_by.name
    if act.entered_by_id != act.done_by_id:
        said = _("%(done_by)s, entered by %(entered_by)s") % {"done_by": said, "entered_by": act.entered_by.name}
    if act.source == Source.PAPER:
        said = _("%(who)s, from paper") % {"who": said}
    elif act.source == Source.IMPORT:
        said = _("%(who)s, from a spreadsheet") % {"who": said}
    return said


def mark_of_entry(entry: Entry) -> str:
    """The mark that stands beside the line, or nothing."""
    if entry.kind == Kind.SCANNED_OUT and entry.gate == Gate.OVERRIDDEN:
        return "drop-struck"
    if entry.kind == Kind.TROUBLE and entry.trouble_kind == TroubleKind.GLAZED:
        return "glazed"
    if entry.kind == Kind.COUNTED and entry.seen is False:
        return "gauge-missing"
    return _MARKS.get(Kind(entry.kind), "")


# --- pieces of sentences ---


def _place(entry: Entry) -> str:
    """ "rack B, peg 14", or nothing."""
    place = entry.to_place
    if place is None:
        return ""
    if place.kind == PlaceKind.UNKNOWN:
        return _("place unknown")
    return _("%(place)s, peg %(peg)s") % {"place": place.name, "peg": entry.peg} if entry.peg else place.name


def _at(said: str, place: str) -> str:
    return _("%(said)s, %(place)s.") % {"said": said, "place": place} if place else f"{said}."


def _left(entry: Entry) -> str:
    return {
        LeftHow.IN_WATER: _(" Left in water."),
        LeftHow.DRY: _(" Left dry."),
        LeftHow.IN_VAN: _(" Left in the van."),
        LeftHow.CAME_BACK: _(" It came back."),
        LeftHow.UNKNOWN: _(" How it was left is not known."),
    }.get(LeftHow(entry.left_how), "") if entry.left_how else ""  # fmt: skip


def _heights(entry: Entry, reader: Reader) -> str:
    """ " Lowest piece 6.9 mm, mean 7.1 mm." with the amount as entered where it was another unit."""
    if entry.lowest_height_mm is None:
        return ""
    said = _(" Lowest piece %(height)s") % {"height": reader.height(entry.lowest_height_mm)}
    if entry.mean_height_mm is not None:
        said = _("%(said)s, mean %(height)s") % {"said": said, "height": reader.height(entry.mean_height_mm)}
    if entry.with_backing:
        said = _("%(said)s, measured with its backing") % {"said": said}
    return f"{said}{_as_entered(entry, 'height', reader)}."


def _as_entered(entry: Entry, dimension: Any, reader: Reader) -> str:
    unit = entry.amount_unit
    if not unit or unit not in UNITS or unit == unit_for(dimension, reader.person.units):  # type: ignore[arg-type]
        return ""
    try:
        amount = show_entered(float(entry.amount_value or ""), unit)
    except ValueError:
        amount = f"{entry.amount_value} {UNITS[unit].symbol}"
    return _(" (entered as %(amount)s)") % {"amount": amount}


def _opening(entry: Entry, reader: Reader) -> str:
    said = _("Taken over: %(how)s") % {"how": entry.get_opening_kind_display()}
    return _at(said, _place(entry)) + _heights(entry, reader)


def _received(entry: Entry, reader: Reader) -> str:
    supplier = entry.supplier or (entry.order_line.order.supplier if entry.order_line else None)
    said = _("Received from %(supplier)s") % {"supplier": supplier.name} if supplier else _("Received")
    if entry.order_line is not None:
        said = _("%(said)s, order %(number)s") % {"said": said, "number": entry.order_line.order.number}
    return _at(said, _place(entry))


def _labelled(entry: Entry, reader: Reader) -> str:
    return _("Labelled %(code)s.") % {"code": entry.code_id}


def _scanned_out(entry: Entry, reader: Reader) -> str:
    outing = entry.outing.name if entry.outing else ""
    if entry.gate == Gate.OVERRIDDEN:
        return _("Sent out, though not ready, to %(outing)s.") % {"outing": outing}
    said = _("Scanned out to %(outing)s.") % {"outing": outing}
    return said + (_(" It was not checked at scan-out.") if entry.gate == Gate.NOT_ASKED else "")


def _scanned_in(entry: Entry, reader: Reader) -> str:
    return _at(_("Scanned in"), _place(entry)) + _left(entry) + _heights(entry, reader)


def _seen(entry: Entry, reader: Reader) -> str:
    return _at(_("Seen"), _place(entry)) + _left(entry)


def _moved(entry: Entry, reader: Reader) -> str:
    return _("Moved to %(place)s.") % {"place": _place(entry)} + _left(entry)


def _handed_over(entry: Entry, reader: Reader) -> str:
    holder = entry.holder_person.name if entry.holder_person else entry.holder_name
    names = [name for name in (holder, entry.outing.name if entry.outing else "") if name]
    to = ", ".join(names) or entry.get_holder_kind_display()
    return _("Handed over to %(holder)s.") % {"holder": to}


def _soak_begun(entry: Entry, reader: Reader) -> str:
    return _at(_("Soak begun"), _place(entry))


def _soak_ended(entry: Entry, reader: Reader) -> str:
    place = _place(entry)
    said = _("Taken out of the water to %(place)s.") % {"place": place} if place else _("Taken out of the water.")
    return said + _left(entry)


def _confirmed(entry: Entry, reader: Reader) -> str:
    return _("Conditioned, confirmed.")


def _water_read(entry: Entry, reader: Reader) -> str:
    units = reader.person.units
    return _("Water %(temperature)s.") % {"temperature": show_temperature(entry.temperature_c or 0.0, units)}  # type: ignore[arg-type]


def _worked(entry: Entry, reader: Reader) -> str:
    area, passes = entry.area_m2 or 0.0, entry.passes or 1
    names = [reader.names[key] for key in (entry.visit_uuid, entry.floor_uuid) if key and key in reader.names]
    worked = reader.area(area * passes)
    where = ", ".join(dict.fromkeys(names))
    said = (
        _("Worked %(area)s on %(floor)s") % {"area": worked, "floor": where}
        if where
        else _("Worked %(area)s") % {"area": worked}
    )
    said += ngettext(": %(area)s, %(passes)d pass", ": %(area)s, %(passes)d passes", passes) % {
        "area": reader.area(area),
        "passes": passes,
    }
    said += f"{_as_entered(entry, 'area', reader)}."
    factor = floor_factor(
        reader.settings, entry.hardness or "unknown", entry.surface or "", entry.wet_dry or "", entry.step_kind or ""
    )
    hardness = str(entry.get_hardness_display())
    hardness = hardness[:1].upper() + hardness[1:]
    if factor == 1:
        said += f" {hardness}."
    else:
        said += _(" %(hardness)s, factor %(factor)s: %(area)s of reference.") % {
            "hardness": hardness,
            "factor": show_number(factor, 2),
            "area": reader.area(area * passes * factor),
        }
    if entry.basis in (Basis.GUESSED, Basis.PLANNED):
        said += _(" Guessed, nobody logged it.") if entry.basis == Basis.GUESSED else _(" As planned.")
    return said


def _measured(entry: Entry, reader: Reader) -> str:
    return _("Measured.") + _heights(entry, reader)


def _pieces(entry: Entry, reader: Reader) -> str:
    count = entry.pieces or 0
    said = ngettext("Pieces changed: %(count)d piece now", "Pieces changed: %(count)d pieces now", count) % {
        "count": count
    }
    other = reader.set_code(entry.other_set_id)
    said = _("%(said)s, with %(set)s") % {"said": said, "set": other} if other else said
    return f"{said}." + _heights(entry, reader)


def _dressed(entry: Entry, reader: Reader) -> str:
    said = _("Dressed: %(medium)s") % {"medium": entry.get_dress_medium_display()}
    if entry.minutes:
        said = _("%(said)s, %(minutes)d min") % {"said": said, "minutes": entry.minutes}
    if entry.before_height_mm is not None:
        said = _("%(said)s, %(height)s before") % {"said": said, "height": reader.height(entry.before_height_mm)}
    return f"{said}." + _heights(entry, reader)


def _trouble(entry: Entry, reader: Reader) -> str:
    return _("Trouble: %(trouble)s.") % {"trouble": entry.get_trouble_kind_display()}


def _set_aside(entry: Entry, reader: Reader) -> str:
    return _("Set aside: %(why)s.") % {"why": (entry.why or "").rstrip(".")}


def _cleared(entry: Entry, reader: Reader) -> str:
    return _("Cleared: it may go out again.")


def _retired(entry: Entry, reader: Reader) -> str:
    return _("Retired: %(why)s.") % {"why": entry.get_retired_why_display()} + _heights(entry, reader)


def _found(entry: Entry, reader: Reader) -> str:
    return _at(_("Found"), _place(entry))


def _counted(entry: Entry, reader: Reader) -> str:
    place = _place(entry)
    if entry.seen:
        return _at(_("Counted"), place) + _heights(entry, reader)
    return _("Not there when %(place)s was counted.") % {"place": entry.count.place.name if entry.count else place}


def _voided(entry: Entry, reader: Reader) -> str:
    return _("Voids an entry that is not on record: %(why)s.") % {"why": (entry.why or "").rstrip(".")}


def answer_words(answer: str | None) -> str:
    """What a flag was settled with."""
    return {
        "accept": pgettext("flag", "accepted"),
        "leave_out": pgettext("flag", "left out"),
        "seen": pgettext("flag", "it is right as it is"),
        "corrected": pgettext("flag", "corrected"),
    }.get(answer or "", answer or "")


def _settled(entry: Entry, reader: Reader) -> str:
    if entry.flag_code == WEARS_ODDLY:
        return _("Looked at: it wears oddly by its record.")
    words = {"flag": flag_words(entry.flag_code or "").sentence, "answer": answer_words(entry.answer)}
    return _("Settled, %(answer)s: %(flag)s") % words


def _same_as(entry: Entry, reader: Reader) -> str:
    return _("The same set as %(set)s.") % {"set": reader.set_code(entry.other_set_id) or _("another")}


SENTENCES: dict[str, Callable[[Entry, Reader], str]] = {
    Kind.OPENING: _opening,
    Kind.RECEIVED: _received,
    Kind.LABELLED: _labelled,
    Kind.SCANNED_OUT: _scanned_out,
    Kind.SCANNED_IN: _scanned_in,
    Kind.SEEN: _seen,
    Kind.MOVED: _moved,
    Kind.HANDED_OVER: _handed_over,
    Kind.SOAK_BEGUN: _soak_begun,
    Kind.SOAK_ENDED: _soak_ended,
    Kind.CONDITIONING_CONFIRMED: _confirmed,
    Kind.WATER_READ: _water_read,
    Kind.WORKED: _worked,
    Kind.MEASURED: _measured,
    Kind.PIECES_CHANGED: _pieces,
    Kind.DRESSED: _dressed,
    Kind.TROUBLE: _trouble,
    Kind.SET_ASIDE: _set_aside,
    Kind.CLEARED: _cleared,
    Kind.RETIRED: _retired,
    Kind.FOUND: _found,
    Kind.COUNTED: _counted,
    Kind.VOIDED: _voided,
    Kind.SETTLED: _settled,
    Kind.SAME_AS: _same_as,
}
# Kinds whose sentence holds the reason already.
_SAY_WHY = frozenset({Kind.SET_ASIDE, Kind.VOIDED})
