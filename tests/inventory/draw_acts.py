"""Draws acts for the database: every kind, late, contradicting, held back, voided before they arrive; records them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from random import Random
from types import SimpleNamespace
from typing import Any
from uuid import UUID

from inventory.actions.ledger import NewLine, Who, record
from inventory.ledger import kinds
from inventory.models import Count, Label, Place, SetState, ToolSet
from inventory.models.choices import (
    Basis,
    Coating,
    DressMedium,
    Gate,
    Hardness,
    HolderKind,
    LeftHow,
    OpeningKind,
    RetiredWhy,
    StepKind,
    Surface,
    TroubleKind,
    WetDry,
)
from tests.cast import NOW, hours, make_cast, make_outing, make_place, make_type


@dataclass
class DrawnAct:
    """One act to record, with all of its content fixed, so that it can be sent again."""

    who: Who
    lines: list[NewLine] = field(default_factory=list)


def make_world() -> SimpleNamespace:
    """A small shop: four sets nobody has opened yet, places, outings, a count and three codes."""
    cast = make_cast()
    tool_type = make_type()
    shop = {kind: make_place(cast.branch, kind) for kind in ("rack", "tub", "bucket", "van", "crate")}
    sets = [ToolSet.objects.create(id=UUID(int=900 + n), tool_type=tool_type, made_at=NOW) for n in range(4)]
    for n in range(3):
        Label.objects.create(code=f"GL-00000{n}", branch=cast.branch, made_at=NOW)
    outings = [make_outing(cast.branch, name) for name in ("Osprey Lane", "Cold store")]
    count = Count.objects.create(branch=cast.branch, place=shop["rack"], begun_at=NOW, begun_by=cast.ines)
    return SimpleNamespace(cast=cast, places=list(shop.values()), sets=sets, outings=outings, count=count)


def draw_acts(rng: Random, world: SimpleNamespace, number: int) -> list[DrawnAct]:
    """So many acts of the last three days, in no order."""
    acts: list[DrawnAct] = []
    for position in range(number):
        at = NOW - timedelta(minutes=rng.randrange(0, 3 * 24 * 60, 30))
        who = Who(
            done_by=rng.choice([world.cast.ines, world.cast.dag]),
            device=world.cast.device,
            device_seq=rng.choice([1, 2, position]),
            written_at=at,
            sent_at=NOW,
            held_back="without the right" if rng.random() < 0.12 else "",
            act_id=UUID(int=rng.getrandbits(128), version=4),
        )
        acts.append(DrawnAct(who))
    ids = [UUID(int=rng.getrandbits(128), version=4) for _act in range(number * 2)]
    free = iter(ids)
    for act in acts:
        # Beginnings are drawn more often, else most of the rest would hang in the air.
        kind = rng.choice([*kinds.RULES, "received", "opening", "scanned_out", "voided", "settled"])
        for subject in _subjects(rng, world, kind):
            line = _line(rng, world, kind, subject, [*ids, *(other.who.act_id for other in acts)], next(free))
            act.lines.append(line)
    return acts


def _subjects(rng: Random, world: SimpleNamespace, kind: str) -> Sequence[ToolSet | Place]:
    if kinds.SET not in kinds.RULES[kind].subjects or (
        kinds.PLACE in kinds.RULES[kind].subjects and rng.random() < 0.25
    ):
        return [rng.choice(world.places)]
    return rng.sample(world.sets, 2 if kind == "pieces_changed" or rng.random() < 0.2 else 1)


def _line(
    rng: Random, world: SimpleNamespace, kind: str, subject: ToolSet | Place, ids: Sequence[UUID], entry_id: UUID
) -> NewLine:
    values = _values(rng, world, ids, subject)
    rule = kinds.RULES[kind]
    columns = {
        name: values[name] for name in sorted(rule.allowed & values.keys()) if name in rule.needs or rng.random() < 0.4
    }
    if isinstance(subject, Place):
        return NewLine(kind, None, subject, columns, entry_id)
    return NewLine(kind, subject, None, columns, entry_id)


def _values(rng: Random, world: SimpleNamespace, ids: Sequence[UUID], subject: ToolSet | Place) -> dict[str, Any]:
    some: dict[str, Iterable[Any]] = {
        "to_place": world.places,
        "peg": ["A1", "B2"],
        "outing": world.outings,
        "holder_kind": HolderKind.values,
        "holder_person": [world.cast.dag],
        "holder_name": ["Night crew"],
        "gate": Gate.values,
        "code_id": [f"GL-00000{n}" for n in range(3)],
        "branch": [world.cast.branch],
        "opening_kind": OpeningKind.values,
        "left_how": LeftHow.values,
        "temperature_c": [12.5, 55.0],
        "lowest_height_mm": [2.0, 7.25, 11.5],
        "mean_height_mm": [7.5],
        "before_height_mm": [8.0],
        "pieces": [2, 3],
        "floor_uuid": [UUID(int=1)],
        "visit_uuid": [UUID(int=2)],
        "shift_uuid": [UUID(int=3), UUID(int=4)],
        "step_key": [UUID(int=5)],
        "area_m2": [33.3, 410.0],
        "passes": [1, 5],
        "hardness": Hardness.values,
        "surface": Surface.values,
        "coating": Coating.values,
        "wet_dry": WetDry.values,
        "step_kind": StepKind.values,
        "basis": Basis.values,
        "stands_instead": [True, False],
        "dress_medium": DressMedium.values,
        "trouble_kind": TroubleKind.values,
        "retired_why": RetiredWhy.values,
        "count": [world.count],
        "seen": [True, False],
        "acts_at": [NOW - hours(40)],
        "void_target": ids,
        "settles_target": ids,
        "flag_code": ["held_back"],
        "answer": ["accept", "leave_out"],
        "other_set": [other for other in world.sets if other != subject],
        "why": ["as said"],
    }
    drawn = {name: rng.choice(list(values)) for name, values in some.items()}
    drawn["code"] = drawn.pop("code_id")
    return drawn


def send(world: SimpleNamespace, acts: Iterable[DrawnAct]) -> None:
    """Record these acts in this order, all received at one instant."""
    for act in acts:
        lines = [
            NewLine(
                line.kind,
                line.tool_set,
                line.place,
                {("code_id" if name == "code" else name): value for name, value in line.columns.items()},
                line.id,
            )
            for line in act.lines
        ]
        record(act.who, world.cast.branch, lines, now=NOW)


def aim(rng: Random, acts: list[DrawnAct]) -> None:
    """Turn most voids and answers at entries that exist, in the ledger they speak of; the rest stay astray."""
    lines = [line for act in acts for line in act.lines]
    act_of = {line.id: act for act in acts for line in act.lines}
    held = [line for act in acts if act.who.held_back for line in act.lines]
    for line in lines:
        name = {"voided": "void_target", "settled": "settles_target"}.get(line.kind)
        near = [
            other
            for other in (held if line.kind == "settled" else lines)
            if (other.tool_set, other.place) == (line.tool_set, line.place) and other.id != line.id
        ]
        if name is not None and near and rng.random() < 0.8:
            target = rng.choice(near)
            line.columns[name] = (
                act_of[target.id].who.act_id if line.kind == "settled" and rng.random() < 0.3 else target.id
            )


def picture() -> dict[str, Any]:
    """Everything the writer keeps: states, labels, places."""
    return {
        "states": {row["tool_set_id"]: row for row in SetState.objects.values()},
        "labels": {row["code"]: row for row in Label.objects.values()},
        "places": {row["id"]: row["inside_id"] for row in Place.objects.exclude(kind="unknown").values()},
    }
