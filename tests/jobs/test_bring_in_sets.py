"""A shop's list of sets comes in: all or nothing, once, with its unknown pasts; and goes back out by undo."""

from decimal import Decimal
from types import SimpleNamespace

import pytest
from django.urls import reverse

from inventory.actions import bring_in as sets_action
from inventory.actions.ledger import NewLine
from inventory.models import Act, Entry, Label, Place, ReceiptLine, SetState, SheetDraft, SheetRow, ToolSet
from inventory.pieces_words import pieces_of
from inventory.sheets.reading import read_sheet
from jobs.actions.bring_in import BroughtIn, TakenBack, keep_answer, take_back
from tests.cast import NOW, hours, make_cast, write
from tests.inventory.sheets.shop import refused, told

from .sheet_files import HEADING, TOOLING, answer, come_in, draft_of, looked, stock_shop

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> SimpleNamespace:
    found = make_cast()
    found.types = stock_shop(found)
    return found


def state_of(own_code: str) -> SetState:
    return SetState.objects.select_related("place", "tool_set").get(tool_set__own_code=own_code)


def opening_of(own_code: str) -> Entry:
    return Entry.objects.get(kind="opening", tool_set__own_code=own_code)


def test_a_list_with_everything_in_it_is_judged_and_answered_and_comes_in(cast):
    draft = draft_of(cast.ines, TOOLING)
    judgement = looked(draft, cast.ines).judgement

    assert told(judgement) == [
        (6, "One set or two?"),
        (7, "Is this the R-08 of row 4?"),
        (8, "How high is “half”?"),
        (9, "Which place is “shelf?”?"),
    ]
    assert [(row, value, likely) for row, _heading, value, _right, likely in refused(judgement)] == [
        (10, "2.75", "0.275"),
        (11, "4oo resin", "400 resin"),
    ]
    assert looked(draft, cast.ines).can_come_in == 3
    answer(draft, cast.ines, "One set or two?", "sets")
    answer(draft, cast.ines, "R-08 of row 4", "two")
    answer(draft, cast.ines, "“half”", "half")
    answer(draft, cast.ines, "“shelf?”", "missing")
    keep_answer(draft, lambda answers: answers.cells.update({"10:D": "0.275"}))
    assert looked(draft, cast.ines).can_come_in == 9

    assert come_in(cast, draft) == BroughtIn(8, {"set": 9})

    r17, m02, r08 = state_of("R-17"), state_of("M-02"), opening_of("R-24")
    assert (r17.place.name, r17.peg, r17.opening) == ("Rack B", "14", "height")
    assert r17.lowest_height_mm == pytest.approx(0.27 * 25.4)
    assert m02.lowest_height_mm == pytest.approx(8.4)
    assert (opening_of("M-02").amount_value, opening_of("M-02").amount_unit) == ("8.4", "mm")
    assert state_of("M-11").opening == "half"
    assert r08.to_place.kind == "unknown"
    assert [state_of(code).soaking for code in ("R-31", "R-32")] == [True, True]
    assert sorted(SetState.objects.filter(tool_set__own_code="R-08").values_list("lowest_height_mm", flat=True)) == [
        pytest.approx(0.22 * 25.4),
        pytest.approx(9.525),
    ]
    # What an opening has no column for stands in its words.
    assert opening_of("M-02").why == "bought 4 Mar 2025; worked 40,000\u00a0ft² before, by the list; good"
    assert {act.source for act in Act.objects.all()} == {"import"}
    assert {act.recorded_at for act in Act.objects.all()} == {NOW}


def test_the_same_file_twice_adds_nothing_and_a_longer_one_only_its_new_rows(cast):
    rows = [
        HEADING[:4],
        ["400 resin", "1", "R-1", "0.27"],
        ["400 resin", "1", "", "0.2"],
        ["200 resin", "1", "R-2", "0.3"],
    ]
    assert come_in(cast, draft_of(cast.ines, rows)).made == {"set": 3}

    again = draft_of(cast.ines, rows, name="the same under another name.csv")
    assert (looked(again, cast.ines).can_come_in, looked(again, cast.ines).judgement.already) == (0, [2, 3, 4])
    assert come_in(cast, again) == BroughtIn(0)

    longer = draft_of(cast.ines, [*rows, ["100 resin", "1", "R-3", "0.3"]])
    assert come_in(cast, longer) == BroughtIn(1, {"set": 1})
    assert ToolSet.objects.count() == 4
    assert Entry.objects.filter(kind="opening").count() == 4


def test_a_press_sent_twice_brings_in_once(cast):
    draft = draft_of(cast.ines, [HEADING[:4], ["400 resin", "1", "R-1", "0.27"]])

    assert come_in(cast, draft).rows == 1
    assert come_in(cast, draft) == BroughtIn(0)
    assert Entry.objects.count() == 1


def test_what_fails_in_the_middle_leaves_nothing_half_written(cast, monkeypatch):
    monkeypatch.setattr(sets_action, "SETS_AN_ACT", 10)
    rows = [["Disc", "ID", "where"], *(["400 resin", f"R-{number}", "rack Z"] for number in range(35))]
    draft = draft_of(cast.ines, rows)
    answer(draft, cast.ines, "“rack Z”", "new")
    write_act = sets_action.Desk.write
    acts = []

    def third_fails(self, *args, **more):
        acts.append(args[0])
        if len(acts) == 3:
            raise RuntimeError("the disk is full")
        return write_act(self, *args, **more)

    monkeypatch.setattr(sets_action.Desk, "write", third_fails)
    with pytest.raises(RuntimeError):
        come_in(cast, draft)

    assert len(acts) == 3
    assert (ToolSet.objects.count(), Act.objects.count(), Entry.objects.count(), SheetRow.objects.count()) == (0,) * 4
    assert not Place.objects.filter(name__icontains="Z").exists()
    assert SheetDraft.objects.get(pk=draft.pk).brought_in_at is None
    monkeypatch.setattr(sets_action.Desk, "write", write_act)
    assert come_in(cast, draft).made == {"set": 35, "place": 1}
    assert Act.objects.count() == 4


def test_heights_with_the_backing_are_kept_without_it_and_say_how_they_were_entered(cast):
    rows = [["Disc", "ID", "Height with backing (mm)"], ["400 resin", "R-1", "9,4"]]
    come_in(cast, draft_of(cast.ines, rows))

    entry = opening_of("R-1")
    assert (entry.lowest_height_mm, entry.with_backing, entry.amount_value, entry.amount_unit) == (
        6.4,
        True,
        "9.4",
        "mm",
    )
    assert state_of("R-1").lowest_height_mm == 6.4


def test_a_worked_area_alone_is_asked_about_by_the_rating(cast):
    # 65,000 of the rated 12,000 m2 (129,167 ft2) leave about half.
    rows = [["Disc", "ID", "SF run"], ["400 resin", "R-1", "65,000"]]
    draft = draft_of(cast.ines, rows)
    (question,) = looked(draft, cast.ines).judgement.questions

    assert question.title == "How much is left after 65,000\u00a0ft²?"
    assert question.why == "A set of resin 400 is rated at 129,167\u00a0ft²."
    assert [key for key, _words in question.answers] == ["half", "unknown"]
    answer(draft, cast.ines, "left after", "half")
    come_in(cast, draft)
    assert (state_of("R-1").opening, state_of("R-1").worked_m2) == ("half", 0)
    assert opening_of("R-1").why == "worked 65,000\u00a0ft² before, by the list"


def test_a_new_set_begins_on_the_day_it_was_bought(cast):
    rows = [["Disc", "ID", "state", "bought", "price"], ["400 resin", "R-1", "new", "3/14/2025", "$310.50"]]
    come_in(cast, draft_of(cast.ines, rows))

    act = opening_of("R-1").act
    assert (f"{act.happened_at:%Y-%m-%d %H:%M}", act.time_known, act.recorded_at) == ("2025-03-14 05:00", "day", NOW)
    assert state_of("R-1").opening == "new"
    assert ReceiptLine.objects.get().price == Decimal("310.50")


def test_states_of_a_list_are_kept(cast):
    rows = [
        ["Disc", "ID", "state"],
        ["400 resin", "R-1", "worn out"],
        ["400 resin", "R-2", "broken"],
        ["400 resin", "R-3", "set aside"],
        ["400 resin", "R-4", "missing"],
    ]
    draft = draft_of(cast.ines, rows)
    assert looked(draft, cast.ines).judgement.refused == []
    come_in(cast, draft)

    said = {
        code: (state_of(code).fitness, state_of(code).fitness_why, getattr(state_of(code).place, "kind", None))
        for code in ("R-1", "R-2", "R-3", "R-4")
    }
    assert said == {
        "R-1": ("retired", "worn", None),
        "R-2": ("retired", "broken", None),
        "R-3": ("set_aside", "set aside, by the list", None),
        "R-4": ("usable", "", "unknown"),
    }


def test_a_code_of_ours_becomes_the_sets_label(cast):
    blank = Label.objects.create(code="GL-7K2M46", branch=cast.branch, made_at=NOW)
    rows = [["Disc", "ID"], ["400 resin", "gl 7k2m46"], ["400 resin", "GL-7K2M99"]]
    come_in(cast, draft_of(cast.ines, rows))

    blank.refresh_from_db()
    assert blank.opens_set.own_code == "gl 7k2m46"
    assert state_of("gl 7k2m46").code == "GL-7K2M46"
    # The last character of the other one does not fit: it is the shop's own word, no label.
    assert state_of("GL-7K2M99").code == ""
    again = draft_of(cast.ines, [["Disc", "ID"], ["400 resin", "GL-7K2M46"]])
    assert told(looked(again, cast.ines).judgement) == [(2, "Is this the GL-7K2M46 you have?")]


def test_undo_takes_sets_back_that_nothing_else_was_said_of(cast):
    rows = [HEADING[:5], *(["400 resin", "1", f"R-{number}", "0.27", "rack Q 1"] for number in range(4))]
    draft = draft_of(cast.ines, rows)
    answer(draft, cast.ines, "Which rack is “Q”", "new")
    come_in(cast, draft)
    used = ToolSet.objects.get(own_code="R-2")
    write(cast, NewLine("measured", used, None, {"lowest_height_mm": 5.0}), at=NOW + hours(1))

    assert take_back(cast.ines, cast.device, draft, now=NOW + hours(2)) == TakenBack(3, 1, ("R-2",))
    assert take_back(cast.ines, cast.device, draft, now=NOW + hours(3)) == TakenBack(0, 1, ("R-2",))
    assert [(state_of(f"R-{n}").opening, state_of(f"R-{n}").branch_id) for n in (0, 1, 3)] == [("", None)] * 3
    assert state_of("R-2").opening == "height"
    assert Place.objects.get(name="Rack Q").active is True, "R-2 hangs there"

    assert looked(draft, cast.ines).can_come_in == 3
    assert come_in(cast, draft).made == {"set": 3}
    assert [(state_of(f"R-{n}").opening, state_of(f"R-{n}").open_flags) for n in range(4)] == [("height", 0)] * 4
    assert ToolSet.objects.count() == 4


def test_undo_closes_the_places_a_list_made(cast):
    draft = draft_of(cast.ines, [["Disc", "ID", "where"], ["400 resin", "R-1", "rack Q 1"]])
    answer(draft, cast.ines, "Which rack is “Q”", "new")
    assert come_in(cast, draft).made == {"set": 1, "place": 1}

    take_back(cast.ines, cast.device, draft, now=NOW + hours(1))

    assert Place.objects.get(name="Rack Q").active is False


def test_bringing_in_asks_the_database_as_often_for_many_rows(cast, django_assert_max_num_queries):
    def rows(start, count):
        return [HEADING[:4], *(["400 resin", "1", f"R-{number}", "0.27"] for number in range(start, start + count))]

    few = draft_of(cast.ines, rows(0, 1))
    with django_assert_max_num_queries(45):
        come_in(cast, few)
    many = draft_of(cast.ines, rows(1000, 200))
    # One more a set: its state's row; what is kept of all lives is written in a few pieces.
    with django_assert_max_num_queries(45 + 200 + 3):
        come_in(cast, many)


def test_pieces_of_a_list_are_kept_and_go_out_with_the_table_of_sets(cast, client):
    rows = [["Disc", "ID", "Pieces"], ["400 resin", "R-1", "2"], ["400 resin", "R-2", "3"]]
    come_in(cast, draft_of(cast.ines, rows))

    assert [opening_of(code).pieces for code in ("R-1", "R-2")] == [2, None]
    assert [pieces_of(state_of(code), cast.types["resin 400"]) for code in ("R-1", "R-2")] == [2, 3]
    client.force_login(cast.ines)
    sheet = read_sheet(
        b"".join(client.get(reverse("inventory:export", args=["sets", "csv"])).streaming_content), "sets.csv"
    )
    place = sheet.headings.index("Pieces")
    assert sorted(row.cell(place) for row in sheet.rows) == ["2", "3"]
