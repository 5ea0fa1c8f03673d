"""Who sells many tool types, said at once."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.catalogue import CatalogueRefused, save_tool_type
from inventory.models import Person, Supplier, ToolType


def set_supplier(
    by: Person | None, type_ids: Collection[int], supplier: Supplier, *, valid_from: date, now: datetime
) -> int:
    """Say who sells these tool types, all or none; how many had another supplier or none. Safe to repeat.

    Raises CatalogueRefused without a type, and for a supplier out of use.
    """
    if not type_ids:
        raise CatalogueRefused(
            _("No tool type is ticked."), _("Tick those that this supplier sells."), field="types"
        )  # fmt: skip
    with transaction.atomic():
        seller = Supplier.objects.select_for_update().get(pk=supplier.pk)
        if not seller.active:
            raise CatalogueRefused(
                _("%(name)s is out of use.") % {"name": seller.name}, _("Take another one."), field="supplier"
            )
        rows = ToolType.objects.select_for_update().filter(pk__in=type_ids).order_by("pk")
        other = [row for row in rows if row.supplier_id != seller.pk]
        for row in other:
            save_tool_type(by, {}, tool_type=row, supplier=seller, valid_from=valid_from, now=now, sure=True)
    return len(other)
