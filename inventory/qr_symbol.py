"""The square of a label: an address as a QR symbol (ISO/IEC 18004), level H, alphanumeric, with its quiet zone.

Lengths in modules; rows count from the top. What paper or page makes of it is for `labels.py` and the templates.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from django.utils.html import escape
from django.utils.translation import gettext as _
from qrcode.constants import ERROR_CORRECT_H
from qrcode.main import QRCode
from qrcode.util import MODE_8BIT_BYTE, MODE_ALPHA_NUM, QRData

from inventory.codes import QR_ALPHANUMERIC, AddressNotPrintable

QUIET_ZONE = 4
# Most characters of an alphanumeric address at level H, by version (ISO/IEC 18004:2006, Table 7). Smaller versions
# are left out, so that all labels of a shop have squares of one size.
MOST_CHARACTERS = {3: 35, 4: 50}
# A sheet of paper has room for larger ones (the same table).
MOST_ON_PAPER = MOST_CHARACTERS | {5: 64, 6: 84, 7: 93, 8: 122}
# Choosing the best of eight masks takes nine tenths of the time and gains nothing measurable (worn-print model).
MASK = 3


@dataclass(frozen=True)
class QrSymbol:
    """The dark modules of a symbol, without quiet zone: `runs` of (row, first column, length); `side` in modules."""

    version: int
    side: int
    runs: tuple[tuple[int, int, int], ...]

    @property
    def side_with_quiet_zone(self) -> int:
        return self.side + 2 * QUIET_ZONE


def symbol_version(address: str) -> int:
    """Return the version, 3 or 4, that holds `address`.

    Raises AddressNotPrintable when the address is too long, or holds what would make the square larger (lower case).
    """
    strange = sorted(set(address) - QR_ALPHANUMERIC)
    if strange or not address:
        raise AddressNotPrintable(
            _("“%(address)s” cannot stand in a label: only capitals, digits and $ %% * + - . / : can.")
            % {"address": address[:80]}
        )
    for version, most in MOST_CHARACTERS.items():
        if len(address) <= most:
            return version
    raise AddressNotPrintable(
        _(
            "The shop's address is too long for a label: %(address)s has %(count)d characters, at most %(most)d fit. "
            "Give the shop a shorter host name."
        )
        % {"address": address[:80], "count": len(address), "most": MOST_CHARACTERS[4]}
    )


@lru_cache(maxsize=2048)
def qr_symbol(address: str) -> QrSymbol:
    """Return the symbol of `address`, upper-case alphanumeric, 1 to 50 characters.

    Raises AddressNotPrintable.
    """
    return _drawn(address, symbol_version(address))


@lru_cache(maxsize=64)
def paper_symbol(address: str) -> QrSymbol:
    """Return the symbol of `address` for a sheet of paper: 1 to 122 upper-case alphanumeric characters.

    Raises AddressNotPrintable.
    """
    fitting = [version for version, most in MOST_ON_PAPER.items() if 0 < len(address) <= most]
    if not fitting or set(address) - QR_ALPHANUMERIC:
        raise AddressNotPrintable(
            _("“%(address)s” cannot stand in a square on paper: 1 to %(most)d capitals, digits and signs can.")
            % {"address": address[:80], "most": max(MOST_ON_PAPER.values())}
        )
    try:
        return _drawn(address, fitting[0])
    except ValueError:
        # The library cannot divide a block of nothing but zeros (a key such as 0000…); as plain bytes it has none.
        return _drawn(address, None, mode=MODE_8BIT_BYTE)


def _drawn(address: str, version: int | None, *, mode: int = MODE_ALPHA_NUM) -> QrSymbol:
    code = QRCode(version=version, error_correction=ERROR_CORRECT_H, mask_pattern=MASK, border=0)
    code.add_data(QRData(address.encode("ascii"), mode=mode), optimize=0)
    code.make(fit=version is None)
    rows = code.modules
    return QrSymbol(code.version, len(rows), tuple(run for y, row in enumerate(rows) for run in _runs(y, row)))


def qr_svg(address: str, *, module: int = 4, name: str = "") -> str:
    """Return the symbol as an SVG element for a page: black on white, its quiet zone included, attributes only.

    `module` is the side of a module in CSS pixels, whole and at least 1. With a `name` it is an image of that name;
    without, it is hidden from readers (the code in letters stands beside it).
    Raises AddressNotPrintable for the address, ValueError for the module.
    """
    if module < 1:
        raise ValueError(f"qr_svg: module is {module}; it is a whole number of pixels from 1 on")
    symbol = qr_symbol(address)
    side = symbol.side_with_quiet_zone
    path = "".join(f"M{x + QUIET_ZONE} {y + QUIET_ZONE}h{n}v1h-{n}z" for y, x, n in symbol.runs)
    described = f'role="img" aria-label="{escape(name)}"' if name else 'aria-hidden="true"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{side * module}" height="{side * module}" '
        f'viewBox="0 0 {side} {side}" shape-rendering="crispEdges" {described}>'
        f'<path fill="#fff" d="M0 0h{side}v{side}h-{side}z"/><path fill="#000" d="{path}"/></svg>'
    )


def _runs(y: int, row: list[bool]) -> Iterator[tuple[int, int, int]]:
    start = None
    for x, dark in enumerate([*row, False]):
        if dark and start is None:
            start = x
        elif not dark and start is not None:
            yield y, start, x - start
            start = None
