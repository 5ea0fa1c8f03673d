"""The demo shop's stock: first sets, some with an unknown past, Monday's orders and what arrives."""

from __future__ import annotations

import math
from datetime import datetime, time, timedelta
from decimal import Decimal
from functools import partial

from inventory.actions.label import claim_blank, make_blank
from inventory.actions.purchasing import Wanted, open_sets, place_order, receive
from inventory.calendar import add_working_days
from inventory.heights import Heights
from inventory.models import Order, OrderLine, ToolSet, ToolType
from inventory.queries.catalogue import shop_calendar
from inventory.shop_settings import settings_of
from inventory.units import Amount
from jobs.demo.clockwork import Clockwork
from jobs.demo.shop import DemoShop
from jobs.demo.world import World

_FRESH_KEPT, _ORDER_SETS = 2, 3
# Sets bought new at the start, coarse to fine: coarse and middle grits work on nearly every floor.
_FIRST_SETS = (8, 11, 11, 11, 11, 11, 9, 6, 5, 5)


class Stock:
    """What the demo shop owns and orders, through the actions. used_m2: reference area as its people reckon it."""

    def __init__(self, shop: DemoShop, clock: Clockwork, opened: datetime) -> None:
        self.shop, self.clock, self.opened = shop, clock, opened
        self.settings = settings_of(shop.branch, today=opened.date())
        self.world = World(shop.rng, self.settings)
        self.stock: dict[int, list[ToolSet]] = {tool_type.pk: [] for tool_type in shop.types}
        self.used_m2: dict[object, float] = {}
        self.busy: set[object] = set()
        self.pegs: dict[object, tuple[str, str]] = {}
        self.calendar = shop_calendar(shop.branch, opened.date())

    # The shop's stock.

    def fill_racks(self, now: datetime) -> None:
        """The first sets: most bought new, some brought along with an unknown past."""
        for tool_type, sets in zip(self.shop.types, _FIRST_SETS, strict=True):
            self._receive(tool_type, sets, now, counter=True)
        for number, tool_type in enumerate(self.shop.types):
            for kind, share in ((("half", 0.5), ("unknown", 0.6)), (("three_quarters", 0.75), ("height", 0.4)))[
                number % 2
            ]:
                self._open_old(tool_type, kind, share, now)

    def _receive(
        self, tool_type: ToolType, sets: int, now: datetime, *, counter: bool = False, line: OrderLine | None = None
    ) -> list[ToolSet]:
        rack = self._rack(tool_type)
        received = receive(
            self.shop.who("ruta", now),
            self.shop.branch,
            tool_type,
            sets,
            now=now,
            rng=self.shop.rng,
            place=self.shop.places[rack],
            supplier=tool_type.supplier,
            price=Decimal(250 + 6 * self.shop.types.index(tool_type)) if counter else line.price if line else None,
            order_line=line,
        )
        for tool_set in received.sets:
            self._own(tool_set)
        return list(received.sets)

    def _open_old(self, tool_type: ToolType, kind: str, share: float, now: datetime) -> None:
        """A set with an unknown past comes in on a blank label."""
        shop = self.shop
        (label,) = make_blank(shop.branch, 1, made_by=shop.people["ines"], now=now, rng=shop.rng)
        read = self.world.guess_mm(tool_type, share)
        _recorded, tool_set = claim_blank(
            shop.who("ines", now),
            shop.branch,
            label,
            tool_type,
            opening=kind,
            now=now,
            heights=Heights((Amount(read, Decimal(str(read)), "mm"),), sure=True) if kind == "height" else None,
            place=shop.places[self._rack(tool_type)],
            set_id=shop.key("old", tool_type.pk, kind),
        )
        self._own(tool_set, share)

    def _own(self, tool_set: ToolSet, share: float = 1.0) -> None:
        self.world.add(tool_set, share)
        stock = self.stock[tool_set.tool_type_id]
        rack = self._rack(tool_set.tool_type)
        # A peg holds one set: the lowest that no set in use hangs on.
        held = {peg for pk, (where, peg) in self.pegs.items() if where == rack and self.used_m2.get(pk, 0.0) >= 0}
        self.pegs[tool_set.pk] = (rack, next(peg for n in range(1, len(held) + 2) if (peg := str(n)) not in held))
        self.used_m2[tool_set.pk] = (1 - share) * (tool_set.tool_type.rated_coverage_m2 or 5000.0)
        stock.append(tool_set)

    def _rack(self, tool_type: ToolType) -> str:
        return f"Rack {'ABC'[min(2, self.shop.types.index(tool_type) // 4)]}"

    def _alive(self, tool_type: ToolType) -> list[ToolSet]:
        return [
            tool_set
            for tool_set in self.stock[tool_type.pk]
            if tool_set.pk not in self.busy and self.used_m2[tool_set.pk] >= 0
        ]

    def _pick(self, tool_type: ToolType, need_m2: float, now: datetime, *, shortest: bool = False) -> ToolSet:
        """What a shop manager takes by rule of thumb: the most used set that by 0.85 of its rating still does it."""
        rated = (tool_type.rated_coverage_m2 or 5000.0) * 0.85
        free = sorted(self._alive(tool_type), key=lambda one: -self.used_m2[one.pk])
        enough = [one for one in free if rated - self.used_m2[one.pk] >= need_m2 * 1.25]
        if shortest and free:
            chosen = free[0]
        elif enough:
            chosen = enough[0]
        elif free:
            chosen = free[-1]
        else:
            chosen = self._receive(tool_type, 1, now, counter=True)[0]
        self.busy.add(chosen.pk)
        return chosen

    def review_stock(self, now: datetime) -> None:
        """Monday: order what has too few fresh sets; in the last weeks before today nobody got round to it."""
        self.clock.at(now + timedelta(days=7), self.review_stock)
        if self.clock.until - now < timedelta(days=35):
            return
        orders = list(Order.objects.filter(branch=self.shop.branch))
        coming: dict[int, int] = {}
        left = open_sets(orders)
        for line in OrderLine.objects.filter(pk__in=left):
            coming[line.tool_type_id] = coming.get(line.tool_type_id, 0) + left[line.pk]
        wanted: dict[str, list[Wanted]] = {}
        for tool_type in self.shop.types:
            fresh = sum(1 for one in self.stock[tool_type.pk] if self.used_m2[one.pk] == 0)
            if fresh + coming.get(tool_type.pk, 0) < _FRESH_KEPT and tool_type.supplier is not None:
                price = Decimal(265 if tool_type.bond == "metal" else 310) + 6 * self.shop.types.index(tool_type)
                wanted.setdefault(tool_type.supplier.name, []).append(Wanted(tool_type, _ORDER_SETS, price))
        for name, lines in wanted.items():
            order = place_order(
                self.shop.people["ruta"],
                self.shop.branch,
                self.shop.suppliers[name],
                lines,
                on_day=now.astimezone(self.shop.zone).date(),
                now=now,
            )
            facts = self.shop.supplier_facts[name]
            days = max(3, round(facts["true_days"] * math.exp(self.shop.rng.gauss(0, facts["spread"]))))
            arrives = add_working_days(self.calendar, now.astimezone(self.shop.zone).date(), days)
            self.clock.at(self.shop.local(arrives, time(10, 40)), partial(self._arrive, order))

    def _arrive(self, order: Order, now: datetime) -> None:
        for line in order.lines.select_related("tool_type__supplier", "order"):
            self._receive(line.tool_type, line.sets, now, line=line)
