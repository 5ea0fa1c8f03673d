"""An empty shop begins: a one-time code, the branch and its first person, the address that labels will hold."""

from __future__ import annotations

import secrets
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.translation import gettext as _

from inventory.actions.people import PersonWords, check_password_words, save_person
from inventory.codes import AddressNotPrintable, label_base
from inventory.models import Branch, FirstRunCode, Person
from inventory.qr_symbol import symbol_version
from inventory.refusals import Refused
from inventory.rights import BUNDLES, Bundle

# No I, L, O, U: read from a terminal, typed in a browser. 12 characters are 60 bits.
_LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
CODE_HOLDS = timedelta(days=1)
CURRENCY_LETTERS = 3


class FirstRunRefused(Refused):
    """The shop cannot begin like that."""

    code = "first_run"


class ShopHasPeople(FirstRunRefused):
    """Somebody runs this shop already."""

    code = "shop_has_people"


class AddressRefused(Refused):
    """This address cannot stand in labels."""

    code = "label_address"


def make_code(*, now: datetime) -> str:
    """A new one-time code, "ABCD-EFGH-JKMN"; earlier ones stop working. Only its hash is kept.

    Raises ShopHasPeople.
    """
    with transaction.atomic():
        if Person.objects.exists():
            raise ShopHasPeople(_("This shop has people already."), _("Sign in."))
        FirstRunCode.objects.filter(used_at__isnull=True).delete()
        letters = "".join(secrets.choice(_LETTERS) for _i in range(12))
        FirstRunCode.objects.create(code_hash=make_password(letters), made_at=now)
    return "-".join(letters[i : i + 4] for i in range(0, 12, 4))


def begin_shop(code: str, *, shop: str, time_zone: str, currency: str, owner: PersonWords, now: datetime) -> Person:
    """Make the branch and its first person, who has every right, and use the code up.

    owner: the first person's words; their rights do not matter, the first person has all.
    Raises ShopHasPeople, FirstRunRefused, PersonRefused, PasswordRefused; then nothing is kept, the code still works.
    """
    name = " ".join(shop.split())
    with transaction.atomic():
        if Person.objects.exists():
            raise ShopHasPeople(_("This shop has people already."), _("Sign in."))
        row = _code_row(code, now)
        if row is None:
            raise _wrong_code(code)
        _check_shop(name, time_zone, currency)
        if not owner.password:
            raise FirstRunRefused(
                _("The first person needs a password."), _("Take ten characters or more."), field="password"
            )
        branch = Branch.objects.create(name=name, time_zone=time_zone, currency=currency.upper())
        person = save_person(None, branch, _with_every_right(owner))
        row.used_at = now
        row.save(update_fields=["used_at"])
    return person


def refusals_of(code: str, owner: PersonWords, *, now: datetime) -> list[Refused]:
    """What of code and password would be refused, all at once: a form says everything in one round."""
    found: list[Refused] = []
    if _code_row(code, now) is None:
        found.append(_wrong_code(code))
    try:
        if owner.password:
            check_password_words(owner.password, sign_in=owner.sign_in, name=owner.name)
    except Refused as weak:
        found.append(weak)
    return found


def _code_row(code: str, now: datetime) -> FirstRunCode | None:
    typed = code.upper().translate(str.maketrans("ILOU", "110V", "- \u2013"))
    rows = FirstRunCode.objects.select_for_update().filter(used_at__isnull=True, made_at__gt=now - CODE_HOLDS)
    with transaction.atomic():
        return next((known for known in rows if check_password(typed, known.code_hash)), None)


def _wrong_code(code: str) -> FirstRunRefused:
    return FirstRunRefused(
        _("“%(code)s” is not the code of this start.") % {"code": code[:20]},
        _("It stands in the terminal; a new start prints a new one."),
        field="code",
    )


def save_branch(branch: Branch, *, name: str, time_zone: str, currency: str) -> Branch:
    """Keep the shop's name, zone and currency. Safe to repeat. Raises FirstRunRefused."""
    name = " ".join(name.split())
    _check_shop(name, time_zone, currency)
    with transaction.atomic():
        row = Branch.objects.select_for_update().get(pk=branch.pk)
        if Branch.objects.filter(name=name).exclude(pk=row.pk).exists():
            raise FirstRunRefused(
                _("Another shop is called %(name)s.") % {"name": name}, _("Take another name."), field="name"
            )
        row.name, row.time_zone, row.currency = name, time_zone, currency.upper()
        row.save(update_fields=["name", "time_zone", "currency"])
    return row


def propose_address(branch: Branch, address: str) -> Branch:
    """Keep the address that labels shall hold, not yet confirmed; the one in force, said again, stays confirmed.

    Raises AddressRefused with a sentence for the person.
    """
    try:
        base = label_base(address)
        symbol_version(f"{base}/S/GL-000000")  # as long as any label's address
    except AddressNotPrintable as refused:
        raise AddressRefused(str(refused), field="address") from refused
    with transaction.atomic():
        row = Branch.objects.select_for_update().get(pk=branch.pk)
        if row.label_address != base:
            row.label_address, row.label_address_confirmed_at = base, None
            row.save(update_fields=["label_address", "label_address_confirmed_at"])
    return row


def with_scheme(address: str, scheme: str) -> str:
    """An address as typed, with "http" or "https" before it where none was: "shop.local:8000" is what people read."""
    typed = address.strip()
    return f"{scheme}://{typed}" if typed and "://" not in typed else typed


def take_address(branch: Branch, address: str, *, now: datetime) -> Branch:
    """Keep the address and take it as confirmed, though no phone has come: somebody said so. Safe to repeat.

    Raises AddressRefused.
    """
    with transaction.atomic():
        row = propose_address(branch, address)
        if row.label_address_confirmed_at is None:
            row.label_address_confirmed_at = now
            row.save(update_fields=["label_address_confirmed_at"])
    return row


def phone_word(branch: Branch) -> str:
    """The eight characters by which a phone says that it reached the branch's label address; follows from both."""
    digest = salted_hmac("gritledger.phone", f"{branch.pk}|{branch.label_address}").digest()
    return "".join(_LETTERS[byte % 32] for byte in digest[:8])


def confirm_address(word: str, *, now: datetime) -> Branch | None:
    """A phone opened the address with this word: the branch whose address it confirms, or None. Safe to repeat."""
    with transaction.atomic():
        for branch in Branch.objects.select_for_update().exclude(label_address="").order_by("pk"):
            if constant_time_compare(phone_word(branch), word.upper()):
                if branch.label_address_confirmed_at is None:
                    branch.label_address_confirmed_at = now
                    branch.save(update_fields=["label_address_confirmed_at"])
                return branch
    return None


def _with_every_right(owner: PersonWords) -> PersonWords:
    return PersonWords(
        owner.sign_in,
        owner.name,
        BUNDLES[Bundle.OWNER],
        password=owner.password,
        pin=owner.pin,
        units=owner.units,
        language=owner.language,
    )


def _check_shop(name: str, time_zone: str, currency: str) -> None:
    if not name or len(name) > 80:
        raise FirstRunRefused(_("The shop needs a name of up to 80 characters."), _("Write it."), field="shop")
    try:
        ZoneInfo(time_zone)
    except (KeyError, ValueError, OSError) as unknown:
        raise FirstRunRefused(
            _("“%(zone)s” is no time zone.") % {"zone": time_zone},
            _("Take one such as America/Chicago."),
            field="time_zone",
        ) from unknown
    if len(currency) != CURRENCY_LETTERS or not currency.isascii() or not currency.isalpha():
        raise FirstRunRefused(
            _("“%(currency)s” is no currency's three letters.") % {"currency": currency},
            _("Take those of ISO 4217, such as USD or EUR."),
            field="currency",
        )
