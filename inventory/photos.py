"""Photos as they are kept: turned upright, small enough, without what a camera writes along (such as where it was)."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from uuid import UUID

from django.conf import settings
from django.utils.translation import gettext as _

from inventory.refusals import Refused

MOST_BYTES = 20 * 1024 * 1024
MOST_PIXELS = 60_000_000
# Longer side of what is kept: enough to see a crack in a piece, about half a megabyte (our assumption).
KEPT_SIDE = 2000
_QUALITY = 85
# Other kinds of picture are never opened: their readers are not needed, and some run programs.
_FORMATS = ("JPEG", "PNG", "WEBP")
# Exif 2.32: the sub-directory with the time, and the time the picture was taken.
_EXIF_IFD, _TAKEN = 0x8769, 0x9003


class PhotoRefused(Refused):
    """The file is no photo that can be kept."""

    code = "photo"


@dataclass(frozen=True)
class Photo:
    """One photo ready to be kept. sha256: of the file as sent; taken: by the camera's own clock, without a zone."""

    jpeg: bytes
    width: int
    height: int
    sha256: str
    taken: datetime | None


def read_photo(raw: bytes) -> Photo:
    """A photo from a file's bytes: JPEG, PNG or WebP, at most 20 MB. Raises PhotoRefused."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    if len(raw) > MOST_BYTES:
        raise PhotoRefused(_("The photo is larger than 20 MB."), _("Take it with less resolution."), field="photos")
    try:
        with Image.open(io.BytesIO(raw), formats=_FORMATS) as image:
            if image.width * image.height > MOST_PIXELS:
                raise PhotoRefused(
                    _("The photo has more than 60 million pixels."), _("Take it with less resolution."), field="photos"
                )
            taken = _taken(image.getexif().get_ifd(_EXIF_IFD).get(_TAKEN))
            image.draft("RGB", (KEPT_SIDE, KEPT_SIDE))
            upright = ImageOps.exif_transpose(image).convert("RGB")
            upright.thumbnail((KEPT_SIDE, KEPT_SIDE))
            kept = io.BytesIO()
            upright.save(kept, "JPEG", quality=_QUALITY)
    except PhotoRefused:
        raise
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError) as problem:
        raise PhotoRefused(
            _("One of the files is no photo."), _("Take JPEG, PNG or WebP pictures."), field="photos"
        ) from problem
    return Photo(kept.getvalue(), upright.width, upright.height, hashlib.sha256(raw).hexdigest(), taken)


def _taken(text: object) -> datetime | None:
    try:
        return datetime.strptime(str(text), "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007 - a camera knows no zone
    except ValueError:
        return None


def photo_path(photo_id: UUID) -> Path:
    """Where a photo lies, under the data folder."""
    return Path(settings.DATA_DIR) / "photos" / f"{photo_id}.jpg"
