"""What a photo must be to be kept, and what is left of it: files as they come, and as somebody mean sends them."""

from __future__ import annotations

import io
import struct
import zlib
from datetime import datetime

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageOps

from inventory.forms.photos_field import PhotosForm
from inventory.photos import KEPT_SIDE, MOST_BYTES, PhotoRefused, read_photo


def jpeg(size: tuple[int, int] = (40, 30), exif: bytes = b"", **more: object) -> bytes:
    """Left half red, right half blue."""
    image = Image.new("RGB", size, "blue")
    image.paste("red", (0, 0, size[0] // 2, size[1]))
    file = io.BytesIO()
    image.save(file, "JPEG", exif=exif, **more)  # type: ignore[arg-type]
    return file.getvalue()


def notes(orientation: int = 1) -> bytes:
    """Exif 2.32 with a side that is up, a place (GPS) and a time."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x8825] = {1: "N", 2: (41.0, 52.0, 3.0)}
    exif[0x8769] = {0x9003: "2026:11:20 10:00:00"}
    return exif.tobytes()


def png(width: int, height: int) -> bytes:
    """A black picture of one bit a pixel (PNG, ISO/IEC 15948): a few kilobytes for any size."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    rows = zlib.compress(bytes((1 + (width + 7) // 8) * height), 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def opened(raw: bytes) -> Image.Image:
    return Image.open(io.BytesIO(read_photo(raw).jpeg))


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_photo_is_turned_as_the_library_turns_it(orientation: int) -> None:
    raw = jpeg(exif=notes(orientation))
    kept, right = opened(raw), ImageOps.exif_transpose(Image.open(io.BytesIO(raw)))
    assert kept.size == right.size
    for corner in ((2, 2), (kept.width - 3, 2), (2, kept.height - 3)):
        asked, said = right.getpixel(corner), kept.getpixel(corner)
        assert all(abs(a - b) < 40 for a, b in zip(asked, said, strict=True))  # type: ignore[arg-type]


def test_nothing_a_camera_writes_along_is_kept_but_the_time() -> None:
    raw = jpeg(exif=notes(), comment=b"at the customer")
    photo = read_photo(raw)
    assert b"at the customer" in raw
    assert b"at the customer" not in photo.jpeg
    assert b"Exif" not in photo.jpeg
    assert photo.taken == datetime(2026, 11, 20, 10)


@pytest.mark.filterwarnings("ignore::UserWarning")  # the library's own, of damaged notes
@given(st.lists(st.tuples(st.integers(20, 200), st.integers(0, 255)), min_size=1, max_size=12))
def test_damaged_notes_are_no_reason_to_fall_over(changes: list[tuple[int, int]]) -> None:
    raw = bytearray(jpeg(exif=notes(6)))
    for place, value in changes:
        raw[place] = value
    try:
        photo = read_photo(bytes(raw))
    except PhotoRefused:
        return
    assert max(photo.width, photo.height) <= KEPT_SIDE


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"", "One of the files is no photo."),
        (b"%PDF-1.7\n%" + bytes(400), "One of the files is no photo."),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "One of the files is no photo."),
        (jpeg()[:300], "One of the files is no photo."),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "That is a HEIC or AVIF picture, which is not read here."),
        (png(30_000, 30_000), "The photo has more than 60 million pixels."),
        (png(8_000, 7_600), "The photo has more than 60 million pixels."),
        (bytes(MOST_BYTES + 1), "The photo is larger than 20 MB."),
    ],
)
def test_what_is_no_photo_or_is_too_much_is_refused_in_words(raw: bytes, said: str) -> None:
    with pytest.raises(PhotoRefused) as refused:
        read_photo(raw)
    assert refused.value.sentence.startswith(said)


def test_what_shows_through_is_white() -> None:
    file = io.BytesIO()
    Image.new("RGBA", (20, 20), (0, 0, 0, 0)).save(file, "PNG")
    assert opened(file.getvalue()).getpixel((9, 9)) == (255, 255, 255)


def test_a_file_that_is_too_large_is_not_even_read() -> None:
    class Heavy(SimpleUploadedFile):
        def read(self, *args: object, **more: object) -> bytes:  # type: ignore[override]
            raise AssertionError("It was read.")

    heavy = Heavy("a.jpg", b"x", "image/jpeg")
    heavy.size = MOST_BYTES + 1
    form = PhotosForm({}, {"photos": [heavy]})
    assert form.errors["photos"] == ["The photo is larger than 20 MB. Take it with less resolution."]
