"""The life curve: where its line goes, what its table and sentence say, and that it draws at any age."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree

import pytest

from inventory.estimate import SetLife
from inventory.life_curve import CurveFacts, curve_rows, curve_sentence, curves, points_of

START = datetime(2025, 5, 14, 12, tzinfo=UTC)


def facts(used_m2: float, *readings: tuple[float, float], left: float = 3000.0) -> CurveFacts:
    """A set of 10 mm new, retired at 2 mm, rated 6,000 m2, with readings as (area so far, height)."""
    points = points_of([(START + timedelta(days=at), used, height) for at, (used, height) in enumerate(readings)])
    life = SetLife(left * 0.7, left, left * 1.4, used_m2, 6000.0, 9)
    return CurveFacts(10.0, 2.0, 6000.0, life, points, 6, 10)


def test_without_a_reading_the_height_now_lies_on_the_line_from_new_to_the_likely_end() -> None:
    assert facts(3000.0).now_mm == pytest.approx(6.0)
    assert facts(0.0).now_mm == pytest.approx(10.0)
    assert facts(1000.0, left=3000.0).now_mm == pytest.approx(8.0)


def test_after_a_reading_it_lies_between_that_reading_and_the_likely_end() -> None:
    assert facts(3000.0, (1000.0, 7.0)).now_mm == pytest.approx(7.0 - 5.0 * 2000 / 5000)
    assert facts(1000.0, (1000.0, 7.0)).now_mm == pytest.approx(7.0)
    assert facts(1500.0, (1000.0, 1.9)).now_mm == pytest.approx(1.9)


def test_the_table_and_the_sentence_say_the_same_numbers() -> None:
    rows = [row[1:] for row in curve_rows(facts(3000.0, (1000.0, 7.0)), "metric")]
    assert [tuple(cell.replace("\xa0", " ") for cell in row) for row in rows] == [
        ("1,000 m²", "7 mm", "read"),
        ("3,000 m²", "5 mm", "likely today"),
        ("5,100 m²", "2 mm", "at least"),
        ("6,000 m²", "2 mm", "likely end"),
        ("7,200 m²", "2 mm", "up to"),
        ("6,000 m²", "2 mm", "rating"),
    ]
    said = curve_sentence(facts(3000.0, (1000.0, 7.0)), "metric").replace("\xa0", " ")
    assert said == (
        "Lowest piece likely 5 mm today; it reaches 2 mm likely after 3,000 m² of reference area more, "
        "2,100 to 4,200 m²."
    )


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize(
    "drawn",
    [facts(0.0), facts(3000.0, (1000.0, 7.0)), facts(9000.0, (8900.0, 1.5), left=0.0), facts(50.0, (0.0, 10.4))],
)
def test_it_draws_whatever_the_sets_age(drawn: CurveFacts, units: str) -> None:
    for svg in curves(drawn, units):  # type: ignore[arg-type]
        root = ElementTree.fromstring(svg)
        assert root.get("role") == "img"
        assert root.get("aria-label", "").startswith("Lowest piece likely ")
        assert "style" not in svg
        assert "nan" not in svg
        assert len(root.findall("circle")) == len(drawn.points)
