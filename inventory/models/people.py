"""People, what they may do, and the branch they work from."""

from __future__ import annotations

import uuid
from typing import Any, ClassVar

from django.contrib.auth.hashers import check_password, make_password
from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import models
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from inventory.rights import BUNDLES, Right


class Branch(models.Model):
    """A shop with its own racks and people; hidden on screen while there is one."""

    name = models.CharField(max_length=80, unique=True)
    time_zone = models.CharField(max_length=64, default="UTC")
    currency = models.CharField(max_length=3, default="USD")
    label_address = models.CharField(max_length=80, blank=True)
    label_address_confirmed_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return self.name

    @property
    def shown_address(self) -> str:
        """The address in labels as people write it; capitals are for the label's square alone."""
        return self.label_address.lower()


class PersonManager(BaseUserManager["Person"]):
    """Makes people with rights."""

    def create_person(self, sign_in: str, name: str, branch: Branch, *, bundle: str = "", **more: Any) -> Person:
        """Make a person with the rights of a ready-made bundle; password and pin are optional keywords."""
        password, pin = more.pop("password", None), more.pop("pin", "")
        person = Person(sign_in=sign_in, name=name, branch=branch, pin=make_password(pin) if pin else "", **more)
        person.set_password(password)
        person.save(using=self._db)
        PersonRight.objects.bulk_create(
            PersonRight(person=person, right=right) for right in sorted(BUNDLES.get(bundle, frozenset()))
        )
        return person


class Person(AbstractBaseUser):
    """Somebody who signs in; rights combine, money is a right of its own."""

    class Units(models.TextChoices):
        US = "us", _("US customary")
        METRIC = "metric", _("metric")

    class Theme(models.TextChoices):
        SYSTEM = "system", _("as the device")
        LIGHT = "light", _("light")
        NIGHT = "night", _("night")

    sign_in = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=80)
    branch = models.ForeignKey(Branch, models.PROTECT, related_name="people")
    pin = models.CharField(max_length=128, blank=True)
    units = models.CharField(max_length=8, choices=Units.choices, default=Units.US)
    language = models.CharField(max_length=8, default="en")
    theme = models.CharField(max_length=8, choices=Theme.choices, default=Theme.SYSTEM)
    clock_24h = models.BooleanField(default=True)
    sound = models.BooleanField(default=True)
    is_active = models.BooleanField(default=True)

    USERNAME_FIELD = "sign_in"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]
    objects: ClassVar[PersonManager] = PersonManager()

    def __str__(self) -> str:
        return self.name

    @cached_property
    def rights(self) -> frozenset[str]:
        """Every right this person has, read once."""
        return frozenset(self.right_rows.values_list("right", flat=True))

    def can(self, right: str) -> bool:
        """Whether this person may do this; an inactive person may do nothing."""
        return self.is_active and right in self.rights

    def check_pin(self, pin: str) -> bool:
        """Whether these digits are this person's; nobody without a pin has one."""
        return bool(self.pin) and check_password(pin, self.pin)

    # What the read-only admin asks of a user.
    @property
    def is_staff(self) -> bool:
        return self.can(Right.RUN_SHOP)

    def has_perm(self, perm: str, obj: object = None) -> bool:
        return self.can(Right.RUN_SHOP)

    def has_module_perms(self, app_label: str) -> bool:
        return self.can(Right.RUN_SHOP)


class PersonRight(models.Model):
    """One right of one person."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="right_rows")
    right = models.CharField(max_length=16, choices=Right.choices)

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["person", "right"], name="person_right_once")]

    def __str__(self) -> str:
        return f"{self.person_id} {self.right}"


class FirstRunCode(models.Model):
    """The one-time code that lets the first person of an empty shop be made in the browser."""

    code_hash = models.CharField(max_length=128)
    made_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"first-run code of {self.made_at:%Y-%m-%d}"


class Device(models.Model):
    """A phone, tablet or desk browser that writes entries; its key is made by the client."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    name = models.CharField(max_length=80, blank=True)
    branch = models.ForeignKey(Branch, models.PROTECT)
    first_seen_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True)
    shared = models.BooleanField(default=False)

    def __str__(self) -> str:
        return self.name or str(self.id)
