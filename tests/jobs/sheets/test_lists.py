"""A shop's lists of sites, jobs and work."""

from datetime import date
from typing import Any

import pytest

from inventory.sheets.fields import Thing
from inventory.sheets.outcome import Answers
from inventory.units import NBSP
from jobs.sheets.specs import JOBS, SITES, WORK, JobRow, SiteRow, StepSaid, WorkRow, group_jobs, job_key, site_key
from tests.inventory.sheets.shop import csv_file, judged, refused, told

SITE = Thing("s1", "Osprey Lane")
SHOP: dict[str, Any] = {
    "sites": (SITE, Thing("s2", "Bellweather")),
    "zones": (
        Thing("z1", "Aisles", inside="s1", area_m2=1000.0),
        Thing("z2", "Dock", inside="s1", area_m2=200.0),
        Thing("z3", "Hall", inside="s2", area_m2=500.0),
    ),
    "jobs": (Thing("j1", "Osprey Lane spring", inside="s1"), Thing("j2", "Bellweather 3", inside="s2")),
    "sets": (
        Thing("t1", "R-17", tool_type="r400", says="Resin 400"),
        Thing("t2", "M-02", tool_type="m30", says="Metal 30"),
        Thing("t3", "X-1", tool_type="r400", says="Resin 400"),
        Thing("t4", "X-1", tool_type="m30", says="Metal 30"),
    ),
}


def test_sites_come_with_their_floors():
    rows = [
        ["Site", "Address", "Zone", "Area (sq ft)", "Edge (ft)", "Hardness", "Surface", "Coating", "Notes"],
        ["Harrow Depot", "1 Mill Rd", "Aisles", "12,400", "320", "hard", "worn", "none", "night only"],
        ["Harrow Depot", "", "Dock", "2.150", "", "?", "bare", "epoxy", ""],
        ["Quill House", "", "", "", "", "", "", "", ""],
    ]

    assert judged(csv_file(rows), SITES).things == [
        SiteRow(
            "Harrow Depot", address="1 Mill Rd", zone="Aisles", area_m2=1151.997696, area_value="12400",
            area_unit="ft2",
            edge_m=97.536, hardness="hard", surface="worn", coating="none", note="night only",
        ),
        SiteRow(
            "Harrow Depot", zone="Dock", area_m2=199.741536, area_value="2150", area_unit="ft2", hardness="unknown",
            surface="raw", coating="epoxy",
        ),
        SiteRow("Quill House"),
    ]  # fmt: skip


def test_a_site_list_in_spanish_is_read():
    rows = [
        ["Obra", "Dirección", "Zona", "Superficie (m2)", "Dureza", "Recubrimiento"],
        ["Nave 3", "Calle Mayor 1", "Pasillo", "1.240,5", "duro", "epoxi"],
    ]

    (item,) = judged(csv_file(rows, ";"), SITES, units="metric").things

    assert (item.site, item.zone, item.area_m2, item.hardness, item.coating) == (
        "Nave 3",
        "Pasillo",
        1240.5,
        "hard",
        "epoxy",
    )


def test_a_site_almost_known_is_asked_about_and_a_floor_known_too():
    rows = [["Site", "Zone", "Area (m2)"], ["Osprey Lan", "Aisles", "1000"], ["Osprey Lane", "Dock", "200"]]
    there = {site_key("Osprey Lane", "Dock"): "Osprey Lane, Dock, 200 m²"}
    judgement = judged(csv_file(rows), SITES, existing=there, units="metric", **SHOP)

    assert told(judgement) == [(2, "Is “Osprey Lan” your site Osprey Lane?"), (3, "Is this the Osprey Lane you have?")]
    answers = Answers()
    answers.give(judgement.questions[0], "same")
    answers.give(judgement.questions[1], "same")
    after = judged(csv_file(rows), SITES, existing=there, answers=answers, units="metric", **SHOP)
    assert [(item.site, item.site_key, item.zone) for item in after.things] == [("Osprey Lane", "s1", "Aisles")]
    assert after.already == [3]


def test_wrong_sites_are_refused():
    rows = [
        ["Site", "Zone", "Area (m2)", "Hardness", "Section (m2)"],
        ["", "Hall", "100", "", ""],
        ["Harrow", "Hall", "", "", ""],
        ["Harrow", "Hall 2", "-4", "", ""],
        ["Harrow", "Hall 3", "100", "harrd", ""],
        ["Harrow", "Hall 4", "100", "", "200"],
    ]

    assert [(row, heading, likely) for row, heading, _v, _right, likely in refused(judged(csv_file(rows), SITES))] == [
        (2, "Site", ""),
        (3, "Area (m2)", ""),
        (4, "Area (m2)", ""),
        (5, "Hardness", "hard"),
        (6, "Section (m2)", ""),
    ]


def test_jobs_come_with_chance_dates_and_ladder():
    rows = [
        ["Job", "Site", "Start", "Nights", "Status", "Chance", "Steps", "Finish"],
        ["Harrow spring", "Osprey Lane", "2027-03-04", "5", "bid", "60%", "metal 30, 70, resin 100, 200, 400", "satin"],
        ["Quill", "Quill House", "14 Mar 2027", "", "won", "", "", ""],
    ]

    first, second = judged(csv_file(rows), JOBS, **SHOP).things

    assert first == JobRow(
        "Harrow spring", site="Osprey Lane", site_key="s1", starts_on=date(2027, 3, 4), nights=5, standing="bid",
        award_chance=0.6, finish_level=2,
        steps=(
            StepSaid("m30", "Metal 30"), StepSaid("m70", "Metal 70"), StepSaid("r100", "Resin 100"),
            StepSaid("r200", "Resin 200"), StepSaid("r400", "Resin 400"),
        ),
    )  # fmt: skip
    assert (second.site_key, second.award_chance, second.steps) == ("", 1.0, ())


def test_a_row_for_each_step_is_gathered_by_job():
    rows = [
        ["Project", "Customer", "Zone", "Area (m2)", "Grit", "Bond", "Passes", "Night"],
        ["Quill", "Quill House", "Hall", "800", "70", "metal", "6", "2027-03-05"],
        ["Quill", "Quill House", "Hall", "800", "100", "resin", "5", "2027-03-06"],
        ["Quill", "Quill House", "Dock", "90", "70", "metal", "6", "2027-03-04"],
        ["Harrow", "Harrow Depot", "Hall", "300", "200", "resin", "5", "2027-04-01"],
    ]

    quill, harrow = group_jobs(judged(csv_file(rows), JOBS).things)

    assert (quill.head.job, quill.head.site, quill.head.starts_on) == ("Quill", "Quill House", date(2027, 3, 4))
    assert quill.zones == [("Hall", 800.0), ("Dock", 90.0)]
    assert [(zone, step.tool_type, step.passes, step.on) for zone, step in quill.steps] == [
        ("Hall", "m70", 6, date(2027, 3, 5)), ("Hall", "r100", 5, date(2027, 3, 6)), ("Dock", "m70", 6, date(2027,
        3, 4)),
    ]  # fmt: skip
    assert harrow.head.starts_on == date(2027, 4, 1)


def test_wrong_jobs_are_refused_and_known_ones_asked_about():
    rows = [
        ["Job", "Site", "Start", "End", "Chance", "Ladder"],
        ["A", "Quill House", "", "", "", ""],
        ["B", "Quill House", "2027-03-04", "2027-03-01", "", ""],
        ["C", "Quill House", "2027-03-04", "", "160%", ""],
        ["D", "Quill House", "2027-03-04", "", "", "metal 30, 75"],
        ["", "", "2027-03-04", "", "50%", ""],
        ["Bellweather 3", "", "2027-03-04", "", "", ""],
    ]
    judgement = judged(csv_file(rows), JOBS, existing={job_key("bellweather 3"): "Bellweather, 4 May"}, **SHOP)

    assert [(row, heading) for row, heading, *_rest in refused(judgement)] == [
        (2, "Start"), (3, "End"), (4, "Chance"), (5, "Ladder"), (6, "Job"),
    ]  # fmt: skip
    assert told(judgement) == [(7, "Is this the Bellweather 3 you have?")]


def test_work_is_read_with_set_floor_area_and_passes():
    rows = [
        ["Date", "Set", "Job", "Zone", "Grit", "Area (m2)", "Passes", "Basis"],
        ["14/05/2026", "r17", "Osprey Lane spring", "aisles", "400", "1000", "5", "measured"],
        ["15/05/2026", "M-02", "Bellweather 3", "", "30", "~480", "6", ""],
    ]

    assert judged(csv_file(rows), WORK, units="metric", **SHOP).things == [
        WorkRow(
            "t1", "R-17", date(2026, 5, 14), 1000.0, 5, "measured", "1000", "m2", job_key="j1", site_key="s1",
            zone_key="z1",
            where="Osprey Lane spring, Aisles", tool_type="r400", grit="400",
        ),
        WorkRow(
            "t2", "M-02", date(2026, 5, 15), 480.0, 6, "guessed", "480", "m2", job_key="j2", site_key="s2",
            zone_key="z3",
            where="Bellweather 3, Hall", tool_type="m30", grit="30",
        ),
    ]  # fmt: skip


def test_doubtful_work_is_asked_about():
    rows = [
        ["Date", "Set", "Site", "Zone", "Area (m2)", "Passes"],
        ["2026-05-14", "R-17", "Osprey Lane", "", "1000", "5"],
        ["2026-05-15", "X-1", "Bellweather", "", "500", "5"],
        ["2026-05-16", "R-17", "Osprey Lane", "Aisles", "5000", "5"],
        ["2026-05-17", "R-17", "Osprey Lane", "Dock", "2000", ""],
        ["2026-05-18", "R-17", "Osprey Lane", "Dock", "200", "20"],
        ["2026-05-19", "R-17", "Bellweather", "", "500", "5"],
        ["2026-05-19", "R-17", "Bellweather", "", "500", "5"],
    ]
    judgement = judged(csv_file(rows), WORK, units="metric", **SHOP)

    assert told(judgement) == [
        (2, "Which floor?"),
        (3, "Which X-1?"),
        (4, f"Is 5,000{NBSP}m² all 5 passes together?"),
        (5, f"Is it really 2,000{NBSP}m² in one pass?"),
        (6, "Is it really 20?"),
        (8, "Worked once or twice?"),
    ]
    assert judgement.questions[3].why == f"2,000{NBSP}m² is 10 times this floor. Correct it, or keep it if right."
    answers = Answers()
    for question, key in zip(judgement.questions, ("z1", "t4", "total", "keep", "keep", "one"), strict=True):
        answers.give(question, key)
    after = judged(csv_file(rows), WORK, units="metric", answers=answers, **SHOP)
    assert [(item.set_key, item.zone_key, item.area_m2, item.passes) for item in after.things] == [
        ("t1", "z1", 1000.0, 5), ("t4", "z3", 500.0, 5), ("t1", "z1", 1000.0, 5), ("t1", "z2", 2000.0, 1),
        ("t1", "z2", 200.0, 20), ("t1", "z3", 500.0, 5),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("row", "heading", "likely"),
    [
        (["2026-12-24", "R-17", "Osprey Lane", "Dock", "400", "200", "5"], "Date", ""),
        (["2026-05-14", "Q-905", "Osprey Lane", "Dock", "400", "200", "5"], "Set", ""),
        (["2026-05-14", "R-177", "Osprey Lane", "Dock", "400", "200", "5"], "Set", "R-17"),
        (["2026-05-14", "R-17", "Osprey", "Dock", "400", "200", "5"], "Site", "Osprey Lane"),
        (["2026-05-14", "R-17", "", "Dock", "400", "200", "5"], "Job", ""),
        (["2026-05-14", "R-17", "Osprey Lane", "Roof", "400", "200", "5"], "Zone", ""),
        (["2026-05-14", "R-17", "Osprey Lane", "Dock", "30", "200", "5"], "Grit", "400"),
        (["2026-05-14", "R-17", "Osprey Lane", "Dock", "400", "0", "5"], "Area (m2)", ""),
        (["2026-05-14", "R-17", "Osprey Lane", "Dock", "400", "200", "500"], "Passes", ""),
        (["", "R-17", "Osprey Lane", "Dock", "400", "200", "5"], "Date", ""),
    ],
)
def test_wrong_work_is_refused_where_it_is_wrong(row, heading, likely):
    rows = [["Date", "Set", "Site", "Zone", "Grit", "Area (m2)", "Passes"], row]

    judgement = judged(csv_file(rows), WORK, units="metric", **SHOP)

    assert [(where, found) for _row, where, _value, _right, found in refused(judgement)] == [(heading, likely)]
    assert judgement.accepted == []


def test_a_column_with_the_fields_own_name_is_taken_before_one_of_the_same_meaning():
    rows = [["Client", "Job", "site", "Starts"], ["Nino Foods", "Nino 1", "Osprey Lane", "2025-06-02"]]
    (item,) = judged(csv_file(rows), JOBS, **SHOP).things
    assert (item.site, item.site_key) == ("Osprey Lane", "s1")


def test_a_finish_nobody_knows_is_answered_with_the_names_of_the_levels():
    rows = [["Job", "Site", "Starts", "Finish"], ["Nino 1", "Osprey Lane", "2025-06-02", "shiny"]]
    (one,) = judged(csv_file(rows), JOBS, **SHOP).refused
    assert one.right == "One of: 1 flat, 2 satin, 3 polished, 4 highly polished."


def test_a_hardness_by_the_scratch_scale_is_asked_for_its_class():
    rows = [["Site", "Zone", "Area (sq ft)", "Hardness"], ["Quill House", "Hall", "8000", "5"]]
    (question,) = judged(csv_file(rows), SITES).questions
    assert question.title == "Is a floor of Mohs 5 soft, medium or hard?"
    assert [key for key, _label in question.answers] == ["medium", "soft", "hard"]
    (item,) = judged(csv_file(rows), SITES, answers=Answers(like={"mohs:5": "hard"})).things
    assert item.hardness == "hard"


def test_work_of_a_list_without_job_or_site_is_asked_where_it_was_once_for_all():
    rows = [["Set", "Date", "Area (sq ft)"], ["R-17", "2025-05-01", "4000"], ["M-02", "2025-05-02", "3000"]]
    judgement = judged(csv_file(rows), WORK, **SHOP)
    assert [one.title for one in judgement.questions] == ["At which job or site did these sets work?"] * 2
    assert not judgement.refused
    assert ("site:s2", "Bellweather") in judgement.questions[0].answers
    answered = judged(csv_file(rows), WORK, answers=Answers(like={"anywhere": "job:j2"}), **SHOP)
    assert [(item.job_key, item.site_key, item.zone_key) for item in answered.things] == [("j2", "s2", "z3")] * 2


def test_work_before_the_set_was_bought_is_asked_about_with_day_and_month_turned():
    bought = SHOP | {
        "sets": (
            Thing("t1", "R-17", tool_type="r400", since=date(2025, 5, 14), opening="height", bought=date(2025, 4, 1)),
        )
    }
    rows = [["Set", "Job", "Floor", "Date", "Area (sq ft)"]]
    rows += [
        ["R-17", "Osprey Lane spring", "Aisles", day, "4000"] for day in ("2025-01-05", "2025-03-20", "2025-04-02")
    ]
    judgement = judged(csv_file(rows), WORK, **bought)
    assert [(one.row, one.title) for one in judgement.questions] == [
        (2, "Did R-17 work on 5 Jan 2025?"),
        (3, "Did R-17 work on 20 Mar 2025?"),
    ]
    assert judgement.questions[0].why == "By its list it was bought on 1 Apr 2025."
    assert dict(judgement.questions[0].answers)["turned"] == "Month and day turned: 1 May 2025"
    assert [key for key, _label in judgement.questions[1].answers] == ["keep", "out"]
    answered = judged(
        csv_file(rows), WORK, answers=Answers(rows={"2:on:bought": "turned", "3:on:bought": "out"}), **bought
    )
    assert [item.on for item in answered.things] == [date(2025, 5, 1), date(2025, 4, 2)]
