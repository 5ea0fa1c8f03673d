"""Photos of a set: kept on record, and taken away again where they show something else."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from uuid import UUID, uuid5

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions.ledger import Recorded
from inventory.models import Act, Person, SetPhoto, ToolSet
from inventory.photos import Photo, PhotoRefused, photo_path, read_photo
from inventory.times import zone_of

# So many of one set, about 20 MB (our assumption); far more than a claim needs.
MOST_OF_A_SET = 40
MOST_AT_ONCE = 8
_FIRST_EXIF, _AHEAD = datetime(1995, 10, 1), timedelta(days=1)  # noqa: DTZ001 - a camera knows no zone


def read_photos(files: Sequence[bytes]) -> list[Photo]:
    """Photos from the bytes of files, before anything is written. Raises PhotoRefused."""
    if len(files) > MOST_AT_ONCE:
        raise PhotoRefused(
            _("%(count)d photos were sent, at most %(most)d go at once.") % {"count": len(files), "most": MOST_AT_ONCE},
            _("Send the others after these."),
            field="photos",
        )
    return [read_photo(raw) for raw in files]


def keep_photos(
    person: Person, tool_set: ToolSet, photos: Sequence[Photo], *, now: datetime, act: Act | None = None
) -> list[SetPhoto]:
    """Keep photos of a set; one that is on record already, or was taken away, stays one.

    act: what they were sent with. Raises PhotoRefused when the set would have too many.
    """
    if not photos:
        return []
    named = {uuid5(tool_set.pk, photo.sha256): photo for photo in photos}
    for photo_id, photo in named.items():
        _write(photo_id, photo.jpeg)
    with transaction.atomic():
        ToolSet.objects.select_for_update().get(pk=tool_set.pk)
        known = {row.pk: row for row in SetPhoto.objects.filter(tool_set=tool_set)}
        check_room(tool_set, photos)
        for photo_id, photo in named.items():
            if photo_id in known:
                # Sent anew it is shown again, with what it came with now; the same act once more brings nothing back.
                if known[photo_id].removed_at is not None and (act is None or known[photo_id].act_id != act.pk):
                    SetPhoto.objects.filter(pk=photo_id).update(removed_at=None, removed_by=None, act=act)
                continue
            SetPhoto.objects.create(
                id=photo_id,
                tool_set=tool_set,
                act=act,
                sha256=photo.sha256,
                width=photo.width,
                height=photo.height,
                bytes=len(photo.jpeg),
                taken_at=_taken_at(photo, person, now),
                recorded_at=now,
                recorded_by=person,
            )
        return list(SetPhoto.objects.filter(pk__in=named))


def with_photos(
    person: Person, tool_set: ToolSet, photos: Sequence[Photo], do: Callable[[], Recorded], *, now: datetime
) -> Recorded:
    """Do something to a set and keep the photos sent with it: both, or neither. Raises as ``do``, and PhotoRefused."""
    check_room(tool_set, photos)
    with transaction.atomic():
        done = do()
        keep_photos(person, tool_set, photos, now=now, act=done.act)
    return done


def remove_with(person: Person, act: Act, *, now: datetime) -> None:
    """Take away the photos that were sent with an act that is undone; they stay on record. Safe to repeat."""
    SetPhoto.objects.filter(act=act, removed_at__isnull=True).update(removed_at=now, removed_by=person)


def _taken_at(photo: Photo, person: Person, now: datetime) -> datetime | None:
    """When a photo was taken by its camera's clock, in the shop's zone; None where that clock cannot have been set.

    Before Exif (1995) or more than a day ahead: as a camera says whose battery was out (our assumption).
    """
    zone = zone_of(person.branch)
    latest = now.astimezone(zone).replace(tzinfo=None) + _AHEAD
    if photo.taken is None or not _FIRST_EXIF <= photo.taken <= latest:
        return None
    return photo.taken.replace(tzinfo=zone)


def check_room(tool_set: ToolSet, photos: Sequence[Photo]) -> None:
    """Refuse photos that a set has no room for. Raises PhotoRefused."""
    named = {uuid5(tool_set.pk, photo.sha256) for photo in photos}
    standing = set(SetPhoto.objects.filter(tool_set=tool_set, removed_at__isnull=True).values_list("pk", flat=True))
    if named and len(standing | named) > MOST_OF_A_SET:
        raise PhotoRefused(
            _("A set keeps %(most)d photos.") % {"most": MOST_OF_A_SET},
            _("Take away what shows nothing."),
            field="photos",
        )


def remove_photo(person: Person, photo: SetPhoto, *, now: datetime) -> None:
    """Show a photo no more; it stays on record as taken away. Safe to repeat."""
    SetPhoto.objects.filter(pk=photo.pk, removed_at__isnull=True).update(removed_at=now, removed_by=person)


def _write(photo_id: UUID, jpeg: bytes) -> None:
    """Write a picture whole or not at all."""
    path = photo_path(photo_id)
    if path.exists():
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, draft = tempfile.mkstemp(dir=path.parent, prefix=".draft")
    with os.fdopen(handle, "wb") as file:
        file.write(jpeg)
    os.replace(draft, path)
