"""Tags, filters, forms and the table template."""

import django_tables2 as tables
import pytest
from django import forms
from django.template import Context, Template
from django.template.loader import render_to_string
from django.test import RequestFactory

from inventory.forms.shop_form import ShopForm
from inventory.gauge import GaugeFace

FACE = GaugeFace(6, 10, name="GL-7K2M46, resin 400")


def drawn(text, **values):
    return Template("{% load gritledger %}" + text).render(Context(values))


def test_a_gauge_is_named_unless_the_words_beside_say_it():
    assert 'aria-label="GL-7K2M46, resin 400"' in drawn("{% gauge face 26 48 %}", face=FACE)
    assert 'aria-hidden="true"' in drawn("{% gauge face 26 48 named=False %}", face=FACE)


def test_a_state_is_shape_word_and_colour():
    assert drawn('{% state "dry" words %}', words="Dry <needs 60 h>") == (
        '<span class="state dry"><svg class="mark" aria-hidden="true"><use href="#m-drop-struck"/></svg> '
        "Dry &lt;needs 60 h&gt;</span>"
    )


def test_a_state_nobody_knows_is_a_fault_of_ours():
    with pytest.raises(KeyError):
        drawn('{% state "wobbly" "x" %}')


def test_the_hatches_follow_the_shops_ladder():
    assert drawn("{% gauge_defs 4 %}").count("<pattern") == 4 * 3 + 6
    assert drawn("{% gauge_defs nothing %}").count("<pattern") == 6
    assert drawn("{% gauge_defs 99 %}").count("<pattern") == 6


def test_the_hatches_are_those_of_the_gauges_drawn_before():
    page = drawn(
        "{% gauge face 26 48 %}{% uses_ladder 4 %}{% gauge_defs %}", face=FACE, request=RequestFactory().get("/")
    )

    assert page.count("<pattern") == (10 + 4) * 3 + 6
    assert 'id="h6-10-4"' in page


def test_a_grit_is_stamped_with_its_own_mark_after_it():
    kind = type("Kind", (), {"grit": "400", "own_mark": "own-diamond"})

    assert drawn("{% grit kind %}", kind=kind) == (
        '<span class="stamp-m">400&nbsp;<svg class="mark" aria-hidden="true"><use href="#m-own-diamond"/></svg></span>'
    )
    assert drawn('{% grit "400" "stamp-xl" %}') == '<span class="stamp-xl">400</span>'


def test_two_characters_of_a_shop_are_written_as_they_are():
    kind = type("Kind", (), {"grit": "400", "own_mark": "<b"})

    assert drawn("{% grit kind %}", kind=kind) == '<span class="stamp-m">400&nbsp;&lt;b</span>'


@pytest.mark.parametrize(("chance", "said"), [
    (1.0, "over 95\u00a0% sure"), (0.95, "over 95\u00a0% sure"), (0.949, "90\u00a0% sure"), (0.9, "90\u00a0% sure"),
    (0.55, "55\u00a0% sure"), (0.3, "30\u00a0% sure"), (0.049, "0\u00a0% sure"), (0, "0\u00a0% sure"), (None, ""),
])  # fmt: skip
def test_chances_go_in_fives_rounded_down(chance, said):
    assert drawn("{{ chance|sure }}", chance=chance) == said


def test_quantities_follow_the_person():
    # 1 ft = 0.3048 m and 1 in = 25.4 mm exactly (international yard and pound agreement of 1959)
    both = "{{ m2|area:units }} {{ mm|height:units }}"

    assert drawn(both, m2=100 * 0.09290304, mm=25.4, units="us").replace("\u00a0", " ") == "100 ft² 1 in"
    assert drawn(both, m2=100.0, mm=6.9, units="metric").replace("\u00a0", " ") == "100 m² 6.9 mm"
    assert drawn("{% area m2 %}", m2=100.0, units="metric").replace("\u00a0", " ") == "100 m²"


@pytest.mark.parametrize("name", ["area:units", "height:units", "temp:units", "metres:units", "volume:units", "hours"])
def test_a_quantity_nobody_knows_shows_nothing(name):
    assert drawn("{{ none|" + name + " }}", none=None, units="us") == ""


def test_every_form_that_writes_has_a_key_of_its_own():
    action = {"label": "Undo", "url": "/undo"}
    keys = {
        render_to_string("parts/action.html", {"action": action}).split('value="')[1].split('"')[0] for _ in range(3)
    }

    assert len(keys) == 3


class Words(ShopForm):
    code = forms.CharField(max_length=4)
    height = forms.DecimalField(max_value=40)
    passes = forms.IntegerField()
    place = forms.ChoiceField(choices=[("a", "Rack A")])
    said = forms.CharField(error_messages={"required": "Say why it goes dry."})


def test_a_form_refuses_in_the_shops_words():
    form = Words({"code": "GL-7K2", "height": "tall", "passes": "1.5", "place": "z", "said": ""})

    assert {name: list(map(str, said)) for name, said in form.errors.items()} == {
        "code": ["That is 6 characters; 4 are allowed. Make it shorter."],
        "height": ["Write a number, such as 6.8."],
        "passes": ["Write a whole number, such as 5."],
        "place": ["That is not one of the choices. Take one of the list."],
        "said": ["Say why it goes dry."],
    }


def test_a_number_beyond_its_limit_is_refused_with_the_limit():
    form = Words({"code": "GL", "height": "41", "passes": "1", "place": "a", "said": "x"})

    assert list(map(str, form.errors["height"])) == ["At most 40 is allowed."]


def test_what_was_typed_and_why_it_is_refused_stand_together():
    page = render_to_string("parts/form.html", {"form": Words({"height": "tall"}), "submit": "Keep it"})

    assert 'value="tall"' in page
    assert 'aria-invalid="true"' in page
    assert '<a href="#id_height">Height</a>: Write a number, such as 6.8.' in page
    assert 'id="id_height_error"' in page


class Rows(tables.Table):
    code = tables.Column(verbose_name="Code")
    life = tables.Column(verbose_name="Life left", attrs={"td": {"class": "num"}, "th": {"class": "num"}})

    class Meta:
        template_name = "parts/tables2.html"
        empty_text = "No sets yet. Receive an order, or bring in a spreadsheet."


def test_a_table_has_its_labels_for_the_phone_and_sorts_in_its_heads():
    table = Rows([{"code": "GL-7K2M46", "life": 118000}], order_by="-life")
    page = table.as_html(RequestFactory().get("/?page=2"))

    assert '<td data-label="Life left" class="num">118000</td>' in page
    assert 'aria-sort="descending"' in page
    assert 'href="?page=2&amp;sort=life"' in page


def test_a_long_table_is_leafed_through():
    table = Rows([{"code": str(at), "life": at} for at in range(30)])
    table.paginate(page=2, per_page=10)
    page = table.as_html(RequestFactory().get("/"))

    assert "Page 2 of 3" in page
    assert 'rel="prev" href="?page=1"' in page
    assert 'rel="next" href="?page=3"' in page


def test_an_empty_table_says_what_to_do():
    page = Rows([]).as_html(RequestFactory().get("/"))

    assert "No sets yet. Receive an order, or bring in a spreadsheet." in page
    assert "<table" not in page
