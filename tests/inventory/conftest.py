"""The shop that the doors of scanning, labels and sets are tried in."""

from __future__ import annotations

import random
from types import SimpleNamespace

import pytest
from django.utils import timezone

from inventory.actions.label import make_blank
from inventory.codes import new_code
from tests.cast import hours, make_cast, make_outing, make_place, make_set, make_type


@pytest.fixture
def custody_shop() -> SimpleNamespace:
    """Rack B with a dry 400 and a metal 70, a tub, tonight's outing, a blank label; the address is confirmed."""
    now = timezone.now()
    cast, rng = make_cast(), random.Random(11)
    cast.branch.label_address, cast.branch.label_address_confirmed_at = "HTTPS://SHOP.EXAMPLE", now
    cast.branch.save()
    rack, tub = make_place(cast.branch, name="Rack B"), make_place(cast.branch, "tub", "Tub 1")
    early = now - hours(100)
    codes = [new_code(rng) for _number in range(2)]
    return SimpleNamespace(
        cast=cast,
        now=now,
        rack=rack,
        tub=tub,
        outing=make_outing(cast.branch, "Osprey Lane", leaves_at=now + hours(3), due_at=now + hours(15), made_at=now),
        dry=make_set(cast, make_type("400"), rack, at=early, code=codes[0]),
        metal=make_set(cast, make_type("70", "metal", 1, soak_need="none"), rack, at=early, code=codes[1]),
        dry_code=codes[0],
        metal_code=codes[1],
        blank=make_blank(cast.branch, 1, made_by=cast.ines, now=now, rng=rng)[0],
    )
