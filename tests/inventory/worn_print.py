"""A print as a phone meets it: dots of the printer, ink that spread, a turned label, stains, a camera, blur and noise.

Reading back a clean rendering proves nothing: a good reader reads one dot a module there. This model is ours (no
published one was at hand); its strength is set so that sizes too small to offer fail in it: 2 dots at 203 dpi, 3 at
300 (see tests/benchmarks/labels.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pypdfium2
import zxingcpp
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

FINE = 4  # pixels per printer dot while the ink spreads: a quarter dot is one of them
BLUR_MM = 0.075
NOISE = 8.0
PAPER, INK = 205.0, 52.0

Gray = NDArray[np.uint8]
Dots = NDArray[np.bool_]


@dataclass(frozen=True)
class Wear:
    """How a print was used and seen; lengths in mm, angles in degrees, `stains` as a share of the label's area."""

    spread_dots: float = 0.25
    turn: float = 7.0
    stains: float = 0.0
    camera_px_per_mm: float = 10.0


def printed_dots(pdf: bytes, dpi: int, page: int = 0) -> Dots:
    """Return what a printer of `dpi` dots per inch puts down: True where a dot is dark. Shape (rows, columns)."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        gray = np.array(document[page].render(scale=dpi / 72, grayscale=True).to_numpy())
        dark: Dots = gray.reshape(gray.shape[:2]) < 128
        return dark
    finally:
        document.close()


def seen_by_camera(dots: Dots, dpi: int, wear: Wear, rng: np.random.Generator) -> Gray:
    """Return the picture a phone takes of a worn print."""
    fine = np.repeat(np.repeat(dots, FINE, axis=0), FINE, axis=1)
    spread = round(wear.spread_dots * FINE)
    for axis in (0, 1):  # a square of ink grows by rows, then by columns
        grown = fine.copy()
        for step in range(1, spread + 1):
            grown |= np.roll(fine, step, axis) | np.roll(fine, -step, axis)
        fine = grown
    fine_per_mm = dpi * FINE / 25.4
    if wear.stains:
        fine = _stained(fine, wear.stains, fine_per_mm, rng)

    image = Image.fromarray(np.where(fine, INK, PAPER).astype(np.uint8))
    image = image.reduce(2)  # gray from here on: half the pixels each way say the same
    fine_per_mm /= 2
    turn = wear.turn * rng.choice([-1, 1]) + rng.uniform(-1, 1)
    image = image.rotate(turn, resample=Image.Resampling.BILINEAR, expand=True, fillcolor=round(PAPER * 0.8))
    shrink = wear.camera_px_per_mm / fine_per_mm
    size = (max(1, round(image.width * shrink)), max(1, round(image.height * shrink)))
    offset = rng.uniform(0, 1 / shrink, size=2)
    image = image.resize(
        size, Image.Resampling.BOX, box=(0, 0, image.width - float(offset[0]), image.height - float(offset[1]))
    )
    seen = ndimage.gaussian_filter(np.asarray(image, dtype=float), BLUR_MM * wear.camera_px_per_mm)
    light = np.linspace(1.0, rng.uniform(0.75, 1.0), seen.shape[1])
    return np.clip(seen * light + rng.normal(0, NOISE, seen.shape), 0, 255).astype(np.uint8)


def read_back(picture: Gray) -> list[str]:
    """Return the texts of all squares a reader of another maker (zxing-cpp) finds in a picture."""
    return [found.text for found in zxingcpp.read_barcodes(Image.fromarray(picture))]


def _stained(fine: Dots, share: float, fine_per_mm: float, rng: np.random.Generator) -> Dots:
    """Slurry in round spots, half of them dark and half scratched white, until they cover `share` of the label."""
    fine = fine.copy()
    covered, so_far = np.zeros_like(fine), 0
    while so_far < share * fine.size:
        radius = rng.uniform(0.3, 1.2) * fine_per_mm
        y, x = rng.uniform(0, fine.shape[0]), rng.uniform(0, fine.shape[1])
        top, left = max(0, int(y - radius)), max(0, int(x - radius))
        rows, columns = np.ogrid[top : int(y + radius) + 1, left : int(x + radius) + 1]
        spot = ((rows - y) ** 2 + (columns - x) ** 2 <= radius**2)[: fine.shape[0] - top, : fine.shape[1] - left]
        part = (slice(top, top + spot.shape[0]), slice(left, left + spot.shape[1]))
        fine[part] = np.where(spot, rng.random() < 0.5, fine[part])
        so_far += int((spot & ~covered[part]).sum())
        covered[part] |= spot
    return fine
