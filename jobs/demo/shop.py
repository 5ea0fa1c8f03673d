"""The demo shop as it opens: people, ladder, suppliers, places, machines, hours, sites. All through the actions."""

from __future__ import annotations

import json
import random
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.conf import settings

from inventory.actions.catalogue import save_price, save_supplier, save_tool_type
from inventory.actions.first_run import take_address
from inventory.actions.label import label_place
from inventory.actions.ledger import Who, desk
from inventory.actions.shop import save_closed_day, save_hours, save_machine, save_place
from inventory.actions.starting_ladder import starting_ladder, take_ladder
from inventory.models import Branch, Device, Machine, Person, Place, Supplier, ToolType
from inventory.models.choices import PlaceKind, Source
from jobs.actions.site import save_site, save_zone
from jobs.models import Site, Zone

# Keys of the demo are made from this, so that the same day gives the same shop.
ROOT = UUID("3c1f0f5e-6a0e-5c0a-9b1e-51f4a70a11d0")

DEMO_DAYS = 425  # from the day the demo's year opens to its today
_FEASTS = {(12, 25): "Christmas Day", (1, 1): "New Year's Day"}


@dataclass
class DemoShop:
    """What the year is played with. supplier_facts: the true lead times nobody in the shop knows."""

    branch: Branch
    zone: ZoneInfo
    people: dict[str, Person]
    desk: Device
    phones: dict[str, Device]
    types: list[ToolType]
    suppliers: dict[str, Supplier]
    supplier_facts: dict[str, dict[str, Any]]
    places: dict[str, Place]
    machines: list[Machine]
    sites: list[tuple[Site, list[Zone]]]
    rng: random.Random
    acts: int = 0

    def key(self, *parts: object) -> UUID:
        """A fixed key for something of the demo."""
        return uuid5(ROOT, " ".join(str(part) for part in parts))

    def who(self, name: str, now: datetime, *, phone: bool = False, happened_at: datetime | None = None) -> Who:
        """Somebody of the shop doing the next thing, at the desk or on their phone."""
        self.acts += 1
        person = self.people[name]
        return desk(
            person,
            self.phones[name] if phone else self.desk,
            now,
            act_id=self.key("act", self.acts),
            happened_at=happened_at,
            source=Source.PHONE if phone else Source.DESK,
        )

    def local(self, day: Any, clock: time) -> datetime:
        """A wall time at the shop as an instant."""
        return datetime.combine(day, clock, tzinfo=self.zone)


def read_scenario() -> dict[str, Any]:
    """The invented shop of fixtures/demo_shop.json."""
    path = Path(settings.BASE_DIR) / "fixtures" / "demo_shop.json"
    scenario: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return scenario


def open_demo_shop(opened: datetime, seed: int, passwords: dict[str, str]) -> DemoShop:
    """Open the shop at an instant. passwords: by sign-in name; only the demo gives people known ones."""
    scenario, rng = read_scenario(), random.Random(seed)
    branch = Branch.objects.create(**scenario["branch"])
    people = {
        row["sign_in"]: Person.objects.create_person(
            row["sign_in"],
            row["name"],
            branch,
            bundle=row["bundle"],
            units=row["units"],
            language=row.get("language", "en"),
            pin=row.get("pin", ""),
            password=passwords[row["sign_in"]],
        )
        for row in scenario["people"]
    }
    device = Device.objects.create(id=uuid5(ROOT, "desk"), name="Desk", branch=branch, first_seen_at=opened)
    phones = {
        name: Device.objects.create(id=uuid5(ROOT, f"phone {name}"), name=name, branch=branch, first_seen_at=opened)
        for name in people
    }
    shop = DemoShop(branch, ZoneInfo(branch.time_zone), people, device, phones, [], {}, {}, {}, [], [], rng)
    # The demo is served on this computer; its labels can be printed, and lead there.
    shop.branch = take_address(branch, "http://127.0.0.1:8000", now=opened)
    owner, day = people["olga"], opened.astimezone(shop.zone).date()
    take_ladder(owner, [step.key for step in starting_ladder()], figures=True, soak=True, valid_from=day, now=opened)
    shop.types = list(ToolType.objects.order_by("ladder_place"))
    _suppliers(shop, scenario, opened)
    _places(shop, scenario, opened)
    for facts in scenario["machines"]:
        shop.machines.append(save_machine(owner, branch, facts, valid_from=day, now=opened))
    week = {weekday: [(time(6, 0), time(18, 0))] for weekday in range(5)} | {5: [(time(7, 0), time(12, 0))]}
    branch = shop.branch
    save_hours(owner, branch, week, valid_from=day, now=opened)
    for ahead in (30, 180, 400, 430):
        save_closed_day(owner, branch, day + timedelta(days=ahead), name="Closed", now=opened)
    for ahead in range(DEMO_DAYS, DEMO_DAYS + 200):
        # Days without a supplier to come, so that no order of the demo is likely here on Christmas Day.
        feast = _FEASTS.get(((there := day + timedelta(days=ahead)).month, there.day))
        if feast:
            save_closed_day(owner, branch, there, name=feast, now=opened)
    for row in scenario["sites"]:
        site = save_site(branch, name=row["name"])
        zones = [
            save_zone(
                site,
                name=name,
                area_m2=float(area),
                edge_m=round(area**0.5 * 4, 1),
                hardness=hardness,
                surface=surface,
                coating="epoxy" if surface == "coated" else "none",
                zone_id=shop.key("zone", row["name"], name),
            )
            for name, area, hardness, surface in row["zones"]
        ]
        shop.sites.append((site, zones))
    return shop


def _suppliers(shop: DemoShop, scenario: dict[str, Any], opened: datetime) -> None:
    owner, day = shop.people["olga"], opened.astimezone(shop.zone).date()
    for row in scenario["suppliers"]:
        shop.suppliers[row["name"]] = save_supplier(
            owner,
            name=row["name"],
            email=row["email"],
            lead_working_days=row["lead_working_days"],
            valid_from=day,
            now=opened,
        )
        shop.supplier_facts[row["name"]] = row
    names = list(shop.suppliers)
    prices = scenario["prices"]
    for number, tool_type in enumerate(shop.types):
        supplier = shop.suppliers[names[0] if tool_type.bond == "resin" else names[1]]
        shop.types[number] = save_tool_type(
            owner, {}, tool_type=tool_type, supplier=supplier, valid_from=day, now=opened, sure=True
        )
        price = Decimal(prices[tool_type.bond]) + Decimal(prices["step"]) * number
        save_price(owner, tool_type, supplier, price=price, currency=shop.branch.currency, valid_from=day, now=opened)


def _places(shop: DemoShop, scenario: dict[str, Any], opened: datetime) -> None:
    owner, day = shop.people["olga"], opened.astimezone(shop.zone).date()
    for kind, rows in (
        (PlaceKind.RACK, scenario["racks"]),
        (PlaceKind.TUB, scenario["tubs"]),
        (PlaceKind.VAN, scenario["vans"]),
        (PlaceKind.BUCKET, scenario["buckets"]),
    ):
        for row in rows:
            facts = {"name": row} if isinstance(row, str) else row
            place = save_place(owner, shop.branch, kind=kind, **facts, valid_from=day, now=opened)
            shop.places[place.name] = place
            label_place(shop.who("ines", opened), shop.branch, place, now=opened, rng=shop.rng)
