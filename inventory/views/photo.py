"""A photo of a label, read on the server: for phones whose browser may not use the camera in the page."""

from __future__ import annotations

from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext as _

MOST_BYTES = 20 * 1024 * 1024
# A phone's photo has 12 to 50 million pixels; a label's square needs far fewer. JPEG decodes smaller at no cost.
_DRAFT_PIXELS = 1600
_MOST_PIXELS = 60_000_000
# Other kinds of picture are never opened: their readers are not needed, and some run programs.
_FORMATS = ("JPEG", "PNG", "WEBP")


class PhotoNotRead(ValueError):
    """The photo shows no label that can be read; the message is a sentence for the person."""


def read_photo(file: UploadedFile) -> str:
    """Return the text of the label in a photo.

    JPEG, PNG and WebP. Looks at a small draft of the picture first, then at the whole.
    Raises PhotoNotRead.
    """
    from PIL import Image, UnidentifiedImageError

    if (file.size or 0) > MOST_BYTES:
        raise PhotoNotRead(_("The photo is larger than 20 MB. Take it with less resolution, or type the code."))
    try:
        with Image.open(file, formats=_FORMATS) as image:
            if image.width * image.height > _MOST_PIXELS:
                raise PhotoNotRead(_("The photo is too large to read. Take it with less resolution, or type the code."))
            for draft in (True, False):
                if draft:
                    image.draft("L", (_DRAFT_PIXELS, _DRAFT_PIXELS))
                else:
                    file.seek(0)
                text = _decode(image if draft else Image.open(file, formats=_FORMATS))
                if text:
                    return text
    except PhotoNotRead:
        raise
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError) as problem:
        # ValueError: texts in a PNG that unpack to far more than a photo needs.
        raise PhotoNotRead(_("This file is not a photo. Take one of the label, or type its code.")) from problem
    raise PhotoNotRead(_("No label can be read in this photo. Go closer, hold it flat, or type the code."))


def _decode(image: object) -> str:
    import zxingcpp

    grey = image.convert("L")  # type: ignore[attr-defined]
    grey.thumbnail((2400, 2400))
    found = zxingcpp.read_barcodes(grey, formats=zxingcpp.BarcodeFormat.QRCode)  # type: ignore[arg-type]
    texts = {one.text for one in found if one.text}
    if len(texts) > 1:
        raise PhotoNotRead(_("There are several labels in this photo. Take one at a time."))
    return texts.pop() if texts else ""
