"""The grit ramp: a colour for each place on the ladder, by formula; and contrast.

Nothing here knows a grit number: colour follows the place alone. The conversions are those of the sRGB standard
(IEC 61966-2-1) and of B. Ottosson's OKLab (2020), matrices as published there; written from memory and held by tests.
"""

import math

__all__ = ["MOST_PLACES", "contrast", "oklab", "ramp", "ramp_colour", "ramp_css", "words_on"]

MOST_PLACES = 16

_LIGHT = (0.34, 0.44)
_NIGHT = (0.56, 0.34)
_ROOM = 1e-9  # a channel this far outside 0..1 is rounding, not gamut


def _linear_from_oklch(lightness: float, chroma: float, hue_deg: float) -> tuple[float, float, float]:
    """Linear sRGB of an OKLCH colour; channels may lie outside 0..1."""
    a = chroma * math.cos(math.radians(hue_deg))
    b = chroma * math.sin(math.radians(hue_deg))
    long = (lightness + 0.3963377774 * a + 0.2158037573 * b) ** 3
    medium = (lightness - 0.1055613458 * a - 0.0638541728 * b) ** 3
    short = (lightness - 0.0894841775 * a - 1.2914855480 * b) ** 3
    return (
        4.0767416621 * long - 3.3077115913 * medium + 0.2309699292 * short,
        -1.2684380046 * long + 2.6097574011 * medium - 0.3413193965 * short,
        -0.0041960863 * long - 0.7034186147 * medium + 1.7076147010 * short,
    )


def _encoded(linear: float) -> float:
    """One sRGB channel, 0..1, of a linear one."""
    return 12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055


def _decoded(channel: float) -> float:
    """One linear channel, 0..1, of an sRGB one."""
    return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4


def linear(colour: str) -> tuple[float, float, float]:
    """Linear sRGB channels 0..1 of a colour written `#RRGGBB`.

    Raises ValueError if it is not written so.
    """
    text = colour.strip()
    if len(text) != 7 or text[0] != "#":
        raise ValueError(f"`colour` is written #RRGGBB, got {colour!r}")
    red, green, blue = (_decoded(int(text[at : at + 2], 16) / 255) for at in (1, 3, 5))
    return red, green, blue


def oklab(channels: tuple[float, float, float]) -> tuple[float, float, float]:
    """OKLab (lightness, a, b) of linear sRGB channels."""
    red, green, blue = channels
    long = math.cbrt(0.4122214708 * red + 0.5363325363 * green + 0.0514459929 * blue)
    medium = math.cbrt(0.2119034982 * red + 0.6806995451 * green + 0.1073969566 * blue)
    short = math.cbrt(0.0883024619 * red + 0.2817188376 * green + 0.6299787005 * blue)
    return (
        0.2104542553 * long + 0.7936177850 * medium - 0.0040720468 * short,
        1.9779984951 * long - 2.4285922050 * medium + 0.4505937099 * short,
        0.0259040371 * long + 0.7827717662 * medium - 0.8086757660 * short,
    )


def contrast(one: str, other: str) -> float:
    """Contrast ratio 1..21 of two colours `#RRGGBB` (WCAG 2.2, relative luminance)."""

    def luminance(colour: str) -> float:
        red, green, blue = linear(colour)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def ramp_colour(place: int, count: int, *, night: bool = False) -> str:
    """Colour `#RRGGBB` of a place on the ladder.

    `place` 0 (coarsest) to `count` - 1 (finest). Raises ValueError for a place outside the ladder.
    """
    if count < 1 or not 0 <= place < count:
        raise ValueError(f"`place` must lie in 0..{count - 1} of `count` {count}, got {place}")
    t = place / (count - 1) if count > 1 else 0.5
    base, rise = _NIGHT if night else _LIGHT
    lightness, chroma, hue = base + rise * t, 0.125 - 0.03 * t, 335 - 145 * t
    while True:
        channels = _linear_from_oklch(lightness, chroma, hue)
        if chroma <= 0 or all(-_ROOM <= channel <= 1 + _ROOM for channel in channels):
            break
        chroma -= 0.002
    red, green, blue = (round(255 * _encoded(min(max(channel, 0.0), 1.0))) for channel in channels)
    return f"#{red:02X}{green:02X}{blue:02X}"


def ramp(count: int, *, night: bool = False) -> list[str]:
    """The colours of a whole ladder of `count` places, coarse to fine."""
    return [ramp_colour(place, count, night=night) for place in range(count)]


def words_on(colour: str) -> str:
    """The black or the white that reads better on a colour."""
    return max(("#FFFFFF", "#000000"), key=lambda words: contrast(words, colour))


def ramp_css(most: int = MOST_PLACES) -> str:
    """The style sheet `ramp.css`: a class `ramp-<place>-of-<count>` for every place of ladders up to `most`.

    A class sets `--grit` (the colour in the mode that is on) and `--on-grit` (words upon it).
    """
    lines = [
        "/* Made by `python -m inventory.colour > inventory/static/inventory/ramp.css`: change it there.",
        "   Colour follows place on the ladder, never a grit's number. */",
        '[class*="ramp-"] { --grit: var(--grit-day); --on-grit: var(--on-day); }',
        "@media (prefers-color-scheme: dark) {",
        '  :root:not([data-theme="light"]) [class*="ramp-"] { --grit: var(--grit-night); --on-grit: var(--on-night); }',
        "}",
        ':root[data-theme="night"] [class*="ramp-"] { --grit: var(--grit-night); --on-grit: var(--on-night); }',
    ]
    for count in range(1, most + 1):
        for place, (day, night) in enumerate(zip(ramp(count), ramp(count, night=True), strict=True)):
            lines.append(
                f".ramp-{place}-of-{count} {{ --grit-day: {day}; --on-day: {words_on(day)}; "
                f"--grit-night: {night}; --on-night: {words_on(night)} }}"
            )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    import sys

    sys.stdout.write(ramp_css())
