"""The whole interface in Spanish: the catalogue is complete, what is compiled is what was written, pages speak it."""

import ast
import gettext
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import pytest
from django.template import Context, Template
from django.urls import reverse
from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation.template import templatize

from inventory.templatetags.gritledger import sure_words
from inventory.times import show_day
from inventory.units.reading import read_height
from inventory.units.showing import show_area, show_number
from tests.cast import make_cast

ROOT = Path(__file__).resolve().parent.parent
CATALOGUE = ROOT / "config" / "locale" / "es" / "LC_MESSAGES" / "django.po"
COMPILED = CATALOGUE.with_suffix(".mo")
HOW = (
    "run: manage.py makemessages -l es --no-location --no-wrap -i .venv -i tests; translate; manage.py compilemessages"
)

# A conversion of Python's % operator, a doubled %, or a named one: they must come back in the translation.
HOLE = re.compile(r"%\(\w+\)[-#0 +]*\d*(?:\.\d+)?[a-zA-Z]|%%")
# The text of a mark-up tag; the texts of this program hold none, and must not begin to by way of a translation.
TAG = re.compile(r"<[^>]*>")


@dataclass
class Text:
    """One text of the catalogue: what stands in the source, and what it is in Spanish (several with plurals)."""

    context: str = ""
    msgid: str = ""
    plural: str = ""
    fuzzy: bool = False
    said: dict[int, str] = field(default_factory=dict)


def read_catalogue(lines: list[str]) -> Iterator[Text]:
    """Yield the texts of a .po file, its header first (GNU gettext manual, "The Format of PO Files")."""
    one, part, seen = Text(), "", False
    for line in [*lines, ""]:
        if not line.strip():
            if seen:
                yield one
            one, part, seen = Text(), "", False
        elif line.startswith("#,"):
            one.fuzzy = "fuzzy" in line
        elif not line.startswith("#"):
            word, quoted = re.fullmatch(r'(?:(\w+(?:\[\d\])?) )?(".*")', line).groups()  # type: ignore[union-attr]
            part, seen = word or part, True
            text = ast.literal_eval(quoted)
            if part == "msgctxt":
                one.context += text
            elif part == "msgid":
                one.msgid += text
            elif part == "msgid_plural":
                one.plural += text
            else:
                form = int(part[7:-1]) if part.startswith("msgstr[") else 0
                one.said[form] = one.said.get(form, "") + text


@pytest.fixture(scope="module")
def texts() -> list[Text]:
    header, *rest = read_catalogue(CATALOGUE.read_text(encoding="utf-8").splitlines())
    assert header.msgid == ""
    assert not header.fuzzy
    return rest


def test_the_reader_of_the_catalogue_reads_every_kind_of_entry():
    lines = """#, fuzzy
msgctxt "flag"
msgid ""
"two "
"lines\\n"
msgstr "dos"

msgid "%(n)s set"
msgid_plural "%(n)s sets"
msgstr[0] "a"
msgstr[1] "b"

#~ msgid "gone"
""".splitlines()

    first, second = read_catalogue(lines)

    assert first == Text("flag", "two lines\n", "", True, {0: "dos"})
    assert second == Text("", "%(n)s set", "%(n)s sets", False, {0: "a", 1: "b"})


def test_every_text_has_spanish_and_none_is_only_guessed(texts):
    assert len(texts) > 2000
    assert [text.msgid for text in texts if text.fuzzy] == []
    assert [text.msgid for text in texts if set(text.said) != ({0, 1} if text.plural else {0})] == []
    assert [text.msgid for text in texts if not all(said.strip() for said in text.said.values())] == []


def test_what_is_filled_in_is_the_same_in_both_languages(texts):
    wrong = [
        (source, said)
        for text in texts
        for source, said in [(text.plural if form else text.msgid, said) for form, said in text.said.items()]
        if sorted(HOLE.findall(source)) != sorted(HOLE.findall(said))
    ]

    assert wrong == []


def test_ends_and_edges_are_kept(texts):
    """A sentence stays a sentence, a part that is joined keeps its blank, a number stays beside its unit."""
    for text in texts:
        for form, said in text.said.items():
            source = text.plural if form else text.msgid
            assert source[:1].isspace() == said[:1].isspace(), source
            assert source[-1:].isspace() == said[-1:].isspace(), source
            for end in ".:?…":
                assert source.endswith(end) == said.endswith(end), source
            assert said.count("\u00a0") >= source.count("\u00a0"), source
            assert TAG.findall(said) == TAG.findall(source), source


def test_a_question_is_opened_as_spanish_opens_it(texts):
    """Ortografía de la lengua española (RAE 2010), III 3.4.9: both marks are required."""
    for text in texts:
        for said in text.said.values():
            if said.endswith("?"):
                assert said.count("¿") == said.count("?"), said


def test_the_compiled_catalogue_holds_the_same(texts):
    with COMPILED.open("rb") as compiled:
        said = dict(gettext.GNUTranslations(compiled)._catalog)  # type: ignore[attr-defined]
    said.pop("")
    written: dict[object, str] = {}
    for text in texts:
        key = f"{text.context}\x04{text.msgid}" if text.context else text.msgid
        for form, words in text.said.items():
            written[(key, form) if text.plural else key] = words

    assert said == written, HOW


def _literals(code: str) -> Iterator[tuple[str, str]]:
    """Yield (context, text) of the calls to gettext and its kin in the skeleton that Django makes of a template."""
    for call in re.finditer(r"(?<!\w)(_|n?p?gettext)\(", code):
        rest, found = code[call.end() :], []
        while match := re.match(r"""\s*,?\s*u?("(?:[^"\\]|\\.)*"|'(?:[^'\\]|\\.)*')""", rest):
            found.append(ast.literal_eval(match[1]))
            rest = rest[match.end() :]
        if found:
            yield (found[0], found[1]) if "p" in call[1] else ("", found[0])


def _source_texts() -> Iterator[tuple[str, str]]:
    for app in ("inventory", "jobs", "config"):
        for path in sorted((ROOT / app).rglob("*.py")):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            # gettext under whatever name the module gave it.
            marks = {
                one.asname or one.name: one.name
                for node in ast.walk(tree)
                if isinstance(node, ast.ImportFrom) and node.module == "django.utils.translation"
                for one in node.names
                if "gettext" in one.name
            }
            for node in ast.walk(tree):
                name = marks.get(getattr(node.func, "id", ""), "") if isinstance(node, ast.Call) else ""
                if not name:
                    continue
                said = [one.value for one in node.args if isinstance(one, ast.Constant) and isinstance(one.value, str)]
                if said:
                    yield (said[0], said[1]) if "pgettext" in name else ("", said[0])
    for path in sorted((ROOT / "templates").rglob("*.html")):
        yield from _literals(templatize(path.read_text(encoding="utf-8")))


def test_every_text_of_the_program_stands_in_the_catalogue(texts):
    there = {(text.context, text.msgid) for text in texts}
    used = set(_source_texts())

    assert len(used) > 2000
    assert sorted(used - there) == [], HOW


def test_plurals_follow_spanish(texts):
    """CLDR 44, plural rules: in Spanish "one" is 1 alone; 0 takes the plural."""
    with translation.override("es"):
        words = [translation.ngettext("%(n)s floor", "%(n)s floors", n) % {"n": n} for n in (0, 1, 2, 1_000_000)]

    assert words == ["0 pisos", "1 piso", "2 pisos", "1000000 pisos"]


def test_numbers_and_chances_are_said_as_the_language_says_them():
    """CLDR 44, es: a comma before decimals. Thousands are parted by a blank that does not break, as ISO 80000-1 (7.3.1)
    asks: points and commas mean opposite things in Mexico and in Argentina."""
    with translation.override("es"):
        assert show_number(1234.5, 1) == "1\u00a0234,5"
        assert show_area(1152, "metric") == "1\u00a0152\u00a0m²"
        assert sure_words(0.97) == "más del 95\u00a0% de seguridad"
        assert sure_words(0.83) == "80\u00a0% de seguridad"
        assert read_height("6,8 mm").si == pytest.approx(6.8)
    with translation.override("en"):
        assert show_number(1234.5, 1) == "1,234.5"
        assert sure_words(0.97) == "over 95\u00a0% sure"


@pytest.mark.parametrize(
    ("month", "spanish", "english"),
    [(1, "mar 14 ene", "Tue 14 Jan"), (5, "mié 14 may", "Wed 14 May"), (8, "jue 14 ago", "Thu 14 Aug")],
)
def test_days_are_written_as_the_language_writes_them(month, spanish, english):
    """CLDR 44, es: ene, may, ago and mar, mié, jue; small letters."""
    day = date(2025, month, 14)
    with translation.override("es"):
        assert show_day(day) == spanish
        assert Template("{{ day|date:'D j M Y' }}").render(Context({"day": day})) == f"{spanish} 2025"
    with translation.override("en"):
        assert show_day(day) == english


def test_no_text_takes_the_month_of_may_from_django():
    """A text of ours wins over Django's of the same words: "May" of the rights' heading is not the month."""
    with translation.override("es"):
        assert date_format(date(2025, 5, 14), "F") == "mayo"
        assert translation.pgettext("rights", "May") == "Puede"


@pytest.mark.django_db
def test_signing_in_speaks_spanish_to_a_browser_that_does(client):
    make_cast()

    page = client.get(reverse("inventory:sign_in"), headers={"accept-language": "es-MX,es;q=0.9,en;q=0.5"})

    words = page.content.decode()
    assert '<html lang="es"' in words
    assert "El libro escribe su nombre junto a lo que usted hace." in words
    assert "The ledger writes your name" not in words


@pytest.mark.django_db
def test_the_language_chosen_before_the_name_is_kept_and_said_to_the_browser(client):
    make_cast()

    client.post(reverse("inventory:language"), {"language": "es"})
    spanish = client.get(reverse("inventory:sign_in"), headers={"accept-language": "en"}).content.decode()
    client.post(reverse("inventory:language"), {"language": "en"})
    english = client.get(reverse("inventory:sign_in"), headers={"accept-language": "es"}).content.decode()

    assert '<html lang="es"' in spanish
    assert "El libro escribe su nombre junto a lo que usted hace." in spanish
    assert '<html lang="en"' in english
    assert "The ledger writes your name" in english


@pytest.mark.django_db
def test_a_person_who_reads_spanish_gets_the_rack_in_spanish(client):
    ines = make_cast().ines
    ines.language = "es"
    ines.save(update_fields=["language"])
    client.force_login(ines)

    page = client.get(reverse("inventory:rack"), headers={"accept-language": "en"})

    assert '<html lang="es"' in page.content.decode()
    assert "Todavía no hay juegos. Reciba un pedido, o traiga una hoja de cálculo." in page.content.decode()
