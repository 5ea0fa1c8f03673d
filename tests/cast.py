"""The cast: the people, tools and places the tests speak of. Plain functions; everything is invented."""

from __future__ import annotations

import itertools
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import Any
from uuid import UUID

from inventory.actions.ledger import NewLine, Recorded, Who, record
from inventory.models import Branch, Device, Label, Machine, Outing, Person, Place, Recipe, Supplier, ToolSet, ToolType
from inventory.models.choices import Bond, HolderKind, MachineKind, OutingKind, PlaceKind, SoakNeed
from inventory.rights import Bundle

# A Wednesday in May, in the afternoon.
NOW = datetime(2025, 5, 14, 14, 50, tzinfo=UTC)
TODAY = NOW.date()
_numbers = itertools.count(1)


def hours(count: float) -> timedelta:
    """So many hours."""
    return timedelta(hours=count)


def make_branch(name: str = "Millrace shop", time_zone: str = "America/Chicago") -> Branch:
    return Branch.objects.create(name=name, time_zone=time_zone, currency="USD")


def make_person(branch: Branch, sign_in: str, name: str, bundle: str = "", **more: Any) -> Person:
    return Person.objects.create_person(sign_in, name, branch, bundle=bundle, **more)


def make_cast(branch: Branch | None = None) -> SimpleNamespace:
    """One shop's people: ines shop manager, dag crew lead, teo helper, ruta purchaser, olga owner, nils none."""
    branch = branch or make_branch()
    return SimpleNamespace(
        branch=branch,
        ines=make_person(branch, "ines", "Ines O.", Bundle.SHOP_MANAGER, password="ines"),
        dag=make_person(branch, "dag", "Dag P.", Bundle.CREW_LEAD, password="dag"),
        teo=make_person(branch, "teo", "Teo B.", Bundle.HELPER, pin="4711"),
        ruta=make_person(branch, "ruta", "Ruta A.", Bundle.PURCHASER),
        olga=make_person(branch, "olga", "Olga M.", Bundle.OWNER),
        nils=make_person(branch, "nils", "Nils R."),
        device=Device.objects.create(name="desk", branch=branch, first_seen_at=NOW),
    )


def make_type(grit: str = "400", bond: str = Bond.RESIN, ladder_place: int = 6, **more: Any) -> ToolType:
    facts: dict[str, Any] = {
        "name": more.pop("name", f"{bond} {grit}"),
        "mount": "9 in. plate",
        "pieces_per_set": 3,
        "new_height_mm": 12.0,
        "retire_height_mm": 2.0,
        "rated_coverage_m2": 6000.0,
        "soak_need": SoakNeed.REQUIRED,
    }
    if (known := ToolType.objects.filter(name=facts["name"]).first()) is not None:
        return known
    tool_type = ToolType.objects.create(grit=grit, bond=bond, ladder_place=ladder_place, **(facts | more))
    if tool_type.soak_need == SoakNeed.REQUIRED:
        # The example recipe of the design: 72 h cold, or 31 h at or above 130 F (common practice).
        Recipe.objects.create(
            tool_type=tool_type,
            cold_hours=72,
            hot_hours=31,
            hot_limit_c=54.444,
            dry_out_hours=24,
            valid_from=date(2024, 1, 1),
            recorded_at=datetime(2024, 1, 1, tzinfo=UTC),
        )
    return tool_type


def make_place(branch: Branch, kind: str = PlaceKind.RACK, name: str = "", **more: Any) -> Place:
    return Place.objects.create(branch=branch, kind=kind, name=name or f"{kind} {next(_numbers)}", **more)


def make_machine(branch: Branch, **more: Any) -> Machine:
    facts: dict[str, Any] = {
        "name": f"Machine {next(_numbers)}",
        "kind": MachineKind.WALK_BEHIND,
        "heads": 3,
        "mount": "9 in. plate",
        "pieces_per_load": 3,
    }
    return Machine.objects.create(branch=branch, **(facts | more))


def make_supplier(name: str = "Quarrymead Abrasives") -> Supplier:
    return Supplier.objects.create(name=name)


def make_outing(branch: Branch, name: str = "Osprey Lane", **more: Any) -> Outing:
    facts: dict[str, Any] = {
        "kind": OutingKind.JOB,
        "holder_kind": HolderKind.CREW,
        "holder_name": name,
        "leaves_at": NOW + hours(4),
        "due_at": NOW + hours(16),
        "made_at": NOW,
    }
    return Outing.objects.create(branch=branch, name=name, **(facts | more))


def who(person: Person, device: Device, at: datetime = NOW, **more: Any) -> Who:
    """Somebody doing something at an instant, on a device whose clock is right."""
    facts: dict[str, Any] = {"device_seq": next(_numbers), "written_at": at, "sent_at": at}
    return Who(done_by=person, device=device, **(facts | more))


def write(
    cast: SimpleNamespace, *lines: NewLine, at: datetime = NOW, now: datetime | None = None, **more: Any
) -> Recorded:
    """Record lines as the cast's shop manager, written at ``at`` and sent at ``now``."""
    sent = now or at
    return record(who(cast.ines, cast.device, at, **({"sent_at": sent} | more)), cast.branch, lines, now=sent)


def make_set(
    cast: SimpleNamespace, tool_type: ToolType, place: Place | None = None, *, at: datetime = NOW, code: str = ""
) -> ToolSet:
    """A set received new, through the ledger; with a code it is labelled too."""
    tool_set = ToolSet.objects.create(tool_type=tool_type, made_at=at)
    lines = [NewLine("received", tool_set, None, {"branch": cast.branch, "to_place": place})]
    if code:
        Label.objects.create(code=code, branch=cast.branch, made_at=at)
        lines.append(NewLine("labelled", tool_set, None, {"code_id": code}))
    write(cast, *lines, at=at)
    return tool_set


def uuid(number: int) -> UUID:
    """A fixed key for a test."""
    return UUID(int=number)
