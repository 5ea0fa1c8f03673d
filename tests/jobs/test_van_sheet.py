"""The van sheet: what the paper says, that its square leads back, and that it is typed in whole or not at all."""

from __future__ import annotations

import re
from dataclasses import replace
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import translation

from inventory.actions.ledger import NewLine
from inventory.codes import AddressNotPrintable
from inventory.models import Act, Entry, SetState, Setting
from inventory.models.choices import SoakNeed
from inventory.qr_symbol import paper_symbol
from jobs.actions.paper import Paper, PaperFloor, PaperRefused, PaperSet, PaperStep, type_in, undo_paper
from jobs.actions.plan import save_plan
from jobs.actions.reservation import reserve
from jobs.actions.shift import ShiftAhead, WorkPart, log_work, outing_of_shift
from jobs.models import Job, ShiftEntry, Zone
from jobs.plan_draft import StepDraft, draft_of
from jobs.queries.plan import nights_of, plan_of
from jobs.queries.shift import closing_of, work_logged
from jobs.queries.van_sheet import MOST_SECTIONS, sheet_facts
from jobs.van_sheet import van_sheet
from jobs.van_sheet_pdf import draw_van_sheet
from tests.cast import (
    NOW,
    hours,
    make_branch,
    make_cast,
    make_person,
    make_place,
    make_set,
    make_type,
    uuid,
    who,
    write,
)
from tests.jobs.plans import LAST_NIGHT, make_planned

pytestmark = pytest.mark.django_db
ADDRESS = "HTTPS://SHOP.EXAMPLE/V/"


@pytest.fixture
def world() -> SimpleNamespace:
    """Last night's shift of a hall of 1,000 m2 in sections of 250: a 200 out on it, another 200 on the rack."""
    cast = make_cast()
    make_type("200", ladder_place=5, soak_need=SoakNeed.NONE, own_mark="own-wedge")
    plan = make_planned(cast)
    Zone.objects.update(section_m2=250.0)
    plan = plan_of(plan.job) or plan
    step = next(one for one in plan.steps.all() if one.tool_type.grit == "200")
    rack = make_place(cast.branch, name="Rack B")
    night = nights_of(plan)[0]
    outing = outing_of_shift(plan.job, night.shift, now=LAST_NIGHT - hours(3))
    two, other = (make_set(cast, step.tool_type, rack, at=LAST_NIGHT - hours(90), code=code) for code in ("A", "B"))
    out = {"outing": outing, "gate": "passed", "step_key": step.key, "shift_uuid": night.shift.key}
    write(cast, NewLine("scanned_out", two, None, out), at=LAST_NIGHT - hours(1))
    by = replace(who(cast.dag, cast.device, NOW), entered_by=cast.ines)
    return SimpleNamespace(
        cast=cast, plan=plan, job=plan.job, step=step, night=night, two=two, other=other, outing=outing, by=by,
        zone=plan.zones.all()[0], rack=rack,
    )  # fmt: skip


def pdf_of(world: SimpleNamespace, language: str = "en", paper: str = "letter", night: Any = None) -> bytes:
    night = night or world.night
    with translation.override(language):
        facts = sheet_facts(night, NOW)
        sheet = van_sheet(facts, world.cast.ines, ADDRESS + night.shift.key.hex.upper(), NOW)
        return draw_van_sheet(sheet, paper)


def words_of(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return re.sub(r"\s+", " ", " ".join(page.get_textpage().get_text_bounded() for page in document))
    finally:
        document.close()


def pages_of(pdf: bytes, dpi: int = 100) -> list[Any]:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [np.array(page.render(scale=dpi / 72).to_numpy()) for page in document]
    finally:
        document.close()


def test_the_paper_says_job_ladder_sets_amounts_cautions_and_never_money(world: SimpleNamespace) -> None:
    words = words_of(pdf_of(world))
    for said in (
        "Van sheet · Tue 13 May · shift 1 of 2", "Osprey Lane", "Crew lead: Dag P.", "starts Tue 13 May 20:02",
        "10,764 ft²", "5 passes", "10,764 ft² in 4 sections of 2,691 ft²", "no soak", "Concrete dust holds silica",
        "Slurry is alkaline",
        "A wet floor slips", "Waste water and slurry go where local rules say", "Lift with two people",
        "Loaded, shop manager, time", "clarity, %", "came back", "Page 1 of 1",
    ):  # fmt: skip
        assert said in words, said
    assert "$" not in words
    assert "318" not in words


def test_the_square_decodes_to_the_page_where_it_is_typed_in(world: SimpleNamespace, client: Client) -> None:
    """Read by another library (ZXing) from the page as a plain printer of 100 dots an inch has it."""
    read = [code.text for page in pages_of(pdf_of(world)) for code in zxingcpp.read_barcodes(page)]
    assert read == [ADDRESS + world.night.shift.key.hex.upper()]
    client.force_login(world.cast.dag)
    opened = client.get(read[0].removeprefix("HTTPS://SHOP.EXAMPLE"))
    assert opened["Location"] == reverse("jobs:sheet_in", args=[world.job.pk, world.night.shift.key])
    assert client.get(f"/v/{uuid(404).hex}/").status_code == 404


def test_it_is_black_on_white(world: SimpleNamespace) -> None:
    (page,) = pages_of(pdf_of(world))
    assert int(np.abs(page[..., 0].astype(int) - page[..., 2].astype(int)).max()) == 0


@pytest.mark.parametrize(("paper", "size"), [("letter", (612, 792)), ("a4", (595, 842))])
def test_paper_is_the_shops_setting(world: SimpleNamespace, paper: str, size: tuple[int, int]) -> None:
    document = pypdfium2.PdfDocument(pdf_of(world, paper=paper))
    assert tuple(round(side) for side in document[0].get_size()) == size
    document.close()


def test_the_same_sheet_gives_the_same_bytes(world: SimpleNamespace) -> None:
    assert pdf_of(world) == pdf_of(world)


def test_a_sheet_of_many_steps_and_sections_with_long_names_goes_over_pages(world: SimpleNamespace) -> None:
    Zone.objects.update(section_m2=1.0, name="Halle Żółtowska, der große südliche Gang beim Kühlhaus hinten links")
    Job.objects.filter(pk=world.job.pk).update(name="Przebudowa wielkiej hali magazynowej nad rzeką, etap drugi")
    draft, steps = draft_of(world.plan), []
    for number in range(14):
        tool_type = make_type(
            f"{100 * (number + 1)}", ladder_place=number, name=f"Resin {number} with a very long name"
        )
        shift = world.night.shift.key
        steps.append(StepDraft(world.zone.zone_id, tool_type, 4, shift_key=shift, key=uuid(7000 + number)))
    plan = save_plan(world.cast.ines, world.job, replace(draft, steps=tuple(steps)), now=NOW, sure=True).plan
    night = nights_of(plan_of(plan.job) or plan)[0]
    words = words_of(pdf_of(world, night=night))
    facts = sheet_facts(night, NOW)
    assert {one.sections for one in facts.steps} == {MOST_SECTIONS}
    count = len(pages_of(pdf_of(world, night=night), 20))
    assert count > 1
    assert [f"Page {n} of {count}" in words for n in range(1, count + 1)] == [True] * count
    assert all(f"{100 * (number + 1)}" in words for number in range(14))
    assert "Zóltowska" in words


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_nine_steps_fit_a_page(world: SimpleNamespace, paper: str) -> None:
    Zone.objects.update(section_m2=340.0)
    shift = world.night.shift.key
    steps = []
    for number in range(9):
        tool_type = make_type(f"{100 * (number + 1)}", ladder_place=number)
        steps.append(StepDraft(world.zone.zone_id, tool_type, 4, shift_key=shift, key=uuid(7000 + number)))
    draft = replace(draft_of(world.plan), steps=tuple(steps))
    plan = save_plan(world.cast.ines, world.job, draft, now=NOW, sure=True).plan
    for step in steps:
        tool_set = make_set(world.cast, step.tool_type, world.rack, at=NOW - hours(80))
        reserve(world.cast.ines, world.job, step.key, tool_set, now=NOW)
    night = nights_of(plan_of(plan.job) or plan)[0]
    assert len(pages_of(pdf_of(world, paper=paper, night=night), 20)) == 1


def test_in_spanish_it_has_the_page_numbers_of_spanish(world: SimpleNamespace) -> None:
    assert "Página 1 de 1" in words_of(pdf_of(world, "es"))


def test_a_square_on_paper_holds_up_to_table_7_and_nothing_strange() -> None:
    """ISO/IEC 18004 Table 7, level H, alphanumeric: version 5 holds 64, 6 84, 7 93, 8 122; 17 + 4 v modules a side."""
    sizes = {count: paper_symbol("A" * count) for count in (50, 51, 64, 65, 84, 85, 93, 94, 122)}
    assert [one.version for one in sizes.values()] == [4, 5, 5, 6, 6, 7, 7, 8, 8]
    assert all(one.side == 17 + 4 * one.version for one in sizes.values())
    for wrong in ("", "a", "A" * 123):
        with pytest.raises(AddressNotPrintable):
            paper_symbol(wrong)


def paper_of(world: SimpleNamespace, **more: Any) -> Paper:
    """Five passes over three sections and four over the last; even; the set in water, 8 mm high; gloss 41.5."""
    from inventory.units import read_height

    step = PaperStep(world.step.key, "200", (WorkPart(world.two, 750.0, 5), WorkPart(world.two, 250.0, 4)), even=True)
    facts: dict[str, Any] = {
        "steps": (step,),
        "sets": (PaperSet(world.two, "200 · A", "in_water", read_height("8 mm")),),
        "floors": (PaperFloor(world.zone, "Hall", gloss=41.5, clarity=60.0),),
        "close": True,
    }
    return Paper(**(facts | more))


def test_a_sheet_is_kept_from_paper_done_by_one_and_entered_by_another(world: SimpleNamespace) -> None:
    kept = type_in(world.by, world.job, world.night, paper_of(world), now=NOW, sure=True)
    acts = [one.act for one in kept]
    assert {(act.source, act.time_known, act.done_by_id, act.entered_by_id) for act in acts} == {
        ("paper", "shift", world.cast.dag.pk, world.cast.ines.pk)
    }
    assert [(line.area_m2, line.entry.passes) for line in work_logged(job=world.job)] == [
        (3750.0, 5), (1000.0, 4),
    ]  # fmt: skip
    state = SetState.objects.get(pk=world.two.pk)
    assert (state.lowest_height_mm, state.facts["left_how"]) == (8.0, "in_water")
    rows = ShiftEntry.objects.values_list("kind", "reading").order_by("kind")
    assert set(rows) == {("closed", None), ("clarity", 60.0), ("floor_even", None), ("gloss", 41.5), ("left", None)}
    ends = world.night.shift.ends_at
    assert acts[0].happened_at == world.night.shift.starts_at + hours(1 / 3600)
    assert Act.objects.get(entries__kind="measured").happened_at == ends


def test_the_same_sheet_again_changes_nothing_also_after_it_closed_the_shift(world: SimpleNamespace) -> None:
    by = replace(world.by, entered_by=world.cast.dag)
    first = type_in(by, world.job, world.night, paper_of(world), now=NOW, sure=True)
    counts = Act.objects.count(), Entry.objects.count()
    later = replace(by, device_seq=by.device_seq + 9, written_at=NOW + hours(1))
    again = type_in(later, world.job, world.night, paper_of(world), now=NOW + hours(1))
    assert {one.act.pk for one in again} == {one.act.pk for one in first}
    assert (Act.objects.count(), Entry.objects.count()) == counts


def test_one_row_that_cannot_be_keeps_all_of_it_out_and_says_which(world: SimpleNamespace) -> None:
    before = Act.objects.count(), ShiftEntry.objects.count()
    wrong = paper_of(world, floors=(PaperFloor(world.zone, "Hall", gloss=900.0),))
    with pytest.raises(PaperRefused) as caught:
        type_in(world.by, world.job, world.night, wrong, now=NOW, sure=True)
    assert caught.value.rows == (("Hall", "900 is no reading of a floor. Type 0 to 200."),)
    assert not caught.value.asked
    assert (Act.objects.count(), ShiftEntry.objects.count()) == before


def test_unlikely_rows_are_asked_about_together(world: SimpleNamespace) -> None:
    huge = PaperStep(world.step.key, "200", (WorkPart(world.two, 1000.0, 90),))
    with pytest.raises(PaperRefused) as caught:
        type_in(world.by, world.job, world.night, paper_of(world, steps=(huge,), close=False), now=NOW)
    assert caught.value.asked
    assert next(name for name, _sentence in caught.value.rows) == "200"
    assert type_in(world.by, world.job, world.night, paper_of(world, steps=(huge,)), now=NOW, sure=True)


def test_beside_logged_work_it_must_say_whether_it_adds_or_stands_instead(world: SimpleNamespace) -> None:
    part = [WorkPart(world.two, 1000.0, 2)]
    log_work(who(world.cast.dag, world.cast.device), world.job, world.night.shift.key, world.step.key, part, now=NOW)
    with pytest.raises(PaperRefused, match=r"200: 21,528.ft² is logged on this shift already"):
        type_in(world.by, world.job, world.night, paper_of(world), now=NOW, sure=True)
    instead = replace(paper_of(world).steps[0], instead=True)
    type_in(world.by, world.job, world.night, paper_of(world, steps=(instead,)), now=NOW, sure=True)
    assert sum(line.area_m2 for line in work_logged(job=world.job) if line.counts) == 4750.0


def test_a_floor_without_a_pass_asks_why_and_a_shift_ahead_is_refused(world: SimpleNamespace) -> None:
    bare = PaperStep(world.step.key, "200", even=True)
    with pytest.raises(PaperRefused) as caught:
        type_in(world.by, world.job, world.night, Paper((bare,)), now=NOW)
    assert caught.value.no_pass == {world.step.key}
    assert type_in(world.by, world.job, world.night, Paper((replace(bare, why="done before"),)), now=NOW)
    with pytest.raises(ShiftAhead):
        type_in(world.by, world.job, nights_of(world.plan)[1], paper_of(world), now=NOW)
    with pytest.raises(PaperRefused, match="Nothing of it is typed in yet"):
        type_in(world.by, world.job, world.night, Paper(), now=NOW)


def test_trouble_on_the_paper_is_kept_and_something_else_needs_a_word(world: SimpleNamespace) -> None:
    glazed = PaperSet(world.two, "200 · A", trouble="glazed")
    type_in(world.by, world.job, world.night, Paper(sets=(glazed,)), now=NOW)
    assert SetState.objects.get(pk=world.two.pk).face == "glazed"
    other = replace(world.by, act_id=uuid4())
    with pytest.raises(PaperRefused, match="Something else needs a word on what"):
        type_in(other, world.job, world.night, Paper(sets=(replace(glazed, trouble="other"),)), now=NOW)
    said = replace(glazed, trouble="", note="bolt sheared")
    type_in(other, world.job, world.night, Paper(sets=(said,)), now=NOW)
    assert set(Entry.objects.filter(kind="trouble").values_list("trouble_kind", "why")) == {
        ("glazed", None), ("other", "bolt sheared"),
    }  # fmt: skip


def test_a_sheet_is_taken_back_whole_by_voids(world: SimpleNamespace) -> None:
    by = replace(world.by, entered_by=world.cast.dag)
    kept = type_in(by, world.job, world.night, paper_of(world), now=NOW, sure=True)
    assert closing_of(world.night.shift.key) is not None
    undo_paper(who(world.cast.dag, world.cast.device, NOW), world.cast.branch, kept[0].act, now=NOW + hours(1))
    assert closing_of(world.night.shift.key) is None
    assert work_logged(job=world.job) == []
    state = SetState.objects.get(pk=world.two.pk)
    assert (state.lowest_height_mm, state.outing_id) == (None, world.outing.pk)
    assert Entry.objects.filter(kind="worked").count() == 2


def client_of(person: Any) -> Client:
    client = Client()
    client.force_login(person)
    return client


def typed(world: SimpleNamespace, **more: str) -> dict[str, str]:
    step, tool_set, floor = f"step-{world.step.key}", f"set-{world.two.pk}", f"floor-{world.zone.key}"
    said = {
        "act_id": str(uuid4()), "done_by": str(world.cast.dag.pk), f"{step}-tool_set": str(world.two.pk),
        f"{step}-area": "10764", f"{step}-s1": "5", f"{step}-s2": "5", f"{step}-s3": "5", f"{step}-s4": "4",
        f"{step}-even": "on", f"{tool_set}-left": "in_water", f"{tool_set}-height": "8 mm", f"{floor}-gloss": "41.5",
        f"{step}-second_set": str(world.other.pk), f"{step}-second_passes": "1", f"{step}-second_area": "1000",
    }  # fmt: skip
    return said | {name.replace("STEP", step).replace("SET", tool_set): value for name, value in more.items()}


def test_the_page_keeps_the_boxes_and_a_set_changed_part_way_and_repeats_safely(world: SimpleNamespace) -> None:
    dag, url = client_of(world.cast.dag), reverse("jobs:sheet_in", args=[world.job.pk, world.night.shift.key])
    page = dag.get(url)
    assert page.content.decode().count('inputmode="numeric"') == 4
    data = typed(world)
    for _press in range(2):
        answer = dag.post(url, data)
        assert answer["Location"] == reverse("jobs:job", args=[world.job.pk]), answer.content.decode()[:9000]
    lines = [
        (round(line.entry.area_m2 or 0), line.entry.passes, line.entry.tool_set_id)
        for line in work_logged(job=world.job)
    ]
    assert lines == [(750, 5, world.two.pk), (250, 4, world.two.pk), (93, 1, world.other.pk)]
    undo = re.search(r"/jobs/[0-9a-f-]+/van-sheet/[0-9a-f-]+/undo/", dag.get(answer["Location"]).content.decode())
    assert undo is not None
    dag.post(undo.group())
    assert work_logged(job=world.job) == []


def test_the_page_refuses_with_the_row_and_loses_nothing_typed(world: SimpleNamespace) -> None:
    dag, url = client_of(world.cast.dag), reverse("jobs:sheet_in", args=[world.job.pk, world.night.shift.key])
    answer = dag.post(url, typed(world, **{"STEP-s1": "five", "SET-height": "tall"}))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "2 rows to mend. Nothing is kept yet." in text
    assert 'value="five"' in text
    assert "Write a whole number, such as 5." in text
    assert 'value="tall"' in text
    asked = dag.post(url, typed(world, **{"STEP-s1": "90"}))
    box = re.search(r'name="sure" value="([0-9a-f]{32})"', asked.content.decode())
    assert box is not None, asked.content.decode()
    assert dag.post(url, typed(world, **{"STEP-s1": "91", "sure": box.group(1)})).status_code == 422
    assert dag.post(url, typed(world, **{"STEP-s1": "90", "sure": box.group(1)})).status_code == 302
    assert Entry.objects.filter(kind="worked").count() == 4


def test_doors(world: SimpleNamespace) -> None:
    key = world.night.shift.key
    for url, method, may, may_not in (
        (reverse("jobs:sheet_pdf", args=[world.job.pk, key]), "get", "nils", ""),
        (reverse("jobs:sheet_in", args=[world.job.pk, key]), "get", "dag", "teo"),
        (f"/V/{key.hex.upper()}", "get", "dag", "teo"),
        (reverse("jobs:sheet_undo", args=[world.job.pk, uuid(404)]), "post", "dag", "teo"),
    ):
        inside = client_of(getattr(world.cast, may))
        assert getattr(inside, method)(url).status_code in (200, 302, 404), url
        assert inside.delete(url).status_code == 405, url
        if may_not:
            assert getattr(client_of(getattr(world.cast, may_not)), method)(url).status_code == 403, url
        assert "sign-in" in getattr(Client(), method)(url)["Location"], url
    for name in ("jobs:sheet_pdf", "jobs:sheet_in"):
        assert client_of(world.cast.dag).get(reverse(name, args=[world.job.pk, uuid(404)])).status_code == 404
        stranger = make_person(make_branch(f"Far {name}"), name, "Sol M.", "owner")
        assert client_of(stranger).get(reverse(name, args=[world.job.pk, key])).status_code == 404
    assert client_of(stranger).get(f"/V/{key.hex}").status_code == 404


def test_a_shift_ahead_shows_no_form_and_one_that_others_closed_says_who(world: SimpleNamespace) -> None:
    dag = client_of(world.cast.dag)
    shift = nights_of(world.plan)[0].shift
    ShiftEntry.objects.all()
    type_in(world.by, world.job, world.night, Paper(close=True), now=NOW)
    text = dag.get(reverse("jobs:sheet_in", args=[world.job.pk, shift.key])).content.decode()
    assert "Dag P. closed this shift. Ask the shop manager to change it." in re.sub(r"\s+", " ", text)
    assert "Keep the sheet" not in text


def test_pages_link_to_the_sheet(world: SimpleNamespace) -> None:
    url = reverse("jobs:sheet_pdf", args=[world.job.pk, world.night.shift.key])
    for page in (
        reverse("jobs:job", args=[world.job.pk]),
        reverse("jobs:shift", args=[world.job.pk, world.night.shift.key]),
    ):
        assert url in client_of(world.cast.dag).get(page).content.decode()


def test_queries_do_not_grow_with_sets_and_steps(world: SimpleNamespace) -> None:
    dag = client_of(world.cast.dag)
    urls = [reverse(name, args=[world.job.pk, world.night.shift.key]) for name in ("jobs:sheet_pdf", "jobs:sheet_in")]
    counts = []
    for _round in range(2):
        for url in urls:
            dag.get(url)
            with CaptureQueriesContext(connection) as caught:
                assert dag.get(url).status_code == 200
            counts.append(len(caught))
        draft = draft_of(plan_of(world.job) or world.plan)
        more = [
            StepDraft(world.zone.zone_id, make_type(f"{300 + n}", ladder_place=5), 4,
                      shift_key=world.night.shift.key, key=uuid(8000 + n))
            for n in range(6)
        ]  # fmt: skip
        if _round == 0:
            save_plan(world.cast.ines, world.job, replace(draft, steps=(*draft.steps, *more)), now=NOW, sure=True)
            for one in more:
                tool_set = make_set(world.cast, one.tool_type, world.rack, at=NOW - hours(80))
                reserve(world.cast.ines, world.job, one.key, tool_set, now=NOW)
    assert counts[:2] == counts[2:], counts


def test_the_setting_of_the_paper_is_asked(world: SimpleNamespace) -> None:
    Setting.objects.create(
        branch=world.cast.branch, key="paper", value="a4", valid_from=NOW.date().replace(day=1), recorded_at=NOW,
        recorded_by=world.cast.ines,
    )  # fmt: skip
    answer = client_of(world.cast.nils).get(reverse("jobs:sheet_pdf", args=[world.job.pk, world.night.shift.key]))
    document = pypdfium2.PdfDocument(answer.content)
    assert round(document[0].get_size()[0]) == 595
    document.close()
