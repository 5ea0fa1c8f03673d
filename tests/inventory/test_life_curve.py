"""The life curve: what its table and sentence say, that its lines agree with them, and that it draws at any age."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree

import pytest

from inventory.estimate import SetLife
from inventory.life_curve import CurveFacts, CurvePoint, CurveStep, PathPoint, curve_rows, curve_sentence, curves

START = datetime(2025, 5, 14, 12, tzinfo=UTC)


def point(number: int, used_m2: float, height_mm: float) -> CurvePoint:
    return CurvePoint(START + timedelta(days=number), used_m2, height_mm)


def facts(used_m2: float, *readings: tuple[float, float], left: float = 3000.0, retired: bool = False) -> CurveFacts:
    """A set of 10 mm new, retired at 2 mm, rated 6,000 m2, with readings as (area so far, height)."""
    height = max(10.0 - 8.0 * used_m2 / 6000.0, 0.0)
    path = [PathPoint(0.0, 10.0, 10.0, 10.0), PathPoint(used_m2, max(height - 0.4, 0.0), height, height + 0.5)]
    life = None if retired else SetLife(left * 0.7, left, left * 1.4, used_m2, 6000.0, 9)
    points = tuple(point(at, *one) for at, one in enumerate(readings))
    return CurveFacts(10.0, 2.0, 6000.0, life, points, (tuple(path),), (), 6, 10)


def dressed() -> CurveFacts:
    """Read 7 mm, dressed to 6.8, worked on."""
    runs = (
        (PathPoint(0.0, 10.0, 10.0, 10.0), PathPoint(2000.0, 6.8, 7.0, 7.2)),
        (PathPoint(2000.0, 6.6, 6.8, 7.0), PathPoint(3000.0, 5.0, 5.4, 5.8)),
    )
    step = CurveStep(START + timedelta(days=1), 2000.0, "dressed", 7.0, 6.8)
    life = SetLife(1000.0, 2000.0, 3000.0, 3000.0, 6000.0, 9)
    return CurveFacts(10.0, 2.0, 6000.0, life, (point(1, 2000.0, 7.0),), runs, (step,), 6, 10)


def plain(rows: list[tuple[datetime | None, str, str, str]]) -> list[tuple[str, ...]]:
    return [tuple(cell.replace("\xa0", " ") for cell in row[1:]) for row in rows]


def test_the_table_and_the_sentence_say_the_same_numbers() -> None:
    assert plain(curve_rows(facts(3000.0, (1000.0, 8.7)), "metric")) == [
        ("1,000 m²", "8.7 mm", "read"),
        ("3,000 m²", "6.5 mm", "today, up to"),
        ("3,000 m²", "6 mm", "likely today"),
        ("3,000 m²", "5.6 mm", "today, at least"),
        ("5,100 m²", "2 mm", "at least"),
        ("6,000 m²", "2 mm", "likely end"),
        ("7,200 m²", "2 mm", "up to"),
        ("6,000 m²", "2 mm", "rating"),
    ]
    said = curve_sentence(facts(3000.0, (1000.0, 8.7)), "metric").replace("\xa0", " ")
    assert said == (
        "Lowest piece likely 6 mm today, 5.6 to 6.5 mm; it reaches 2 mm likely after 3,000 m² of reference area more, "
        "2,100 to 4,200 m²."
    )


def test_a_dressing_stands_between_the_readings_where_it_happened() -> None:
    assert plain(curve_rows(dressed(), "metric"))[:3] == [
        ("2,000 m²", "7 mm", "read"),
        ("2,000 m²", "6.8 mm", "dressed"),
        ("3,000 m²", "5.8 mm", "today, up to"),
    ]
    assert "dressed" in curves(dressed(), "metric")[0]


def test_a_retired_set_has_an_end_and_no_cone() -> None:
    drawn = facts(4000.0, (4000.0, 2.1), retired=True)
    assert curve_sentence(drawn, "metric").replace("\xa0", " ").startswith("Retired after 4,000 m² of reference area; ")
    assert [row[2] for row in plain(curve_rows(drawn, "metric"))] == ["read", "likely when it was retired", "rating"]
    assert "url(#h" not in curves(drawn, "metric")[0]


def test_the_line_so_far_ends_where_today_stands_and_the_cone_begins_there() -> None:
    drawn = facts(3000.0)
    root = ElementTree.fromstring(curves(drawn, "metric")[0])
    paths = {one.get("class"): one.get("d", "") for one in root.iter("path")}
    end_of_path = paths["life"].split("L")[-1]
    ahead = next(one.get("d", "") for one in root.iter("path") if one.get("class") == "likely")
    assert ahead.startswith("M" + end_of_path)
    cone = next(one.get("d", "") for one in root.iter("path") if one.get("fill", "").startswith("url(#h"))
    x = end_of_path.split()[0]
    assert cone.startswith(f"M{x} ")


def test_todays_line_ends_at_the_retire_line_and_cuts_no_words_below_it() -> None:
    for svg in curves(facts(3000.0), "metric"):
        root = ElementTree.fromstring(svg)
        (today,) = (d for one in root.iter("path") if "V" in (d := one.get("d", "")) and one.get("class") == "axis")
        (retires,) = (one.get("d", "") for one in root.iter("path") if one.get("class") == "likely planned")
        assert today.split("V")[1] == retires.split("L")[0].split()[1]


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize(
    "drawn",
    [
        facts(0.0),
        facts(3000.0, (1000.0, 7.0)),
        facts(9000.0, (8900.0, 1.5), left=0.0),
        facts(50.0, (0.0, 10.4)),
        facts(5000.0, retired=True),
        dressed(),
    ],
)
def test_it_draws_whatever_the_sets_age(drawn: CurveFacts, units: str) -> None:
    for svg in curves(drawn, units):  # type: ignore[arg-type]
        root = ElementTree.fromstring(svg)
        assert root.get("role") == "img"
        assert root.get("aria-label", "").startswith(("Lowest piece likely ", "Retired after "))
        assert "style" not in svg
        assert "nan" not in svg
        assert len(root.findall("circle")) == len(drawn.points)
