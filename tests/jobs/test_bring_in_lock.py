"""A long list holds everybody else up as little as it can: read before, lives after, few statements in between."""

from __future__ import annotations

from types import SimpleNamespace
from unittest import mock

import pytest
from django.db import connection
from django.db.models import F
from django.test.utils import CaptureQueriesContext

from inventory.actions import lives
from inventory.models import SetState, StoredLife
from jobs.actions.bring_in import BroughtIn, TakenBack, take_back
from jobs.queries import bring_in as queries
from tests.cast import NOW, hours, make_cast

from .sheet_files import HEADING, come_in, draft_of, stock_shop

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def cast() -> SimpleNamespace:
    found = make_cast()
    stock_shop(found)
    return found


def rows_of(count: int, name: str = "R") -> list[list[str]]:
    return [HEADING, *(["400 resin", "1", f"{name}-{n}", "0.27", "B1", "", "1/12/25", ""] for n in range(count))]


def test_a_list_is_read_and_judged_before_the_book_is_locked(cast: SimpleNamespace) -> None:
    draft, locked = draft_of(cast.ines, rows_of(3)), []
    queries._judged.clear()
    judge = queries.judge

    def seen(*given: object) -> object:
        locked.append(connection.in_atomic_block)
        return judge(*given)  # type: ignore[arg-type]

    with mock.patch.object(queries, "judge", seen):
        assert come_in(cast, draft) == BroughtIn(3, {"set": 3})
    assert locked == [False]


def test_lives_of_a_list_are_worked_out_when_it_is_in(cast: SimpleNamespace) -> None:
    draft = draft_of(cast.ines, rows_of(5))
    with mock.patch.object(lives, "_stored", side_effect=AssertionError("under the lock")):
        assert come_in(cast, draft) == BroughtIn(5, {"set": 5})
    assert not StoredLife.objects.exists()

    refitted = lives.refit_due(now=NOW)  # as it happens once the answer has gone out

    assert refitted is not None
    assert StoredLife.objects.filter(wear_stamp=F("tool_set__state__wear_stamp")).count() == 5
    assert lives.refit_due(now=NOW) is None

    with mock.patch.object(lives, "_stored", side_effect=AssertionError("under the lock")):
        assert take_back(cast.ines, cast.device, draft, now=NOW + hours(1)) == TakenBack(5, 0)


def test_ten_times_the_sets_come_in_and_go_back_in_nearly_the_same_number_of_statements(cast: SimpleNamespace) -> None:
    counts = []
    for name, count in (("A", 10), ("B", 100)):
        draft = draft_of(cast.ines, rows_of(count, name))
        queries.look(draft, cast.ines, NOW)
        with CaptureQueriesContext(connection) as bringing:
            assert come_in(cast, draft).rows == count
        assert SetState.objects.filter(tool_set__own_code__startswith=name, opening="height").count() == count
        with CaptureQueriesContext(connection) as taking:
            assert take_back(cast.ines, cast.device, draft, now=NOW + hours(1)).undone == count
        counts.append((len(bringing), len(taking)))
    # SQLite takes so many values in one statement: a few more of the same, not some for each set.
    assert [many - few < 15 for few, many in zip(*counts, strict=True)] == [True, True], counts
