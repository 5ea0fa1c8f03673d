"""What a refused cell of a list of work names, and what a list of sites makes of a scratch hardness."""

from typing import Any

from inventory.sheets.fields import Thing
from inventory.sheets.outcome import Answers
from jobs.sheets.specs import SITES, WORK
from tests.inventory.sheets.shop import csv_file, judged, told

SHOP: dict[str, Any] = {
    "sites": (Thing("s1", "Osprey Lane"),),
    "zones": (Thing("z1", "Aisles", inside="s1", area_m2=1000.0), Thing("z2", "Dock", inside="s1", area_m2=200.0)),
    "sets": (Thing("t1", "R-17", tool_type="r400"),),
}
JOBS = (Thing("j1", "Osprey Lane spring", inside="s1"), Thing("j2", "Bellweather 3", inside="s1"))


def right(rows: list[list[Any]], **shop: Any) -> list[str]:
    return [one.right for one in judged(csv_file(rows), WORK, units="metric", **{**SHOP, **shop}).refused]


def test_a_job_nobody_has_is_refused_with_the_jobs_there_are():
    rows = [["Date", "Set", "Job", "Area (m2)"], ["2026-05-14", "R-17", "Harrow", "100"]]

    said = "A job you have. Bring in the list of jobs first, if it is new."
    assert right(rows, jobs=JOBS) == [f"{said} You have: Osprey Lane spring, Bellweather 3."]
    assert right(rows) == [said]


def test_of_many_jobs_the_nearest_are_named():
    jobs = (*(Thing(f"j{n}", f"Quill House {n}", inside="s1") for n in range(20)), *JOBS)
    rows = [["Date", "Set", "Job", "Area (m2)"], ["2026-05-14", "R-17", "Belwether", "100"]]

    (said,) = right(rows, jobs=jobs)
    assert "Nearest: Bellweather 3" in said


def test_a_floor_nobody_has_is_refused_with_the_floors_of_its_site():
    rows = [["Date", "Set", "Site", "Zone", "Area (m2)"], ["2026-05-14", "R-17", "Osprey Lane", "Roof", "100"]]

    assert right(rows) == ["A floor of this site. You have: Aisles, Dock."]


def test_a_column_of_mohs_numbers_is_a_hardness_and_asked_about_once_a_number():
    # The published scale orders minerals by scratching; which class of floor a number is, is for the shop to say.
    rows = [["Site", "Zone", "Area (m2)", "Mohs"], ["Quill", "Hall", "100", "5"], ["Quill", "Dock", "100", "7"]]
    judgement = judged(csv_file(rows), SITES)

    assert told(judgement) == [
        (2, "Is a floor of Mohs 5 soft, medium or hard?"), (3, "Is a floor of Mohs 7 soft, medium or hard?"),
    ]  # fmt: skip
    assert [question.answers[0] for question in judgement.questions] == [("medium", "Medium"), ("hard", "Hard")]
    answers = Answers(like={"mohs:5": "medium", "mohs:7": "hard"})
    assert [item.hardness for item in judged(csv_file(rows), SITES, answers=answers).things] == ["medium", "hard"]
