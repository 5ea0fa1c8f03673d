"""Codes: the check character against ISO 7064 as python-stdnum has it, and what people type and scan."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from inventory.codes import (
    ALPHABET,
    CODE_LENGTH,
    AddressNotPrintable,
    CodeNotRead,
    check_character,
    code_address,
    label_base,
    new_code,
    read_code,
)

ISO_CHARACTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"

codes = st.integers(min_value=0, max_value=2**32).map(lambda seed: new_code(random.Random(seed)))


def has_unnoticed_swap(body: str) -> bool:
    """Tell, by python-stdnum alone, whether a swap of neighbours in body and check character would pass."""
    whole = body + mod_37_36.calc_check_digit(body)
    swaps = [whole[:i] + whole[i + 1] + whole[i] + whole[i + 2 :] for i in range(5)]
    return set(whole) <= set(ALPHABET) and any(swap != whole and mod_37_36.is_valid(swap) for swap in swaps)


def refusal(text: str) -> str:
    with pytest.raises(CodeNotRead) as refused:
        read_code(text)
    return str(refused.value)


@given(st.text(alphabet=ISO_CHARACTERS, max_size=12))
def test_the_check_character_is_the_one_of_iso_7064(body):
    # python-stdnum 2.x, stdnum.iso7064.mod_37_36, with its whole alphabet of 36.
    assert check_character(body) == mod_37_36.calc_check_digit(body)


def test_a_published_release_identifier_has_its_check_character():
    # A1-2425G-ABC1234002-M, the example of the GRid standard (MOD 37,36), in python-stdnum's documentation.
    assert check_character("A12425GABC1234002") == "M"


@given(codes)
def test_a_new_code_is_of_the_shops_alphabet_and_reads_as_itself(code):
    assert len(code) == CODE_LENGTH == 9
    assert code.startswith("GL-")
    assert set(code[3:]) <= set(ALPHABET)
    assert mod_37_36.is_valid(code[3:])
    assert read_code(code) == code


def test_the_alphabet_has_no_look_alikes_and_32_characters():
    assert len(set(ALPHABET)) == len(ALPHABET) == 32
    assert not set(ALPHABET) & set("ILOU")


def test_new_codes_come_from_the_dice_alone():
    first, again = random.Random(5), random.Random(5)

    assert [new_code(first) for _ in range(50)] == [new_code(again) for _ in range(50)]
    assert len({new_code(first) for _ in range(2000)}) > 1990


@given(codes, st.integers(3, 8), st.sampled_from(ALPHABET))
def test_every_single_wrong_character_is_noticed(code, position, wrong):
    # ISO 7064 promises it of all its systems.
    if wrong == code[position]:
        return
    assert refusal(code[:position] + wrong + code[position + 1 :]) == (
        "No set has this code. The last character does not fit: check it."
    )


@given(codes, st.integers(3, 7))
def test_every_swap_of_neighbours_in_a_printed_code_is_noticed(code, position):
    first, second = code[position : position + 2]
    if first == second:
        return
    assert "does not fit" in refusal(code[:position] + second + first + code[position + 2 :])


def test_iso_7064_itself_lets_28_of_17856_swaps_of_neighbours_pass():
    # Counted over all states of the sum and all pairs of the shop's alphabet, apart from the code under test. ISO 7064
    # promises all single errors, and of swaps only "all or nearly all": this is why new_code leaves some codes out.
    def step(product: int, character: str) -> int:
        return ((product + ISO_CHARACTERS.index(character)) % 36 or 36) * 2 % 37

    pairs = [(p, a, b) for p in range(1, 37) for a in ALPHABET for b in ALPHABET if a < b]
    unnoticed = [(p, a, b) for p, a, b in pairs if step(step(p, a), b) == step(step(p, b), a)]

    assert (len(unnoticed), len(pairs)) == (28, 17856)


def test_a_code_with_an_unnoticed_swap_reads_but_is_never_drawn():
    # Old paper may carry one: reading must not depend on how codes are drawn.
    rng = random.Random(11)
    bodies = ("".join(rng.choices(ALPHABET, k=5)) for _ in range(100_000))
    swappable = next(body + check_character(body) for body in bodies if has_unnoticed_swap(body))

    assert read_code(swappable) == f"GL-{swappable}"
    drawn = {new_code(random.Random(seed)) for seed in range(3000)}
    assert not any(has_unnoticed_swap(code[3:8]) for code in drawn)


@given(codes)
def test_look_alikes_case_spaces_and_missing_prefix_are_forgiven(code):
    body = code[3:]
    misread = body.replace("1", "l").replace("0", "o").replace("V", "u")
    capital = body.replace("1", "I").replace("0", "O")

    for typed in (
        body,
        body.lower(),
        misread,
        capital,
        f"gl{body}",
        f"GL {body[:3]} {body[3:]}",
        f" gl-{body[:2]}-{body[2:]}\r\n",
        f"G1{body}",
        f"GL–{body}",  # a dash a word processor made
        f"\ufeffGL-{body}\u200b",
        "".join(chr(ord(c) + 0xFEE0) for c in code),  # full-width letters
    ):
        assert read_code(typed) == code, typed


@given(codes)
def test_an_address_of_any_host_is_read(code):
    for address in (
        f"HTTPS://SHOP.EXAMPLE/S/{code}",
        f"https://shop.example/s/{code.lower()}",
        f"HTTPS://OLD-NAME.EXAMPLE:8443/S/{code[3:]}",
        f"http://192.0.2.7:8000/s/{code}/",
        f"HTTPS://ANY.HOST/S/{code}?from=mail&x=1",
        f"HTTPS://ANY.HOST/S/{code}#now",
        f"shop.example/s/{code}",
        f"HTTPS://ANY.HOST/S/{code.replace('-', '%2D')}",
        f"HTTPSÑ--SHOP.EXAMPLE-S-{code.replace('-', chr(39))}",  # hand scanner set for another keyboard
    ):
        assert read_code(address) == code, address


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("", "Nothing was read. Scan a label, or type its code: GL- and six characters."),
        (" \t\n", "Nothing was read. Scan a label, or type its code: GL- and six characters."),
        ("7k2", "“7K2” is too short. A code is GL- and six characters: type those that are missing."),
        ("GL-", "“GL-” is too short. A code is GL- and six characters: type those that are missing."),
        ("gl-7k2m", "“GL-7K2M” is too short. A code is GL- and six characters: type those that are missing."),
        (
            "GL-7K2M4644",
            "“GL-7K2M4644” is too long. A code is GL- and six characters: look which ones stand there twice.",
        ),
        ("7K2?46", "“7K2?46” is not a code: “?” stands in none. A code is GL- and six letters or digits."),
        ("ÑK2M46", "“ÑK2M46” is not a code: “Ñ” stands in none. A code is GL- and six letters or digits."),
        ("GL-000000", "No set has this code. The last character does not fit: check it."),
        ("HTTPS://SHOP.EXAMPLE/S/GL-000000", "No set has this code. The last character does not fit: check it."),
        (
            "https://menu.example/today",
            "“HTTPS://MENU.EXAMPLE/TODAY” is not the address of a label. "
            "Scan the label again, or type the code printed on it.",
        ),
    ],
)
def test_what_is_no_code_is_refused_in_the_persons_words(typed, sentence):
    assert refusal(typed) == sentence


@given(st.text(max_size=400))
def test_any_text_is_read_or_refused_with_a_short_sentence(text):
    try:
        answer = read_code(text)
    except CodeNotRead as refused:
        answer = str(refused)

    if answer.startswith("GL-"):
        assert mod_37_36.is_valid(answer[3:])
        assert read_code(answer) == answer
    else:
        assert answer.endswith(".")
        assert 20 < len(answer) < 220


def test_the_address_in_labels_is_in_capitals_with_the_code_at_its_end():
    code = new_code(random.Random(1))

    assert code_address("https://shop.example", code) == f"HTTPS://SHOP.EXAMPLE/S/{code}"
    assert code_address("http://192.0.2.7:8000/", code.lower()) == f"HTTP://192.0.2.7:8000/S/{code}"
    assert read_code(code_address("https://shop.example", code)) == code


def test_a_host_name_with_accents_is_printed_in_its_plain_form():
    # RFC 3492: "bücher" is "xn--bcher-kva".
    assert label_base("https://bücher.example") == "HTTPS://XN--BCHER-KVA.EXAMPLE"


@pytest.mark.parametrize(
    "base",
    # RFC 1123 section 2.1 for the names; RFC 5737 keeps 192.0.2.0 for documents.
    ["http://shop", "http://a-b.example", "http://3shop.example", "http://192.0.2.7", "http://shop.local:8000/"],
)
def test_names_and_numbers_of_hosts_stand_in_labels(base):
    assert label_base(base) == base.upper().rstrip("/")


@pytest.mark.parametrize("host", ["ev il", "-x-", "x-", "a..b", "192.0.2.777", "192.0.2", "$5", "a" * 64])
def test_what_is_no_name_of_a_host_is_refused_in_words(host):
    with pytest.raises(AddressNotPrintable) as refused:
        label_base(f"http://{host}")
    assert host[:30] in str(refused.value)
    assert "shop.example" in str(refused.value)


@pytest.mark.parametrize(
    ("base", "sentence"),
    [
        *(
            (base, f"“{base}” cannot be printed in labels. Give it like https://shop.example, with the host's name.")
            for base in ("", "shop.example", "ftp://shop.example", "https://shop.example:port", "https://")
        ),
        (
            "https://shop.example/tools",
            "“https://shop.example/tools” goes on after the host. "
            "Labels need the address to end there: https://shop.example.",
        ),
        (
            "https://my_shop.example",
            "“https://my_shop.example” holds _, which a label's square cannot. Letters, digits, dots and hyphens can.",
        ),
        (
            "http://[::1]:8000",
            "“http://[::1]:8000” holds [ ], which a label's square cannot. Letters, digits, dots and hyphens can.",
        ),
    ],
)
def test_an_address_that_cannot_stand_in_labels_is_refused(base, sentence):
    with pytest.raises(AddressNotPrintable) as refused:
        label_base(base)
    assert str(refused.value) == sentence


def test_no_label_names_port_0_where_nothing_answers():
    with pytest.raises(AddressNotPrintable, match="“http://h:0” names port 0"):
        label_base("http://h:0")
