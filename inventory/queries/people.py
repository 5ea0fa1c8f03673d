"""What is asked about people: names before the sign-in, and in which words their rights read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import OuterRef, Prefetch, Subquery
from django.utils.translation import gettext as _

from inventory.models import Act, Branch, Device, Person, PersonRight
from inventory.rights import BUNDLES, Bundle, Right


@dataclass(frozen=True)
class SignInName:
    """A name on the sign-in page: whose, what work they do, and whether they have a PIN."""

    sign_in: str
    name: str
    work: str
    has_pin: bool
    scan_only: bool


def work_words(rights: Iterable[str]) -> str:
    """Rights in as few words as say them: the bundle they are, or the bundles and rights they are made of."""
    have = frozenset(map(str, rights))
    if not have:
        return _("no rights yet")
    bundles = sorted(BUNDLES.items(), key=lambda item: -len(item[1]))
    words, left = [], set(have)
    for name, of_bundle in bundles:
        if of_bundle <= have and of_bundle & left:
            words.append(str(Bundle(name).label).lower())
            left -= of_bundle
    return ", ".join(words + [str(Right(right).label) for right in Right.values if right in left])


def names_for_sign_in(branch: Branch | None, lately: Sequence[int]) -> list[SignInName]:
    """The names to show, lately first: of a shared tablet's branch everybody, else (None) those who were here before.

    Two queries, none when nobody was here before.
    """
    people = Person.objects.filter(is_active=True).prefetch_related(
        Prefetch("right_rows", queryset=PersonRight.objects.all())
    )
    if branch is not None:
        people = people.filter(branch=branch)
    elif lately:
        people = people.filter(pk__in=lately)
    else:
        return []
    place = {pk: i for i, pk in enumerate(lately)}
    rows = sorted(people, key=lambda person: (place.get(person.pk, len(place)), person.name.lower()))
    return [_shown(person) for person in rows]


def _shown(person: Person) -> SignInName:
    rights = {row.right for row in person.right_rows.all()}
    return SignInName(person.sign_in, person.name, work_words(rights), bool(person.pin), rights == {Right.SCAN})


def somebody_who_runs(branch: Branch, but: str) -> str:
    """The name of somebody else who runs the shop, or ""; one query."""
    runners = Person.objects.filter(branch=branch, is_active=True, right_rows__right=Right.RUN_SHOP)
    return runners.exclude(sign_in=but).order_by("pk").values_list("name", flat=True).first() or ""


@dataclass(frozen=True)
class DeviceNow:
    """A device, who wrote on it last and when; nobody ("", None) where nothing was written yet."""

    device: Device
    last_by: str
    last_at: datetime | None


def devices_of(branch: Branch) -> list[DeviceNow]:
    """The branch's devices, the one seen first last; one query."""
    acts = Act.objects.filter(device=OuterRef("pk")).order_by("-recorded_at")
    rows = Device.objects.filter(branch=branch).order_by("-first_seen_at", "pk")
    rows = rows.annotate(
        last_by=Subquery(acts.values("done_by__name")[:1]), last_at=Subquery(acts.values("recorded_at")[:1])
    )
    return [DeviceNow(row, row.last_by or "", row.last_at) for row in rows]


def people_of(branch: Branch) -> list[Person]:
    """Everybody of the branch with their rights, those who work here first; two queries."""
    return list(
        Person.objects.filter(branch=branch).prefetch_related("right_rows").order_by("-is_active", "name", "pk")
    )
