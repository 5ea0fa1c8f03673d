"""The cautions stand with the right figures, and no page asks for one that does not exist."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path
from typing import get_args

import pytest
from django.conf import settings
from django.template.loader import render_to_string
from django.utils.html import strip_tags

from inventory.ledger.conditioning import Why, WhyKey

TOPICS = ["hot_water", "slurry", "silica_dust", "wet_floor", "battery", "lifting", "waste_water"]
TEMPLATES = Path(settings.BASE_DIR) / "templates"


def words(**context: object) -> str:
    return " ".join(strip_tags(render_to_string("parts/cautions.html", context)).split())


@pytest.mark.parametrize(
    ("topic", "figures"),
    [
        # REFERENCES S5: 130 F 30 s, 140 F 6 s; U8: 130 F is 54.444 C, 140 F is 60 C.
        ("hot_water", ["130 °F (54 °C) in 30 s", "140 °F (60 °C) in 6 s"]),
        # S7: wash water near pH 12.
        ("slurry", ["near pH 12", "gloves", "eye protection"]),
        # S1, S3.
        ("silica_dust", ["Wet or extracted, never dry without"]),
        ("wet_floor", ["slips"]),
        # S11: 4.1 %.
        ("battery", ["hydrogen", "4 %", "Charging needs air"]),
        # S10: 51 lb, 23 kg.
        ("lifting", ["51 lb (23 kg)"]),
        # S9.
        ("waste_water", ["local rules", "storm drains", "never says that a discharge is allowed"]),
    ],
)
def test_each_caution_says_its_danger_and_gives_way_to_makers_codes_and_licensed_people(topic, figures):
    text = words(topic=topic)

    assert [figure for figure in figures if figure not in text] == []
    assert text.endswith("The maker's sheet, local codes and licensed people come before this.")


def test_a_brief_caution_leaves_the_closing_line_to_the_page():
    assert words(topic="wet_floor", brief=True) == (
        "A wet floor slips. Close the section off, pick up on every pass, keep cables and plugs out of the water."
    )
    assert words() == (
        "Makers' sheets, local codes and licensed people come before this program. "
        "Where they say otherwise, follow them."
    )


def test_no_page_asks_for_a_caution_that_does_not_exist():
    asked = {
        topic
        for page in TEMPLATES.rglob("*.html")
        for topic in re.findall(r'parts/cautions\.html" with topic="([^"]*)"', page.read_text(encoding="utf-8"))
    }

    assert asked - {*TOPICS, "first"} == set()


@pytest.mark.parametrize("key", get_args(WhyKey))
def test_every_reason_of_the_soak_has_its_sentence(key):
    at = datetime(2031, 3, 3, 8, 0, tzinfo=UTC)
    times = [
        "ready_at",
        "confirmed_at",
        "until",
        "expected_at",
        "read_at",
        "vouched_until",
        "due_since",
        "temperature_at",
    ]
    times += ["ended_at", "back_by", "dried_at", "begun_at"]
    hours = ["missing_hours_cold", "missing_hours_hot", "total_hours", "hot_hours", "cold_hours"]
    values: dict[str, float | str | datetime | None] = {"confirmed_by": "Ines O.", "temperature_c": 47.8}
    values.update(dict.fromkeys(times, at))
    values.update(dict.fromkeys(hours, 21.5))

    text = render_to_string("parts/soak_why.html", {"why": Why(key, values)}).strip()

    assert text.endswith(".")
    assert "None" not in text
    assert "  " not in text.replace("\n", " ")
