"""Photos as they are kept: turned upright, small enough, without what a camera writes along (such as where it was)."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import UUID

from django.conf import settings
from django.utils.translation import gettext as _

from inventory.refusals import Refused

if TYPE_CHECKING:
    from PIL.Image import Image, Transpose

MOST_BYTES = 20 * 1024 * 1024
MOST_PIXELS = 60_000_000
# Longer side of what is kept: enough to see a crack in a piece, about half a megabyte (our assumption).
KEPT_SIDE = 2000
_QUALITY = 85
# Other kinds of picture are never opened: their readers are not needed, and some run programs.
_FORMATS = ("JPEG", "PNG", "WEBP")
# Exif 2.32: which side is up, the sub-directory with the time, and the time the picture was taken.
_ORIENTATION, _EXIF_IFD, _TAKEN = 0x0112, 0x8769, 0x9003
# ISO/IEC 23008-12 and AVIF: brands in the first box of a file that phones write instead of JPEG.
_PHONE_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1", b"avif")


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
    from PIL import Image as pictures
    from PIL import UnidentifiedImageError

    if len(raw) > MOST_BYTES:
        raise too_large()
    if raw[4:8] == b"ftyp" and raw[8:12] in _PHONE_BRANDS:
        raise PhotoRefused(
            _("That is a HEIC or AVIF picture, which is not read here."),
            _("Set the camera to JPEG, or send a screen picture of it."),
            field="photos",
        )
    try:
        with pictures.open(io.BytesIO(raw), formats=_FORMATS) as image:
            if image.width * image.height > MOST_PIXELS:
                raise _too_many_pixels()
            turn, taken = _turn_and_time(image)
            image.draft("RGB", (KEPT_SIDE, KEPT_SIDE))
            upright = _opaque(image)
            upright.thumbnail((KEPT_SIDE, KEPT_SIDE))
            if turn is not None:
                upright = upright.transpose(turn)
            upright.info.clear()  # a comment would be written along
            kept = io.BytesIO()
            upright.save(kept, "JPEG", quality=_QUALITY)
    except PhotoRefused:
        raise
    except pictures.DecompressionBombError as problem:
        raise _too_many_pixels() from problem
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as problem:
        raise PhotoRefused(
            _("One of the files is no photo."), _("Take JPEG, PNG or WebP pictures."), field="photos"
        ) from problem
    return Photo(kept.getvalue(), upright.width, upright.height, hashlib.sha256(raw).hexdigest(), taken)


def too_large() -> PhotoRefused:
    """The refusal of a file of too many bytes."""
    return PhotoRefused(_("The photo is larger than 20 MB."), _("Take it with less resolution."), field="photos")


def _too_many_pixels() -> PhotoRefused:
    return PhotoRefused(
        _("The photo has more than 60 million pixels."), _("Take it with less resolution."), field="photos"
    )


def _turn_and_time(image: Image) -> tuple[Transpose | None, datetime | None]:
    """How to turn a picture upright, and when it was taken. A photo whose notes are damaged is a photo all the same."""
    from PIL.Image import Transpose

    turns = {
        2: Transpose.FLIP_LEFT_RIGHT,
        3: Transpose.ROTATE_180,
        4: Transpose.FLIP_TOP_BOTTOM,
        5: Transpose.TRANSPOSE,
        6: Transpose.ROTATE_270,
        7: Transpose.TRANSVERSE,
        8: Transpose.ROTATE_90,
    }
    try:
        notes = image.getexif()
        return turns.get(notes.get(_ORIENTATION, 1)), _taken(notes.get_ifd(_EXIF_IFD).get(_TAKEN))
    except Exception:  # whatever a reader of damaged notes raises
        return None, None


def _opaque(image: Image) -> Image:
    """The picture without transparency: what shows through is white, as paper is."""
    from PIL import Image as pictures

    if not image.has_transparency_data:
        return image.convert("RGB")
    shown = image.convert("RGBA")
    paper = pictures.new("RGBA", shown.size, "white")
    return pictures.alpha_composite(paper, shown).convert("RGB")


def _taken(text: object) -> datetime | None:
    try:
        return datetime.strptime(str(text), "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007 - a camera knows no zone
    except ValueError:
        return None


def photo_path(photo_id: UUID) -> Path:
    """Where a photo lies, under the data folder."""
    return Path(settings.DATA_DIR) / "photos" / f"{photo_id}.jpg"
