"""The square: versions and capacities of ISO/IEC 18004, and what an outside reader makes of ours."""

import re
from xml.etree import ElementTree

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from qrcode import constants
from qrcode.main import QRCode
from qrcode.util import MODE_8BIT_BYTE, MODE_ALPHA_NUM, QRData

from inventory.codes import QR_ALPHANUMERIC, AddressNotPrintable
from inventory.qr_symbol import MOST_CHARACTERS, QUIET_ZONE, QrSymbol, qr_svg, qr_symbol, symbol_version

LEVELS = {
    "L": constants.ERROR_CORRECT_L,
    "M": constants.ERROR_CORRECT_M,
    "Q": constants.ERROR_CORRECT_Q,
    "H": constants.ERROR_CORRECT_H,
}
# ISO/IEC 18004:2006, Table 7 (REFERENCES Q2, Q3): characters by version and level L, M, Q, H.
ALPHANUMERIC = {
    1: (25, 20, 16, 10),
    2: (47, 38, 29, 20),
    3: (77, 61, 47, 35),
    4: (114, 90, 67, 50),
    5: (154, 122, 87, 64),
    6: (195, 154, 108, 84),
}
BYTES = {
    1: (17, 14, 11, 7),
    2: (32, 26, 20, 14),
    3: (53, 42, 32, 24),
    4: (78, 62, 46, 34),
    5: (106, 84, 60, 44),
    6: (134, 106, 74, 58),
}
ADDRESS = "HTTPS://SHOP.EXAMPLE/S/GL-7K2M4A"


def address_of(length: int) -> str:
    return ("HTTPS://" + "A" * 99)[: length - 12] + "/S/GL-7K2M4A"


def matrix(symbol: QrSymbol) -> np.ndarray:
    dark = np.zeros((symbol.side, symbol.side), dtype=bool)
    for y, x, n in symbol.runs:
        dark[y, x : x + n] = True
    return dark


def read(dark: np.ndarray, pixels: int = 4) -> zxingcpp.Barcode:
    image = np.kron(np.pad(~dark, QUIET_ZONE, constant_values=True), np.ones((pixels, pixels))) * 255
    found = zxingcpp.read_barcodes(Image.fromarray(image.astype(np.uint8)))
    assert len(found) == 1
    return found[0]


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("version", ALPHANUMERIC)
def test_the_library_holds_the_published_capacities(version, level):
    # Q2, Q3, and Q1: a side is 17 + 4 v modules.
    for letter, mode, table in (("A", MODE_ALPHA_NUM, ALPHANUMERIC), ("a", MODE_8BIT_BYTE, BYTES)):
        most = table[version]["LMQH".index(level)]
        for extra in (0, 1):
            code = QRCode(error_correction=LEVELS[level], mask_pattern=0, border=0)
            code.add_data(QRData((letter * (most + extra)).encode(), mode=mode))
            code.make(fit=True)
            assert code.version == version + extra
            assert code.modules_count == 17 + 4 * code.version


def test_our_limits_are_the_published_ones_at_level_h():
    assert {v: ALPHANUMERIC[v]["LMQH".index("H")] for v in (3, 4)} == MOST_CHARACTERS


def test_the_quiet_zone_is_the_librarys_four_modules():
    # Q6: ISO/IEC 18004 asks for four; both packages named in REFERENCES default to it.
    assert QUIET_ZONE == QRCode().border == 4


def test_small_letters_would_need_a_larger_square():
    # Q7: 45 characters are alphanumeric, small letters are not, and force bytes.
    assert len(QR_ALPHANUMERIC) == 45
    assert symbol_version(ADDRESS) == 3
    lower = QRCode(error_correction=constants.ERROR_CORRECT_H, mask_pattern=0)
    lower.add_data(ADDRESS.lower())
    lower.make(fit=True)
    assert lower.version == 4


@pytest.mark.parametrize(
    ("length", "version", "side"), [(29, 3, 29), (32, 3, 29), (35, 3, 29), (36, 4, 33), (50, 4, 33)]
)
def test_an_address_takes_version_3_or_4_by_its_length(length, version, side):
    symbol = qr_symbol(address_of(length))

    assert (symbol.version, symbol.side, symbol.side_with_quiet_zone) == (version, side, side + 8)


@pytest.mark.parametrize("length", [13, 29, 32, 35, 36, 45, 50])
def test_an_outside_reader_reads_the_address_at_level_h(length):
    found = read(matrix(qr_symbol(address_of(length))))

    assert found.text == address_of(length)
    assert found.ec_level == "H"


def test_a_blot_on_an_eighth_of_the_square_is_mended_at_level_h_and_not_at_level_l():
    # Q5: level H mends about 30 % of the codewords, L 7 %; a blot over data, not over a finder corner.
    weak = QRCode(version=3, error_correction=constants.ERROR_CORRECT_L, mask_pattern=3, border=0)
    weak.add_data(QRData(ADDRESS.encode(), mode=MODE_ALPHA_NUM), optimize=0)
    weak.make(fit=False)
    ours, theirs = matrix(qr_symbol(ADDRESS)), np.array(weak.modules, dtype=bool)
    for dark in (ours, theirs):
        dark[10:20, 10:20] = True

    assert 100 / ours.size == pytest.approx(1 / 8, abs=0.01)
    assert read(ours).text == ADDRESS
    with pytest.raises(AssertionError):
        read(theirs)


def test_an_address_that_is_too_long_is_refused():
    with pytest.raises(AddressNotPrintable) as refused:
        qr_symbol(address_of(51))
    assert str(refused.value) == (
        f"The shop's address is too long for a label: {address_of(51)} has 51 characters, at most 50 fit. "
        "Give the shop a shorter host name."
    )


@pytest.mark.parametrize("address", ["", ADDRESS.lower(), "HTTPS://SHOP.EXAMPLE/S/GL_7K2M4A"])
def test_an_address_with_other_characters_is_refused(address):
    with pytest.raises(AddressNotPrintable, match=r"only capitals, digits and \$ % \* \+ - \. / : can\.$"):
        qr_symbol(address)


def test_the_svg_of_a_page_reads_and_has_attributes_only():
    svg = ElementTree.fromstring(qr_svg(ADDRESS, module=5, name='Label "A" & <B>'))
    white, black = svg
    dark = np.zeros((37, 37), dtype=bool)
    for x, y, n, back in re.findall(r"M(\d+) (\d+)h(\d+)v1h-(\d+)z", black.attrib["d"]):
        assert n == back
        dark[int(y), int(x) : int(x) + int(n)] = True

    assert svg.attrib == {
        "width": "185",
        "height": "185",
        "viewBox": "0 0 37 37",
        "shape-rendering": "crispEdges",
        "role": "img",
        "aria-label": 'Label "A" & <B>',
    }
    assert (white.attrib["fill"], black.attrib["fill"]) == ("#fff", "#000")
    assert not dark[:4].any()
    assert not dark[:, :4].any()
    assert read(dark).text == ADDRESS


def test_an_svg_without_a_name_is_hidden_from_readers():
    assert 'aria-hidden="true"' in qr_svg(ADDRESS)
    assert "style" not in qr_svg(ADDRESS)
    with pytest.raises(ValueError, match="module is 0"):
        qr_svg(ADDRESS, module=0)
