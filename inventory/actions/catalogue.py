"""What is done with the catalogue: tool types, recipes, prices, suppliers. Each is one transaction.

A row says what holds now; every save that changes something adds a version beside it. The same words again add nothing.
Where a value is possible but unlikely the action raises Unlikely; said once more with ``sure=True`` it is kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from inventory.actions.lives import mark_due
from inventory.models import Person, Price, Recipe, Supplier, SupplierWord, ToolType, ToolTypeVersion
from inventory.models.catalogue import ToolTypeFacts
from inventory.models.choices import Bond, SoakNeed
from inventory.refusals import Refused
from inventory.units import Units, show_area, show_height, show_temperature

TOOL_TYPE_FACTS = tuple(field.name for field in ToolTypeFacts._meta.get_fields())
# A dated word may be said this far ahead. Our assumption.
_AHEAD_DAYS = 400
# Heights, mm, above which nobody has seen a segment; and backing plates. Our assumption.
_HIGHEST_MM = 100.0
_LIKELY_MM = 30.0
# Coverage of one set, m2: published ratings lie between some hundreds and some ten thousands. Our assumption.
_LIKELY_COVERAGE_M2 = (50.0, 60_000.0)
_MOST_COVERAGE_M2 = 1_000_000.0
# A price this many times the last one is asked about. Our assumption.
_PRICE_JUMP = 5


class CatalogueRefused(Refused):
    """The catalogue cannot hold that."""

    code = "catalogue"


class NameTaken(CatalogueRefused):
    """Another one has this name."""

    code = "name_taken"


class Unlikely(CatalogueRefused):
    """Possible but unlikely: kept when said once more with ``sure=True``."""

    code = "unlikely"


def save_tool_type(
    by: Person | None,
    facts: Mapping[str, Any],
    *,
    tool_type: ToolType | None = None,
    supplier: Supplier | None = None,
    valid_from: date,
    now: datetime,
    sure: bool = False,
) -> ToolType:
    """Keep a tool type and, if anything changed, its version from that day on.

    facts: columns of ToolTypeFacts by name, SI (heights mm, coverage m2); what is left out stays.
    Safe to repeat. Raises CatalogueRefused, NameTaken, Unlikely; then nothing is kept.
    """
    if unknown := set(facts) - set(TOOL_TYPE_FACTS):
        raise CatalogueRefused(_("A tool type has no %(name)s.") % {"name": ", ".join(sorted(unknown))})
    units = units_of(by)
    with transaction.atomic():
        row = ToolType() if tool_type is None else ToolType.objects.select_for_update().get(pk=tool_type.pk)
        before = None if tool_type is None else (facts_of(row), row.supplier_id)
        for name, value in facts.items():
            setattr(row, name, " ".join(value.split()) if isinstance(value, str) else value)
        row.supplier = supplier
        _check_tool_type(row, units)
        if (twin := _tool_type_named(row, is_new=tool_type is None)) is not None:
            return twin
        if not sure:
            _ask_about_tool_type(row, units)
        if before != (facts_of(row), row.supplier_id):
            try:
                with transaction.atomic():
                    row.save()
            except IntegrityError:  # somebody took the name at the same moment
                twin = _tool_type_named(row, is_new=tool_type is None)
                if twin is None:
                    raise
                return twin
            ToolTypeVersion.objects.create(
                tool_type=row,
                supplier=supplier,
                valid_from=valid_from,
                recorded_at=now,
                recorded_by=by,
                **facts_of(row),
            )
            mark_due([row.pk])  # its rating and heights are what its lives rest on
    return row


def _tool_type_named(row: ToolType, *, is_new: bool) -> ToolType | None:
    """Another tool type of this name with the same facts, for a new one; None if there is none. Raises NameTaken."""
    same = ToolType.objects.filter(name__iexact=row.name).exclude(pk=row.pk or 0).first()
    if same is None or (is_new and (facts_of(same), same.supplier_id) == (facts_of(row), row.supplier_id)):
        return same
    raise NameTaken(
        _("There is a tool type %(name)s already.") % {"name": same.name},
        _("Open that one, or add what tells them apart, such as the plate size."),
        field="name",
    )


def units_of(by: Person | None) -> Units:
    """The units that refusals speak to this person in."""
    return "us" if by is not None and by.units == Person.Units.US else "metric"


def facts_of(row: ToolTypeFacts) -> dict[str, Any]:
    """The facts of a tool type or of one of its versions, by column."""
    return {name: getattr(row, name) for name in TOOL_TYPE_FACTS}


def save_recipe(
    by: Person | None,
    tool_type: ToolType,
    *,
    cold_hours: float,
    hot_hours: float | None,
    hot_limit_c: float | None,
    mixed_credit: bool,
    dry_out_hours: float,
    valid_from: date,
    now: datetime,
    sure: bool = False,
) -> Recipe:
    """Keep a recipe from a day on; the tool type then counts as one that must be soaked.

    Hours; hot_limit_c is the water temperature, degC, from which the hot hours count. A set already in water keeps the
    recipe that stood when its soak began. Safe to repeat. Raises CatalogueRefused, Unlikely.
    """
    words = {
        "cold_hours": cold_hours,
        "hot_hours": hot_hours,
        "hot_limit_c": hot_limit_c,
        "mixed_credit": mixed_credit,
        "dry_out_hours": dry_out_hours,
    }
    _check_day(valid_from, now)
    _check_recipe(cold_hours, hot_hours, hot_limit_c, dry_out_hours, sure, units_of(by))
    with transaction.atomic():
        row = ToolType.objects.select_for_update().get(pk=tool_type.pk)
        if row.soak_need != SoakNeed.REQUIRED:
            needs = {"soak_need": SoakNeed.REQUIRED}
            save_tool_type(by, needs, tool_type=row, supplier=row.supplier, valid_from=valid_from, now=now, sure=True)
        last = row.recipes.order_by("valid_from", "recorded_at", "pk").last()
        if last is not None and last.valid_from == valid_from and all(getattr(last, k) == v for k, v in words.items()):
            return last
        return Recipe.objects.create(tool_type=row, valid_from=valid_from, recorded_at=now, recorded_by=by, **words)


def save_price(
    by: Person | None,
    tool_type: ToolType,
    supplier: Supplier,
    *,
    price: Decimal,
    currency: str,
    valid_from: date,
    now: datetime,
    sure: bool = False,
) -> Price:
    """Keep what a supplier asks for one set from a day on. Safe to repeat. Raises CatalogueRefused, Unlikely."""
    _check_day(valid_from, now)
    if price < 0:
        raise CatalogueRefused(
            _("%(price)s is below zero.") % {"price": price}, _("Write what one set costs."), field="price"
        )
    with transaction.atomic():
        ToolType.objects.select_for_update().get(pk=tool_type.pk)
        rows = Price.objects.filter(tool_type=tool_type, supplier=supplier)
        last = rows.order_by("valid_from", "recorded_at", "pk").last()
        if last is not None and (last.price, last.currency, last.valid_from) == (price, currency, valid_from):
            return last
        jumps = last is not None and last.currency == currency and last.price > 0
        if not sure and price == 0:
            raise Unlikely(_("A price of nothing is unusual."), _("Correct it, or keep it if right."), field="price")
        if (
            not sure
            and last is not None
            and jumps
            and not last.price / _PRICE_JUMP <= price <= last.price * _PRICE_JUMP
        ):
            raise Unlikely(
                _("%(price)s is far from the last price, %(last)s.") % {"price": price, "last": last.price},
                _("Correct it, or keep it if right."),
                field="price",
            )
        return Price.objects.create(
            tool_type=tool_type,
            supplier=supplier,
            price=price,
            currency=currency,
            valid_from=valid_from,
            recorded_at=now,
            recorded_by=by,
        )


def save_supplier(
    by: Person | None,
    *,
    name: str,
    email: str = "",
    active: bool = True,
    lead_working_days: int | None = None,
    minimum_sets: int = 1,
    supplier: Supplier | None = None,
    valid_from: date,
    now: datetime,
) -> Supplier:
    """Keep a supplier and, if it changed, what they say of delivery from a day on.

    lead_working_days: None if they said nothing (what was said before still holds). Safe to repeat.
    Raises CatalogueRefused, NameTaken.
    """
    name = " ".join(name.split())
    if not name or len(name) > 80:
        raise CatalogueRefused(_("A supplier needs a name of up to 80 characters."), _("Write it."), field="name")
    if minimum_sets < 1:
        raise CatalogueRefused(
            _("The smallest order is one set or more."), _("Write 1 if any will do."), field="minimum_sets"
        )
    if lead_working_days is not None and not 0 <= lead_working_days <= 260:
        raise CatalogueRefused(
            _("%(days)s working days is more than a year.") % {"days": lead_working_days},
            _("Write what they promise, such as 15."),
            field="lead_working_days",
        )
    _check_day(valid_from, now)
    with transaction.atomic():
        row = Supplier() if supplier is None else Supplier.objects.select_for_update().get(pk=supplier.pk)
        row = _supplier_named(name, email, active, supplier) or row
        row.name, row.email, row.active = row.name if row.pk and supplier is None else name, email, active
        try:
            with transaction.atomic():
                row.save()
        except IntegrityError:  # somebody took the name at the same moment
            twin = _supplier_named(name, email, active, supplier)
            if twin is None:
                raise
            row = twin
        last = row.words.order_by("valid_from", "recorded_at", "pk").last()
        said = None if last is None else (last.lead_working_days, last.minimum_sets)
        if lead_working_days is not None and said != (lead_working_days, minimum_sets):
            SupplierWord.objects.create(
                supplier=row,
                lead_working_days=lead_working_days,
                minimum_sets=minimum_sets,
                valid_from=valid_from,
                recorded_at=now,
                recorded_by=by,
            )
    return row


def _supplier_named(name: str, email: str, active: bool, supplier: Supplier | None) -> Supplier | None:
    """Another supplier of this name, said with the same words; None if there is none. Raises NameTaken."""
    others = Supplier.objects.select_for_update().filter(name__iexact=name)
    same = others.exclude(pk=supplier.pk if supplier else 0).first()
    if same is not None and (supplier is not None or (same.email, same.active) != (email, active)):
        raise NameTaken(_("There is a supplier %(name)s already.") % {"name": same.name}, field="name")
    return same


def _check_day(valid_from: date, now: datetime) -> None:
    if (valid_from - now.date()).days > _AHEAD_DAYS:
        raise CatalogueRefused(
            _("%(day)s is more than a year ahead.") % {"day": valid_from.isoformat()},
            _("Take the day from which it holds."),
            field="valid_from",
        )


def _check_tool_type(row: ToolType, units: Units) -> None:
    for name, words in (
        ("name", _("A tool type needs a name.")),
        ("grit", _("A tool type needs its grit, as it stands on the tool.")),
    ):
        if not getattr(row, name):
            raise CatalogueRefused(words, _("Write it."), field=name)
    if row.bond not in Bond.values:
        raise CatalogueRefused(
            _("“%(bond)s” is no bond.") % {"bond": row.bond}, _("Take metal, hybrid or resin."), field="bond"
        )
    for name, words in (
        ("pieces_per_set", _("A set has one piece or more.")),
        ("pack_sets", _("A pack holds one set or more.")),
    ):
        if not 1 <= (getattr(row, name) or 0) <= 999:
            raise CatalogueRefused(words, _("Write a whole number from 1."), field=name)
    if not 0 <= (row.ladder_place if row.ladder_place is not None else -1) <= 9_999:
        raise CatalogueRefused(
            _("The place on the ladder is a whole number from 0, coarse first."), _("Write one."), field="ladder_place"
        )
    for name in ("new_height_mm", "retire_height_mm", "backing_mm"):
        value = getattr(row, name)
        if value is not None and not 0 <= value <= _HIGHEST_MM:
            raise CatalogueRefused(
                _("%(value)s is no height of a piece.") % {"value": show_height(value, units)},
                _("Up to %(most)s is possible.") % {"most": show_height(_HIGHEST_MM, units)},
                field=name,
            )
    if row.new_height_mm is not None and row.new_height_mm <= (row.retire_height_mm or 0.0):
        raise CatalogueRefused(
            _("New at %(new)s is not above retired at %(retired)s.")
            % {
                "new": show_height(row.new_height_mm, units),
                "retired": show_height(row.retire_height_mm or 0.0, units),
            },
            _("A new piece is higher than a worn one: correct one of them."),
            field="new_height_mm",
        )
    if row.rated_coverage_m2 is not None and not 0 < row.rated_coverage_m2 <= _MOST_COVERAGE_M2:
        raise CatalogueRefused(
            _("No set covers %(area)s.") % {"area": show_area(row.rated_coverage_m2, units)},
            _("Write the supplier's figure, or leave it empty if nobody gave one."),
            field="rated_coverage_m2",
        )


def _ask_about_tool_type(row: ToolType, units: Units) -> None:
    keep = _("Correct it, or keep it if right.")
    if row.new_height_mm is not None and row.new_height_mm > _LIKELY_MM:
        raise Unlikely(
            _("%(value)s is high for a new piece.") % {"value": show_height(row.new_height_mm, units)},
            keep,
            field="new_height_mm",
        )
    low, high = _LIKELY_COVERAGE_M2
    if row.rated_coverage_m2 is not None and not low <= row.rated_coverage_m2 <= high:
        raise Unlikely(
            _("%(area)s is unusual for one set.") % {"area": show_area(row.rated_coverage_m2, units)},
            keep,
            field="rated_coverage_m2",
        )
    if not row.grit.isdecimal() or not row.active:
        return
    for other in ToolType.objects.filter(bond=row.bond, active=True).exclude(pk=row.pk).order_by("ladder_place", "pk"):
        if not other.grit.isdecimal() or int(other.grit) == int(row.grit):
            continue
        finer = int(row.grit) > int(other.grit)
        if (row.ladder_place <= other.ladder_place) if finer else (row.ladder_place >= other.ladder_place):
            words = (
                _("Place %(place)d puts %(grit)s before %(other)s, which is coarser.")
                if finer
                else _("Place %(place)d puts %(grit)s after %(other)s, which is finer.")
            )
            raise Unlikely(
                words % {"place": row.ladder_place, "grit": row.grit, "other": other.name}, keep, field="ladder_place"
            )


def _check_recipe(
    cold: float, hot: float | None, limit_c: float | None, dry_out: float, sure: bool, units: Units
) -> None:
    for name, value in (("cold_hours", cold), ("hot_hours", hot), ("dry_out_hours", dry_out)):
        if value is not None and not 0 < value <= 1_000:
            raise CatalogueRefused(
                _("%(hours)g h is no time to soak or to dry.") % {"hours": value},
                _("Write hours above 0, such as 72."),
                field=name,
            )
    if (hot is None) != (limit_c is None):
        raise CatalogueRefused(
            _("A hot recipe has hours and a water temperature."),
            _("Write both, or leave both empty."),
            field="hot_hours" if hot is None else "hot_limit_c",
        )
    if limit_c is not None and not 20 <= limit_c < 100:
        raise CatalogueRefused(
            _("Water of %(c)s is no hot soak.") % {"c": show_temperature(limit_c, units)},
            _("Between %(least)s and %(most)s is possible.")
            % {"least": show_temperature(20, units), "most": show_temperature(100, units)},
            field="hot_limit_c",
        )
    if hot is not None and hot >= cold and not sure:
        raise Unlikely(
            _("%(hot)g h hot is no shorter than %(cold)g h cold.") % {"hot": hot, "cold": cold},
            _("Correct it, or keep it if right."),
            field="hot_hours",
        )
