"""A person's calendar address: made, made anew, revoked."""

from __future__ import annotations

import hashlib
from datetime import datetime

from django.db import transaction

from inventory.models import Person
from jobs.models import CalendarAddress

# Characters of a word drawn from 32 random bytes (base64 of RFC 4648, table 2, without padding): it cannot be guessed,
# so a plain hash of it is enough to keep.
LEAST_WORD = 43


def hash_of(word: str) -> str:
    """What is kept of an address's word."""
    return hashlib.sha256(word.encode()).hexdigest()


def make_address(person: Person, word: str, *, now: datetime) -> CalendarAddress:
    """Make the person's address with this word; the one before it is revoked. The same word again changes nothing.

    Raises ValueError for a word that could be guessed.
    """
    if len(word) < LEAST_WORD:
        raise ValueError(f"make_address: {len(word)} characters; at least {LEAST_WORD} are needed")
    with transaction.atomic():
        Person.objects.select_for_update().get(pk=person.pk)
        same = CalendarAddress.objects.filter(person=person, token_sha256=hash_of(word)).first()
        if same is not None:
            return same
        CalendarAddress.objects.filter(person=person, revoked_at__isnull=True).update(revoked_at=now)
        return CalendarAddress.objects.create(person=person, token_sha256=hash_of(word), made_at=now)


def revoke_address(person: Person, *, now: datetime) -> int:
    """Revoke the person's address; how many were. Safe to repeat."""
    return CalendarAddress.objects.filter(person=person, revoked_at__isnull=True).update(revoked_at=now)
