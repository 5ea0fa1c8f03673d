"""A claim to a supplier for a set that failed early: what the ledger says of its whole life.

Facts alone: receipt, floors, heights, water, troubles, photos, beside the rating. Nothing here says why it ended.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Exists, OuterRef
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory import estimate, hooks
from inventory.early_end import EarlyEnd
from inventory.ledger.facts import facts_from_json
from inventory.ledger_words import Reader, sentence
from inventory.models import Entry, Person, Recipe, SetPhoto, SetState
from inventory.models.choices import (
    Basis,
    Gate,
    Hardness,
    Kind,
    RetiredWhy,
    SoakNeed,
    StepKind,
    Surface,
    WetDry,
)
from inventory.queries import card
from inventory.queries.photos import photos_of
from inventory.rights import Right
from inventory.shop_settings import ShopSettings, floor_factor
from inventory.times import show_day, show_time, zone_of
from inventory.units import show_area, show_height, show_hours, show_money, show_number, show_temperature

_LEAVES_WATER = (Kind.SOAK_ENDED, Kind.SCANNED_OUT, Kind.SCANNED_IN, Kind.HANDED_OVER, Kind.FOUND, Kind.SOAK_BEGUN)
_TOLD = (Kind.TROUBLE, Kind.DRESSED, Kind.PIECES_CHANGED, Kind.SET_ASIDE, Kind.CLEARED, Kind.RETIRED)


@dataclass(frozen=True)
class Said:
    """What the person says with a claim: to whom, what is asked for, who answers questions.

    name_sites: whether the supplier may read where the floors are; else they are numbered.
    """

    supplier: str
    asks: str
    contact: str
    name_sites: bool = False


@dataclass(frozen=True)
class Table:
    """A table of a claim: heads, rows of words, which columns are numbers, and a line below."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...] = ()
    below: str = ""


@dataclass(frozen=True)
class Claim:
    """A claim as it is printed: words only, but for the photos."""

    title: str
    shop: str
    said: Said
    lead: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    tables: tuple[Table, ...]
    notes: tuple[str, ...]
    photos: tuple[SetPhoto, ...]
    photo_words: tuple[str, ...]
    date: str
    printed: str


def claim_of(
    state: SetState, early: EarlyEnd, said: Said, settings: ShopSettings, person: Person, now: datetime
) -> Claim:
    """The whole claim of one set: a constant number of queries. state: with type, place and set loaded."""
    ledger, facts = card.ledger_of(state.pk), facts_from_json(state.facts)
    visits = card.where_it_worked(facts)
    names = hooks.names_of_work({key for one in visits for key in (one.visit, one.floor) if key is not None})
    today = now.astimezone(zone_of(person.branch)).date()
    words = _Words(person, today, settings, names)
    photos = photos_of(ledger.set_ids)
    code = state.code or state.tool_set.own_code or state.tool_set.tool_type.name
    return Claim(
        title=_("Claim for tool set %(code)s") % {"code": code},
        shop=person.branch.name,
        said=said,
        lead=_lead(state, early, words, facts.born_at, facts.fitness_at),
        facts=_facts(state, ledger, words),
        tables=(
            _floors(visits, words, said.name_sites),
            _heights(ledger, words),
            _water(ledger, state, words),
            _happened(ledger, words, said.name_sites),
        ),
        notes=_notes(state, settings, words),
        photos=tuple(photos),
        photo_words=tuple(_photo_words(one, words) for one in photos),
        date=words.day(now),
        printed=_("Printed %(when)s") % {"when": words.when(now)},
    )


class _Words:
    """Amounts and instants in the words of who reads."""

    def __init__(self, person: Person, today: date, settings: ShopSettings, names: Mapping[Any, str]) -> None:
        self.person, self.today, self.settings, self.names = person, today, settings, names
        self.units: Any = person.units

    def area(self, area_m2: float) -> str:
        return show_area(area_m2, self.units)

    def height(self, height_mm: float) -> str:
        return show_height(height_mm, self.units)

    def day(self, at: datetime) -> str:
        """With its year, always: a claim is read later."""
        local = at.astimezone(zone_of(self.person.branch)).date()
        return f"{show_day(local)} {local.year}"

    def when(self, at: datetime) -> str:
        return f"{self.day(at)} {show_time(at, self.person.branch, clock_24h=self.person.clock_24h)}"


def share_words(share: float) -> str:
    """A share in whole per cent, such as "48 %"."""
    return f"{show_number(100 * share, 0)}\u00a0%"


def _lead(state: SetState, early: EarlyEnd, words: _Words, born: str | None, ended: str | None) -> tuple[str, ...]:
    from_day = words.day(datetime.fromisoformat(born)) if born else _("not known")
    to_day = words.day(datetime.fromisoformat(ended)) if ended else _("not known")
    why = {RetiredWhy.WORN: _("worn"), RetiredWhy.BROKEN: _("broken")}[RetiredWhy(early.why)]
    ended_words = _(
        "By our ledger this set was new on %(from)s and was taken out of use, %(why)s, on %(to)s. In between it "
        "polished %(worked)s of worked area, which is area times passes."
    ) % {"from": from_day, "to": to_day, "why": why, "worked": words.area(state.worked_m2)}
    rating = _(
        "It is rated for %(rated)s. By worked area it did %(plain)s of that; by reference area, which weighs each "
        "floor by what it costs a set, it did %(reference)s, or %(share)s."
    ) % {
        "rated": words.area(early.rated_m2),
        "plain": share_words(state.worked_m2 / early.rated_m2),
        "reference": words.area(early.reference_m2),
        "share": share_words(early.share),
    }
    facts_only = _(
        "What follows is our ledger as our people kept it: what was seen and done. It does not say why the set ended."
    )
    return ended_words, rating, facts_only


def _facts(state: SetState, ledger: card.Ledger, words: _Words) -> tuple[tuple[str, str], ...]:
    tool_type = state.tool_set.tool_type
    rows = [
        (_("Tool type"), tool_type.name),
        (_("Bond, grit"), f"{tool_type.get_bond_display()} {tool_type.grit}"),
        (_("Mount"), ", ".join(part for part in (tool_type.mount, tool_type.size_line) if part)),
        (_("Pieces"), f"{tool_type.pieces_per_set}"),
        (
            _("Rated coverage"),
            _("%(area)s, area times passes") % {"area": words.area(tool_type.rated_coverage_m2 or 0.0)},
        ),
    ]
    if tool_type.new_height_mm is not None and tool_type.retire_height_mm is not None:
        heights = {"new": words.height(tool_type.new_height_mm), "retire": words.height(tool_type.retire_height_mm)}
        rows.append((_("Height of a piece"), _("new %(new)s, worn at %(retire)s") % heights))
    codes = [label.code for label in card.labels_of(ledger.set_ids)]
    own = state.tool_set.own_code
    rows.append((_("Codes"), ", ".join([*codes, *([own] if own else [])]) or "–"))
    first = next((one for one in ledger.standing if one.kind == Kind.RECEIVED), None)
    rows += _receipt(first, words) if first is not None else [(_("Received"), _("no receipt is on record"))]
    return tuple(rows)


def _receipt(entry: Entry, words: _Words) -> list[tuple[str, str]]:
    rows = [(_("Received"), words.day(entry.act.happened_at))]
    line = entry.order_line
    if line is not None:
        rows.append((_("Order"), line.order.number))
    supplier = entry.supplier or (line.order.supplier if line is not None else None)
    if supplier is not None:
        rows.append((_("Bought from"), supplier.name))
    if words.person.can(Right.SEE_MONEY) and (price := _price(entry)):
        rows.append((_("Price"), price))
    return rows


def _price(entry: Entry) -> str:
    paid = getattr(entry, "receipt_line", None)
    if paid is not None:
        return show_money(paid.price, paid.currency)
    line = entry.order_line
    return show_money(line.price, line.currency) if line is not None and line.price is not None else ""


def _floors(visits: Sequence[card.Visit], words: _Words, name_sites: bool) -> Table:
    """One row for each floor and class, oldest first; its last line adds them up."""
    rows: list[tuple[str, ...]] = []
    numbers: dict[Any, int] = {}
    total = reference = 0.0
    for one in reversed(visits):
        number = numbers.setdefault(one.floor, len(numbers) + 1)
        known = ", ".join(dict.fromkeys(words.names[key] for key in (one.visit, one.floor) if key in words.names))
        named = known if name_sites and known else _("Floor %(number)d") % {"number": number}
        days = sorted({datetime.fromisoformat(use.at) for use in one.uses})
        when = words.day(days[0])
        if words.day(days[-1]) != when:
            when = f"{when} – {words.day(days[-1])}"
        classes: dict[tuple[str, str, str, str], list[Any]] = {}
        for use in one.uses:
            classes.setdefault((use.hardness, use.surface, use.wet_dry, use.step_kind), []).append(use)
        for key, uses in sorted(classes.items()):
            factor = floor_factor(words.settings, *key)
            area = sum(use.area_m2 for use in uses)
            total, reference = total + area, reference + area * factor
            bases = {use.basis for use in uses}
            rows.append(
                (
                    named,
                    when,
                    _class_words(*key),
                    words.area(area),
                    show_number(factor, 2),
                    words.area(area * factor),
                    _basis_words(bases),
                )
            )
    rows.append((_("In all"), "", "", words.area(total), "", words.area(reference), ""))
    return Table(
        _("Where it worked"),
        (
            _("Floor"),
            _("Days"),
            _("Concrete, step"),
            _("Worked area"),
            _("Factor"),
            _("Reference area"),
            _("Area known as"),
        ),
        tuple(rows),
        (3, 4, 5),
        _unlogged(visits)
        + _(
            "Worked area is area times passes. The factor says how many reference areas one area of such a floor costs "
            "a set; the reference floor is medium concrete, a later step, worked wet. The factors are our shop's own "
            "figures."
        ),
    )


def _unlogged(visits: Sequence[card.Visit]) -> str:
    """What the supplier has to know of areas that nobody logged."""
    if not any(use.basis in (Basis.PLANNED, Basis.GUESSED) for one in visits for use in one.uses):
        return ""
    return _("Areas that are planned or guessed were not logged by who worked.") + " "


def _class_words(hardness: str, surface: str, wet_dry: str, step_kind: str) -> str:
    parts = [Hardness(hardness).label, Surface(surface).label, WetDry(wet_dry).label]
    if step_kind == StepKind.FIRST_CUT:
        parts.append(StepKind.FIRST_CUT.label)
    return ", ".join(str(part) for part in parts)


def _basis_words(bases: set[str]) -> str:
    order = [basis for basis in (Basis.MEASURED, Basis.SECTION_DONE, Basis.PLANNED, Basis.GUESSED) if basis in bases]
    return ", ".join(str(basis.label) for basis in order)


def _heights(ledger: card.Ledger, words: _Words) -> Table:
    rows = [
        (
            words.day(one.act.happened_at),
            str(one.get_kind_display()),
            words.height(one.lowest_height_mm or 0.0),
            words.height(one.mean_height_mm) if one.mean_height_mm is not None else "–",
            one.act.done_by.name,
        )
        for one in card.heights_of(ledger)
    ]
    heads = (_("Day"), _("Read when"), _("Lowest piece"), _("Mean"), _("By"))
    return Table(_("Heights"), heads, tuple(rows), (2, 3), "" if rows else _("No height is on record."))


def _water(ledger: card.Ledger, state: SetState, words: _Words) -> Table:
    """Soaks with their confirmation, and how it left: what the supplier asks first of a set that needs water."""
    tool_type = state.tool_set.tool_type
    begun = [(number, one) for number, one in enumerate(ledger.standing) if one.kind == Kind.SOAK_BEGUN]
    readings = _readings([one for _number, one in begun])
    rows = [_soak_row(number, ledger.standing, readings, words) for number, _one in begun]
    outs = [one for one in ledger.standing if one.kind == Kind.SCANNED_OUT]
    if tool_type.soak_need == SoakNeed.REQUIRED:
        below = _("Its type asks for %(asks)s.") % {"asks": _recipe_words(state, words)} + " " + _left_words(outs)
    elif tool_type.soak_need == SoakNeed.NONE:
        below = _("Its type needs no soak.")
    else:
        below = _("Whether its type needs a soak is not on record.")
    heads = (_("In water from"), _("Until"), _("Hours"), _("Tub"), _("Water read"), _("Conditioning confirmed"))
    return Table(_("Water"), heads, tuple(rows), (2,), below)


def _left_words(outs: Sequence[Entry]) -> str:
    """How often it left the shop, and whether it was conditioned then."""
    against = sum(1 for one in outs if one.gate == Gate.OVERRIDDEN)
    unasked = sum(1 for one in outs if one.gate == Gate.NOT_ASKED)
    passed = len(outs) - against - unasked
    said = [ngettext("It left the shop %(n)d time.", "It left the shop %(n)d times.", len(outs)) % {"n": len(outs)}]
    if passed:
        words = ngettext("%(n)d time it was conditioned as asked.", "%(n)d times it was conditioned as asked.", passed)
        said.append(words % {"n": passed})
    if against:
        words = ngettext(
            "%(n)d time it was not, and was sent out all the same.",
            "%(n)d times it was not, and was sent out all the same.",
            against,
        )
        said.append(words % {"n": against})
    if unasked:
        words = ngettext("%(n)d time nobody checked.", "%(n)d times nobody checked.", unasked)
        said.append(words % {"n": unasked})
    return " ".join(said)


def _readings(begun: Sequence[Entry]) -> list[Entry]:
    """The readings of the tubs it lay in, from its first soak on, oldest first; one query, none without a soak."""
    if not begun:
        return []
    found = Entry.objects.filter(
        kind=Kind.WATER_READ,
        place_id__in={one.to_place_id for one in begun},
        act__happened_at__gte=begun[0].act.happened_at,
    ).select_related("act")
    voided = Entry.objects.filter(kind=Kind.VOIDED, void_target=OuterRef("pk"))
    return list(found.exclude(Exists(voided)).order_by("act__happened_at", "pk"))


def _soak_row(number: int, entries: Sequence[Entry], readings: Sequence[Entry], words: _Words) -> tuple[str, ...]:
    begun, later = entries[number], entries[number + 1 :]
    moved = (one for one in later if one.kind in _LEAVES_WATER or (one.to_place_id not in (None, begun.to_place_id)))
    end = next(moved, None)
    again = next((place for place, one in enumerate(later) if one.kind == Kind.SOAK_BEGUN), len(later))
    confirmed = next((one for one in later[:again] if one.kind == Kind.CONDITIONING_CONFIRMED), None)
    hours = (end.act.happened_at - begun.act.happened_at) / timedelta(hours=1) if end is not None else None
    degrees = [
        one.temperature_c or 0.0
        for one in readings
        if one.place_id == begun.to_place_id
        and one.act.happened_at >= begun.act.happened_at
        and (end is None or one.act.happened_at <= end.act.happened_at)
    ]
    return (
        words.when(begun.act.happened_at),
        words.when(end.act.happened_at) if end is not None else "–",
        show_hours(round(hours, 1)) if hours is not None else "–",
        begun.to_place.name if begun.to_place else "–",
        _degrees(degrees, words),
        f"{words.when(confirmed.act.happened_at)}, {confirmed.act.done_by.name}" if confirmed else _("no"),
    )


def _degrees(degrees: Sequence[float], words: _Words) -> str:
    """ "5 times, 123 to 127 °F"."""
    if not degrees:
        return _("no")
    low, high = (show_temperature(one, words.units) for one in (min(degrees), max(degrees)))
    times = ngettext("%(count)d time, %(low)s", "%(count)d times, %(low)s to %(high)s", len(degrees))
    return times % {"count": len(degrees), "low": low, "high": high}


def _recipe_words(state: SetState, words: _Words) -> str:
    recipe = Recipe.objects.filter(tool_type=state.tool_set.tool_type).order_by("-valid_from", "-pk").first()
    if recipe is None:
        return _("a soak, its hours are not on record")
    said = _("%(hours)s in cold water") % {"hours": show_hours(recipe.cold_hours)}
    if recipe.hot_hours is not None and recipe.hot_limit_c is not None:
        said = _("%(cold)s, or %(hours)s at or above %(limit)s") % {
            "cold": said,
            "hours": show_hours(recipe.hot_hours),
            "limit": show_temperature(recipe.hot_limit_c, words.units),
        }
    return said


def _happened(ledger: card.Ledger, words: _Words, name_sites: bool) -> Table:
    told = [one for one in ledger.standing if one.kind in _TOLD]
    others = sorted({one.other_set_id for one in told if one.other_set_id is not None})
    reader = Reader(words.person, words.settings, words.names if name_sites else {}, card.codes_of(others), words.today)
    rows = [(words.day(one.act.happened_at), sentence(one, reader), one.act.done_by.name) for one in told]
    return Table(_("What was seen and done"), (_("Day"), _("What"), _("By")), tuple(rows))


def _notes(state: SetState, settings: ShopSettings, words: _Words) -> tuple[str, ...]:
    """Other sets of its type in this shop, from what is learnt of their lives: two queries."""
    record = estimate.records(settings, types=[state.tool_set.tool_type]).get(state.tool_set.tool_type_id)
    if record is None or not record.worn_out:
        return ()
    low, likely, high = (words.area(area) for area in record.new_life_m2)
    return (
        ngettext(
            "%(count)d set of this type has worn out in our shop. By that record a new one likely lasts %(likely)s of "
            "reference area, at least %(low)s, up to %(high)s.",
            "%(count)d sets of this type have worn out in our shop. By that record a new one likely lasts %(likely)s "
            "of reference area, at least %(low)s, up to %(high)s.",
            record.worn_out,
        )
        % {"count": record.worn_out, "likely": likely, "low": low, "high": high},
    )


def _photo_words(photo: SetPhoto, words: _Words) -> str:
    at = photo.taken_at or photo.recorded_at
    said = _("taken %(when)s by the camera's clock") if photo.taken_at else _("added %(when)s")
    return f"{said % {'when': words.when(at)}}, {photo.recorded_by.name}"
