"""Tool sets, what the ledger says of them, and the outings they leave on."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from inventory.models.catalogue import Place, ToolType
from inventory.models.choices import Face, Fitness, HolderKind, OpeningKind, OutingKind
from inventory.models.people import Branch, Person


class ToolSet(models.Model):
    """The matched pieces of one tool type that a machine runs together; its key is made by the client."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    tool_type = models.ForeignKey(ToolType, models.PROTECT, related_name="tool_sets")
    own_code = models.CharField(max_length=40, blank=True, db_index=True)
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return self.own_code or str(self.id)


class Outing(models.Model):
    """Sets leaving together under one name, to a holder, due back."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    branch = models.ForeignKey(Branch, models.PROTECT, related_name="outings")
    kind = models.CharField(max_length=10, choices=OutingKind.choices)
    name = models.CharField(max_length=80)
    holder_kind = models.CharField(max_length=10, choices=HolderKind.choices)
    holder_person = models.ForeignKey(Person, models.PROTECT, null=True, related_name="outings")
    holder_name = models.CharField(max_length=80, blank=True)
    van = models.ForeignKey(Place, models.PROTECT, null=True, related_name="+")
    leaves_at = models.DateTimeField()
    due_at = models.DateTimeField(null=True)
    made_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(due_at__isnull=True) | Q(due_at__gte=F("leaves_at")), name="outing_due_after_leaving"
            ),
        ]
        indexes: ClassVar = [
            # The scanning page and the morning list open outings by leaving time.
            models.Index(fields=["branch", "leaves_at"], name="outing_by_leaving"),
        ]

    def __str__(self) -> str:
        return self.name


class SetState(models.Model):
    """What the ledger of a set adds up to; written by the ledger's writer alone, remade by ``rebuild``.

    ``facts`` is the whole state as inventory.ledger.state gives it; the columns beside it are what lists filter by.
    """

    tool_set = models.OneToOneField(ToolSet, models.PROTECT, primary_key=True, related_name="state")
    main = models.ForeignKey(ToolSet, models.PROTECT, related_name="+")
    branch = models.ForeignKey(Branch, models.PROTECT, null=True, related_name="+")
    place = models.ForeignKey(Place, models.PROTECT, null=True, related_name="states")
    peg = models.CharField(max_length=12, blank=True)
    outing = models.ForeignKey(Outing, models.PROTECT, null=True, related_name="states")
    holder_kind = models.CharField(max_length=10, choices=HolderKind.choices, default=HolderKind.SHOP)
    holder_person = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    holder_name = models.CharField(max_length=80, blank=True)
    fitness = models.CharField(max_length=10, choices=Fitness.choices, default=Fitness.USABLE)
    fitness_why = models.CharField(max_length=400, blank=True)
    opening = models.CharField(max_length=16, choices=OpeningKind.choices, blank=True)
    face = models.CharField(max_length=8, choices=Face.choices, default=Face.UNKNOWN)
    soaking = models.BooleanField(default=False)
    lowest_height_mm = models.FloatField(null=True)
    worked_m2 = models.FloatField(default=0.0)
    # Worked area, m2, by "hardness|surface|wet or dry|step kind": small enough for lists.
    worked = models.JSONField(default=dict)
    # Worked area between what was seen of wear (inventory.ledger.wear); a short name of that and of how the set ended.
    wear = models.JSONField(default=dict)
    wear_stamp = models.CharField(max_length=16, blank=True)
    code = models.CharField(max_length=16, blank=True, db_index=True)
    open_flags = models.PositiveIntegerField(default=0)
    last_at = models.DateTimeField(null=True)
    order_key = models.CharField(max_length=200, blank=True)
    facts = models.JSONField(default=dict)

    class Meta:
        indexes: ClassVar = [
            # The rack and every list of sets.
            models.Index(fields=["branch", "fitness", "place"], name="state_by_place"),
        ]

    def __str__(self) -> str:
        return self.code or str(self.tool_set_id)

    @property
    def own_tag(self) -> str:
        """What the shop itself had written on the set before it got a label, "" for nothing or the label's own code."""
        own = self.tool_set.own_code
        return own if self.code and own.upper() != self.code else ""

    @property
    def shown_code(self) -> str:
        """What is printed on the set, its own tag behind the code: "GL-7K2M46 · D-01"; "" when it has neither."""
        return " · ".join(filter(None, (self.code, self.own_tag))) or self.tool_set.own_code
