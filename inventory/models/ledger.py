"""The ledger: acts, their entries, and what hangs on them. Added to, never changed; inventory.ledger_locks holds it."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.db import models
from django.db.models import Q

from inventory.ledger import kinds
from inventory.models.base import AppendOnly
from inventory.models.catalogue import Machine, Place, Recipe, Supplier
from inventory.models.choices import (
    Basis,
    ClockDoubt,
    Coating,
    DressMedium,
    Gate,
    Hardness,
    HolderKind,
    Kind,
    LeftHow,
    OpeningKind,
    RetiredWhy,
    Source,
    StepKind,
    Surface,
    TimeKnown,
    TroubleKind,
    WetDry,
)
from inventory.models.label import Label
from inventory.models.people import Branch, Device, Person
from inventory.models.purchasing import OrderLine
from inventory.models.toolset import Outing, ToolSet


class Act(AppendOnly):
    """One thing a person did; its key is made by the client, so that sending it twice changes nothing."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    branch = models.ForeignKey(Branch, models.PROTECT, related_name="acts")
    device = models.ForeignKey(Device, models.PROTECT, related_name="acts")
    device_seq = models.BigIntegerField()
    written_at = models.DateTimeField()
    sent_at = models.DateTimeField()
    contact_offset_ms = models.BigIntegerField(null=True)
    contact_at = models.DateTimeField(null=True)
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    done_by = models.ForeignKey(Person, models.PROTECT, related_name="acts_done")
    entered_by = models.ForeignKey(Person, models.PROTECT, related_name="acts_entered")
    source = models.CharField(max_length=8, choices=Source.choices)
    time_known = models.CharField(max_length=8, choices=TimeKnown.choices)
    clock_doubt = models.CharField(max_length=16, choices=ClockDoubt.choices, default=ClockDoubt.NONE)
    held_back = models.CharField(max_length=200, blank=True)
    content_sha256 = models.CharField(max_length=64)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(happened_at__lte=models.F("recorded_at")), name="act_happened_before_it_was_recorded"
            ),
        ]
        indexes: ClassVar = [
            # "What was known then": everything recorded by a past Monday.
            models.Index(fields=["branch", "recorded_at"], name="act_by_recorded"),
            # The morning and the exports walk a span of days.
            models.Index(fields=["branch", "happened_at"], name="act_by_happened"),
            # Whether a device's clock ran backwards: the act before and after, by its own count.
            models.Index(fields=["device", "device_seq"], name="act_by_device"),
        ]

    def __str__(self) -> str:
        return f"{self.source} {self.happened_at:%Y-%m-%d %H:%M}"


class Count(models.Model):
    """A place being counted by scanning; the differences are entries."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    branch = models.ForeignKey(Branch, models.PROTECT, related_name="counts")
    place = models.ForeignKey(Place, models.PROTECT, related_name="counts")
    begun_at = models.DateTimeField()
    begun_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")

    def __str__(self) -> str:
        return f"count of {self.place_id}"


class Entry(AppendOnly):
    """One line of an act, about one set or one place. Columns by kind: inventory.ledger.kinds."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    act = models.ForeignKey(Act, models.PROTECT, related_name="entries")
    line_no = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=24, choices=Kind.choices)
    tool_set = models.ForeignKey(ToolSet, models.PROTECT, null=True, related_name="entries")
    place = models.ForeignKey(Place, models.PROTECT, null=True, related_name="entries")

    to_place = models.ForeignKey(Place, models.PROTECT, null=True, related_name="+")
    peg = models.CharField(max_length=12, null=True)
    outing = models.ForeignKey(Outing, models.PROTECT, null=True, related_name="entries")
    holder_kind = models.CharField(max_length=10, choices=HolderKind.choices, null=True)
    holder_person = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    holder_name = models.CharField(max_length=80, null=True)
    gate = models.CharField(max_length=12, choices=Gate.choices, null=True)
    code = models.ForeignKey(Label, models.PROTECT, null=True, related_name="entries")
    branch = models.ForeignKey(Branch, models.PROTECT, null=True, related_name="+")
    supplier = models.ForeignKey(Supplier, models.PROTECT, null=True, related_name="+")
    order_line = models.ForeignKey(OrderLine, models.PROTECT, null=True, related_name="entries")
    opening_kind = models.CharField(max_length=16, choices=OpeningKind.choices, null=True)
    recipe = models.ForeignKey(Recipe, models.PROTECT, null=True, related_name="+")
    left_how = models.CharField(max_length=10, choices=LeftHow.choices, null=True)
    temperature_c = models.FloatField(null=True)
    lowest_height_mm = models.FloatField(null=True)
    mean_height_mm = models.FloatField(null=True)
    before_height_mm = models.FloatField(null=True)
    with_backing = models.BooleanField(null=True)
    pieces = models.PositiveSmallIntegerField(null=True)
    floor_uuid = models.UUIDField(null=True)
    visit_uuid = models.UUIDField(null=True, db_index=True)
    shift_uuid = models.UUIDField(null=True, db_index=True)
    step_key = models.UUIDField(null=True)
    machine = models.ForeignKey(Machine, models.PROTECT, null=True, related_name="+")
    area_m2 = models.FloatField(null=True)
    passes = models.PositiveSmallIntegerField(null=True)
    hardness = models.CharField(max_length=8, choices=Hardness.choices, null=True)
    surface = models.CharField(max_length=8, choices=Surface.choices, null=True)
    coating = models.CharField(max_length=8, choices=Coating.choices, null=True)
    wet_dry = models.CharField(max_length=8, choices=WetDry.choices, null=True)
    step_kind = models.CharField(max_length=12, choices=StepKind.choices, null=True)
    basis = models.CharField(max_length=12, choices=Basis.choices, null=True)
    stands_instead = models.BooleanField(null=True)
    amount_value = models.CharField(max_length=24, null=True)
    amount_unit = models.CharField(max_length=12, null=True)
    dress_medium = models.CharField(max_length=16, choices=DressMedium.choices, null=True)
    minutes = models.PositiveSmallIntegerField(null=True)
    trouble_kind = models.CharField(max_length=8, choices=TroubleKind.choices, null=True)
    retired_why = models.CharField(max_length=16, choices=RetiredWhy.choices, null=True)
    count = models.ForeignKey(Count, models.PROTECT, null=True, related_name="entries")
    seen = models.BooleanField(null=True)
    acts_at = models.DateTimeField(null=True)
    void_target = models.UUIDField(null=True, db_index=True)
    replaces = models.UUIDField(null=True)
    settles_target = models.UUIDField(null=True, db_index=True)
    flag_code = models.CharField(max_length=32, null=True)
    answer = models.CharField(max_length=32, null=True)
    other_set = models.ForeignKey(ToolSet, models.PROTECT, null=True, related_name="+")
    why = models.CharField(max_length=400, null=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["act", "line_no"], name="entry_line_once"),
            models.CheckConstraint(
                condition=Q(tool_set__isnull=False, place__isnull=True) | Q(tool_set__isnull=True, place__isnull=False),
                name="entry_is_about_one_thing",
            ),
            *(
                models.CheckConstraint(
                    condition=~Q(kind=kind)
                    | (
                        Q(**{f"{name}__isnull": False for name in sorted(rule.needs)})
                        & Q(**{f"{name}__isnull": True for name in kinds.COLUMNS if name not in rule.allowed})
                        & (Q() if len(rule.subjects) == 2 else Q(**{f"{next(iter(rule.subjects))}__isnull": False}))
                    ),
                    name=f"entry_{kind}_is_whole",
                )
                for kind, rule in kinds.RULES.items()
            ),
            models.CheckConstraint(condition=Q(area_m2__isnull=True) | Q(area_m2__gt=0), name="entry_area_above_zero"),
            models.CheckConstraint(condition=Q(passes__isnull=True) | Q(passes__gte=1), name="entry_passes_whole"),
            models.CheckConstraint(
                condition=Q(lowest_height_mm__isnull=True) | Q(lowest_height_mm__gte=0, lowest_height_mm__lte=200),
                name="entry_height_possible",
            ),
            models.CheckConstraint(
                condition=Q(mean_height_mm__isnull=True) | Q(mean_height_mm__gte=0, mean_height_mm__lte=200),
                name="entry_mean_height_possible",
            ),
            models.CheckConstraint(
                condition=Q(temperature_c__isnull=True) | Q(temperature_c__gte=-5, temperature_c__lte=105),
                name="entry_water_is_liquid",
            ),
            models.CheckConstraint(
                condition=Q(other_set__isnull=True) | ~Q(other_set=models.F("tool_set")), name="entry_other_set_differs"
            ),
        ]
        indexes: ClassVar = [
            # Tub readings: every soak question.
            models.Index(fields=["place", "kind"], name="entry_of_place"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.tool_set_id or self.place_id}"


class EntryPiece(AppendOnly):
    """One piece of a "pieces changed" or "measured" entry: where it sits, its height, where it came from and went."""

    entry = models.ForeignKey(Entry, models.PROTECT, related_name="piece_rows")
    position = models.PositiveSmallIntegerField()
    height_mm = models.FloatField(null=True)
    from_set = models.ForeignKey(ToolSet, models.PROTECT, null=True, related_name="+")
    to_set = models.ForeignKey(ToolSet, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["entry", "position"], name="piece_position_once")]

    def __str__(self) -> str:
        return f"piece {self.position}"


class ReceiptLine(AppendOnly):
    """What a received set cost."""

    entry = models.OneToOneField(Entry, models.PROTECT, related_name="receipt_line")
    price = models.DecimalField(max_digits=12, decimal_places=2)
    currency = models.CharField(max_length=3)

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(condition=Q(price__gte=0), name="receipt_price_not_negative")]

    def __str__(self) -> str:
        return f"{self.price} {self.currency}"


class UnreadItem(AppendOnly):
    """Something a device sent that could not be read, or contradicts what its key holds: kept as it came."""

    raw = models.TextField()
    why = models.CharField(max_length=200)
    recorded_at = models.DateTimeField()
    device = models.ForeignKey(Device, models.PROTECT, null=True, related_name="+")
    entered_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")

    def __str__(self) -> str:
        return self.why
