"""What is done with people and devices: made, changed, given rights, marked as shared. Each is one transaction."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.contrib.auth.hashers import make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from inventory.models import Branch, Device, Person, PersonRight
from inventory.refusals import Refused
from inventory.rights import Right

# Digits that everybody tries first. Our assumption: four alike, a run up or down, the keypad's middle column.
_PLAIN_PINS = {str(d) * 4 for d in range(10)} | {"0123456789"[i : i + 4] for i in range(7)} | {"2580"}
_PLAIN_PINS |= {pin[::-1] for pin in _PLAIN_PINS}


class PersonRefused(Refused):
    """A person cannot be kept like that."""

    code = "person"


class PasswordRefused(PersonRefused):
    """This password or PIN will not do."""

    code = "password"


class NobodyLeft(PersonRefused):
    """Nobody could run the shop any more."""

    code = "nobody_left"


@dataclass(frozen=True)
class PersonWords:
    """What is said of a person. password, pin, language: "" leaves what is there; no_pin takes the PIN away."""

    sign_in: str
    name: str
    rights: frozenset[str]
    password: str = ""
    pin: str = ""
    no_pin: bool = False
    is_active: bool = True
    units: str = Person.Units.US
    language: str = ""


def save_person(by: Person | None, branch: Branch, words: PersonWords, *, person_id: int | None = None) -> Person:
    """Keep a person of the branch: a new one, or what is now said of the one with this id.

    by: who says so; None only for the first person of an empty shop and for the demo.
    Safe to repeat: asked for a new person who is there with exactly these words, it answers with that one.
    Raises PersonRefused, PasswordRefused, NobodyLeft; then nothing is kept.
    """
    sign_in, name = words.sign_in.strip().lower(), " ".join(words.name.split())
    _check_names(sign_in, name)
    with transaction.atomic():
        person = _locked(branch, person_id)
        if (twin := _same_or_taken(branch, person, sign_in, name, words)) is not None:
            return twin
        before = frozenset() if person is None else person.rights
        _check_rights(by, branch, person, before, words)
        is_new = person is None
        person = person or Person(branch=branch, units=words.units, language=words.language or "en")
        person.language = words.language or person.language
        person.sign_in, person.name, person.is_active = sign_in, name, words.is_active
        _put_secrets(person, words)
        try:
            with transaction.atomic():
                person.save()
        except IntegrityError:  # somebody took the name at the same moment
            twin = _same_or_taken(branch, None if is_new else person, sign_in, name, words)
            if twin is None:
                raise
            return twin
        keep_rights(person, words.rights)
    return Person.objects.select_related("branch").get(pk=person.pk)


def check_password_words(password: str, *, sign_in: str, name: str) -> None:
    """Refuse a password that would not do for a person of this sign-in and name. Raises PasswordRefused."""
    _check_password(password, Person(sign_in=sign_in.strip().lower(), name=" ".join(name.split())))


def _check_password(password: str, person: Person) -> None:
    try:
        validate_password(password, person)
    except ValidationError as weak:
        raise PasswordRefused(" ".join(map(str, weak.messages)), field="password") from weak


def keep_rights(person: Person, rights: Iterable[str]) -> None:
    """Let a person have exactly these rights. Inside a transaction."""
    wanted = set(rights) & set(Right.values)
    PersonRight.objects.filter(person=person).exclude(right__in=wanted).delete()
    PersonRight.objects.bulk_create(
        [PersonRight(person=person, right=right) for right in sorted(wanted)], ignore_conflicts=True
    )


def save_own(person: Person, *, units: str, language: str, theme: str, clock_24h: bool, sound: bool) -> Person:
    """Keep how a person wants pages to look and sound. Safe to repeat."""
    with transaction.atomic():
        row = Person.objects.select_for_update().get(pk=person.pk)
        row.units, row.language, row.theme, row.clock_24h, row.sound = units, language, theme, clock_24h, sound
        row.save(update_fields=["units", "language", "theme", "clock_24h", "sound"])
    return row


def save_own_secrets(person: Person, *, now_is: str, password: str, pin: str) -> Person:
    """Give oneself a new password or PIN; now_is: the password that holds until now ("" only if there is none).

    Raises PasswordRefused.
    """
    with transaction.atomic():
        row = Person.objects.select_for_update().get(pk=person.pk)
        if row.has_usable_password() and not row.check_password(now_is):
            raise PasswordRefused(_("That is not your password."), _("Type the one you sign in with."), field="now_is")
        _put_secrets(row, PersonWords(row.sign_in, row.name, frozenset(), password=password, pin=pin))
        row.save(update_fields=["password", "pin"])
    return row


def save_device(branch: Branch, device_id: UUID, *, name: str, shared: bool, withdrawn: bool, now: datetime) -> Device:
    """Keep a device's name, whether people share it, and whether it is withdrawn. Safe to repeat.

    A withdrawn device is shared no more; what it sends late is kept for the shop manager.
    Raises PersonRefused for a shared device without a name.
    """
    name = " ".join(name.split())
    if shared and not name:
        raise PersonRefused(
            _("A shared tablet needs a name."), _("Write where it hangs, such as Tablet at rack B."), field="name"
        )
    with transaction.atomic():
        device = Device.objects.select_for_update().get(pk=device_id, branch=branch)
        device.name, device.shared = name[:80], shared and not withdrawn
        device.withdrawn_at = (device.withdrawn_at or now) if withdrawn else None
        device.save(update_fields=["name", "shared", "withdrawn_at"])
    return device


def _locked(branch: Branch, person_id: int | None) -> Person | None:
    if person_id is None:
        return None
    return Person.objects.select_for_update().get(pk=person_id, branch=branch)


def _same_or_taken(branch: Branch, person: Person | None, sign_in: str, name: str, words: PersonWords) -> Person | None:
    """Who has this sign-in name already with exactly these words; None if nobody. Raises PersonRefused if taken."""
    other = Person.objects.select_for_update().filter(sign_in=sign_in).exclude(pk=person.pk if person else 0).first()
    if other is None or (person is None and other.branch_id == branch.pk and _is_said(other, name, words)):
        return other
    raise PersonRefused(
        _("“%(sign_in)s” is the sign-in name of %(name)s.") % {"sign_in": sign_in, "name": other.name},
        _("Take another one, such as %(other)s.") % {"other": f"{sign_in}2"},
        field="sign_in",
    )


def _check_names(sign_in: str, name: str) -> None:
    if not re.fullmatch(r"[\w.@+-]{1,40}", sign_in):
        raise PersonRefused(
            _("“%(sign_in)s” cannot be a sign-in name.") % {"sign_in": sign_in},
            _("Take up to 40 letters, digits and . - _ @ + without blanks, such as ines."),
            field="sign_in",
        )
    if not name or len(name) > 80:
        raise PersonRefused(
            _("The ledger writes the name beside what is done."), _("Write it, such as Ines O."), field="name"
        )


def _check_rights(
    by: Person | None, branch: Branch, person: Person | None, before: frozenset[str], words: PersonWords
) -> None:
    if unknown := words.rights - set(Right.values):
        raise PersonRefused(_("There is no right %(name)s.") % {"name": ", ".join(sorted(unknown))}, field="rights")
    money_moves = (Right.SEE_MONEY in words.rights) != (Right.SEE_MONEY in before)
    if by is not None and money_moves and not by.can(Right.SEE_MONEY):
        raise PersonRefused(
            _("Only somebody who sees money can give or take that right."),
            _("Leave that tick as it was."),
            field="rights",
        )
    _check_above(by, person, before, words)
    ran = person is not None and person.is_active and Right.RUN_SHOP in before
    if person is not None and ran and not (words.is_active and Right.RUN_SHOP in words.rights):
        # The others are locked too: two people leaving at once may not both find the other one still there.
        runners = Person.objects.select_for_update().filter(
            branch=branch, is_active=True, right_rows__right=Right.RUN_SHOP
        )
        if not [runner for runner in runners if runner.pk != person.pk]:
            raise NobodyLeft(
                _("%(name)s is the only one who runs the shop.") % {"name": person.name},
                _("Give somebody else that right first."),
                field="rights",
            )


def _check_above(by: Person | None, person: Person | None, before: frozenset[str], words: PersonWords) -> None:
    """Refuse a secret or rights for somebody with a right that ``by`` lacks: it would be lent by their sign-in."""
    if by is None or person is None or by.pk == person.pk:
        return
    above = sorted(before - by.rights)
    secret = "password" if words.password else "pin" if words.pin or words.no_pin else ""
    changed = (words.rights, words.is_active) != (before, person.is_active)
    if above and (secret or changed):
        raise PersonRefused(
            _("%(name)s has rights that you do not have: %(rights)s.")
            % {"name": person.name, "rights": ", ".join(str(Right(right).label) for right in above)},
            _("Ask somebody who has them."),
            field=secret or "rights",
        )


def _is_said(person: Person, name: str, words: PersonWords) -> bool:
    """Whether a person has exactly these words: then the same request came twice."""
    same_secret = not words.password or person.check_password(words.password)
    same_pin = not words.pin or person.check_pin(words.pin)
    same_language = words.language in ("", person.language)
    return (
        (person.name, person.is_active, person.rights) == (name, words.is_active, words.rights)
        and same_language
        and same_secret
        and same_pin
    )


def _put_secrets(person: Person, words: PersonWords) -> None:
    if words.password:
        _check_password(words.password, person)
        person.set_password(words.password)
    elif person.pk is None:
        person.set_unusable_password()
    if words.pin:
        if not re.fullmatch(r"[0-9]{4}", words.pin):
            raise PasswordRefused(
                _("A PIN is four digits."), _("Type four, such as the last of a number you know."), field="pin"
            )
        if words.pin in _PLAIN_PINS:
            raise PasswordRefused(
                _("Everybody tries %(pin)s first.") % {"pin": words.pin}, _("Take four others."), field="pin"
            )
        person.pin = make_password(words.pin)
    elif words.no_pin:
        person.pin = ""
